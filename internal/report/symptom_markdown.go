package report

import (
	"fmt"
	"io"
	"strconv"

	"printround/internal/device"
)

// writeTriageMarkdown writes the same as the table does, and the steps of each
// cause.
func writeTriageMarkdown(w io.Writer, t *device.Triage, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.color = false
	g := newDiagnosis(t)
	p.line("# " + p.md(g.Symptom+": "+g.Looks))
	if about := g.about(p.style); about != "" {
		p.blank()
		p.line(p.md(about))
	}
	for _, n := range g.Notes {
		p.blank()
		p.line(p.md(n))
	}
	if g.Interval != nil {
		p.mdInterval(g.Interval)
	} else {
		p.mdList("Intervals to expect", expectedLines(g.Expected))
	}
	p.mdList("Ask first", g.Ask)
	p.blank()
	p.line("## Likely causes")
	for i := range g.shown {
		p.mdCause(g, i, o.Explain)
	}
	p.blank()
	p.line(p.md(g.restLine()))
	p.blank()
	p.line("## Try in this order")
	p.blank()
	for i := range g.First {
		p.line(strconv.Itoa(i+1) + ". " + p.md(g.stepLine(&g.First[i])))
	}
	p.mdList("Tell the first two apart", g.apart())
	p.blank()
	p.line("## Prove the fix")
	p.blank()
	p.line(p.md(g.Prove))
	var cautions []string
	for i, c := range g.cautions {
		cautions = append(cautions, letter(i)+" "+c)
	}
	if len(cautions) > 0 {
		cautions = append(cautions, makerFirst)
	}
	p.mdList("Cautions", cautions)
	return p.err
}

func (p *page) mdCause(g *diagnosis, i int, explain bool) {
	c := &g.shown[i]
	p.blank()
	p.line(fmt.Sprintf("### %d. ", i+1) + p.md(causeLine(c)))
	p.blank()
	for _, e := range evidenceLines(c, explain) {
		p.line("- " + p.md(e))
	}
	p.line("- Points to it: " + p.md(c.Sign))
	if part := partLine(c); part != "" {
		p.line("- Part: " + p.md(part))
	}
	p.blank()
	for k, s := range c.Try {
		who := whoWords(&device.Advice{Who: s.Who, Minutes: s.Minutes})
		p.line(strconv.Itoa(k+1) + ". " + p.md(s.Step+" ["+who+"]"))
		if s.Caution != "" {
			p.line("   Caution: " + p.md(string(s.Caution)))
		}
	}
}

func (p *page) mdInterval(r *device.Repeat) {
	items := intervalLines(r)
	for i := range r.Matches {
		items = append(items, "Fits: "+matchLine(&r.Matches[i]))
	}
	items = append(append(items, pageLinesOf(r)...), r.Notes...)
	p.mdList("Interval", items)
}
