package color

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"printround/internal/colorimetry"
)

// CauseKind is where to look.
type CauseKind string

// Kinds of causes.
const (
	Calibration CauseKind = "calibration" // of the device
	Supply      CauseKind = "supply"      // toner or ink, drum, developer, head
	Media       CauseKind = "media"
	Settings    CauseKind = "settings" // of the job or the driver
	Readings    CauseKind = "readings" // the page may be right
)

// Cause is where to look, and why.
type Cause struct {
	Kind    CauseKind `json:"kind"`
	Channel *string   `json:"channel"` // of a supply; nil: of all, or of none
	Weight  int       `json:"weight"`  // the sum of those of the reasons
	Because []Reason  `json:"because"`
	Try     []string  `json:"try"`
	Caution *string   `json:"caution"`
	Symptom *string   `json:"symptom"` // name of the symptom that goes on from here
}

// Reason is one rule that held.
type Reason struct {
	Rule   string `json:"rule"`
	Weight int    `json:"weight"` // 1 a little, 2 plainly, 3 strongly
	Words  string `json:"words"`
}

// facts are what the rules look at.
type facts struct {
	c        *comparison
	channels []*Channel // whose strength is known
	light    []*Channel // their solids are too light, or not there
	dark     []*Channel
	turned   []*Channel // their solids are of another hue
	tones    []*Channel // their tints are off
	right    []*Channel // their solids are right
	cast     bool
	causes   []Cause
}

func (c *comparison) facts() *facts {
	f := &facts{c: c, cast: c.out.Grey != nil && c.out.Grey.Off}
	for i := range c.out.Channels {
		ch := &c.out.Channels[i]
		if ch.Solid == nil || ch.Solid.Strength == nil {
			continue
		}
		off := func(what ...string) bool {
			return slices.ContainsFunc(what, func(w string) bool { return slices.Contains(ch.Off, w) })
		}
		f.channels = append(f.channels, ch)
		switch {
		case off(offLight, offMissing):
			f.light = append(f.light, ch)
		case off(offDark):
			f.dark = append(f.dark, ch)
		default:
			f.right = append(f.right, ch)
		}
		if off(offTonesUp, offTonesDown) {
			f.tones = append(f.tones, ch)
		}
		if off(offHue) {
			f.turned = append(f.turned, ch)
		}
	}
	f.foremost()
	return f
}

// foremost leaves out solids that are off by less than half as much as the one
// that is off most: no printer makes its cyan of cyan alone, so a channel that
// fails takes others along.
func (f *facts) foremost() {
	off := func(ch *Channel) float64 { return math.Abs(*ch.Solid.Strength - 100) }
	most := 0.0
	for _, ch := range f.channels {
		most = max(most, off(ch))
	}
	minor := func(ch *Channel) bool { return off(ch) < most/2 }
	f.light, f.dark = slices.DeleteFunc(f.light, minor), slices.DeleteFunc(f.dark, minor)
}

// rules in the order in which they are asked. A rule that returns true makes the
// later ones meaningless. All are common practice, no source.
var rules = []struct {
	name string
	ask  func(f *facts, rule string) (last bool)
}{
	{"mixed-up", mixedUp},
	{"no-color", noColor},
	{"paper", otherPaper},
	{"all-light", allLight},
	{"one-light", someLight},
	{"dark", someDark},
	{"hue", otherHue},
	{"tones", tonesOnly},
	{"grey-cast", greyCast},
	{"one-patch", onePatch},
}

// diagnose asks the rules, when something is off and enough was measured.
func (c *comparison) diagnose() {
	if len(c.out.Beyond) == 0 || len(c.pairs) < fewPatches {
		return
	}
	f := c.facts()
	for _, r := range rules {
		if r.ask(f, r.name) {
			break
		}
	}
	slices.SortStableFunc(f.causes, func(a, b Cause) int { return b.Weight - a.Weight })
	for i := range f.causes {
		f.causes[i].advise()
	}
	c.out.Causes = append(c.out.Causes, f.causes...)
	if len(f.causes) == 0 {
		c.untold("What is beyond tolerance follows none of the patterns that tell calibration, supply and media apart: look at the patches one by one, and at the page.")
	}
}

// vote adds a reason to a cause.
func (f *facts) vote(rule string, k CauseKind, channel string, weight int, format string, args ...any) {
	reason := Reason{rule, weight, fmt.Sprintf(format, args...)}
	for i := range f.causes {
		x := &f.causes[i]
		if x.Kind == k && (x.Channel == nil && channel == "" || x.Channel != nil && *x.Channel == channel) {
			x.Weight += weight
			x.Because = append(x.Because, reason)
			return
		}
	}
	x := Cause{Kind: k, Weight: weight, Because: []Reason{reason}}
	if channel != "" {
		x.Channel = &channel
	}
	f.causes = append(f.causes, x)
}

// mixedUp: the lightness of the readings has nothing to do with that of the
// patches, or they fit far better one place further, or backwards.
func mixedUp(f *facts, rule string) bool {
	pairs := slices.Clone(f.c.pairs)
	if len(pairs) < fewForOrder {
		return false
	}
	n := len(pairs)
	mean := func(of func(i int) int) float64 {
		sum, count := 0.0, 0
		for i := range pairs {
			if k := of(i); k >= 0 && k < n {
				sum += colorimetry.DeltaE(pairs[i].reference, pairs[k].measured)
				count++
			}
		}
		return sum / float64(count)
	}
	is := mean(func(i int) int { return i })
	for _, x := range []struct {
		words string
		of    func(i int) int
	}{
		{"one patch further", func(i int) int { return i + 1 }},
		{"one patch earlier", func(i int) int { return i - 1 }},
		{"from the last to the first", func(i int) int { return n - 1 - i }},
	} {
		if to := mean(x.of); is > 8 && to < is/2 {
			f.vote(rule, Readings, "", 3, "the readings fit far better %s (mean ΔE*ab %.1f instead of %.1f)", x.words, to, is)
			return true
		}
	}
	var a, b []float64
	for _, p := range pairs {
		a, b = append(a, p.reference.L), append(b, p.measured.L)
	}
	if r, ok := colorimetry.Correlation(a, b); ok && r < 0.5 {
		f.vote(rule, Readings, "", 3, "light and dark patches do not follow those of the page (correlation of lightness %.2f): another order, or another page", r)
		return true
	}
	return false
}

// noColor: the solids of cyan, magenta and yellow have no colour, or each has
// lost it.
func noColor(f *facts, rule string) bool {
	n := 0
	for i := range f.c.pairs {
		p := &f.c.pairs[i]
		if p.role.kind != tone || p.role.channel > 2 || p.role.percent < fullTone {
			continue
		}
		if p.onPaper.Chroma() > p.refPaper.Chroma()/4 || p.onPaper.L > 95 {
			return false
		}
		n++
	}
	if n < 3 {
		return false
	}
	f.vote(rule, Settings, "", 3, "the solids of cyan, magenta and yellow are printed, but grey: black and white was asked for, or the device is set to it")
	f.vote(rule, Supply, "", 1, "some devices go on in black when a colour is used up")
	return true
}

func otherPaper(f *facts, rule string) bool {
	p := f.c.out.Paper
	if p == nil || len(p.Off) == 0 {
		return false
	}
	f.vote(rule, Media, "", 2, "the paper is %s", strings.Join(p.Off, ", "))
	on, as := f.c.out.Overall(Metric00, OnPaper), f.c.out.Overall(Metric00, AsMeasured)
	if on != nil && as != nil && on.Mean <= f.c.out.Tolerances.Mean && on.Mean < as.Mean*0.7 {
		f.vote(rule, Media, "", 2, "relative to the paper the patches are right: mean ΔE00 %.1f instead of %.1f", on.Mean, as.Mean)
	}
	return false
}

func allLight(f *facts, rule string) bool {
	n := len(f.channels)
	if n < 2 || len(f.light) < n {
		return false
	}
	words := fmt.Sprintf("all channels that were measured are light (%s)", strengths(f.light))
	f.vote(rule, Calibration, "", 3, "%s: several supplies seldom run out together", words)
	f.vote(rule, Settings, "", 2, "%s: a density setting, toner saving or another paper type does this", words)
	f.vote(rule, Supply, "", 1, "%s: a part that all share, such as the transfer unit, can do this", words)
	return false
}

func someLight(f *facts, rule string) bool {
	n := len(f.light)
	if n == 0 || n == len(f.channels) && n > 1 {
		return false
	}
	for _, ch := range f.light {
		how := fmt.Sprintf("the solid of %s is at %.0f %% of its strength", ch.Channel, *ch.Solid.Strength)
		switch {
		case len(f.channels) == 1:
			f.vote(rule, Supply, ch.Channel, 1, "%s; no other channel was measured to compare with", how)
			f.vote(rule, Calibration, "", 1, "%s; no other channel was measured to compare with", how)
			continue
		case n == 1 && f.tonesBeside(ch) >= 2:
			f.vote(rule, Supply, ch.Channel, 1, "%s, but the tints of other channels are off too", how)
		case n == 1:
			f.vote(rule, Supply, ch.Channel, 3, "%s, those of the others are not, or far less, light", how)
		default:
			f.vote(rule, Supply, ch.Channel, 2, "%s, and not every channel is light", how)
		}
		if !slices.Contains(ch.Off, offMissing) {
			f.vote(rule, Calibration, "", 1, "%s: a calibration that failed for it does this too", how)
		}
	}
	return false
}

// tonesBeside counts the other channels whose tints are off.
func (f *facts) tonesBeside(but *Channel) (n int) {
	for _, ch := range f.tones {
		if ch != but {
			n++
		}
	}
	return n
}

func someDark(f *facts, rule string) bool {
	switch n := len(f.dark); {
	case n == 0:
	case n == len(f.channels) && n > 1:
		f.vote(rule, Calibration, "", 3, "all channels that were measured are dark (%s)", strengths(f.dark))
		f.vote(rule, Settings, "", 1, "a density setting or another paper type makes all channels dark")
	default:
		for _, ch := range f.dark {
			f.vote(rule, Calibration, "", 2, "the solid of %s is at %.0f %% of its strength", ch.Channel, *ch.Solid.Strength)
			f.vote(rule, Supply, ch.Channel, 1, "the solid of %s is too dark: its drum or developer can do this", ch.Channel)
		}
	}
	return false
}

// otherHue: solids of the right strength have another hue. One that is weak
// turns the hues of what it is mixed with.
func otherHue(f *facts, rule string) bool {
	switch n := len(f.turned); {
	case n == 0 || len(f.light)+len(f.dark) > 0:
	case n == 1:
		ch := f.turned[0]
		f.vote(rule, Supply, ch.Channel, 2, "the hue of the solid of %s is turned by %.0f°, those of the others are not: mixed with another colour, or of another kind", ch.Channel, math.Abs(*ch.Solid.Hue))
	default:
		f.vote(rule, Settings, "", 2, "the hues of several solids are turned (%s): colour handling of the job or the device", names(f.turned))
		f.vote(rule, Calibration, "", 1, "the hues of several solids are turned (%s)", names(f.turned))
	}
	return false
}

func tonesOnly(f *facts, rule string) bool {
	alone := 0 // whose solids are right
	for _, ch := range f.tones {
		if slices.Contains(f.right, ch) {
			alone++
		}
	}
	switch {
	case len(f.tones) >= 3:
		f.vote(rule, Calibration, "", 3, "the tints of several channels are off (%s): several supplies seldom change at once", names(f.tones))
	case alone >= 2:
		f.vote(rule, Calibration, "", 3, "solids are right, tints of several channels are not (%s)", names(f.tones))
	case alone == 1 && len(f.tones) == 1:
		ch := f.tones[0]
		f.vote(rule, Calibration, "", 2, "the solid of %s is right, its tints are too %s by %.0f", ch.Channel, lightOrDark(*ch.Tone), math.Abs(*ch.Tone))
		f.vote(rule, Supply, ch.Channel, 1, "a worn drum changes tints before solids: %s", ch.Channel)
	}
	return false
}

// lean says what a cast of the greys towards a colour is made of.
var lean = map[string]struct {
	less []string
	more []string
}{
	"cyan":    {more: []string{"cyan"}, less: []string{"magenta", "yellow"}},
	"magenta": {more: []string{"magenta"}, less: []string{"cyan", "yellow"}},
	"yellow":  {more: []string{"yellow"}, less: []string{"cyan", "magenta"}},
	"red":     {less: []string{"cyan"}, more: []string{"magenta", "yellow"}},
	"green":   {less: []string{"magenta"}, more: []string{"cyan", "yellow"}},
	"blue":    {less: []string{"yellow"}, more: []string{"cyan", "magenta"}},
}

func greyCast(f *facts, rule string) bool {
	if !f.cast {
		return false
	}
	g := f.c.out.Grey
	if g.Toward == nil {
		f.vote(rule, Calibration, "", 1, "the greys are off in different directions")
		return false
	}
	l := lean[*g.Toward]
	why := fmt.Sprintf("the greys lean towards %s by %.1f", *g.Toward, g.Cast)
	explained := false
	for _, ch := range f.light {
		if slices.Contains(l.less, ch.Channel) {
			explained = true
			f.vote(rule, Supply, ch.Channel, 1, "%s, as they do with too little %s", why, ch.Channel)
		}
	}
	for _, ch := range f.dark {
		if slices.Contains(l.more, ch.Channel) {
			explained = true
			f.vote(rule, Calibration, "", 1, "%s, as they do with too much %s", why, ch.Channel)
		}
	}
	if explained {
		return false
	}
	if solids := len(f.right); solids == len(f.channels) && solids > 1 {
		f.vote(rule, Calibration, "", 3, "%s while the solids are right", why)
		return false
	}
	f.vote(rule, Calibration, "", 1, "%s, which the solids do not explain", why)
	return false
}

// onePatch: a single patch is far off, and nothing else is.
func onePatch(f *facts, rule string) bool {
	d := f.c.out.Overall(Metric00, f.c.out.Basis)
	if len(f.causes) > 0 || len(f.c.out.Beyond) != 1 || d == nil || d.Max <= f.c.out.Tolerances.Max {
		return false
	}
	f.vote(rule, Readings, "", 1, "only %s is far off: a mark on the page, or a slip of the instrument", d.Worst)
	return false
}

func lightOrDark(difference float64) string {
	if difference > 0 {
		return "dark"
	}
	return "light"
}

func names(list []*Channel) string {
	out := make([]string, len(list))
	for i, ch := range list {
		out[i] = ch.Channel
	}
	return strings.Join(out, ", ")
}

func strengths(list []*Channel) string {
	out := make([]string, len(list))
	for i, ch := range list {
		out[i] = fmt.Sprintf("%s %.0f %%", ch.Channel, *ch.Solid.Strength)
	}
	return strings.Join(out, ", ")
}
