package device

import (
	"encoding/json"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Text is a piece of text that may be unknown. The empty Text is unknown and
// is written to JSON as null.
type Text string

// MaxText is the longest text kept from a device, in bytes.
const MaxText = 1024

// MarshalJSON writes null for an unknown text.
func (t Text) MarshalJSON() ([]byte, error) {
	if t == "" {
		return []byte("null"), nil
	}
	return json.Marshal(string(t))
}

// UnmarshalJSON reads what MarshalJSON writes.
func (t *Text) UnmarshalJSON(b []byte) error {
	var s *string
	if err := json.Unmarshal(b, &s); err != nil {
		return err
	}
	*t = ""
	if s != nil {
		*t = Text(*s)
	}
	return nil
}

// Clean makes text from a device harmless and readable: invalid UTF-8,
// control characters, terminal escape sequences, bidi overrides, zero-width and other format characters and unassigned private
// characters are dropped, runs of white space become one space, and the
// length is bounded to MaxText bytes at a rune border. It is applied once,
// where the views of a device are joined; renderers escape again for their
// own format.
func Clean(s string) Text { return CleanTo(s, MaxText) }

// CleanTo is Clean with a bound of max bytes.
func CleanTo(s string, max int) Text {
	if len(s) <= max && isClean(s) {
		return Text(s)
	}
	var b strings.Builder
	space := false
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		i += n
		if r == 0x1b {
			i += escapeLength(s[i:])
			continue
		}
		switch {
		case r == utf8.RuneError && n <= 1:
			continue
		case unicode.IsSpace(r):
			space = b.Len() > 0
			continue
		case r == '\u00ad', unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs, unicode.Zl, unicode.Zp):
			continue
		}
		need := utf8.RuneLen(r)
		if space {
			need++
		}
		if b.Len()+need > max {
			break
		}
		if space {
			b.WriteByte(' ')
			space = false
		}
		b.WriteRune(r)
	}
	return Text(b.String())
}

// isClean reports whether s is printable ASCII with single spaces between its
// words: most texts are.
func isClean(s string) bool {
	last := byte(' ')
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' || s[i] == ' ' && last == ' ' {
			return false
		}
		last = s[i]
	}
	return last != ' ' || s == ""
}

// escapeLength returns the length of what follows an ESC in s: a control
// sequence up to its final byte, an operating system command up to its end, or
// nothing (ECMA-48 sections 5.4 and 5.6). An unfinished sequence is not
// skipped, so that a lone ESC cannot swallow the text behind it.
func escapeLength(s string) int {
	if s == "" {
		return 0
	}
	switch s[0] {
	case '[':
		for i := 1; i < len(s) && i < 64; i++ {
			if s[i] >= 0x40 && s[i] <= 0x7e {
				return i + 1
			}
			if s[i] < 0x20 {
				return 0
			}
		}
	case ']', 'P', '_', '^', 'X':
		for i := 1; i < len(s); i++ {
			if s[i] == 0x07 {
				return i + 1
			}
			if s[i] == 0x1b && i+1 < len(s) && s[i+1] == '\\' {
				return i + 2
			}
		}
	}
	return 0
}
