package color

import (
	"fmt"
	"regexp"
	"strings"

	"printround/internal/cgats"
	"printround/internal/device"
)

// stating are keywords that say how a page was measured (names from memory;
// instruments differ).
var stating = []string{
	"MEASUREMENT_SOURCE", "MEASUREMENT_CONDITION", "MEASUREMENT_CONDITIONS", "MEASUREMENT_MODE", "WEIGHTING_FUNCTION",
	"ILLUMINANT", "ILLUMINATION", "ILLUMINATION_NAME", "OBSERVER", "OBSERVER_ANGLE", "FILTER", "PHYSICAL_FILTER", "COMPUTATIONAL_PARAMETER",
}

var (
	daylight   = regexp.MustCompile(`(?i)\bD(50|55|65|75)\b`)
	illuminant = regexp.MustCompile(`(?i)\billumina(?:nt|tion)(?:_?name)?[\s=:,]+([A-F]\d{0,2})\b`)
	observer   = regexp.MustCompile(`(?i)\bobserver(?:_?angle)?[\s=:,]+(2|10)\b|\b(2|10)\s*(?:°|deg)`)
	mode       = regexp.MustCompile(`(?i)\bM([0-3])\b`)
	whiteBase  = regexp.MustCompile(`(?i)\bwhite_?base[\s=:,]+(\w+)`)
	filter     = regexp.MustCompile(`(?i)\b(?:physical_)?filter[\s=:,]+(\w+)`)
)

// describe takes what the heads of the tables say; the first to say it counts.
func (s *Source) describe(tables []*cgats.Table) {
	keep := func(to *device.Text, names ...string) {
		for _, t := range tables {
			for _, n := range names {
				if v, ok := t.Keyword(n); ok && *to == "" {
					*to = device.CleanTo(v, 200)
				}
			}
		}
	}
	keep(&s.Instrument, "INSTRUMENTATION", "INSTRUMENT")
	keep(&s.Created, "CREATED")
	keep(&s.Material, "MATERIAL")
	keep(&s.Conditions.Backing, "SAMPLE_BACKING")

	var said []string
	for _, t := range tables {
		for _, k := range t.Keywords {
			for _, n := range stating {
				if k.Name == n {
					said = append(said, n+" "+k.Value)
				}
			}
		}
	}
	s.Conditions.read(strings.Join(said, "\n"))
}

func (c *Conditions) read(said string) {
	if m := daylight.FindStringSubmatch(said); m != nil {
		c.Illuminant = device.Text("D" + m[1])
	} else if m := illuminant.FindStringSubmatch(said); m != nil {
		c.Illuminant = device.Text(strings.ToUpper(m[1]))
	}
	if m := observer.FindStringSubmatch(said); m != nil {
		c.Observer = device.Text(m[1] + m[2])
	}
	if m := mode.FindStringSubmatch(said); m != nil {
		c.Mode = device.Text("M" + m[1])
	}
	if m := filter.FindStringSubmatch(said); m != nil && !strings.EqualFold(m[1], "no") && !strings.EqualFold(m[1], "none") {
		c.Filter = device.Text(m[1])
	}
	if m := whiteBase.FindStringSubmatch(said); m != nil {
		c.WhiteBase = "absolute"
		if strings.EqualFold(m[1], "paper") {
			c.WhiteBase = "paper"
		}
	}
}

// conditionNotes say where the two sides were not measured alike.
func conditionNotes(measured, reference *Source) []string {
	var out []string
	m, r := measured.Conditions, reference.Conditions
	switch {
	case m.Illuminant == "":
		out = append(out, "The readings do not say under which illuminant they are; D50 is taken, as is usual for print.")
	case m.Illuminant != "D50":
		out = append(out, fmt.Sprintf("The readings are under %s, not D50: some of the differences come from that alone.", m.Illuminant))
	}
	if m.Observer == "10" {
		out = append(out, "The readings are for the observer of 10 degrees, not 2: some of the differences come from that alone.")
	}
	if m.WhiteBase == "paper" {
		out = append(out, "The readings are relative to the paper: nothing is known of the paper itself.")
	}
	if reference.Kind == FromPage {
		return out
	}
	for _, x := range []struct {
		what string
		m, r device.Text
	}{
		{"illuminant", m.Illuminant, r.Illuminant},
		{"observer", m.Observer, r.Observer},
		{"measurement condition", m.Mode, r.Mode},
		{"white base", m.WhiteBase, r.WhiteBase},
		{"filter", m.Filter, r.Filter},
		{"backing", device.Text(fold(m.Backing)), device.Text(fold(r.Backing))},
	} {
		if x.m != "" && x.r != "" && x.m != x.r {
			out = append(out, fmt.Sprintf("Readings and reference differ in %s (%s and %s): some of the differences come from that alone.", x.what, x.m, x.r))
		}
	}
	return out
}
