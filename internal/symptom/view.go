package symptom

import (
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/finding"
)

// view is a device as the facts see it.
type view struct {
	d          *device.Device // nil: none
	answers    bool
	conditions map[string]string // codes of what holds now -> summary
	catalogue  *device.Catalogue
	interval   *device.Repeat
	facts      map[string]fact // worked out once each
}

// fact is one fact and whether it holds.
type fact struct {
	sign
	holds bool
}

// newView judges the device if nobody has, and gathers what holds now.
func newView(d *device.Device, o Options) *view {
	v := &view{conditions: map[string]string{}, facts: map[string]fact{}, catalogue: o.Catalogue, interval: o.Interval}
	if d == nil {
		return v
	}
	judged := *d
	if judged.Attention == "" {
		finding.Judge(&judged, finding.Defaults())
	}
	v.d = &judged
	v.answers = judged.Reached.SNMP.OK || judged.Reached.IPP.OK
	for i := range judged.Findings {
		f := &judged.Findings[i]
		if !f.Stale && slices.Contains(judged.State.Conditions, f.Code) {
			v.conditions[f.Code] = f.Summary
		}
	}
	return v
}

// reports returns what the device says of the first condition of a list that
// holds; a pattern that ends in * matches any rest.
func (v *view) reports(patterns ...string) (string, bool) {
	for _, p := range patterns {
		prefix, wild := strings.CutSuffix(p, "*")
		if s, ok := v.conditions[p]; ok {
			return s, true
		}
		if !wild {
			continue
		}
		var found []string
		for code := range v.conditions {
			if strings.HasPrefix(code, prefix) {
				found = append(found, code)
			}
		}
		if len(found) > 0 {
			return v.conditions[slices.Min(found)], true
		}
	}
	return "", false
}

// sign is a fact that holds, in words with the device's own values. A graded
// one has a percentage, which a curve makes a ratio of.
type sign struct {
	words   string
	percent float64
	graded  bool
}

func plain(format string, args ...any) (sign, bool) {
	return sign{words: fmt.Sprintf(format, args...)}, true
}

func graded(percent float64, format string, args ...any) (sign, bool) {
	return sign{words: fmt.Sprintf(format, args...), percent: percent, graded: true}, true
}

// lowest returns the supply of the given nouns with the smallest known level.
func (v *view) lowest(fits func(*device.Supply) bool) (found *device.Supply, percent float64) {
	for i := range v.d.Supplies {
		s := &v.d.Supplies[i]
		p, ok := s.Level.Percent()
		if !ok || !fits(s) || found != nil && p >= percent {
			continue
		}
		found, percent = s, p
	}
	return found, percent
}

// isKind makes a filter for supplies by what they are.
func isKind(nouns ...string) func(*device.Supply) bool {
	return func(s *device.Supply) bool {
		return s.Role != device.Receptacle && slices.Contains(nouns, finding.Kind(s))
	}
}

// life makes the fact of how much life a part has left: by the level that the
// device counts, and by what it reports of the part's end when that is worse.
func life(noun string, soon, over []string, nouns ...string) func(*view) (sign, bool) {
	return func(v *view) (sign, bool) {
		s, p := v.lowest(isKind(nouns...))
		if said, left, ok := v.endOf(isKind(nouns...)); ok && (s == nil || left < p) {
			return graded(left, "the device reports: %s", said)
		}
		if said, ok := v.reports(over...); ok && (s == nil || p > 0) {
			return graded(0, "the device reports: %s", said)
		}
		if said, ok := v.reports(soon...); ok && (s == nil || p > nearEnd) {
			return graded(nearEnd, "the device reports: %s", said)
		}
		return remaining(noun, s, p)
	}
}

// endOf returns what the device reports of the end of a part that it lists
// among its supplies, and the life left that this stands for.
func (v *view) endOf(fits func(*device.Supply) bool) (said string, left float64, ok bool) {
	for i := range v.d.Findings {
		f := &v.d.Findings[i]
		if f.Stale || f.Subunit.Group != "markerSupplies" || !v.aboutPart(f.Subunit.Index, fits) {
			continue
		}
		switch {
		case strings.HasSuffix(f.Code, "life-over") || strings.HasSuffix(f.Code, "-empty") && !strings.HasSuffix(f.Code, "almost-empty"):
			return f.Summary, 0, true
		case strings.HasSuffix(f.Code, "almost-over"), strings.HasSuffix(f.Code, "near-eol"):
			said, left, ok = f.Summary, nearEnd, true
		}
	}
	return said, left, ok
}

func (v *view) aboutPart(index int, fits func(*device.Supply) bool) bool {
	return slices.ContainsFunc(v.d.Supplies, func(s device.Supply) bool { return s.Index == index && fits(&s) })
}

// nearEnd is the life left, in percent, that a "replace soon" stands for when
// the device gives no level (common practice, no source).
const nearEnd = 5

// amount makes the fact of how much of a supply is left.
func amount(fits func(*device.Supply) bool, noun string) func(*view) (sign, bool) {
	return func(v *view) (sign, bool) {
		s, p := v.lowest(fits)
		return remaining(noun, s, p)
	}
}

// remaining words a level that lowest found, if it did.
func remaining(noun string, s *device.Supply, percent float64) (sign, bool) {
	if s == nil {
		return sign{}, false
	}
	return graded(percent, "%s: %s left", called(s, noun), percentWords(percent))
}

// colorWeight is the level, in percent, that a colour at its end stands for
// where the black is not low: what is printed in black is as dark as ever
// (common practice, no source).
const colorWeight = 15

// darkness makes the fact of how much is left of what makes the print dark: the
// lowest supply, and where the black is well filled, a low colour counts less.
func darkness(fits func(*device.Supply) bool, noun string) func(*view) (sign, bool) {
	return func(v *view) (sign, bool) {
		s, p := v.lowest(fits)
		black, full := v.lowest(func(x *device.Supply) bool { return fits(x) && isBlack(string(x.Colorant)) })
		if black != nil && full > 20 && p < colorWeight {
			return graded(colorWeight, "%s: %s left, and black at %s", called(s, noun), percentWords(p), percentWords(full))
		}
		return remaining(noun, s, p)
	}
}

// called is a supply by its own name, else by what it is.
func called(s *device.Supply, noun string) string {
	if s.Name != "" {
		return string(s.Name)
	}
	if s.Colorant != "" {
		return string(s.Colorant) + " " + noun
	}
	return noun
}

func percentWords(p float64) string { return number(p) + "%" }

// number writes a number with at most one decimal.
func number(f float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", f), ".0") }

// trayName is a tray by its own name, else by its number.
func trayName(t *device.Tray) string {
	if t.Name != "" {
		return string(t.Name)
	}
	if t.Index > 0 {
		return fmt.Sprintf("tray %d", t.Index)
	}
	return "a tray"
}

// mediaWords describes what a tray is set to.
func mediaWords(t *device.Tray) string {
	var w []string
	if t.Media.Type != "" {
		w = append(w, string(t.Media.Type))
	}
	if t.Media.WeightG != nil {
		w = append(w, number(*t.Media.WeightG)+" g/m²")
	}
	if len(w) == 0 {
		return string(t.Media.Name)
	}
	return strings.Join(w, ", ")
}

// sheets returns the trays that hold cut sheets.
func (v *view) sheets() []*device.Tray {
	var out []*device.Tray
	for i := range v.d.Trays {
		if k := v.d.Trays[i].Kind; k != "continuousRoll" && k != "continuousFanFold" {
			out = append(out, &v.d.Trays[i])
		}
	}
	return out
}

// life count in pages; false when it is not known or counts something else.
func (v *view) pages() (int64, bool) {
	c := v.d.Counters.Life
	if c.Value == nil || c.Unit != "" && !device.CountsPages(string(c.Unit)) {
		return 0, false
	}
	return *c.Value, true
}

// model returns what the site file knows of the device's model; nil: nothing.
func (v *view) model() *device.Model {
	if v.catalogue == nil || v.d == nil {
		return nil
	}
	if m, ok := v.catalogue.Model(string(v.d.MakeModel)); ok {
		return &m
	}
	return nil
}
