package term

import (
	"strings"
	"unicode"

	"github.com/mattn/go-runewidth"
)

// Marks of a shortened text.
const (
	Ellipsis      = "…"
	PlainEllipsis = "..."
)

// cells counts display cells independently of the locale: two runs on the same
// input draw the same table everywhere.
var cells = &runewidth.Condition{EastAsianWidth: false, StrictEmojiNeutral: true}

// DisplayWidth returns how many terminal cells s takes: two for wide
// characters, none for combining ones. Where terminals differ (flags, modified
// emoji, vowel signs that take room of their own) it is the larger number, so that a
// line that fits by this count fits on the screen.
func DisplayWidth(s string) int {
	width := 0
	for _, r := range s {
		width += runeCells(r)
	}
	return width
}

func runeCells(r rune) int {
	switch {
	case r < 0x300:
		return cells.RuneWidth(r)
	case unicode.Is(wideSymbols, r):
		return 2
	case unicode.In(r, unicode.Mn, unicode.Me):
		return 0
	case r == 0x0e33, r == 0x0eb3, r == 0xff9e, r == 0xff9f, unicode.Is(unicode.Mc, r),
		r >= 0x1160 && r <= 0x11ff, r >= 0xd7b0 && r <= 0xd7ff: // conjoining Korean letters
		return 1
	}
	return cells.RuneWidth(r)
}

// wideSymbols are characters that newer editions of Unicode (UAX 11) made
// wide, and others that take two cells unless they join what is before them.
var wideSymbols = &unicode.RangeTable{
	R16: []unicode.Range16{
		{Lo: 0x2630, Hi: 0x2637, Stride: 1}, // trigrams
		{Lo: 0x268a, Hi: 0x268f, Stride: 1},
		{Lo: 0x302e, Hi: 0x302f, Stride: 1}, // tone marks
		{Lo: 0x4dc0, Hi: 0x4dff, Stride: 1}, // hexagrams
	},
	R32: []unicode.Range32{
		{Lo: 0x16ff0, Hi: 0x16ff1, Stride: 1},
		{Lo: 0x1d300, Hi: 0x1d356, Stride: 1},
		{Lo: 0x1d360, Hi: 0x1d376, Stride: 1},
		{Lo: 0x1f1e6, Hi: 0x1f1ff, Stride: 1}, // halves of flags
		{Lo: 0x1f3fb, Hi: 0x1f3ff, Stride: 1}, // skin tones
	},
}

// head returns the longest beginning of s that takes at most width cells. It
// does not split a character from its combining marks unless they alone are
// wider than that.
func head(s string, width int) string {
	used, end := 0, 0
	for i, r := range s {
		if !unicode.Is(unicode.M, r) {
			end = i
		}
		if used += runeCells(r); used > width {
			if end == 0 {
				end = i
			}
			return s[:end]
		}
	}
	return s
}

// Truncate shortens s to at most width cells and ends it with mark when
// something was cut off. A mark that does not fit is shortened itself.
func Truncate(s string, width int, mark string) string {
	if width <= 0 {
		return ""
	}
	if head(s, width) == s {
		return s
	}
	room := width - DisplayWidth(mark)
	if room <= 0 {
		return head(mark, width)
	}
	return strings.TrimRight(head(s, room), " ") + mark
}

// Wrap breaks s at spaces into lines of at most width cells, and shortens the
// last of at most max lines with mark when the text is longer. Words that are
// longer than a line are broken, behind a punctuation mark or before a capital
// letter where there is one. An empty text is one empty line.
func Wrap(s string, width, max int, mark string) []string {
	if width <= 0 || max <= 0 {
		return nil
	}
	var lines []string
	for {
		line := head(s, width)
		if len(lines) == max-1 || line == s || line == "" {
			return append(lines, Truncate(s, width, mark))
		}
		if s[len(line)] != ' ' {
			line = line[:breakAt(line, s[len(line)])]
		}
		s = strings.TrimLeft(s[len(line):], " ")
		lines = append(lines, strings.TrimRight(line, " "))
		if s == "" {
			return lines
		}
	}
}

// breakAt returns where to break a line that is full in the middle of a word;
// next is the byte behind it.
func breakAt(line string, next byte) int {
	if cut := strings.LastIndexByte(line, ' '); cut > 0 {
		return cut
	}
	for i := len(line); i > len(line)/3; i-- {
		if i < len(line) {
			next = line[i]
		}
		before := line[i-1]
		if strings.IndexByte("-./:,;=_", before) >= 0 || isLower(before) && isUpper(next) {
			return i
		}
	}
	return len(line)
}

func isLower(b byte) bool { return b >= 'a' && b <= 'z' }
func isUpper(b byte) bool { return b >= 'A' && b <= 'Z' }
