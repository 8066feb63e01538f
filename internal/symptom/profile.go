package symptom

import (
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/finding"
)

// profile is one kind of printer that a device can be: a row of profiles.tsv.
type profile struct {
	class, feed, kind string
	share             float64 // of the printers that nothing is known of
	words             string
}

// kinds tells the ways of thermal marking apart (PrtMarkerMarkTechTC).
var kinds = map[string]string{"thermalTransfer": "transfer", "thermalDiffusion": "transfer", "thermalSensitive": "direct"}

// ribbons are supplies (PrtMarkerSuppliesTypeTC) that only devices with a
// ribbon have.
var ribbons = []string{"inkRibbon", "ribbonWax"}

// profilesOf returns the profiles that nothing known of the device
// contradicts, their shares summing to 1. A device whose technology has no
// class has one profile without a class: only what is true of all printers is
// said of it.
func (v *view) profilesOf() []profile {
	if v.d == nil {
		return spread(known().profiles)
	}
	class := finding.Class(v.d)
	label := string(v.d.Technology)
	if class == "" && label != "" && label != "other" && label != "unknown" {
		return []profile{{feed: v.feed(), share: 1}}
	}
	kind := kinds[label]
	ribbon := slices.ContainsFunc(v.d.Supplies, func(s device.Supply) bool { return slices.Contains(ribbons, string(s.Kind)) })
	if ribbon && kind == "" {
		kind = "transfer"
	}
	fits := func(p profile) bool {
		switch {
		case class != "" && p.class != class:
		case class == "" && ribbon && p.class != "thermal" && p.class != "impact":
		case v.feed() != "" && p.feed != v.feed():
		case kind != "" && p.kind != "" && p.kind != kind:
		default:
			return true
		}
		return false
	}
	var out []profile
	for _, p := range known().profiles {
		if fits(p) {
			out = append(out, p)
		}
	}
	if out == nil && class != "" { // a combination that the table does not have
		return []profile{{class: class, feed: v.feed(), kind: kind, share: 1, words: classWords(class)}}
	}
	if out == nil {
		return []profile{{feed: v.feed(), share: 1}}
	}
	return spread(out)
}

// spread makes shares that sum to 1.
func spread(in []profile) []profile {
	out := slices.Clone(in)
	sum := 0.0
	for _, p := range out {
		sum += p.share
	}
	for i := range out {
		out[i].share /= sum
	}
	return out
}

// feed is roll or sheet when the trays tell, else empty. A roll may be loaded
// beside cut sheets: then both are possible.
func (v *view) feed() string {
	rolls, sheets := 0, 0
	for i := range v.d.Trays {
		switch k := v.d.Trays[i].Kind; k {
		case "", "other", "unknown":
		case "continuousRoll", "continuousFanFold":
			rolls++
		default:
			sheets++
		}
	}
	switch {
	case rolls > 0 && sheets == 0:
		return "roll"
	case sheets > 0 && rolls == 0:
		return "sheet"
	}
	return ""
}

func classWords(class string) string {
	for _, p := range known().profiles {
		if p.class == class {
			return p.words
		}
	}
	return ""
}

// technologyWords says what kind of printer a set of profiles is.
func technologyWords(ps []profile) string {
	var words []string
	for _, p := range ps {
		if p.words != "" && !slices.Contains(words, p.words) {
			words = append(words, p.words)
		}
	}
	return strings.Join(words, " or ")
}

// possible reports whether a cause can be at work in a profile of the device.
func (v *view) possible(c *cause, p profile) bool {
	switch {
	case len(c.Class) > 0 && !slices.Contains(c.Class, p.class):
		return false
	case c.Feed != "" && p.feed != "" && c.Feed != p.feed:
		return false
	case c.Kind != "" && p.kind != "" && c.Kind != p.kind:
		return false
	}
	for _, need := range c.Needs {
		if has, told := v.trait(need); told && !has {
			return false
		}
	}
	return true
}

// trait tells whether the device has something that a cause needs, as far as
// its facts tell.
func (v *view) trait(name string) (has, told bool) {
	switch {
	case v.d == nil:
		return false, false
	case name == "answering":
		return v.answers, true
	case !v.answers:
		return false, false
	}
	switch name {
	case "color":
		return v.color()
	case "duplex":
		for _, p := range v.d.Paths {
			if strings.Contains(string(p.Kind), "Duplex") {
				return true, true
			}
		}
		return false, len(v.d.Paths) > 0
	case "black-only":
		has, told = v.color()
		return !has, told
	case "stapler", "puncher":
		return v.finisher(name) != nil, len(v.d.Finishers) > 0
	case "no-stapler", "no-puncher":
		return v.finisher(strings.TrimPrefix(name, "no-")) == nil, len(v.d.Finishers) > 0
	}
	return false, false
}

// color tells from the colorants of the supplies whether the device prints in
// colour. Black alone is told only when every toner and ink names its colour.
func (v *view) color() (has, told bool) {
	named, all := 0, 0
	for i := range v.d.Supplies {
		s := &v.d.Supplies[i]
		if !marks(s) {
			continue
		}
		all++
		switch c := strings.ToLower(string(s.Colorant)); {
		case c == "" || c == "none" || c == "unknown" || c == "other":
		case isBlack(c):
			named++
		default:
			return true, true
		}
	}
	return false, named > 0 && named == all
}

// marks reports a supply that puts colour on the sheet.
func marks(s *device.Supply) bool {
	return s.Role != device.Receptacle && slices.Contains([]string{"toner", "matte toner", "ink", "matte ink", "solid ink", "ribbon", "wax ribbon"}, finding.Kind(s))
}

func isBlack(colorant string) bool { return strings.Contains(strings.ToLower(colorant), "black") }

// finisher returns the device that staples or punches. The kinds are those of
// FinDeviceTypeTC (RFC 3806): stitcher staples.
func (v *view) finisher(what string) *device.Finisher {
	kinds := map[string][]string{"stapler": {"stitcher"}, "puncher": {"puncher", "perforator"}}[what]
	for i := range v.d.Finishers {
		if slices.Contains(kinds, string(v.d.Finishers[i].Kind)) {
			return &v.d.Finishers[i]
		}
	}
	return nil
}
