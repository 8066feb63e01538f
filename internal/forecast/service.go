package forecast

import (
	"fmt"
	"math"

	"printround/internal/device"
)

// sameWork is how far the pages that a part lasts differ from its interval, as
// the spread of a logarithm. The interval is a rule that somebody set, so it is
// kept; only the volume is in doubt.
const sameWork = 0.01

// services foresees the parts of the model that have a life in pages. Those
// that the device counts down itself are among its supplies already.
func (k *known) services(items []Item, model *device.Model, notYet string) []Item {
	if model == nil {
		return nil
	}
	var out []Item
	for _, s := range model.Services {
		if s.Pages <= 0 || countedDown(s.Part, items) {
			continue
		}
		it := Item{Kind: Service, Name: s.Part, Type: s.Part}
		life, reason := k.lifeCount()
		left := float64(s.Pages) - life
		switch {
		case reason != "":
			it.Reason = reason
		case left < 0:
			it.Reason = fmt.Sprintf("its interval is %d pages, the device has printed %.0f, and when it was last replaced is not known", s.Pages, life)
		default:
			percent := math.Round(1000*left/float64(s.Pages)) / 10
			it.Percent = &percent
			it.RunOut, it.Reason = k.due(left, notYet)
		}
		out = append(out, it)
	}
	return out
}

// countedDown reports whether the device reports a level for a class of part.
func countedDown(part string, items []Item) bool {
	for _, it := range items {
		if it.Percent == nil && it.RunOut == nil {
			continue
		}
		if device.SameSupply(it.Type, part) {
			return true
		}
	}
	return false
}

// lifeCount is what the device has printed in its life. A counter that was set
// back does not say.
func (k *known) lifeCount() (float64, string) {
	first, last := -1, -1
	for i := range k.nights {
		if k.nights[i].LifeCount == nil || math.IsNaN(k.usage.raw[i]) {
			continue
		}
		if first < 0 {
			first = i
		}
		last = i
	}
	if last < 0 {
		return 0, "the device has no page counter"
	}
	if u := k.nights[last].LifeUnit; !device.CountsPages(u) {
		return 0, fmt.Sprintf("the device counts %s, the interval is in pages", u)
	}
	a, b := float64(*k.nights[first].LifeCount), float64(*k.nights[last].LifeCount)
	if b < a {
		return 0, "its page counter was set back: what the part has done is not known"
	}
	return b, ""
}

// due foresees when so many pages will have been printed.
func (k *known) due(left float64, notYet string) (*Distribution, string) {
	u := k.usage
	switch {
	case notYet != "":
		return nil, notYet
	case !u.counted:
		return nil, "not enough nights yet: the page counter was read too seldom"
	case u.perDay <= 0:
		return nil, "nothing was printed in the nights that were kept"
	}
	last := 0
	for i, v := range u.raw {
		if !math.IsNaN(v) {
			last = i
		}
	}
	left -= u.count[len(u.count)-1] - u.count[last]
	return spread([]ending{{weight: 1, left: max(left, 1)}}, 1, sameWork*sameWork, 0, u), ""
}
