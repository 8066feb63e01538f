package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"printround/internal/device"
)

// WriteTriage writes what a symptom can come from.
func WriteTriage(w io.Writer, t *device.Triage, o Options) error {
	return forms[*device.Triage]{"a symptom", writeTriageText, writeTriageCSV, writeTriageMarkdown}.write(w, t, o)
}

// WriteSymptoms writes the index of symptoms, as a table or as Markdown.
func WriteSymptoms(w io.Writer, groups []device.SymptomGroup, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.color = p.color && o.Format != Markdown
	longest := 0
	for _, g := range groups {
		for _, s := range g.Symptoms {
			longest = max(longest, len(s.Name))
		}
	}
	for i, g := range groups {
		switch {
		case o.Format == Markdown:
			p.line("## " + device.Sentence(g.Name))
			p.blank()
		case i == 0:
			p.painted(sgrBold, device.Sentence(g.Name))
		default:
			p.heading(device.Sentence(g.Name))
		}
		for _, s := range g.Symptoms {
			if o.Format == Markdown {
				p.line("- `" + s.Name + "`: " + p.md(s.Looks))
				continue
			}
			p.wrapped("  ", fmt.Sprintf("%-*s  ", longest, s.Name), s.Looks)
		}
		if o.Format == Markdown && i < len(groups)-1 {
			p.blank()
		}
	}
	return p.err
}

// Causes that are worth their own entry on paper; the rest share a line.
const (
	leastShown = 0.03
	mostShown  = 7
)

// diagnosis is a triage on its way to a person.
type diagnosis struct {
	*device.Triage
	shown    []device.TriageCause
	cautions cautions
}

func newDiagnosis(t *device.Triage) *diagnosis {
	g := &diagnosis{Triage: t}
	for i, c := range t.Causes {
		if i == 0 || c.Probability >= leastShown && i < mostShown {
			g.shown = append(g.shown, c)
		}
	}
	for _, s := range t.First {
		g.cautions.note(s.Caution)
	}
	return g
}

// about says on which device, and when it was looked at.
func (g *diagnosis) about(s style) string {
	var w []string
	for _, t := range []device.Text{g.Name, g.MakeModel, g.Location} {
		if t != "" && !slices.Contains(w, string(t)) {
			w = append(w, string(t))
		}
	}
	if len(w) == 0 && g.Device != "" {
		w = append(w, string(g.Device))
	}
	line := strings.Join(w, ", ")
	if line == "" {
		return ""
	}
	if g.Technology != "" {
		line += " (" + string(g.Technology) + ")"
	}
	if g.ObservedAt != nil {
		line += ", looked at " + s.time(*g.ObservedAt)
	}
	return line
}

// causeLine is a cause with its share and, when several kinds of printers are
// possible, where it is found.
func causeLine(c *device.TriageCause) string {
	line := fmt.Sprintf("%s  %s", share(c.Probability), c.Cause)
	if c.On != "" {
		line += " [" + string(c.On) + "]"
	}
	return line
}

// share is a probability in percent for people. Whole percents are all that
// such a model knows, and it is never quite sure.
func share(p float64) string {
	switch {
	case p < 0.005:
		return "under 1 %"
	case p > 0.95:
		return "over 95 %"
	}
	return fmt.Sprintf("%.0f %%", p*100)
}

// apart is what tells the first two causes apart, when the second is likely
// enough to be asked after.
func (g *diagnosis) apart() []string {
	if len(g.shown) < 2 {
		return nil
	}
	return g.Decide
}

// restLine names the causes that have no entry of their own.
func (g *diagnosis) restLine() string {
	var names []string
	rest := 0.0
	for _, c := range g.Causes[len(g.shown):] {
		names = append(names, c.Cause)
		rest += c.Probability
	}
	line := fmt.Sprintf("Something else: %s.", share(g.Else))
	if len(names) == 0 {
		return line
	}
	return fmt.Sprintf("Less likely, %s together: %s. %s", share(rest), strings.Join(names, "; "), line)
}

// evidenceLines are what speaks for (+) and against (-) a cause, with the
// ratios when the reader asked how it came about.
func evidenceLines(c *device.TriageCause, explain bool) []string {
	var out []string
	if explain {
		out = append(out, fmt.Sprintf("prior odds %s against something else (common practice)", number(c.Odds)))
	}
	for i, e := range c.Evidence {
		mark := "+ "
		if e.Ratio < 1 {
			mark = "- "
		}
		line := mark + c.Why[min(i, len(c.Why)-1)]
		if explain {
			line = fmt.Sprintf("%s%s: times %s (%s)", mark, e.Words, number(e.Ratio), e.Source)
		}
		out = append(out, line)
	}
	return out
}

// partLine is the part to bring, with its number where the catalogue has one.
func partLine(c *device.TriageCause) string {
	if c.Part == "" || c.PartNumber == "" {
		return string(c.Part)
	}
	return fmt.Sprintf("%s (%s)", c.Part, c.PartNumber)
}

// stepLine is a step with who can do it, how long it takes, which of the causes
// shown it is for, and the letters of its cautions.
func (g *diagnosis) stepLine(s *device.TriageStep) string {
	notes := []string{whoWords(&device.Advice{Who: s.Who, Minutes: s.Minutes})}
	if n := g.numbers(s.For); n != "" {
		notes = append(notes, "for "+n)
	}
	if m := g.cautions.mind(s.Caution); m != "" {
		notes = append(notes, m)
	}
	return fmt.Sprintf("%s [%s]", s.Step, strings.Join(notes, "; "))
}

// numbers lists the causes, as numbered on the page, that a step is for.
func (g *diagnosis) numbers(codes []string) string {
	var out []string
	for i, c := range g.shown {
		if slices.Contains(codes, c.Code) {
			out = append(out, fmt.Sprint(i+1))
		}
	}
	return strings.Join(out, ", ")
}

func writeTriageText(w io.Writer, t *device.Triage, o Options) error {
	p := &page{style: newStyle(o), w: w}
	g := newDiagnosis(t)
	p.painted(sgrBold, p.text(g.Symptom+": "+g.Looks))
	if about := g.about(p.style); about != "" {
		p.wrapped("", "", about)
	}
	for _, n := range g.Notes {
		p.wrapped("", "", n)
	}
	if g.Interval != nil {
		p.interval(g.Interval)
	} else {
		p.expected(g.Expected)
	}
	p.list("Ask first", g.Ask)
	p.heading("Likely causes")
	for i := range g.shown {
		c := &g.shown[i]
		p.wrapped("  ", fmt.Sprintf("%d. ", i+1), causeLine(c))
		for _, e := range evidenceLines(c, o.Explain) {
			p.wrapped("     ", "", e)
		}
		p.wrapped("     ", "Points to it: ", c.Sign)
		if part := partLine(c); part != "" {
			p.wrapped("     ", "Part: ", part)
		}
	}
	p.wrapped("  ", "", g.restLine())
	p.heading("Try in this order")
	for i := range g.First {
		p.wrapped("  ", fmt.Sprintf("%d) ", i+1), g.stepLine(&g.First[i]))
	}
	p.list("Tell the first two apart", g.apart())
	p.heading("Prove the fix")
	p.wrapped("  ", "", g.Prove)
	if len(g.cautions) > 0 {
		p.heading("Cautions")
		for i, c := range g.cautions {
			p.wrapped("  ", letter(i)+" ", c)
		}
		p.wrapped("  ", "", makerFirst)
	}
	return p.err
}

// list writes a heading and points, nothing when there are none.
func (p *page) list(title string, points []string) {
	if len(points) == 0 {
		return
	}
	p.heading(title)
	for _, v := range points {
		p.wrapped("  ", "- ", v)
	}
}

// interval writes what was measured, what it fits and where it can be seen.
func (p *page) interval(r *device.Repeat) {
	p.heading("Interval")
	for _, l := range intervalLines(r) {
		p.wrapped("  ", "", l)
	}
	for i := range r.Matches {
		p.wrapped("  ", "Fits: ", matchLine(&r.Matches[i]))
	}
	for _, l := range pageLinesOf(r) {
		p.wrapped("  ", "", l)
	}
	for _, n := range r.Notes {
		p.wrapped("  ", "", n)
	}
}

func intervalLines(r *device.Repeat) []string {
	reading := map[string]string{
		"one":       "from one distance",
		"positions": "from distances from the first mark to later ones",
		"repeats":   "from several measurements of one distance",
	}[r.Reading]
	return []string{
		fmt.Sprintf("%s mm, give or take %s mm (95 %%), %s.", number(r.IntervalMM), number(r.PlusMinusMM), reading),
		fmt.Sprintf("A part that leaves it once a turn is %s mm across (interval divided by pi).", number(r.DiameterMM)),
	}
}

func matchLine(m *device.RollerMatch) string {
	line := m.Name
	if m.Technology != "" {
		line += ", " + string(m.Technology)
	}
	if m.DiameterMM == nil {
		return fmt.Sprintf("%s: usually %s to %s mm (%s)", line, number(m.LowMM), number(m.HighMM), m.Source)
	}
	line = fmt.Sprintf("%s: %s mm across, %s to %s mm a turn (%s)", line, number(*m.DiameterMM), number(m.LowMM), number(m.HighMM), m.Source)
	if m.OffMM != nil {
		line += fmt.Sprintf(", measured %s mm %s", number(math.Abs(*m.OffMM)), map[bool]string{true: "less", false: "more"}[*m.OffMM < 0])
	}
	if m.Turns > 1 {
		line += fmt.Sprintf(", if it is %d turns and every second mark was missed", m.Turns)
	}
	return line
}

func pageLinesOf(r *device.Repeat) []string {
	var out []string
	for _, x := range r.Pages {
		at := fmt.Sprintf("On %s (%s mm): ", x.Media, number(x.LengthMM))
		switch {
		case x.Least < 1:
			at += "never two marks on one page"
		case x.Least < 2:
			at += fmt.Sprintf("%s or %d a page, so on some pages it can be measured", device.Counted(x.Least, "mark", "marks"), x.Most)
		default:
			at += fmt.Sprintf("%d or %d marks a page", x.Least, x.Most)
		}
		out = append(out, at+".")
	}
	return out
}

// expected lists the intervals that parts leave, for who has not measured yet.
func (p *page) expected(list []device.RollerMatch) {
	if len(list) == 0 {
		return
	}
	p.heading("Intervals to expect")
	for _, l := range expectedLines(list) {
		p.wrapped("  ", "- ", l)
	}
	p.wrapped("  ", "", "Measure from the first mark to each later one, then run it again with --interval.")
}

func expectedLines(list []device.RollerMatch) []string {
	var out []string
	models := map[device.Text]bool{}
	for i := range list {
		models[list[i].Model] = true
	}
	for i := range list {
		line := matchLine(&list[i])
		if len(models) > 1 {
			line = string(list[i].Model) + ", " + line
		}
		out = append(out, line)
	}
	return out
}
