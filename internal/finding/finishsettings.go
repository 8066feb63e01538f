package finding

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// defaultFinishing sees finishing that every job asks for and that is not there
// or has nothing left to work with.
func (j *judge) defaultFinishing() {
	def := &j.d.Defaults
	for _, f := range def.Finishings {
		kind := finishingKind(f)
		if kind == "" {
			continue
		}
		why, object, value := j.lacks(f, kind)
		if why == "" {
			continue
		}
		j.conclusion(FinishingUnavailable, device.ImpactImpaired, fmt.Sprintf("default finishing is %s, and %s", f, why),
			"every job that says nothing asks for it", device.Subunit{Group: "finDevice"},
			device.Evidence{Source: def.Source, Object: "finishings-default", Value: f},
			device.Evidence{Source: device.SourceDerived, Object: object, Value: value})
	}
}

// finishingKind is the FinDeviceTypeTC label of what does a finishing (PWG
// 5100.1); empty for one that needs no finisher, or that is none.
func finishingKind(f string) string {
	for _, k := range []struct{ prefix, kind string }{
		{"staple", "stitcher"}, {"saddle-stitch", "stitcher"}, {"edge-stitch", "stitcher"}, {"booklet", "stitcher"},
		{"punch", "puncher"}, {"fold", "folder"}, {"trim", "trimmer"}, {"bind", "binder"}, {"cover", "inserter"},
	} {
		if strings.HasPrefix(f, k.prefix) {
			return k.kind
		}
	}
	return ""
}

// lacks says why a finishing cannot be done, empty when it can or when nothing
// tells.
func (j *judge) lacks(f, kind string) (why, object, value string) {
	d := j.d
	if len(d.Defaults.CanFinish) > 0 && !slices.Contains(d.Defaults.CanFinish, f) {
		return "it is not offered", "finishings-supported", wordList(d.Defaults.CanFinish)
	}
	if len(d.Finishers) == 0 {
		return "", "", ""
	}
	there := false
	var kinds []string
	for i := range d.Finishers {
		x := &d.Finishers[i]
		kinds = append(kinds, string(x.Kind))
		if string(x.Kind) != kind {
			continue
		}
		if x.Present == "notPresent" || x.Present == "off" {
			continue
		}
		there = true
		for k := range x.Supplies {
			s := &x.Supplies[k]
			if v, ok := s.Level.Value(); ok && v == 0 && s.Level.Known() && s.Role != device.Receptacle {
				name := string(cmp.Or(s.Name, s.Kind))
				return "nothing is left of " + name, "level of " + name, "0"
			}
		}
	}
	if !there && kind != "inserter" {
		return "no finisher does it", "finDeviceType", strings.Join(kinds, ", ")
	}
	return "", "", ""
}

// punching sees punch patterns of the norm that the device has not got: those of
// its punches (finDeviceAttributeTable, punchPattern, RFC 3806) or of
// finishings-supported (PWG 5100.1).
func (j *judge) punching(n *device.Norm) {
	have, known := j.punchPatterns()
	for _, want := range n.Punch {
		switch {
		case slices.ContainsFunc(have, func(h string) bool { return strings.EqualFold(h, want) }):
		case !known(want):
			j.gaps = append(j.gaps, fmt.Sprintf("%s: whether %s is there is not told", PunchPattern, want))
		default:
			value := strings.Join(have, ", ")
			if value == "" {
				value = "none"
			}
			j.conclusion(PunchPattern, device.ImpactDue, "does not punch "+want, "the norm wants that pattern", device.Subunit{Group: "finDevice"},
				device.Evidence{Source: device.SourceDerived, Object: "punchPattern, finishings-supported", Value: value})
		}
	}
}

// punchPatterns lists the patterns that the device says it has. known reports
// whether it would say so of a pattern: a label of FinPunchPatternTC is told by
// its punches, a keyword by finishings-supported.
func (j *judge) punchPatterns() (have []string, known func(string) bool) {
	d := j.d
	told, punches := false, 0
	for i := range d.Finishers {
		f := &d.Finishers[i]
		if f.Kind != "puncher" {
			continue
		}
		punches++
		if p, ok := f.Attributes["punchPattern"]; ok && p != "unknown" && p != "other" {
			told = true
			have = append(have, strings.Split(strings.ReplaceAll(p, ";", ","), ",")...)
		}
	}
	for i := range have {
		have[i] = strings.TrimSpace(have[i])
	}
	for _, f := range d.Defaults.CanFinish {
		if strings.HasPrefix(f, "punch") {
			have = append(have, f)
		}
	}
	none := punches == 0 && len(d.Finishers) > 0 // it lists its finishers, and no punch is among them
	return have, func(pattern string) bool {
		if strings.HasPrefix(pattern, "punch") {
			return len(d.Defaults.CanFinish) > 0
		}
		return told || none
	}
}
