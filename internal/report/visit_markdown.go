package report

import (
	"fmt"
	"io"

	"printround/internal/visit"
)

// writeVisitMarkdown writes the plan as Markdown, with a box to tick for
// everything to do.
func writeVisitMarkdown(w io.Writer, v *visit.Plan, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.color = false
	n := newPlanned(v, p.style)
	if v.Partial {
		p.line("**FROM A PARTIAL SURVEY. " + p.md(partialWords(string(v.PartialReason))) + "**")
		p.blank()
	}
	p.line("# " + p.md(n.titleLine()))
	p.blank()
	p.line(p.md(n.aboutLine()))
	p.blank()
	p.line(p.md(n.sumLine()))
	p.mdCalls(n)
	p.mdParts(n)
	p.mdStops(n)
	var watch, looks, cautions []string
	for _, x := range watchLines(n.Watch, n.several) {
		watch = append(watch, x.line())
	}
	for i := range n.LookAt {
		looks = append(looks, lookLine(&n.LookAt[i]))
	}
	for i, c := range n.cautions {
		cautions = append(cautions, letter(i)+": "+c)
	}
	p.mdList("Watch", watch)
	p.mdList(lookHeading, looks)
	p.mdList("Cautions", cautions)
	if len(cautions) > 0 {
		p.blank()
		p.line(p.md(makerFirst))
	}
	return p.err
}

func (p *page) mdCalls(n *planned) {
	if len(n.ByPhone) == 0 {
		return
	}
	p.blank()
	p.line("## By phone")
	p.blank()
	p.line(ifNotRule)
	heading := ""
	for i := range n.ByPhone {
		t := &n.ByPhone[i]
		if h := siteHeading(t); h != heading {
			heading = h
			p.blank()
			p.line("### " + p.md(h))
			p.blank()
		}
		p.mdBox(fmt.Sprintf("%s: **%s** (%s)", p.md(string(t.Impact)), p.md(taskTitle(t, true)), p.md(n.howLine(t))))
		p.mdSteps(t.Steps)
		if part := ifNotWords(t); part != "" {
			p.line("  - If it does not help: " + p.md(part))
		}
	}
}

func (p *page) mdBox(v string) { p.line("- [ ] " + v) }

func (p *page) mdSteps(steps []string) {
	for i, s := range steps {
		p.line(fmt.Sprintf("  %d. %s", i+1, p.md(s)))
	}
}

func (p *page) mdParts(n *planned) {
	if len(n.Parts) == 0 {
		return
	}
	p.blank()
	p.line("## Bring")
	p.blank()
	rows := make([][]string, len(n.Parts))
	for i := range n.Parts {
		rows[i] = partRow(&n.Parts[i])
	}
	p.mdGrid([]tableColumn{{heading: "Qty", right: true}, {heading: "Part"}, {heading: "Number"}, {heading: "Model"}, {heading: "For"}}, rows)
}

func (p *page) mdStops(n *planned) {
	if len(n.Visit) == 0 {
		return
	}
	p.blank()
	p.line("## Visit")
	for i := range n.Visit {
		s := &n.Visit[i]
		p.blank()
		p.line(fmt.Sprintf("### %d. %s (%s)", i+1, p.md(stopHeading(s)), minutes(s.Minutes)))
		p.blank()
		for k := range s.Devices {
			d := &s.Devices[k]
			for m := range d.Deliver {
				p.mdBox("part: **" + p.md(stopDevice(s, d)) + "**: " + p.md(deliverLine(&d.Deliver[m])))
			}
			for m := range d.Tasks {
				t := &d.Tasks[m]
				p.mdBox(fmt.Sprintf("%s: **%s**: %s (%s)", p.md(string(t.Impact)), p.md(stopDevice(s, d)), p.md(whyLine(t)), p.md(n.howLine(t))))
				if t.Ahead > 0 {
					p.line("  - Beforehand: " + p.md(aheadWords(t)))
				}
				if part := bringWords(t); part != "" {
					p.line("  - Bring " + p.md(part))
				}
				p.mdSteps(t.Steps)
			}
		}
	}
}
