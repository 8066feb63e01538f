package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"printround/internal/color"
)

// numeric columns stand at the right.
func numeric(headings ...string) []tableColumn {
	out := make([]tableColumn, len(headings))
	for i, h := range headings {
		out[i] = tableColumn{heading: h, right: true}
	}
	return out
}

// colorTables are the numbers of a comparison, in the order of a page.
func colorTables(c *color.Comparison) []colorTable {
	return []colorTable{differencesTable(c), paperTable(c), channelTable(c), greyTable(c), patchTable(c)}
}

func differencesTable(c *color.Comparison) colorTable {
	t := colorTable{title: "Differences", columns: append([]tableColumn{{heading: "DIFFERENCE"}}, numeric("MEAN", "95 %", "MAX", "PATCHES")...)}
	t.columns = append(t.columns, tableColumn{heading: "WORST"})
	for _, d := range c.Differences {
		name := map[string]string{color.Metric00: "ΔE00", color.MetricAB: "ΔE*ab"}[d.Metric]
		t.rows = append(t.rows, []string{name + " " + d.Basis, one(d.Mean), one(d.P95), one(d.Max), fmt.Sprint(d.Count), d.Worst})
	}
	return t
}

// one writes a number with one decimal, and no minus before zero.
func one(v float64) string { return fmt.Sprintf("%.1f", tenth(v)) }

func tenth(v float64) float64 { return roundTo(v, 1) + 0 }

// oneOf writes what may be unknown.
func oneOf(v *float64) string {
	if v == nil {
		return "?"
	}
	return one(*v)
}

func labWords(v color.Lab) string { return one(v.L) + " " + one(v.A) + " " + one(v.B) }

func paperTable(c *color.Comparison) colorTable {
	t := colorTable{title: "Paper", columns: []tableColumn{{heading: "PATCH"}, {heading: "L* a* b*"}, {heading: "REFERENCE"}, {heading: "ΔE00", right: true}, {heading: "ODD", least: 8, most: 40, lines: 2}}}
	if p := c.Paper; p != nil {
		d, reference := "-", "-"
		if p.DeltaE00 != nil {
			d, reference = one(*p.DeltaE00), labWords(p.Reference)
		}
		t.rows = [][]string{{p.ID, labWords(p.Measured), reference, d, orDash(strings.Join(p.Off, ", "))}}
	}
	return t
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// channelTable has a column for each percentage that a channel has a step of.
func channelTable(c *color.Comparison) colorTable {
	var steps []float64
	for _, ch := range c.Channels {
		for _, s := range ch.Steps {
			if !slices.Contains(steps, s.Percent) {
				steps = append(steps, s.Percent)
			}
		}
	}
	slices.Sort(steps)
	const mostSteps = 10
	steps = steps[:min(len(steps), mostSteps)]
	t := colorTable{title: "Channels", columns: append([]tableColumn{{heading: "CHANNEL"}}, numeric("STRENGTH", "ΔE00", "HUE", "TONES")...)}
	for _, s := range steps {
		t.columns = append(t.columns, tableColumn{heading: fmt.Sprintf("AT %.0f", s), right: true})
	}
	for _, ch := range c.Channels {
		row := []string{ch.Channel, "?", "?", "?", signed(ch.Tone)}
		if s := ch.Solid; s != nil {
			if s.Strength != nil {
				row[1] = fmt.Sprintf("%.0f %%", *s.Strength)
			}
			row[2] = one(s.DeltaE00)
			row[3] = "-"
			if s.Hue != nil {
				row[3] = fmt.Sprintf("%+.0f°", math.Round(*s.Hue)+0)
			}
		}
		for _, at := range steps {
			cell := ""
			for i := range ch.Steps {
				if ch.Steps[i].Percent == at {
					cell = signed(&ch.Steps[i].Difference)
				}
			}
			row = append(row, cell)
		}
		t.rows = append(t.rows, row)
	}
	t.below = "Strength, ΔE00 and hue are of the solid; 100 % is as strong as the reference. Tones: how much darker (+) or lighter (-) the tints are, of 100 from paper to the channel's own solid; their mean, and each."
	return t
}

func signed(v *float64) string {
	if v == nil {
		return "?"
	}
	return plusMinus(*v)
}

func plusMinus(v float64) string { return fmt.Sprintf("%+.1f", tenth(v)) }

func greyTable(c *color.Comparison) colorTable {
	t := colorTable{title: "Grey balance", columns: append([]tableColumn{{heading: "PATCH"}}, numeric("L*", "C*", "HUE", "OFF IN a* b*", "OFF IN L*")...)}
	g := c.Grey
	if g == nil {
		return t
	}
	for _, s := range g.Steps {
		hue := "-"
		if s.Hue != nil {
			hue = fmt.Sprintf("%.0f°", *s.Hue)
		}
		t.rows = append(t.rows, []string{s.ID, one(s.L), one(s.Chroma), hue, one(s.DeltaC), plusMinus(s.DeltaL)})
	}
	t.below = fmt.Sprintf("Mean: off by %.1f in a*, b*", g.Cast)
	if g.Toward != nil {
		t.below += ", towards " + *g.Toward
	}
	t.below += "; lightness " + plusMinus(g.L) + "."
	return t
}

func patchTable(c *color.Comparison) colorTable {
	t := colorTable{title: "Patches"}
	paper := c.Overall(color.Metric00, color.OnPaper) != nil
	t.columns = []tableColumn{{heading: "PATCH", most: 24}}
	if paper {
		t.columns = append(t.columns, tableColumn{heading: "ΔE00 ON PAPER", right: true})
	}
	t.columns = append(t.columns, tableColumn{heading: "ΔE00", right: true}, tableColumn{heading: "ΔE*ab", right: true}, tableColumn{heading: "MEASURED L* a* b*"}, tableColumn{heading: "REFERENCE"})
	list := slices.Clone(c.Patches)
	if len(list) > mostPatches {
		slices.SortStableFunc(list, func(a, b color.Result) int {
			if worse(c, &a) > worse(c, &b) {
				return -1
			}
			return 1
		})
		list = list[:mostPatches/2]
		t.title = fmt.Sprintf("The %d patches that are off most", len(list))
		t.below = fmt.Sprintf("%d more are in --format csv.", len(c.Patches)-len(list))
	}
	for _, r := range list {
		row := []string{r.ID}
		if paper {
			row = append(row, oneOf(r.Paper00))
		}
		t.rows = append(t.rows, append(row, one(r.DeltaE00), one(r.DeltaEAB), labWords(r.Measured), labWords(r.Reference)))
	}
	return t
}

// worse is the difference that counts.
func worse(c *color.Comparison, r *color.Result) float64 {
	if c.Basis == color.OnPaper && r.Paper00 != nil {
		return *r.Paper00
	}
	return r.DeltaE00
}
