package report

import (
	"fmt"
	"io"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/term"
)

// A printed page: its columns, which are used too when the output is no
// terminal, and its lines. A fixed-width font of 7 points, whose characters are
// 0.6 as wide and lines 1.2 as high, puts that much on A4 or Letter in portrait
// with margins of half an inch (common practice, no source).
const (
	pageWidth = 120
	pageLines = 84
)

// minWidth is the narrowest width that is laid out for. Narrower terminals
// wrap the lines themselves.
const minWidth = 30

// style says how text is drawn. All text of a device goes through text.
type style struct {
	width int
	plain bool
	color bool
	zone  *time.Location
	// objects: facts name the object they were read from, not the protocol only.
	objects bool
	sites   bool // more than one site is shown: name the site of each device
}

func newStyle(o Options) style {
	s := style{width: o.Width, plain: o.Plain, color: o.Color && !o.Plain, zone: time.UTC, objects: o.Explain}
	if s.width <= 0 {
		s.width = pageWidth
	}
	s.width = max(s.width, minWidth)
	if !o.Now.IsZero() {
		s.zone = o.Now.Location()
	}
	return s
}

// text makes s fit to be sent to a terminal.
func (s style) text(v string) string {
	if s.plain {
		return term.ASCII(v)
	}
	return term.Safe(v)
}

// mark ends a shortened text.
func (s style) mark() string {
	if s.plain {
		return term.PlainEllipsis
	}
	return term.Ellipsis
}

func (s style) cut(v string, width int) string { return term.Truncate(v, width, s.mark()) }

// rule is the character of a horizontal line.
func (s style) rule() string {
	if s.plain {
		return "-"
	}
	return "─"
}

// time writes a moment for people.
func (s style) time(t time.Time) string {
	if t.IsZero() {
		return "unknown time"
	}
	return t.In(s.zone).Format("2006-01-02 15:04 MST")
}

// Colours of SGR (ECMA-48 section 8.3.117). They only repeat what the words say.
const (
	sgrReset   = "\x1b[0m"
	sgrBold    = "\x1b[1m"
	sgrReverse = "\x1b[1;7m"
)

var attentionColor = map[device.Attention]string{
	device.Stopped:  "\x1b[1;31m",
	device.Silent:   "\x1b[1;35m",
	device.Impaired: "\x1b[33m",
	device.Due:      "\x1b[36m",
	device.Clear:    "\x1b[32m",
}

// paint wraps text that is safe already in a colour.
func (s style) paint(code, v string) string {
	if !s.color || code == "" || v == "" {
		return v
	}
	return code + v + sgrReset
}

// page collects output lines; a failed write ends it quietly and is reported
// once, by err.
type page struct {
	style
	w   io.Writer
	err error
}

func (p *page) print(v string) {
	if p.err == nil {
		_, p.err = io.WriteString(p.w, v)
	}
}

// line writes one line of text that is safe already.
func (p *page) line(v string) { p.print(strings.TrimRight(v, " ") + "\n") }

func (p *page) blank() { p.print("\n") }

// heading writes the title of a section, safe already, with an empty line
// before it.
func (p *page) heading(v string) {
	p.blank()
	p.painted(sgrBold, v)
}

// painted writes wrapped text that is safe already in one colour.
func (p *page) painted(code, v string) {
	for _, l := range term.Wrap(v, p.width, maxWrapped, p.mark()) {
		p.line(p.paint(code, l))
	}
}

// maxWrapped bounds the lines of one wrapped text; device text is at most a
// few hundred characters a field.
const maxWrapped = 40

// leastRoom is the narrowest text worth having beside its label.
const leastRoom = 20

// wrapped writes foreign text behind a label, broken at the width of the page
// and aligned with itself.
func (p *page) wrapped(indent, label, v string) {
	hang := indent + strings.Repeat(" ", term.DisplayWidth(label))
	if p.width-len(hang) < leastRoom {
		hang = indent + "  "
	}
	room := max(p.width-len(hang), leastRoom)
	first := indent + label
	lines := term.Wrap(p.text(v), room, maxWrapped, p.mark())
	if term.DisplayWidth(first) > term.DisplayWidth(hang) {
		p.line(first)
		first = hang
	}
	for _, l := range lines {
		p.line(first + l)
		first = hang
	}
}

// grouped writes a number with a comma at each thousand.
func grouped(v int64) string {
	s := fmt.Sprintf("%d", v)
	sign := ""
	if v < 0 {
		sign, s = "-", s[1:]
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return sign + s
}

// span writes seconds for people, days short: 40 s, 12 min, 5 h, 3 d.
func span(seconds int64) string {
	return strings.Replace(device.Span(seconds), " days", " d", 1)
}

// octets writes a number of bytes for people, in powers of 1,024 (IEC 80000-13).
func octets(n int64) string {
	if n < 1024 {
		return fmt.Sprintf("%d bytes", n)
	}
	v, unit := float64(n)/1024, 0
	for v >= 1024 && unit < len(octetUnits)-1 {
		v, unit = v/1024, unit+1
	}
	return fmt.Sprintf("%.3g %s", v, octetUnits[unit])
}

var octetUnits = []string{"KiB", "MiB", "GiB", "TiB"}
