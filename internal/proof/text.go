package proof

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"

	"printround/internal/term"
)

// Size of a page of plain text, in characters: what a device prints on A4 and
// on Letter at ten characters and six lines an inch (common practice, no
// source), with room for its margins.
const (
	textColumns = 76
	textLines   = 58
)

// writeText writes the page as plain text: ASCII only, lines that end in CR LF
// (RFC 2046 section 4.1.1), a form feed at the end of each page. What cannot be
// shown in characters is left out.
func writeText(w io.Writer, s Spec) error {
	t := &textPage{w: bufio.NewWriter(w), columns: textColumns, most: textLines}
	if s.Width > 0 && s.Length > 0 { // an inch of each is for the margins
		t.columns = min(t.columns, max(4, int((s.Width/25.4-0.5)*10)))
		t.most = min(t.most, max(2, int((s.Length/25.4-0.5)*6)))
	}
	t.front(s)
	t.form()
	if s.TwoSided() {
		t.say("printround proof, second side")
		t.say(turned(s.Sides))
		t.ruler()
		t.form()
	}
	return t.w.Flush()
}

// textPage counts lines; those beyond the page are left out. An error stays in
// the buffer.
type textPage struct {
	w       *bufio.Writer
	columns int
	lines   int
	most    int
}

// line prints one line, shortened to the page.
func (t *textPage) line(s string) {
	if t.lines == t.most {
		return
	}
	t.lines++
	s = s[:min(len(s), t.columns)]
	fmt.Fprintf(t.w, "%s\r\n", strings.TrimRight(s, " "))
}

func (t *textPage) form() {
	fmt.Fprint(t.w, "\f")
	t.lines = 0
}

// say prints words in as many lines as they take.
func (t *textPage) say(s string) {
	line := ""
	for _, w := range strings.Fields(term.ASCII(s)) {
		if line != "" && len(line)+1+len(w) > t.columns {
			t.line(line)
			line = ""
		}
		line = strings.TrimLeft(line+" "+w, " ")
	}
	t.line(line)
}

// ruler counts the columns.
func (t *textPage) ruler() {
	tens, units := "", ""
	for i := 1; i <= t.columns; i++ {
		units += fmt.Sprint(i % 10)
		if i%10 == 0 {
			tens += fmt.Sprintf("%10d", i)
		}
	}
	t.line(tens)
	t.line(units)
}

// numbered prints a line with its number at the left.
func (t *textPage) numbered(s string) { t.line(fmt.Sprintf("%2d  %s", t.lines+1, s)) }

// rows prints a row of one character across the page, three times.
func (t *textPage) rows(char string) {
	for range 3 {
		t.line(strings.Repeat(char, t.columns))
	}
}

func (t *textPage) front(s Spec) {
	t.ruler()
	t.line("printround proof, made " + s.Made.Format("2006-01-02 15:04:05 -07:00"))
	for _, f := range slices.Concat(s.Device, s.Settings) {
		t.line(fmt.Sprintf("%-9s %s", term.ASCII(f.Name), term.ASCII(printable(f.Value, 120))))
	}
	t.line("")
	t.say("The sheet: " + lookOf("sheet"))
	t.say("Lines are numbered to the foot, columns above: what is missing is margin. Else see image-cut-off, image-shifted, skew")
	t.rows("M")
	t.say("Nothing but numbers below the bar: a shadow of it is ghost, a mark at one distance is repeating-mark, a veil is background-haze")
	for range 8 {
		t.numbered("")
	}
	t.say("Characters in the order of ASCII, none broken. Else see garbled-characters, faint-print")
	for first := 0x20; first < 0x7f; first += 32 {
		var b strings.Builder
		for c := first; c < min(first+32, 0x7f); c++ {
			b.WriteByte(byte(c))
			b.WriteByte(' ')
		}
		t.numbered(b.String())
	}
	t.numbered(sampleText)
	t.say(element("bands").Title + ": " + lookOf("bands"))
	t.rows("#")
	for t.lines < t.most-2 {
		t.numbered("")
	}
	t.ruler()
}

// lookOf is what to look for at an element, in one line.
func lookOf(id string) string {
	e := element(id)
	return e.Look + " Else see " + strings.Join(e.Symptom, ", ")
}
