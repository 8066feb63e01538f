package term

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Safe returns s on one line and without anything that a terminal would act
// on. Each run of white space becomes one space, and control characters,
// direction overrides and other invisible characters become a visible escape such
// as \x1b or \u202e, so that hostile text shows itself instead of vanishing.
func Safe(s string) string {
	var b strings.Builder
	b.Grow(len(s))
	space := false
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		if unicode.IsSpace(r) {
			space = b.Len() > 0
			i += n
			continue
		}
		if space {
			b.WriteByte(' ')
			space = false
		}
		switch {
		case r == utf8.RuneError && n <= 1:
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case !invisible(r):
			b.WriteRune(r)
		case r < 0x80:
			fmt.Fprintf(&b, `\x%02x`, r)
		case r < 0x10000:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			fmt.Fprintf(&b, `\U%08x`, r)
		}
		i += n
	}
	return b.String()
}

// invisible reports characters that change the terminal or the order and look
// of other text instead of showing themselves: controls, format characters
// (bidi overrides, zero-width), private and unassigned ones, variation
// selectors, and the fillers that are letters by name only.
func invisible(r rune) bool {
	switch r {
	case 0x00ad, 0x034f, 0x115f, 0x1160, 0x3164, 0xffa0, 0x2800:
		return true
	}
	return !unicode.IsGraphic(r) || unicode.Is(unicode.Variation_Selector, r)
}

// ASCII returns s in printable ASCII: Safe, then accents taken off, a few
// letters and marks spelled out, and each remaining character as a question
// mark.
func ASCII(s string) string {
	s = Safe(s)
	if isASCII(s) {
		return s
	}
	var b strings.Builder
	b.Grow(len(s))
	for _, r := range norm.NFKD.String(s) {
		switch {
		case r < 0x80:
			b.WriteRune(r)
		case unicode.Is(unicode.Mn, r):
		default:
			if t, ok := spelled[r]; ok {
				b.WriteString(t)
			} else {
				b.WriteByte('?')
			}
		}
	}
	return b.String()
}

func isASCII(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] >= 0x80 {
			return false
		}
	}
	return true
}

// spelled are characters that have no ASCII letter inside them.
var spelled = map[rune]string{
	'ß': "ss", 'ẞ': "SS", 'æ': "ae", 'Æ': "AE", 'œ': "oe", 'Œ': "OE", 'ø': "o", 'Ø': "O",
	'đ': "d", 'Đ': "D", 'ð': "d", 'Ð': "D", 'ł': "l", 'Ł': "L", 'þ': "th", 'Þ': "Th", 'ı': "i",
	'‘': "'", '’': "'", '‚': "'", '“': `"`, '”': `"`, '„': `"`, '«': `"`, '»': `"`,
	'‐': "-", '‑': "-", '–': "-", '—': "-", '−': "-", '·': "-", '•': "-", '×': "x",
	'°': " deg", '⁄': "/",
}
