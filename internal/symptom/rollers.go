package symptom

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/media"
)

// class is a row of rollers.tsv: a kind of part and the interval usual for it.
type class struct {
	technology, cause, name, part string
	low, high                     float64
}

// commonPractice marks what no source is behind.
const commonPractice = "common practice"

// siteFile marks what the site file says.
const siteFile = "site file"

// Expected lists the intervals to expect: of the device's model when the
// catalogue has it, of every model of the catalogue when no device is given,
// else the general classes of its kind of printer.
func Expected(d *device.Device, c *device.Catalogue) []device.RollerMatch {
	out := []device.RollerMatch{}
	for _, m := range models(d, c) {
		for _, r := range m.Rollers {
			if r.DiameterMM > 0 {
				out = append(out, matchOf(m, r))
			}
		}
	}
	if len(out) > 0 {
		return out
	}
	v := &view{d: d}
	for _, k := range known().rollers {
		if slices.ContainsFunc(v.profilesOf(), func(p profile) bool { return p.class == k.technology }) {
			out = append(out, device.RollerMatch{
				Part: device.Text(k.part), Name: k.name, LowMM: k.low, HighMM: k.high, Turns: 1, Source: commonPractice,
				Technology: device.Text(classWords(k.technology)),
			})
		}
	}
	return out
}

// models returns the entries of the catalogue that a device, or nobody in
// particular, may be.
func models(d *device.Device, c *device.Catalogue) []*device.Model {
	if c == nil {
		return nil
	}
	if d != nil {
		if m, ok := c.Model(string(d.MakeModel)); ok {
			return []*device.Model{&m}
		}
		return nil
	}
	var out []*device.Model
	for i := range c.Models {
		out = append(out, &c.Models[i])
	}
	return out
}

func matchOf(m *device.Model, r device.Roller) device.RollerMatch {
	s := math.Pi * r.DiameterMM
	return device.RollerMatch{
		Model: device.Text(m.Match), Part: device.Text(r.Part), Name: r.Name, LowMM: round2(s - r.ToleranceMM), HighMM: round2(s + r.ToleranceMM),
		Turns: 1, Source: siteFile, DiameterMM: &r.DiameterMM,
	}
}

// Match fills what the interval fits: parts of the catalogue first, and the
// general classes when the catalogue has none for the device; and what the
// lengths of paper in its trays show of it.
func Match(r *device.Repeat, d *device.Device, c *device.Catalogue) {
	expected := Expected(d, c)
	bySite := len(expected) > 0 && expected[0].Source == siteFile
	for _, e := range expected {
		if fit, ok := fits(r, e); ok {
			r.Matches = append(r.Matches, fit)
		}
	}
	slices.SortStableFunc(r.Matches, func(a, b device.RollerMatch) int {
		return cmp.Or(cmp.Compare(a.Turns, b.Turns), cmp.Compare(off(a), off(b)), cmp.Compare(a.HighMM-a.LowMM, b.HighMM-b.LowMM))
	})
	if once := slices.IndexFunc(r.Matches, func(m device.RollerMatch) bool { return m.Turns > 1 }); once > 0 {
		r.Matches = r.Matches[:once] // no mark need have been missed
	}
	switch {
	case !bySite:
		r.Notes = append(r.Notes, "The site file has no roller table for this model: the parts named are general classes whose ranges overlap (common practice, no source). They say where to look; the maker's table says what it is.")
	case len(r.Matches) == 0:
		r.Notes = append(r.Notes, "No part that the site file lists for the model has this interval. Measure again over more marks, or the table lacks a part.")
	case len(r.Matches) > 1:
		r.Notes = append(r.Notes, "More than one part fits within the uncertainty: measure over more marks to tell them apart.")
	}
	pages(r, d)
}

// off is how far a match lies from what is expected; 0 for a class.
func off(m device.RollerMatch) float64 {
	if m.OffMM == nil {
		return 0
	}
	return math.Abs(*m.OffMM)
}

// fits compares the interval with what one part leaves, and with two turns of
// it for when every second mark was missed.
func fits(r *device.Repeat, e device.RollerMatch) (device.RollerMatch, bool) {
	turns := 1
	if e.Source == siteFile {
		turns = 2
	}
	for n := 1; n <= turns; n++ {
		k := float64(n)
		if r.IntervalMM < k*e.LowMM-r.PlusMinusMM || r.IntervalMM > k*e.HighMM+r.PlusMinusMM {
			continue
		}
		e.Turns = n
		if e.DiameterMM != nil {
			off := round2(r.IntervalMM - k*math.Pi**e.DiameterMM)
			e.OffMM = &off
		}
		return e, true
	}
	return e, false
}

// pages tells for each length of paper what it shows of the interval.
func pages(r *device.Repeat, d *device.Device) {
	shown, roll := lengths(d)
	hidden := 0
	for _, p := range shown {
		turns := p.LengthMM / r.IntervalMM
		p.Least, p.Most = int(turns), int(turns)+1
		p.Shows = p.Least >= 2
		if turns < 1 {
			hidden++
		}
		r.Pages = append(r.Pages, p)
	}
	switch {
	case roll:
		r.Notes = append(r.Notes, "On a roll the interval goes on from page to page: measure on one uncut length.")
	case hidden == len(shown):
		r.Notes = append(r.Notes, fmt.Sprintf("%s mm is longer than the sheets named: no page has two marks, and across two sheets the gap between them counts too. Measure on a longer size or on a banner.", two(r.IntervalMM)))
	case hidden > 0:
		r.Notes = append(r.Notes, "On the sizes that are shorter than the interval it cannot be seen: use the longest one.")
	}
	if !roll {
		r.Notes = append(r.Notes, "Lengths are those of sheets that travel short edge first; a sheet that travels long edge first shows less.")
	}
}

// lengths lists the lengths of the sheets in the trays, long edge along the
// travel, or A4 and Letter when none is known; roll is set when there are only
// rolls.
func lengths(d *device.Device) (out []device.RepeatPage, roll bool) {
	rolls := 0
	if d != nil {
		for i := range d.Trays {
			t := &d.Trays[i]
			if t.Kind == "continuousRoll" || t.Kind == "continuousFanFold" {
				rolls++
				continue
			}
			s, ok := trayLength(t)
			if !ok {
				continue
			}
			p := device.RepeatPage{Media: s.Name, LengthMM: round2(math.Max(s.Width, s.Length))}
			if !slices.Contains(out, p) {
				out = append(out, p)
			}
		}
		if rolls > 0 && rolls == len(d.Trays) {
			return nil, true
		}
	}
	if out == nil {
		for _, n := range []string{"iso_a4_210x297mm", "na_letter_8.5x11in"} {
			s, _ := media.ByName(n) // both are in the registry
			out = append(out, device.RepeatPage{Media: s.Name, LengthMM: round2(math.Max(s.Width, s.Length))})
		}
	}
	return out, false
}

// trayLength is the size of the sheets in a tray: by its name, else by its
// edges.
func trayLength(t *device.Tray) (media.Size, bool) {
	if s, ok := media.ByName(string(t.Media.Name)); ok {
		return s, true
	}
	m := &t.Media
	if m.WidthMM == nil || m.LengthMM == nil || *m.WidthMM <= 0 || *m.LengthMM <= 0 {
		return media.Size{}, false
	}
	if s, ok := media.BySize(*m.WidthMM, *m.LengthMM); ok {
		return s, true
	}
	return media.Size{Name: fmt.Sprintf("%s x %s mm", two(*m.WidthMM), two(*m.LengthMM)), Width: *m.WidthMM, Length: *m.LengthMM}, true
}

// Widest range of intervals that a mark without a known part may have, in
// millimetres (common practice, no source).
const (
	leastKnown = 20
	mostKnown  = 315
)

// intervalEvidence is the likelihood ratio of the measured interval for a
// cause: how dense the intervals of its parts are there, against intervals
// spread evenly over what occurs.
func (v *view) intervalEvidence(code, technology string) (words string, ratio float64, ok bool) {
	r := v.interval
	if r == nil {
		return "", 0, false
	}
	if m := v.model(); m != nil && len(m.Rollers) > 0 {
		return v.bySiteFile(m, code)
	}
	density, rows := 0.0, 0
	for _, k := range known().rollers {
		if k.cause != code || technology != "" && k.technology != technology {
			continue
		}
		rows++
		if r.IntervalMM >= k.low-r.PlusMinusMM && r.IntervalMM <= k.high+r.PlusMinusMM {
			density += 1 / (k.high - k.low)
			words = fmt.Sprintf("%s mm lies in what is usual for a %s (%s to %s mm)", two(r.IntervalMM), k.name, two(k.low), two(k.high))
		}
	}
	if rows == 0 {
		return "", 0, false
	}
	if density == 0 {
		return fmt.Sprintf("%s mm is not usual for such a part", two(r.IntervalMM)), misfitClass, true
	}
	return words, min(density/float64(rows)*(mostKnown-leastKnown), bestClass), true
}

// What an interval that a part does not have, and one that it has exactly, are
// worth at most: measurements and tables can be wrong, and the general classes
// are wide (common practice, no source).
const (
	misfit      = 0.05
	bestFit     = 50
	misfitClass = 0.2
	bestClass   = 5
)

func (v *view) bySiteFile(m *device.Model, code string) (words string, ratio float64, ok bool) {
	r := v.interval
	for _, roller := range m.Rollers {
		if roller.DiameterMM <= 0 || causeOfRoller(roller, v) != code {
			continue
		}
		s := math.Pi * roller.DiameterMM
		wide := math.Hypot(roller.ToleranceMM, r.PlusMinusMM) / 2 // both are about two standard deviations
		off := (r.IntervalMM - s) / wide
		fit := math.Exp(-off*off/2) / (wide * math.Sqrt(2*math.Pi)) * (mostKnown - leastKnown)
		fit = min(max(fit, misfit), bestFit)
		if !ok || fit > ratio {
			words = fmt.Sprintf("one turn of the %s is %s mm (site file), measured %s mm", roller.Name, two(s), two(r.IntervalMM))
			ratio, ok = fit, true
		}
	}
	return words, ratio, ok
}

// rollerWords tell by the words of a roller's name and part which cause it
// stands for; the first that fits decides.
var rollerWords = []struct {
	words []string
	cause string
}{
	{[]string{"develop", "supply roller", "toner"}, "toner-cartridge"},
	{[]string{"charge", "charging"}, "charger"},
	{[]string{"transfer", "belt"}, "transfer"},
	{[]string{"fus", "fix", "pressure", "heat roller"}, "fuser"},
	{[]string{"drum", "photoconductor", "opc", "imaging"}, "drum"},
	{[]string{"platen"}, "platen"},
	{[]string{"feed", "regist", "pick", "exit", "roller"}, "feed-rollers"},
}

func causeOfRoller(r device.Roller, v *view) string {
	for _, text := range []string{r.Name, r.Part} {
		text = strings.ToLower(text)
		for _, w := range rollerWords {
			if !slices.ContainsFunc(w.words, func(x string) bool { return strings.Contains(text, x) }) {
				continue
			}
			if w.cause == "feed-rollers" && v.profilesOf()[0].class == "ink" {
				return "rollers-dirty"
			}
			return w.cause
		}
	}
	return ""
}
