package report

import (
	"io"
	"strings"

	"printround/internal/device"
)

// WriteSettingsDiff writes how two devices are set differently.
func WriteSettingsDiff(w io.Writer, d *device.SettingsDiff, o Options) error {
	return forms[*device.SettingsDiff]{"settings", writeDiffText, writeDiffCSV, writeDiffMarkdown}.write(w, d, o)
}

type diffRow struct {
	*device.SettingDiffer
	d *device.SettingsDiff
}

var diffColumns = []column[diffRow]{
	{"key_a", "key of the first device", func(r diffRow) string { return r.d.A.Key }},
	{"key_b", "key of the second device", func(r diffRow) string { return r.d.B.Key }},
	{"setting", "name of the setting", func(r diffRow) string { return r.Name }},
	{"a", "its value on the first device", func(r diffRow) string { return string(r.A) }},
	{"b", "its value on the second device", func(r diffRow) string { return string(r.B) }},
}

func writeDiffCSV(w io.Writer, d *device.SettingsDiff, o Options) error {
	rows := make([]diffRow, len(d.Differ))
	for i := range d.Differ {
		rows[i] = diffRow{&d.Differ[i], d}
	}
	return writeRows(w, diffColumns, rows, o)
}

// diffLines say what is compared and what besides.
func (s style) diffLines(d *device.SettingsDiff) (head []string, rest []string) {
	of := func(x *device.SettingsOf) string {
		if w := s.whose(x.Name, x.MakeModel, x.Serial, x.Location); w != "" {
			return w
		}
		return x.Key
	}
	head = []string{"A: " + of(&d.A), "B: " + of(&d.B)}
	if d.A.MakeModel != d.B.MakeModel {
		head = append(head, "They are of different models: some settings cannot be the same.")
	}
	if len(d.Same) > 0 {
		rest = append(rest, "The same: "+strings.Join(d.Same, ", "))
	}
	if len(d.Unknown) > 0 {
		rest = append(rest, "Not compared, since one of them does not tell: "+strings.Join(d.Unknown, ", "))
	}
	return head, rest
}

func diffHead(d *device.SettingsDiff) string {
	if len(d.Differ) == 0 {
		return "No setting that both tell differs"
	}
	return device.Counted(len(d.Differ), "setting differs", "settings differ")
}

func writeDiffText(w io.Writer, d *device.SettingsDiff, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.painted(sgrBold, diffHead(d))
	head, rest := p.diffLines(d)
	for _, l := range head {
		p.wrapped("", "", l)
	}
	if len(d.Differ) > 0 {
		p.blank()
		g := grid{columns: []tableColumn{{heading: "SETTING", least: 10, most: 30, lines: 3}, {heading: "A", least: 9, most: 40, lines: 4}, {heading: "B", least: 9, most: 40, lines: 4}}}
		for _, x := range d.Differ {
			g.rows = append(g.rows, p.safeRow(x.Name, string(x.A), string(x.B)))
		}
		p.block(g)
	}
	for i, l := range rest {
		if i == 0 {
			p.blank()
		}
		p.wrapped("", "", l)
	}
	return p.err
}

func writeDiffMarkdown(w io.Writer, d *device.SettingsDiff, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.color = false
	p.line("# " + p.md(diffHead(d)))
	head, rest := p.diffLines(d)
	for _, l := range head {
		p.blank()
		p.line(p.md(l))
	}
	if len(d.Differ) > 0 {
		p.blank()
		var rows [][]string
		for _, x := range d.Differ {
			rows = append(rows, []string{x.Name, string(x.A), string(x.B)})
		}
		p.mdGrid([]tableColumn{{heading: "Setting"}, {heading: "A"}, {heading: "B"}}, rows)
	}
	for _, l := range rest {
		p.blank()
		p.line(p.md(l))
	}
	return p.err
}
