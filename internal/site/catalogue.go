package site

import (
	"fmt"
	"math"
	"strings"

	"printround/internal/device"
)

// Bounds of what a catalogue states: far beyond any real part, and small enough
// to catch a number in the wrong unit.
const (
	maxDiameterMM  = 500
	maxToleranceMM = 50
	maxPages       = 100_000_000
	maxKeepDays    = 36_525
)

// defaultToleranceMM is the half width within which a measured repeat interval
// counts as that of a roller: reading a ruler, and paper that shrinks in the
// fuser (common practice, no source).
const defaultToleranceMM = 1.0

func (c *checker) report(raw *rawReport) Report {
	c.whole("report.keep_days", raw.KeepDays, 1, maxKeepDays)
	r := Report{Dir: c.place("report.dir", raw.Dir), History: c.place("report.history", raw.History)}
	if raw.KeepDays != nil {
		r.KeepDays = *raw.KeepDays
	}
	return r
}

// place is a path in the file; a relative one starts beside the file.
func (c *checker) place(where string, s *string) string {
	if s == nil {
		return ""
	}
	if strings.TrimSpace(*s) == "" || strings.ContainsRune(*s, 0) {
		c.fail(where, "%s: wanted a path", where[strings.LastIndexByte(where, '.')+1:])
		return ""
	}
	return c.beside(*s)
}

func (c *checker) catalogue(raw *rawFile) device.Catalogue {
	var k device.Catalogue
	seen := map[string]bool{}
	for i := range raw.Parts {
		where := fmt.Sprintf("part[%d]", i)
		p := c.part(where, &raw.Parts[i])
		c.once(where, seen, "part", p.Model, p.Supply, p.Colorant)
		k.Parts = append(k.Parts, p)
	}
	for i := range raw.Models {
		where := fmt.Sprintf("model[%d]", i)
		m := c.model(where, &raw.Models[i])
		c.once(where, seen, "model", m.Match)
		k.Models = append(k.Models, m)
	}
	return k
}

// once refuses an entry that is there already: which of the two holds would be
// anybody's guess.
func (c *checker) once(where string, seen map[string]bool, what string, words ...string) {
	id := strings.ToLower(what + "\x00" + strings.Join(words, "\x00"))
	if seen[id] {
		c.fail(where, "the %s for %s is there twice", what, strings.TrimSpace(strings.Join(words, " ")))
	}
	seen[id] = true
}

func (c *checker) part(where string, raw *rawPart) device.CataloguePart {
	p := device.CataloguePart{
		Model:    c.pattern(where+".model", raw.Model),
		Supply:   c.text(where+".supply", raw.Supply),
		Colorant: strings.ToLower(c.text(where+".colorant", raw.Colorant)),
		Number:   c.text(where+".number", raw.Number),
		Name:     c.text(where+".name", raw.Name),
	}
	if p.Supply == "" {
		c.fail(where, "a part without a supply: wanted what it replaces, such as toner, opc, fuser or feed roller kit")
	}
	if p.Number == "" && p.Name == "" {
		c.fail(where, "a part with neither number nor name says nothing")
	}
	return p
}

// pattern is a make and model; only its end may be left open.
func (c *checker) pattern(where, s string) string {
	s = c.text(where, s)
	if i := strings.IndexByte(s, '*'); i >= 0 && i < len(s)-1 {
		c.fail(where, "%q: a * is allowed at the end only", s)
	}
	return s
}

func (c *checker) model(where string, raw *rawModel) device.Model {
	m := device.Model{Match: c.pattern(where+".match", raw.Match)}
	if m.Match == "" {
		c.fail(where, "a model without match: wanted its make and model")
	}
	c.whole(where+".pages_per_month", raw.PagesPerMonth, 1, maxPages)
	if raw.PagesPerMonth != nil {
		m.PagesPerMonth = *raw.PagesPerMonth
	}
	for i := range raw.Rollers {
		m.Rollers = append(m.Rollers, c.roller(fmt.Sprintf("%s.roller[%d]", where, i), &raw.Rollers[i]))
	}
	seen := map[string]bool{}
	for i := range raw.Services {
		at := fmt.Sprintf("%s.service[%d]", where, i)
		s := c.service(at, &raw.Services[i])
		c.once(at, seen, "service", s.Part)
		m.Services = append(m.Services, s)
	}
	return m
}

func (c *checker) roller(where string, raw *rawRoller) device.Roller {
	r := device.Roller{
		Name: c.text(where+".name", raw.Name), Part: c.text(where+".part", raw.Part),
		DiameterMM:  c.length(where, "diameter_mm", raw.DiameterMM, maxDiameterMM),
		ToleranceMM: defaultToleranceMM,
	}
	if r.Name == "" {
		c.fail(where, "a roller without a name")
	}
	if raw.ToleranceMM != nil {
		r.ToleranceMM = c.length(where, "tolerance_mm", raw.ToleranceMM, maxToleranceMM)
	}
	return r
}

// length is a length in millimetres that has to be stated.
func (c *checker) length(where, key string, v *float64, most float64) float64 {
	switch {
	case v == nil:
		c.fail(where, "a roller without %s", key)
	case math.IsNaN(*v) || *v <= 0 || *v > most:
		c.fail(where+"."+key, "%s = %v: wanted more than 0 and at most %v mm", key, *v, most)
	default:
		return *v
	}
	return 0
}

func (c *checker) service(where string, raw *rawService) device.ServiceInterval {
	s := device.ServiceInterval{Part: c.text(where+".part", raw.Part)}
	if s.Part == "" {
		c.fail(where, "a service without a part, such as fuser or feed roller kit")
	}
	if raw.Pages == nil {
		c.fail(where, "a service without pages: wanted the life of the part in pages")
		return s
	}
	c.whole(where+".pages", raw.Pages, 1, maxPages)
	s.Pages = *raw.Pages
	return s
}
