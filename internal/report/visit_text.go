package report

import (
	"fmt"
	"io"
	"math"

	"printround/internal/device"
	"printround/internal/visit"
)

// writeVisitText writes the plan for a terminal or a printed page: whom to
// call, what to bring, where to go, and what to keep an eye on.
func writeVisitText(w io.Writer, v *visit.Plan, o Options) error {
	p := &page{style: newStyle(o), w: w}
	n := newPlanned(v, p.style)
	if v.Partial {
		p.line(p.paint(sgrReverse, "*** FROM A PARTIAL SURVEY ***"))
		p.wrapped("", "", partialWords(string(v.PartialReason)))
		p.blank()
	}
	p.painted(sgrBold, p.text(n.titleLine()))
	p.wrapped("", "", n.aboutLine())
	p.wrapped("", "", n.sumLine())
	p.calls(n)
	p.partList(n)
	p.stops(n)
	p.watching(n)
	p.looks(n)
	p.minding(n)
	return p.err
}

func (p *page) calls(n *planned) {
	if len(n.ByPhone) == 0 {
		return
	}
	p.heading("By phone")
	p.wrapped("  ", "", ifNotRule)
	heading := ""
	for i := range n.ByPhone {
		t := &n.ByPhone[i]
		if h := siteHeading(t); h != heading {
			heading = h
			p.wrapped("  ", "", h)
		}
		p.taskHead("  ", t.Impact, fmt.Sprintf("%s (%s)", taskTitle(t, true), n.howLine(t)))
		p.numbered("      ", map[bool]string{true: "Desk", false: "Say"}[t.FromDesk], t.Steps)
		p.labelled("      ", "If not", ifNotWords(t))
	}
}

// taskHead begins a task: a box to tick off, how bad it is, and what it is.
func (p *page) taskHead(indent string, impact device.Impact, v string) {
	p.wrapped(indent, fmt.Sprintf("%s%-8s ", box, p.text(string(impact))), v)
}

// labelled writes a text behind its label, aligned with the others of a task.
func (p *page) labelled(indent, label, v string) {
	if v != "" {
		p.wrapped(indent, fmt.Sprintf("%-8s", label), v)
	}
}

func (p *page) numbered(indent, label string, steps []string) {
	if len(steps) == 1 {
		p.labelled(indent, label, steps[0])
		return
	}
	for i, s := range steps {
		if i > 0 {
			label = ""
		}
		p.wrapped(indent, fmt.Sprintf("%-8s%d ", label, i+1), s)
	}
}

// partColumns are the columns of the list of parts.
var partColumns = []tableColumn{
	{heading: "    QTY"},
	{heading: "PART", least: 18, most: 24, lines: maxWrapped},
	{heading: "NUMBER", least: 8, most: 16, lines: maxWrapped},
	{heading: "MODEL", least: 12, most: 24, lines: maxWrapped},
	{heading: "FOR", least: 24, lines: maxWrapped},
}

// fewestPartColumns is how many columns stay on the narrowest page.
const fewestPartColumns = 2

func (p *page) partList(n *planned) {
	if len(n.Parts) == 0 {
		return
	}
	p.heading("Bring")
	g := grid{columns: partColumns, extra: math.MaxInt32}
	for i := range n.Parts {
		cells := partRow(&n.Parts[i])
		cells[0] = box + cells[0]
		g.rows = append(g.rows, p.safeRow(cells...))
	}
	widths := g.layout(p.width-2, fewestPartColumns)
	g.draw(p, widths, "  ")
	if len(widths) < len(partColumns) {
		p.leftOut(g, widths)
	}
}

func (p *page) stops(n *planned) {
	if len(n.Visit) == 0 {
		return
	}
	p.heading("Visit")
	for i := range n.Visit {
		s := &n.Visit[i]
		p.wrapped("  ", fmt.Sprintf("%d. ", i+1), fmt.Sprintf("%s: %s", stopHeading(s), minutes(s.Minutes)))
		for k := range s.Devices {
			d := &s.Devices[k]
			for m := range d.Deliver {
				p.taskHead("     ", "part", stopDevice(s, d)+": "+deliverLine(&d.Deliver[m]))
			}
			for m := range d.Tasks {
				p.stopTask(n, s, d, &d.Tasks[m])
			}
		}
	}
}

func (p *page) stopTask(n *planned, s *visit.Stop, d *visit.StopDevice, t *visit.Task) {
	p.taskHead("     ", t.Impact, fmt.Sprintf("%s: %s (%s)", stopDevice(s, d), whyLine(t), n.howLine(t)))
	if t.Ahead > 0 {
		p.labelled("        ", "Call", aheadWords(t))
	}
	p.labelled("        ", "Bring", bringWords(t))
	p.numbered("        ", "Do", t.Steps)
}

func (p *page) watching(n *planned) {
	lines := watchLines(n.Watch, n.several)
	if len(lines) == 0 {
		return
	}
	p.heading("Watch")
	for _, w := range lines {
		p.wrapped("  ", "- ", w.line())
	}
}

func (p *page) looks(n *planned) {
	if len(n.LookAt) == 0 {
		return
	}
	p.heading(lookHeading)
	for i := range n.LookAt {
		if i == mostLooks {
			p.wrapped("  ", "- ", fmt.Sprintf("and %d more printers; --format json lists all", len(n.LookAt)-i))
			return
		}
		p.wrapped("  ", "- ", lookLine(&n.LookAt[i]))
	}
}

func (p *page) minding(n *planned) {
	if len(n.cautions) == 0 {
		return
	}
	p.heading("Cautions")
	for i, c := range n.cautions {
		p.wrapped("  ", letter(i)+"  ", c)
	}
	p.wrapped("  ", "", makerFirst)
}
