package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"printround/internal/color"
	"printround/internal/device"
)

// WriteColor writes what was measured against what it should be.
func WriteColor(w io.Writer, c *color.Comparison, o Options) error {
	return forms[*color.Comparison]{"a colour comparison", writeColorText, writeColorCSV, writeColorMarkdown}.write(w, c, o)
}

// Patches that a page lists one by one; of larger charts those that are off
// most.
const mostPatches = 60

// colorPage is a comparison on its way to a person.
type colorPage struct {
	*page
	*color.Comparison
	explain bool
}

// spelled spells the signs of colorimetry for pages of ASCII only.
var spelled = strings.NewReplacer("Δ", "d")

func (p colorPage) spell(v string) string {
	if p.plain {
		return spelled.Replace(v)
	}
	return v
}

func (p colorPage) spellAll(list []string) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = p.spell(v)
	}
	return out
}

func (p colorPage) say(indent, label, v string) { p.wrapped(indent, label, p.spell(v)) }

func (p colorPage) points(title string, list []string) {
	p.list(title, p.spellAll(list))
}

func writeColorText(w io.Writer, c *color.Comparison, o Options) error {
	p := colorPage{&page{style: newStyle(o), w: w}, c, o.Explain}
	p.painted(sgrBold, p.text(p.spell(colorTitle(c))))
	for _, l := range colorAbout(c) {
		p.say("", "", l)
	}
	p.points("Beyond tolerance", c.Beyond)
	p.causes()
	p.points("Notes", c.Notes)
	p.points("What the readings do not tell", append(slices.Clone(c.NotTold), absent(c)...))
	for _, t := range colorTables(c) {
		p.table(t)
	}
	if p.explain {
		p.points("Tolerances (common practice)", toleranceLines(c))
	}
	return p.err
}

// colorTitle is the verdict in one line.
func colorTitle(c *color.Comparison) string {
	line := "Colour: " + map[color.Verdict]string{
		color.Within: "within tolerance", color.Beyond: "beyond tolerance", color.Undecided: "undecided, too few patches",
	}[c.Verdict]
	if d := c.Overall(color.Metric00, c.Basis); d != nil {
		line += ", mean ΔE00 " + one(d.Mean)
		if c.Basis == color.OnPaper {
			line += " (relative to paper)"
		}
	}
	return line
}

// colorAbout says what was compared, and how it was measured.
func colorAbout(c *color.Comparison) []string {
	of := len(c.Patches) + len(c.Missing)
	out := []string{fmt.Sprintf("%s against %s: %d of %s, matched by %s.", c.Measured.Name, c.Reference.Name, len(c.Patches), device.Counted(of, "patch", "patches"), c.MatchedBy)}
	if l := measuredLine("Readings", &c.Measured); l != "" {
		out = append(out, l)
	}
	if c.Reference.Kind == color.FromPage {
		return append(out, "The page's values are what sRGB means by them; a file measured when the printer was good tells more (--reference).")
	}
	if l := measuredLine("Reference", &c.Reference); l != "" {
		out = append(out, l)
	}
	return out
}

// measuredLine says how a page was measured, as far as its file does; empty:
// not at all.
func measuredLine(what string, s *color.Source) string {
	var w []string
	add := func(format string, v string) {
		if v != "" {
			w = append(w, fmt.Sprintf(format, v))
		}
	}
	add("%s", string(s.Instrument))
	add("%s", string(s.Created))
	add("on %s", string(s.Material))
	add("%s", string(s.Conditions.Illuminant))
	add("%s°", string(s.Conditions.Observer))
	add("%s", string(s.Conditions.Mode))
	add("white base %s", string(s.Conditions.WhiteBase))
	add("filter %s", string(s.Conditions.Filter))
	add("backing %s", string(s.Conditions.Backing))
	if len(w) == 0 {
		return ""
	}
	return what + ": " + strings.Join(w, ", ") + "."
}

// absent lists patches without a counterpart.
func absent(c *color.Comparison) []string {
	var out []string
	if n := len(c.Missing); n > 0 {
		out = append(out, fmt.Sprintf("Not measured: %s.", firstFew(c.Missing)))
	}
	if n := len(c.Extra); n > 0 {
		out = append(out, fmt.Sprintf("Measured, but not known: %s.", firstFew(c.Extra)))
	}
	return out
}

// firstFew joins names, the first ones of long lists.
func firstFew(list []string) string {
	const most = 20
	named := make([]string, 0, most)
	for _, v := range list[:min(len(list), most)] {
		if v == "" {
			v = "(no name)"
		}
		named = append(named, v)
	}
	line := strings.Join(named, ", ")
	if len(list) > most {
		line += fmt.Sprintf(" and %d more", len(list)-most)
	}
	return line
}

func (p colorPage) causes() {
	if len(p.Causes) == 0 {
		return
	}
	p.heading("Where to look, likelier first (common practice)")
	for i := range p.Causes {
		x := &p.Causes[i]
		p.say("  ", fmt.Sprintf("%d. ", i+1), causeTitle(x)+p.rank(i))
		for _, r := range x.Because {
			p.say("     ", "because ", reasonWords(r, p.explain))
		}
		for _, t := range p.steps(i) {
			p.say("     ", "- ", t)
		}
		if c := p.caution(i); c != "" {
			p.say("     ", "Caution: ", c)
		}
		if x.Symptom != nil {
			p.say("     ", "Goes on: ", "printround symptom "+*x.Symptom+" --device DEVICE")
		}
	}
}

// alike returns the first cause that is tried in the same way, i itself when
// there is none before it.
func (p colorPage) alike(i int) int {
	return slices.IndexFunc(p.Causes, func(x color.Cause) bool { return x.Kind == p.Causes[i].Kind })
}

// steps are what to try; they are written once for all causes of a kind.
func (p colorPage) steps(i int) []string {
	if k := p.alike(i); k != i {
		return []string{fmt.Sprintf("As for %d, with the supply and the drum of this one.", k+1)}
	}
	return p.Causes[i].Try
}

func (p colorPage) caution(i int) string {
	if c := p.Causes[i].Caution; c != nil && p.alike(i) == i {
		return *c
	}
	return ""
}

// rank says how a cause stands against the first.
func (p colorPage) rank(i int) string {
	switch w, most := p.Causes[i].Weight, p.Causes[0].Weight; {
	case i == 0:
		return ""
	case w == most:
		return " (as likely)"
	case 2*w <= most:
		return " (much less likely)"
	}
	return " (less likely)"
}

func reasonWords(r color.Reason, explain bool) string {
	if explain {
		return fmt.Sprintf("%s (rule %s, weight %d)", r.Words, r.Rule, r.Weight)
	}
	return r.Words
}

func causeTitle(x *color.Cause) string {
	switch x.Kind {
	case color.Calibration:
		return "Calibration of the device"
	case color.Supply:
		if x.Channel != nil {
			return "Supply of " + *x.Channel + ": its cartridge, drum, developer or head"
		}
		return "A supply or part that all channels share"
	case color.Media:
		return "Media"
	case color.Settings:
		return "Settings of the job, the driver or the device"
	}
	return "The readings themselves"
}

func toleranceLines(c *color.Comparison) []string {
	t := &c.Tolerances
	out := []string{
		fmt.Sprintf("ΔE00 %s: mean %s, 95th percentile %s, largest %s", c.Basis, number(t.Mean), number(t.P95), number(t.Max)),
		fmt.Sprintf("strength of a solid: %s %%; its hue: %s°", number(t.Strength), number(t.Hue)),
		fmt.Sprintf("tone value, mean of a channel: %s", number(t.Tone)),
		fmt.Sprintf("greys, mean distance in a*, b*: %s", number(t.Grey)),
	}
	if t.Paper > 0 {
		out = append(out, fmt.Sprintf("paper: ΔE00 %s", number(t.Paper)))
	}
	return out
}

// colorTable is a table of the comparison in cells that are ours, but for names.
type colorTable struct {
	title   string
	below   string // a line under it; empty: none
	columns []tableColumn
	rows    [][]string
}

// asPrinted is a table with its signs spelled.
func (p colorPage) asPrinted(t colorTable) (columns []tableColumn, rows [][]string) {
	for _, c := range t.columns {
		c.heading = p.spell(c.heading)
		columns = append(columns, c)
	}
	for _, r := range t.rows {
		rows = append(rows, p.spellAll(r))
	}
	return columns, rows
}

func (p colorPage) table(t colorTable) {
	if len(t.rows) == 0 {
		return
	}
	p.heading(p.spell(t.title))
	var g grid
	g.columns, g.rows = p.asPrinted(t)
	for i := range g.rows {
		p.safeRow(g.rows[i]...)
	}
	g.draw(p.page, g.layout(p.width-2, 2), "  ")
	if t.below != "" {
		p.say("  ", "", t.below)
	}
}
