package report

import (
	"bytes"
	"strings"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"

	"printround/internal/device"
	"printround/internal/term"
)

// gap is the number of cells between two columns.
const gap = 2

// tableColumn is one column of a table on a page.
type tableColumn struct {
	heading string
	right   bool // numbers stand at the right edge
	least   int  // cells; below them the column is not worth having; 0: all it wants
	most    int  // cells; 0: as many as its widest cell wants
	lines   int  // cells may be broken into that many lines; 0: one
}

// grid is a table before it is drawn; its cells are safe text.
type grid struct {
	columns   []tableColumn
	rows      [][]string
	extra     int // lines that broken cells may add to the table in all; the first rows get them
	attention int // index of the column with the attention level; 0: none
}

// layout returns how wide each column is drawn. Columns that do not fit are
// left out from the right: the result then has fewer entries than columns, but
// always at least keep.
func (g grid) layout(width, keep int) []int {
	wants := make([]int, len(g.columns))
	for i, c := range g.columns {
		wants[i] = term.DisplayWidth(c.heading)
		for _, row := range g.rows {
			wants[i] = max(wants[i], term.DisplayWidth(row[i]))
		}
		if c.most > 0 {
			wants[i] = max(min(wants[i], c.most), term.DisplayWidth(c.heading))
		}
	}
	n := len(g.columns)
	for n > keep && g.least(wants[:n]) > width {
		n--
	}
	return g.share(wants[:n], width)
}

// floor is the narrowest useful width of column i.
func (g grid) floor(i int, wants []int) int {
	if g.columns[i].least == 0 {
		return wants[i]
	}
	return min(wants[i], max(g.columns[i].least, term.DisplayWidth(g.columns[i].heading)))
}

// least is the width of a table whose columns all are as narrow as useful.
func (g grid) least(wants []int) int {
	total := gap * (len(wants) - 1)
	for i := range wants {
		total += g.floor(i, wants)
	}
	return total
}

// share starts with the narrowest useful widths and gives what is left of the
// page to the columns that want more, one cell after another, so that columns
// with the same wish come out the same. When even the narrowest do not fit the
// last column pays.
func (g grid) share(wants []int, width int) []int {
	widths := make([]int, len(wants))
	for i := range wants {
		widths[i] = g.floor(i, wants)
	}
	left := width - g.least(wants)
	for progress := true; left > 0 && progress; {
		progress = false
		for i := range wants {
			if left > 0 && widths[i] < wants[i] {
				widths[i]++
				left--
				progress = true
			}
		}
	}
	if last := len(widths) - 1; left < 0 {
		widths[last] = max(widths[last]+left, 1)
	}
	return widths
}

// draw writes the columns that widths has room for, their cells cut or broken
// to fit, over a rule that separates the heading. Trailing spaces are dropped.
func (g grid) draw(p *page, widths []int, indent string) {
	var b bytes.Buffer
	align := make(tw.Alignment, len(widths))
	headings := make([]string, len(widths))
	for i, w := range widths {
		align[i], headings[i] = tw.AlignLeft, p.cut(g.columns[i].heading, w)
		if g.columns[i].right {
			align[i] = tw.AlignRight
			headings[i] = strings.Repeat(" ", max(w-len(headings[i]), 0)) + headings[i]
		}
	}
	t := newTable(&b, align, p.rule())
	t.Header(headings)
	extra := g.extra
	for _, row := range g.rows {
		cells, used := g.cells(p.style, row, widths, extra)
		extra -= used - 1
		p.fail(t.Append(cells))
	}
	p.fail(t.Render())
	total := gap * (len(widths) - 1)
	for _, w := range widths {
		total += w
	}
	n := 0
	for l := range strings.Lines(b.String()) {
		l = strings.TrimRight(l, " \n")
		if n++; n == 2 { // the rule, which the library draws under the last gap too
			l = term.Truncate(l, total, "")
		} else if g.attention > 0 {
			l = p.paintAttention(l, widths[:g.attention])
		}
		p.line(indent + l)
	}
}

// cells lays out one row, and returns how many lines it takes: at most extra
// more than one.
func (g grid) cells(s style, row []string, widths []int, extra int) (cells []string, used int) {
	cells, used = make([]string, len(widths)), 1
	for i, w := range widths {
		lines := s.broken(row[i], w, min(max(g.columns[i].lines, 1), 1+max(extra, 0)))
		used = max(used, len(lines))
		if !g.columns[i].right { // so that the column keeps its width
			lines[0] += strings.Repeat(" ", max(w-term.DisplayWidth(lines[0]), 0))
		}
		cells[i] = strings.Join(lines, "\n")
	}
	return cells, used
}

// newTable returns a table without frame. Each cell is laid out already: the
// library must neither trim, break nor rewrite it.
func newTable(b *bytes.Buffer, align tw.Alignment, rule string) *tablewriter.Table {
	return tablewriter.NewTable(b,
		tablewriter.WithRenderer(renderer.NewBlueprint(tw.Rendition{
			Borders: tw.BorderNone,
			Symbols: tw.NewSymbolCustom("rule").WithRow(rule).WithCenter(rule).WithHeaderMid(rule).WithColumn(""),
			Settings: tw.Settings{
				Separators: tw.Separators{BetweenColumns: tw.Off, BetweenRows: tw.Off, ShowHeader: tw.On},
				Lines:      tw.Lines{ShowHeaderLine: tw.On, ShowTop: tw.Off, ShowBottom: tw.Off},
			},
		})),
		tablewriter.WithEastAsian(tw.Off), // not by the locale of the environment
		tablewriter.WithTrimSpace(tw.Off),
		tablewriter.WithHeaderAutoFormat(tw.Off),
		tablewriter.WithHeaderAutoWrap(tw.WrapNone),
		tablewriter.WithRowAutoWrap(tw.WrapNone),
		tablewriter.WithPadding(tw.Padding{Right: strings.Repeat(" ", gap), Overwrite: true}),
		tablewriter.WithHeaderAlignment(tw.AlignLeft),
		tablewriter.WithAlignment(align),
	)
}

// paintAttention colours the word of the attention column, which stands behind
// the columns of the widths before. Colour goes in after the table is drawn:
// the library would measure and move codes inside of cells. The columns before
// are numbers, so that a cell is a byte.
func (p *page) paintAttention(line string, before []int) string {
	at := 0
	for _, w := range before {
		at += w + gap
	}
	if len(line) <= at || strings.TrimLeft(line[:at], " ") == "" {
		return line // a further line of the row above
	}
	end := at + strings.IndexByte(line[at:]+" ", ' ')
	code := attentionColor[device.Attention(line[at:end])]
	return line[:at] + p.paint(code, line[at:end]) + line[end:]
}

// fail keeps the first error.
func (p *page) fail(err error) {
	if p.err == nil {
		p.err = err
	}
}
