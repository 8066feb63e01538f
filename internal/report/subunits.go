package report

import (
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// block draws a small table inside a section.
func (p *page) block(g grid) {
	const indent = "  "
	g.extra = 1 << 20
	widths := g.layout(p.width-len(indent), 2)
	g.draw(p, widths, indent)
	if len(widths) < len(g.columns) {
		p.leftOut(g, widths)
	}
}

// safeRow makes foreign text fit for a table.
func (p *page) safeRow(cells ...string) []string {
	for i, c := range cells {
		cells[i] = p.text(c)
	}
	return cells
}

// levelWords is the percentage, or why there is none.
func levelWords(l device.Level) string {
	if l.Known() {
		return l.String()
	}
	return "unknown: " + string(l.Reason())
}

// amount is a level in its own unit, as far as it is known.
func amount(l device.Level, capacity *int64, unit device.Text) string {
	v, ok := l.Value()
	parts := []string{"?"}
	if ok {
		parts[0] = grouped(v)
	}
	switch {
	case capacity != nil:
		parts = append(parts, "of", grouped(*capacity))
	case !ok:
		return "?"
	}
	if unit != "" {
		parts = append(parts, string(unit))
	}
	return strings.Join(parts, " ")
}

// from says where a fact was read.
func (s style) from(source device.Source, object string) string {
	if !s.objects {
		return string(source)
	}
	return strings.TrimSpace(string(source) + " " + object)
}

func (p *page) supplies(supplies []device.Supply) {
	p.heading("Supplies")
	if len(supplies) == 0 {
		p.line("  " + notReported)
		return
	}
	p.supplyTable(supplies)
}

func (p *page) supplyTable(supplies []device.Supply) {
	g := grid{columns: []tableColumn{
		{heading: "#", right: true},
		{heading: "SUPPLY", least: 14, most: 36, lines: 4},
		{heading: "LEVEL", least: 9, most: 24, lines: 4},
		{heading: "COUNTS", least: 10, most: 10},
		{heading: "AMOUNT", least: 11, most: 32, lines: 4},
		{heading: "LOW AT", right: true},
		{heading: "KIND", least: 9, most: 20, lines: 4},
		{heading: "COLOUR", least: 7, most: 12, lines: 4},
		{heading: "FROM", least: 4, most: 34, lines: 4},
	}}
	other := slices.ContainsFunc(supplies, func(s device.Supply) bool { return s.Other != nil })
	if other {
		g.columns = append(g.columns, tableColumn{heading: "OTHER SOURCE", least: 12, most: 34, lines: 4})
	}
	for _, s := range supplies {
		low := "?"
		if s.LowAt != nil {
			low = number(*s.LowAt) + "%"
		}
		row := []string{fmt.Sprint(s.Index), supplyName(s), levelWords(s.Level), measuresWords(s),
			amount(s.Level, s.Capacity, s.Unit), low, string(s.Kind), string(s.Colorant), p.from(s.Source, s.Object)}
		if other {
			row = append(row, p.otherReading(s.Other))
		}
		g.rows = append(g.rows, p.safeRow(row...))
	}
	p.block(g)
}

func (p *page) otherReading(r *device.Reading) string {
	if r == nil {
		return ""
	}
	return levelWords(r.Level) + " " + p.from(r.Source, r.Object)
}

// measuresWords says which way the level counts; both run towards zero.
func measuresWords(s device.Supply) string {
	if m := s.Level.Measures(); m != "" {
		return string(m)
	}
	return string(s.Role)
}

func (p *page) trays(trays []device.Tray) {
	p.heading("Trays")
	if len(trays) == 0 {
		p.line("  " + notReported)
		return
	}
	p.trayTable(trays)
}

func (p *page) trayTable(trays []device.Tray) {
	g := grid{columns: []tableColumn{
		{heading: "#", right: true},
		{heading: "TRAY", least: 12, most: 28, lines: 4},
		{heading: "LEVEL", least: 9, most: 24, lines: 4},
		{heading: "MEDIUM", least: 14, most: 40, lines: 4},
		{heading: "SIZE", least: 9, most: 20, lines: 4},
		{heading: "STATUS", least: 10, most: 30, lines: 4},
		{heading: "AMOUNT", least: 11, most: 28, lines: 4},
		{heading: "FROM", least: 4, most: 34, lines: 4},
	}}
	for _, t := range trays {
		g.rows = append(g.rows, p.safeRow(fmt.Sprint(t.Index), orKind(t.Name, t.Kind), levelWords(t.Level),
			mediaWords(t.Media), sizeWords(t.Media), statusWords(t.Status), amount(t.Level, t.Capacity, t.Unit),
			p.from(t.Source, t.Object)))
	}
	p.block(g)
}

func orKind(name, kind device.Text) string {
	if name != "" {
		return string(name)
	}
	return string(kind)
}

func mediaWords(m device.Media) string {
	var words []string
	for _, v := range []device.Text{m.Name, m.Type, m.Color} {
		if v != "" {
			words = append(words, string(v))
		}
	}
	if m.WeightG != nil {
		words = append(words, number(*m.WeightG)+" g/m2")
	}
	if words == nil {
		return notReported
	}
	return strings.Join(words, ", ")
}

func sizeWords(m device.Media) string {
	if m.WidthMM == nil && m.LengthMM == nil {
		return "?"
	}
	side := func(v *float64) string {
		if v == nil {
			return "?"
		}
		return number(*v)
	}
	return side(m.WidthMM) + " x " + side(m.LengthMM) + " mm"
}

func statusWords(s device.Status) string {
	if !s.Reported() {
		return notReported
	}
	return strings.Join(s.Words(), " ")
}

func (p *page) outputs(outputs []device.Output) {
	if len(outputs) == 0 {
		return
	}
	p.heading("Outputs")
	g := grid{columns: []tableColumn{
		{heading: "#", right: true},
		{heading: "OUTPUT", least: 12, most: 28, lines: 4},
		{heading: "ROOM LEFT", least: 9, most: 24, lines: 4},
		{heading: "STATUS", least: 10, most: 30, lines: 4},
		{heading: "AMOUNT", least: 11, most: 28, lines: 4},
		{heading: "FROM", least: 4, most: 34, lines: 4},
	}}
	for _, x := range outputs {
		g.rows = append(g.rows, p.safeRow(fmt.Sprint(x.Index), orKind(x.Name, x.Kind), levelWords(x.Level),
			statusWords(x.Status), amount(x.Level, x.Capacity, x.Unit), p.from(x.Source, x.Object)))
	}
	p.block(g)
}

func (p *page) covers(covers []device.Cover) {
	if len(covers) == 0 {
		return
	}
	p.heading("Covers")
	for _, c := range covers {
		name := string(c.Name)
		if name == "" {
			name = fmt.Sprintf("cover %d", c.Index)
		}
		status := string(c.Status)
		if status == "" {
			status = notReported
		}
		if p.objects {
			status += " (" + c.Object + ")"
		}
		p.wrapped("  ", "", name+": "+status)
	}
}

func (p *page) finishers(finishers []device.Finisher) {
	if len(finishers) == 0 {
		return
	}
	p.heading("Finishers")
	for i := range finishers {
		f := &finishers[i]
		line := fmt.Sprintf("%d. %s: %s, %s", f.Index, orKind(f.Name, f.Kind), f.Kind, statusWords(f.Status))
		if f.Present != "" {
			line += ", " + string(f.Present)
		}
		p.wrapped("  ", "", line)
		if len(f.Attributes) > 0 {
			p.wrapped("     ", "", attributeWords(f.Attributes))
		}
		if len(f.Supplies) > 0 {
			p.supplyTable(f.Supplies)
		}
		if len(f.Inputs) > 0 {
			p.trayTable(f.Inputs)
		}
	}
}

// paths writes media paths and channels, the ways of paper and of data.
func (p *page) paths(d *device.Device) {
	if len(d.Paths) > 0 {
		p.heading("Media paths")
	}
	for _, x := range d.Paths {
		line := fmt.Sprintf("%d. %s: %s, %s", x.Index, orKind(x.Name, x.Kind), x.Kind, statusWords(x.Status))
		if x.Speed != nil {
			line += fmt.Sprintf(", up to %s %s", grouped(*x.Speed), x.Unit)
		}
		p.wrapped("  ", "", line)
	}
	if len(d.Channels) > 0 {
		p.heading("Channels")
	}
	for _, x := range d.Channels {
		p.wrapped("  ", "", fmt.Sprintf("%d. %s: %s, %s", x.Index, x.Kind, x.State, statusWords(x.Status)))
	}
}

func (p *page) storage(storage []device.Storage) {
	if len(storage) == 0 {
		return
	}
	p.heading("Memory and disks")
	for _, x := range storage {
		line := orKind(x.Name, x.Kind)
		if x.Size != nil {
			line += ", " + octets(*x.Size)
		}
		if x.Used != nil {
			line += ", " + octets(*x.Used) + " used"
		}
		if x.Fails != nil && *x.Fails > 0 {
			line += ", " + device.Counted(int(*x.Fails), "failed allocation", "failed allocations")
		}
		p.wrapped("  ", "", line)
	}
}
