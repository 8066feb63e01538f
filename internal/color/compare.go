package color

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"printround/internal/colorimetry"
	"printround/internal/device"
)

// Schema names the form of a comparison in JSON.
const Schema = "printround.color/1"

// Verdict of a comparison.
type Verdict string

// Verdicts.
const (
	Within    Verdict = "within"
	Beyond    Verdict = "beyond"
	Undecided Verdict = "undecided" // too few patches
)

// Bases of a difference.
const (
	AsMeasured = "as measured"
	OnPaper    = "on paper" // both sides relative to their own paper
)

// Comparison is what was measured against what it should be.
type Comparison struct {
	Schema      string        `json:"schema"`
	Verdict     Verdict       `json:"verdict"`
	Beyond      []string      `json:"beyond"` // what is beyond tolerance
	Basis       string        `json:"basis"`  // of the judgement
	Measured    Source        `json:"measured"`
	Reference   Source        `json:"reference"`
	MatchedBy   string        `json:"matched_by"`
	Tolerances  Tolerances    `json:"tolerances"`
	Notes       []string      `json:"notes"`
	NotTold     []string      `json:"not_told"`
	Differences []Differences `json:"differences"`
	Paper       *Paper        `json:"paper"`
	Channels    []Channel     `json:"channels"`
	Grey        *Grey         `json:"grey"`
	Causes      []Cause       `json:"causes"`
	Patches     []Result      `json:"patches"`
	Missing     []string      `json:"missing"` // patches of the reference without a reading
	Extra       []string      `json:"extra"`   // readings that the reference does not know
}

// Lab is a CIELAB value relative to D50.
type Lab struct {
	L float64 `json:"l"`
	A float64 `json:"a"`
	B float64 `json:"b"`
}

// Result is one patch.
type Result struct {
	ID        string      `json:"id"`
	Name      device.Text `json:"name"`
	Readings  int         `json:"readings"`
	Reference Lab         `json:"reference"`
	Measured  Lab         `json:"measured"`
	DeltaEAB  float64     `json:"delta_e_ab"`
	DeltaE00  float64     `json:"delta_e_00"`
	PaperAB   *float64    `json:"on_paper_ab"` // nil: the paper is not known
	Paper00   *float64    `json:"on_paper_00"`
}

// Differences sums up one kind of difference over the patches.
type Differences struct {
	Metric string  `json:"metric"` // delta_e_ab or delta_e_00
	Basis  string  `json:"basis"`
	Count  int     `json:"count"`
	Mean   float64 `json:"mean"`
	P95    float64 `json:"p95"`
	Max    float64 `json:"max"`
	Worst  string  `json:"worst"` // patch
}

// Metrics.
const (
	MetricAB = "delta_e_ab"
	Metric00 = "delta_e_00"
)

// pair is a patch that was measured, in the order of the reference.
type pair struct {
	id        string
	name      device.Text
	role      role
	reference colorimetry.Lab
	measured  colorimetry.Lab // mean of its readings
	readings  int
	first     int // place of its first reading
	// on their papers; the same as above when a paper is not known
	refPaper, onPaper colorimetry.Lab
}

// comparison is a Comparison in the making.
type comparison struct {
	out   Comparison
	pairs []pair
	paper bool // both papers are known
}

// Compare compares a page with what it should be. It is an error when they have
// no patch in common.
func Compare(measured, reference *Set) (*Comparison, error) {
	m, err := match(measured, reference)
	if err != nil {
		return nil, err
	}
	c := &comparison{out: Comparison{
		Schema: Schema, Basis: AsMeasured, Measured: measured.Source, Reference: reference.Source, MatchedBy: m.by,
		Tolerances: TolerancesAgainst(reference.Source.Kind), Beyond: []string{}, NotTold: []string{}, Missing: []string{}, Extra: []string{},
		Differences: []Differences{}, Channels: []Channel{}, Causes: []Cause{},
		Notes: slices.Concat(measured.notes, reference.notes, conditionNotes(&measured.Source, &reference.Source)),
	}}
	if c.out.Notes == nil {
		c.out.Notes = []string{}
	}
	c.collect(measured, reference, m)
	c.relate()
	c.results()
	c.total()
	c.judgePaper()
	c.judgeChannels()
	c.judgeGrey()
	c.judge()
	c.diagnose()
	return &c.out, nil
}

// collect makes one value of the readings of each patch.
func (c *comparison) collect(measured, reference *Set, m matching) {
	if m.by == ByOrder {
		c.note("The readings have no names: they are taken in the order of %s, %s.", reference.Source.Name, some(reference))
	}
	roles := reference.roles()
	for r, readings := range m.of {
		p := &reference.Patches[r]
		if len(readings) == 0 {
			c.out.Missing = append(c.out.Missing, p.label())
			continue
		}
		all := make([]colorimetry.Lab, len(readings))
		for i, at := range readings {
			all[i] = measured.Patches[at].Lab
		}
		mean, spread := middle(all)
		if spread > widelySpread {
			c.note("%s was read %d times, up to ΔE00 %.1f from their mean: read it again.", p.label(), len(all), spread)
		}
		c.pairs = append(c.pairs, pair{id: p.label(), name: p.Name, role: roles[r], reference: p.Lab, measured: mean, readings: len(all), first: readings[0], refPaper: p.Lab, onPaper: mean})
	}
	for _, at := range m.extra {
		p := &measured.Patches[at]
		c.out.Extra = append(c.out.Extra, p.label())
	}
}

// widelySpread is how far readings of one patch may lie from their mean, ΔE00
// (common practice, no source).
const widelySpread = 1.5

// middle returns the mean of readings, and how far the furthest is from it.
func middle(all []colorimetry.Lab) (mean colorimetry.Lab, spread float64) {
	n := float64(len(all))
	for _, v := range all {
		mean.L += v.L / n
		mean.A += v.A / n
		mean.B += v.B / n
	}
	for _, v := range all {
		spread = max(spread, colorimetry.DeltaE2000(v, mean))
	}
	return mean, spread
}

// find returns the first pair with a kind of role, or nil.
func (c *comparison) find(k roleKind) *pair {
	for i := range c.pairs {
		if c.pairs[i].role.kind == k {
			return &c.pairs[i]
		}
	}
	return nil
}

// relate takes both sides relative to their own paper, when both papers are
// known: the eye takes the paper for white, and what the paper does to every
// patch is not the printer's doing.
func (c *comparison) relate() {
	w := c.find(paper)
	if w == nil {
		return
	}
	if !likePaper(w.measured) || !likePaper(w.reference) {
		c.note("%s is too dark or too strong in colour to be the paper, and is not taken for it.", w.id)
		w.role = role{}
		return
	}
	c.paper = true
	for i := range c.pairs {
		p := &c.pairs[i]
		p.refPaper, p.onPaper = p.reference.OnPaper(w.reference), p.measured.OnPaper(w.measured)
	}
	if c.out.Reference.Kind == FromPage {
		c.out.Basis = OnPaper
	}
}

// likePaper reports whether a colour can be that of a sheet: light, and no more
// than tinted.
func likePaper(v colorimetry.Lab) bool { return v.L >= 50 && v.Chroma() <= 60 }

func (c *comparison) results() {
	c.out.Patches = make([]Result, len(c.pairs))
	for i, p := range c.pairs {
		r := Result{
			ID: p.id, Name: p.name, Readings: p.readings, Reference: rounded(p.reference), Measured: rounded(p.measured),
			DeltaEAB: round(colorimetry.DeltaE(p.reference, p.measured)), DeltaE00: round(colorimetry.DeltaE2000(p.reference, p.measured)),
		}
		if c.paper {
			ab, d := round(colorimetry.DeltaE(p.refPaper, p.onPaper)), round(colorimetry.DeltaE2000(p.refPaper, p.onPaper))
			r.PaperAB, r.Paper00 = &ab, &d
		}
		c.out.Patches[i] = r
	}
}

// total sums up the differences. Relative to paper the paper itself is none.
func (c *comparison) total() {
	for _, basis := range []string{OnPaper, AsMeasured} {
		if basis == OnPaper && !c.paper {
			continue
		}
		for _, metric := range []string{Metric00, MetricAB} {
			var values []float64
			var ids []string
			for _, p := range c.pairs {
				if basis == OnPaper && p.role.kind == paper {
					continue
				}
				values, ids = append(values, p.difference(metric, basis)), append(ids, p.id)
			}
			if s, ok := colorimetry.Summarize(values); ok {
				c.out.Differences = append(c.out.Differences, Differences{metric, basis, s.Count, round(s.Mean), round(s.P95), round(s.Max), ids[s.Worst]})
			}
		}
	}
}

func (p *pair) difference(metric, basis string) float64 {
	a, b := p.reference, p.measured
	if basis == OnPaper {
		a, b = p.refPaper, p.onPaper
	}
	if metric == MetricAB {
		return colorimetry.DeltaE(a, b)
	}
	return colorimetry.DeltaE2000(a, b)
}

// Overall returns the differences in a metric on a basis, nil when they are not
// known.
func (c *Comparison) Overall(metric, basis string) *Differences {
	for i := range c.Differences {
		if d := &c.Differences[i]; d.Metric == metric && d.Basis == basis {
			return d
		}
	}
	return nil
}

// judge says what of the whole is beyond tolerance, after the parts have said
// theirs, and gives the verdict.
func (c *comparison) judge() {
	t := &c.out.Tolerances
	if d := c.out.Overall(Metric00, c.out.Basis); d != nil {
		for _, x := range []struct {
			what      string
			is, limit float64
		}{{"mean", d.Mean, t.Mean}, {"95th percentile", d.P95, t.P95}, {"largest", d.Max, t.Max}} {
			if x.is > x.limit {
				c.beyond("%s ΔE00 %s, tolerance %g", x.what, above(x.is, x.limit, 1), x.limit)
			}
		}
		if d.Count < fewForP95 && len(c.pairs) >= fewPatches {
			c.untold("With %s the 95th percentile is the largest of them.", device.Counted(d.Count, "patch", "patches"))
		}
	}
	switch {
	case len(c.pairs) < fewPatches:
		c.out.Verdict = Undecided
		c.untold("%s: too few to judge a page by; %d are the least.", device.Counted(len(c.pairs), "patch", "patches"), fewPatches)
	case len(c.out.Beyond) > 0:
		c.out.Verdict = Beyond
	default:
		c.out.Verdict = Within
	}
}

// above writes a value with as few decimals, least or more, as show that it is
// above the limit.
func above(v, limit float64, least int) string {
	s := ""
	for decimals := least; decimals < 3; decimals++ {
		s = strconv.FormatFloat(v, 'f', decimals, 64)
		if shown, err := strconv.ParseFloat(s, 64); err == nil && shown > limit {
			break
		}
	}
	return s
}

func (c *comparison) note(format string, args ...any) {
	c.out.Notes = append(c.out.Notes, fmt.Sprintf(format, args...))
}

func (c *comparison) untold(format string, args ...any) {
	c.out.NotTold = append(c.out.NotTold, fmt.Sprintf(format, args...))
}

func (c *comparison) beyond(format string, args ...any) {
	c.out.Beyond = append(c.out.Beyond, fmt.Sprintf(format, args...))
}

// round keeps two decimals: instruments know no more.
func round(v float64) float64 {
	v = math.Round(v*100) / 100
	if v == 0 {
		return 0 // no minus
	}
	return v
}

func rounded(c colorimetry.Lab) Lab { return Lab{round(c.L), round(c.A), round(c.B)} }
