package report

import (
	"fmt"
	"io"
	"slices"

	"printround/internal/color"
)

// writeColorMarkdown writes the same as the table does.
func writeColorMarkdown(w io.Writer, c *color.Comparison, o Options) error {
	p := colorPage{&page{style: newStyle(o), w: w}, c, o.Explain}
	p.color = false
	p.line("# " + p.md(p.spell(colorTitle(c))))
	for _, l := range colorAbout(c) {
		p.blank()
		p.line(p.md(p.spell(l)))
	}
	p.mdPoints("Beyond tolerance", c.Beyond)
	p.mdCauses()
	p.mdPoints("Notes", c.Notes)
	p.mdPoints("What the readings do not tell", append(slices.Clone(c.NotTold), absent(c)...))
	for _, t := range colorTables(c) {
		p.mdTableOf(t)
	}
	if p.explain {
		p.mdPoints("Tolerances (common practice)", toleranceLines(c))
	}
	return p.err
}

func (p colorPage) mdPoints(title string, list []string) {
	p.mdList(title, p.spellAll(list))
}

func (p colorPage) mdCauses() {
	if len(p.Causes) == 0 {
		return
	}
	p.blank()
	p.line("## Where to look, likelier first (common practice)")
	for i := range p.Causes {
		x := &p.Causes[i]
		p.blank()
		p.line(fmt.Sprintf("### %d. ", i+1) + p.md(causeTitle(x)+p.rank(i)))
		p.blank()
		for _, r := range x.Because {
			p.line("- Because " + p.md(p.spell(reasonWords(r, p.explain))))
		}
		for _, t := range p.steps(i) {
			p.line("- Try: " + p.md(p.spell(t)))
		}
		if c := p.caution(i); c != "" {
			p.line("- Caution: " + p.md(c))
		}
		if x.Symptom != nil {
			p.line("- Goes on: `printround symptom " + *x.Symptom + " --device DEVICE`")
		}
	}
}

func (p colorPage) mdTableOf(t colorTable) {
	if len(t.rows) == 0 {
		return
	}
	p.blank()
	p.line("## " + p.md(p.spell(t.title)))
	p.blank()
	columns, rows := p.asPrinted(t)
	p.mdGrid(columns, rows)
	if t.below != "" {
		p.blank()
		p.line(p.md(p.spell(t.below)))
	}
}
