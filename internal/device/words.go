package device

import (
	"fmt"
	"strings"
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
