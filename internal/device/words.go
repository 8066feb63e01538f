package device

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Span writes seconds for people.
func Span(s int64) string {
	switch {
	case s < 120:
		return fmt.Sprintf("%d s", s)
	case s < 2*3600:
		return fmt.Sprintf("%d min", s/60)
	case s < 2*86400:
		return fmt.Sprintf("%d h", s/3600)
	}
	return fmt.Sprintf("%d days", s/86400)
}

// Counted writes a number with its noun.
func Counted[N int | int64](n N, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// Listed writes the words of a list one behind the other.
func Listed[T ~string](list []T) string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return strings.Join(out, ", ")
}

// Sentence begins a text with a capital letter.
func Sentence(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if r == utf8.RuneError { // also of an empty text
		return s
	}
	return string(unicode.ToUpper(r)) + s[size:]
}

// CutSeverity cuts a printer-state-reasons value into keyword and severity:
// error, warning, report, or empty when it does not say (RFC 8011 section
// 5.4.12). A few registered keywords end in -error themselves.
func CutSeverity(reason string) (keyword, severity string) {
	for _, s := range []string{"error", "warning", "report"} {
		if head, ok := strings.CutSuffix(reason, "-"+s); ok && head != "" {
			return head, s
		}
	}
	return reason, ""
}
