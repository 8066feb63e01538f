package proof

import (
	"fmt"
	"strings"
	"time"
)

// Fact is a name and a value for the head of the page.
type Fact struct{ Name, Value string }

// Spec says what page to make. Texts may come from a device: they are cleaned
// and bounded here. A page shows what it is given, so nothing secret belongs in.
type Spec struct {
	Width, Length float64 // of the sheet, mm
	Color         bool
	Sides         string // IPP sides keyword; a second side unless one-sided or empty
	Device        []Fact // who it is
	Settings      []Fact // what was sent
	Made          time.Time
	Version       string // of the program
}

// TwoSided reports whether there is a second side.
func (s *Spec) TwoSided() bool { return strings.HasPrefix(s.Sides, "two-sided") }

// Smallest sheet that a page can be made for, and the smallest that has room
// for all elements, in millimetres.
const (
	LeastWidth, LeastLength = 25.0, 15.0
	fullWidth, fullLength   = 195.0, 250.0
)

// Layout puts the elements on the sheet: all of them where there is room, those
// that fit on a smaller one. It returns one page for each side.
func Layout(s Spec) ([]Page, error) {
	if s.Width < LeastWidth || s.Length < LeastLength || s.Width > 2000 || s.Length > 5000 {
		return nil, fmt.Errorf("a sheet of %g x %g mm cannot hold a proof: from %g x %g mm on it can", s.Width, s.Length, LeastWidth, LeastLength)
	}
	front := &canvas{Page: Page{Width: s.Width, Length: s.Length}, spec: &s}
	if s.Width < fullWidth || s.Length < fullLength {
		front.small()
	} else {
		front.full()
	}
	pages := []Page{front.Page}
	if s.TwoSided() {
		back := &canvas{Page: Page{Width: s.Width, Length: s.Length}, spec: &s}
		back.second()
		pages = append(pages, back.Page)
	}
	return pages, nil
}

// canvas collects the marks of one page.
type canvas struct {
	Page
	spec *Spec
}

func (c *canvas) add(m ...Mark) { c.Marks = append(c.Marks, m...) }

func (c *canvas) box(x, y, w, h float64, color Color) { c.add(Box{x, y, w, h, color}) }

func (c *canvas) line(x1, y1, x2, y2, width float64) {
	c.add(Line{X1: x1, Y1: y1, X2: x2, Y2: y2, Width: width})
}

// text puts a line of text with its left end at x, in black.
func (c *canvas) text(x, y, size float64, isBold bool, s string) {
	c.add(Text{X: x, Y: y, Size: size, Bold: isBold, Text: s})
}

// center puts a line of text with its middle at x.
func (c *canvas) center(x, y, size float64, isBold bool, s string, color Color) {
	c.add(Text{X: x - textWidth(s, size, isBold)/2, Y: y, Size: size, Bold: isBold, Color: color, Text: s})
}

// Sizes of the text that explains, in points, and its line distance in mm.
const (
	captionSize = 6.5
	captionStep = 2.75
)

// word is a piece of a caption that is not broken.
type word struct {
	text string
	bold bool
}

// caption prints what to look for at an element: its title, the words, the
// names of the symptoms. It fills lines of width w from y downward and returns
// where it ended.
func (c *canvas) caption(id string, x, y, w float64) float64 {
	return c.paragraph(captionWords(element(id)), x, y, w)
}

// captionHeight is the room that it takes.
func captionHeight(id string, w float64) float64 { return (&canvas{}).caption(id, 0, 0, w) }

func captionWords(e Element) []word {
	var words []word
	add := func(s string, isBold bool) {
		for _, t := range strings.Fields(s) {
			words = append(words, word{t, isBold})
		}
	}
	add(e.Title+":", true)
	add(e.Look, false)
	add("Else see", false)
	add(strings.Join(e.Symptom, ", "), true)
	return words
}

// paragraph sets words in lines and returns the y below the last one.
func (c *canvas) paragraph(words []word, x, y, w float64) float64 {
	const size, step = captionSize, captionStep
	at := x
	y += size * point * 0.8 // from the top of the letters to the base line
	space := textWidth(" ", size, false)
	for i := 0; i < len(words); {
		// Words of one weight that fit on the line are one text.
		run := words[i].text
		n := i + 1
		fits := func(s string) bool { return at+textWidth(s, size, words[i].bold) <= x+w }
		if !fits(run) && at > x {
			at, y = x, y+step
			continue
		}
		for n < len(words) && words[n].bold == words[i].bold && fits(run+" "+words[n].text) {
			run += " " + words[n].text
			n++
		}
		c.text(at, y, size, words[i].bold, run)
		at += textWidth(run, size, words[i].bold) + space
		i = n
	}
	return y + size*point*0.25
}

// fit shortens a text until it is no longer than w.
func fit(s string, size float64, isBold bool, w float64) string {
	if textWidth(s, size, isBold) <= w {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && textWidth(string(r)+"…", size, isBold) > w {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}
