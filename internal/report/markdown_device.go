package report

import (
	"io"
	"strconv"
	"strings"

	"printround/internal/device"
)

// writeDeviceMarkdown writes the verdict, the panel's text, what to do, and the
// main facts of one device.
func writeDeviceMarkdown(w io.Writer, d *device.Device, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.color, p.sites = false, true
	p.line("# " + p.md(verdictLine(d)))
	p.blank()
	p.line(p.md(p.identityLine(d)))
	p.blank()
	p.line("Looked at " + p.md(p.time(d.ObservedAt)))
	if !answered(d) {
		var steps []string
		for _, e := range d.Errors {
			steps = append(steps, problemLine(e))
		}
		p.mdList("Which step failed", steps)
	}
	var panel []string
	for _, l := range d.State.Console {
		panel = append(panel, p.quoted(l))
	}
	if d.State.Message != "" {
		panel = append(panel, "printer-state-message "+p.quoted(string(d.State.Message)))
	}
	p.mdList("The panel says", panel)
	p.mdTasks(d)
	p.mdSupplies(d)
	if o.Explain {
		p.mdExplain(d)
	}
	return p.err
}

func (p *page) mdTasks(d *device.Device) {
	n := 0
	for i := range d.Findings {
		f := &d.Findings[i]
		if !f.Asks() {
			continue
		}
		if n++; n == 1 {
			p.blank()
			p.line("## What to do")
		}
		p.blank()
		p.line("### " + p.md(taskLine(f)))
		p.blank()
		for _, x := range [][2]string{{"Means", f.Advice.Meaning}, {"Likely", strings.Join(f.Advice.Causes, "; ")},
			{"Who", whoWords(&f.Advice)}, {"Bring", string(f.Advice.Part)}, {"Caution", string(f.Advice.Caution)}} {
			if x[1] != "" {
				p.line("- " + x[0] + ": " + p.md(x[1]))
			}
		}
		for k, s := range f.Advice.Steps {
			if k == 0 {
				p.blank()
			}
			p.line(strconv.Itoa(k+1) + ". " + p.md(s))
		}
	}
}

func (p *page) mdSupplies(d *device.Device) {
	if len(d.Supplies) == 0 {
		return
	}
	p.blank()
	p.line("## Supplies")
	p.blank()
	p.mdRow([]string{`\#`, "SUPPLY", "LEVEL", "COUNTS", "AMOUNT", "FROM"})
	p.mdRow([]string{"---:", "---", "---", "---", "---", "---"})
	for _, s := range d.Supplies {
		row := p.safeRow(strconv.Itoa(s.Index), supplyName(s), levelWords(s.Level), measuresWords(s),
			amount(s.Level, s.Capacity, s.Unit), p.from(s.Source, s.Object))
		for i := range row {
			row[i] = escapeMarkdown(row[i])
		}
		p.mdRow(row)
	}
}
