package color

import (
	"math"
	"slices"
	"strings"

	"printround/internal/colorimetry"
	"printround/internal/device"
)

// Paper is the paper that was printed on.
type Paper struct {
	ID        string   `json:"id"`
	Reference Lab      `json:"reference"`
	Measured  Lab      `json:"measured"`
	DeltaE00  *float64 `json:"delta_e_00"` // nil: the page has no paper of its own to compare with
	Off       []string `json:"off"`        // what is odd about it
}

// Channel is one colorant: its solid and its way there.
type Channel struct {
	Channel string   `json:"channel"`
	Solid   *Solid   `json:"solid"` // nil: not measured
	Steps   []Step   `json:"steps"`
	Tone    *float64 `json:"tone"` // mean difference of the steps; nil: not known
	Off     []string `json:"off"`
}

// Solid is the full tone of a channel.
type Solid struct {
	ID       string   `json:"id"`
	DeltaE00 float64  `json:"delta_e_00"`
	Strength *float64 `json:"strength"` // percent of the reference's distance from paper; nil: paper not known
	Hue      *float64 `json:"hue"`      // turn of the hue in degrees, counter-clockwise in a*, b*; nil: a grey has none
}

// Step is one tint of a channel, as a tone value: percent of the way from paper
// to its own solid (ISO 20654).
type Step struct {
	ID         string  `json:"id"`
	Percent    float64 `json:"percent"` // as sent
	Reference  float64 `json:"reference"`
	Measured   float64 `json:"measured"`
	Difference float64 `json:"difference"` // above 0: darker
}

// Grey is the balance of the greys.
type Grey struct {
	Steps []GreyStep `json:"steps"`
	// Mean distance in a*, b* of the greys from those of the reference, and where
	// they lean to.
	Cast   float64  `json:"cast"`
	Toward *string  `json:"toward"` // nil: nowhere worth naming
	Hue    *float64 `json:"hue"`    // of the mean cast, degrees; nil as well
	L      float64  `json:"l"`      // mean difference of lightness, above 0: lighter
	Off    bool     `json:"off"`
}

// GreyStep is one grey, relative to paper where the paper is known.
type GreyStep struct {
	ID     string   `json:"id"`
	L      float64  `json:"l"`
	A      float64  `json:"a"`
	B      float64  `json:"b"`
	Chroma float64  `json:"chroma"`
	Hue    *float64 `json:"hue"` // degrees; nil: so near to grey that it has none
	DeltaC float64  `json:"delta_ch"`
	DeltaL float64  `json:"delta_l"`
}

// leastChroma is the chroma under which a hue means nothing.
const leastChroma = 1.0

func (c *comparison) judgePaper() {
	w := c.find(paper)
	if w == nil {
		c.untold("The paper (W) was not measured: the differences hold its colour too, and nothing is said of strength and tone curves. Measure it too.")
		return
	}
	if c.out.Measured.Conditions.WhiteBase == "paper" {
		return
	}
	p := &Paper{ID: w.id, Reference: rounded(w.reference), Measured: rounded(w.measured), Off: []string{}}
	c.out.Paper = p
	m := w.measured
	if c.out.Reference.Kind == FromPage {
		for _, x := range []struct {
			odd   bool
			words string
		}{{m.L < darkPaper, "darker than office paper"}, {m.B > yellowPaper, "yellowish"}, {m.Chroma() > coloredPaper && m.B <= yellowPaper, "coloured"}} {
			if x.odd {
				p.Off = append(p.Off, x.words)
			}
		}
		if len(p.Off) > 0 {
			c.beyond("paper: %s (L* %.1f a* %.1f b* %.1f)", strings.Join(p.Off, ", "), m.L, m.A, m.B)
		}
		return
	}
	d := round(colorimetry.DeltaE2000(w.reference, m))
	p.DeltaE00 = &d
	if d > c.out.Tolerances.Paper {
		p.Off = append(p.Off, "another than that of the reference")
		c.beyond("paper: ΔE00 %s from that of the reference, tolerance %g", above(d, c.out.Tolerances.Paper, 1), c.out.Tolerances.Paper)
	}
}

func (c *comparison) judgeChannels() {
	for i, name := range channels {
		var steps []*pair
		for k := range c.pairs {
			if p := &c.pairs[k]; p.role.kind == tone && p.role.channel == i {
				steps = append(steps, p)
			}
		}
		if len(steps) == 0 {
			c.untold("%s: no patch of it alone was measured.", device.Sentence(name))
			continue
		}
		slices.SortStableFunc(steps, func(a, b *pair) int { return int(math.Copysign(1, a.role.percent-b.role.percent)) })
		c.out.Channels = append(c.out.Channels, c.channel(name, steps))
	}
}

// fullTone is the percentage from which on a tint is the solid.
const fullTone = 99.5

// channel judges the patches of one channel, in order of their percentage.
func (c *comparison) channel(name string, steps []*pair) Channel {
	out := Channel{Channel: name, Steps: []Step{}, Off: []string{}}
	solid := steps[len(steps)-1]
	if solid.role.percent < fullTone {
		c.untold("%s: its solid was not measured, so nothing is said of its strength and tone curve.", device.Sentence(name))
		return out
	}
	out.Solid = &Solid{ID: solid.id, DeltaE00: round(solid.difference(Metric00, c.out.Basis))}
	if c.paper {
		c.strength(&out, solid)
		c.tones(&out, solid, steps[:len(steps)-1])
	}
	if min(solid.refPaper.Chroma(), solid.onPaper.Chroma()) > 10*leastChroma {
		turn := round(math.Remainder(solid.onPaper.Hue()-solid.refPaper.Hue(), 360))
		out.Solid.Hue = &turn
		if math.Abs(turn) > c.out.Tolerances.Hue {
			out.Off = append(out.Off, offHue)
			c.beyond("%s: hue of the solid turned by %s°, tolerance %g°", name, above(math.Abs(turn), c.out.Tolerances.Hue, 0), c.out.Tolerances.Hue)
		}
	}
	return out
}

// What a channel can be off in.
const (
	offMissing   = "missing"
	offLight     = "light"
	offDark      = "dark"
	offHue       = "hue"
	offTonesUp   = "tones dark"
	offTonesDown = "tones light"
)

// nearlyNothing is the strength in percent under which a colorant is not there.
const nearlyNothing = 25.0

var white = colorimetry.Lab{L: 100}

func (c *comparison) strength(out *Channel, solid *pair) {
	ratio, ok := colorimetry.Strength(white, solid.onPaper, white, solid.refPaper)
	if !ok {
		c.untold("%s: the reference has no solid that differs from its paper.", device.Sentence(out.Channel))
		return
	}
	s := round(100 * ratio)
	out.Solid.Strength = &s
	limit := c.out.Tolerances.Strength
	switch {
	case s < nearlyNothing:
		out.Off = append(out.Off, offMissing)
		c.beyond("%s: nearly nothing of it is printed (%.0f %% of its strength)", out.Channel, s)
	case s < 100-limit:
		out.Off = append(out.Off, offLight)
		c.beyond("%s: solid %s %% too light, tolerance %g %%", out.Channel, above(100-s, limit, 0), limit)
	case s > 100+limit:
		out.Off = append(out.Off, offDark)
		c.beyond("%s: solid %s %% too dark, tolerance %g %%", out.Channel, above(s-100, limit, 0), limit)
	}
}

// tones judges the way to the solid, each side against its own.
func (c *comparison) tones(out *Channel, solid *pair, tints []*pair) {
	last, sum := 0.0, 0.0
	for _, p := range tints {
		r, ok := colorimetry.ToneValue(white, solid.refPaper, p.refPaper)
		m, seen := colorimetry.ToneValue(white, solid.onPaper, p.onPaper)
		if !ok || !seen {
			return
		}
		out.Steps = append(out.Steps, Step{p.id, round(p.role.percent), round(r), round(m), round(m - r)})
		if m < last-1 {
			c.note("%s is no darker than the step before it: read it again, or look for a mark on the page.", p.id)
		}
		last, sum = m, sum+m-r
	}
	if slices.Contains(out.Off, offMissing) {
		return // what is left of it is noise
	}
	if len(tints) < fewSteps {
		c.untold("%s: %s beside the solid: too few for a tone curve.", device.Sentence(out.Channel), device.Counted(len(tints), "step", "steps"))
		return
	}
	mean := round(sum / float64(len(tints)))
	out.Tone = &mean
	limit := c.out.Tolerances.Tone
	switch {
	case mean > limit:
		out.Off = append(out.Off, offTonesUp)
		c.beyond("%s: tones too dark by %s, tolerance %g", out.Channel, above(mean, limit, 0), limit)
	case mean < -limit:
		out.Off = append(out.Off, offTonesDown)
		c.beyond("%s: tones too light by %s, tolerance %g", out.Channel, above(-mean, limit, 0), limit)
	}
}

func (c *comparison) judgeGrey() {
	g := &Grey{}
	var a, b float64
	for i := range c.pairs {
		p := &c.pairs[i]
		if p.role.kind != grey {
			continue
		}
		m, r := p.onPaper, p.refPaper
		s := GreyStep{
			ID: p.id, L: round(m.L), A: round(m.A), B: round(m.B), Chroma: round(m.Chroma()),
			DeltaC: round(math.Hypot(m.A-r.A, m.B-r.B)), DeltaL: round(m.L - r.L),
		}
		if m.Chroma() >= leastChroma {
			h := round(m.Hue())
			s.Hue = &h
		}
		g.Steps = append(g.Steps, s)
		g.Cast += math.Hypot(m.A-r.A, m.B-r.B)
		g.L += m.L - r.L
		a, b = a+m.A-r.A, b+m.B-r.B
	}
	if len(g.Steps) == 0 {
		c.untold("Grey balance: no grey patch was measured.")
		return
	}
	n := float64(len(g.Steps))
	g.Cast, g.L = round(g.Cast/n), round(g.L/n)
	lean := colorimetry.Lab{A: a / n, B: b / n}
	if lean.Chroma() >= leastChroma {
		h, w := round(lean.Hue()), hueName(lean.Hue())
		g.Hue, g.Toward = &h, &w
	}
	c.out.Grey = g
	switch {
	case !c.paper:
		c.untold("Grey balance: without the paper the greys hold its colour too, and are not judged.")
	case len(g.Steps) < fewGreys:
		c.untold("Grey balance: one grey is too few to judge it by.")
	case g.Cast > c.out.Tolerances.Grey:
		g.Off = true
		where := ""
		if g.Toward != nil {
			where = ", towards " + *g.Toward
		}
		c.beyond("greys: off by %s in a*, b*%s, tolerance %g", above(g.Cast, c.out.Tolerances.Grey, 1), where, c.out.Tolerances.Grey)
	}
}

// hueName names a CIELAB hue angle by the colorant or mixture of two that has
// about that hue in print (common practice, no source).
func hueName(h float64) string {
	for _, x := range []struct {
		below float64
		name  string
	}{{15, "magenta"}, {70, "red"}, {125, "yellow"}, {200, "green"}, {260, "cyan"}, {320, "blue"}} {
		if h < x.below {
			return x.name
		}
	}
	return "magenta"
}
