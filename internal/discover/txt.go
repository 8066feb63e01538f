package discover

import (
	"strconv"
	"strings"
)

const (
	maxTXTStrings = 64
	maxTXTBytes   = 8 << 10
)

// parseTXT reads the strings of a DNS-SD TXT record (RFC 6763 section 6) as the
// DNS library presents them, with escapes. Keys become lower-case; of equal keys
// the first counts; a string without "=" is a key without a value, here with an
// empty one; a string with an empty key, or one with a key that is no printable
// ASCII, is ignored. A record of another version than 1 is ignored whole
// (section 6.7).
func parseTXT(presented []string) map[string]string {
	out := map[string]string{}
	size := 0
	for _, s := range presented[:min(len(presented), maxTXTStrings)] {
		s = unescape(s)
		if size += len(s); size > maxTXTBytes {
			break
		}
		key, value, _ := strings.Cut(s, "=")
		if key == "" || !isTXTKey(key) {
			continue
		}
		key = strings.ToLower(key)
		if _, ok := out[key]; !ok {
			out[key] = value
		}
	}
	if v, ok := out["txtvers"]; ok && v != "1" {
		return map[string]string{}
	}
	return out
}

func isTXTKey(s string) bool {
	for _, c := range []byte(s) {
		if c < 0x20 || c > 0x7e {
			return false
		}
	}
	return true
}

// preferred chooses among several TXT records of one service by their priority,
// 0 best and 50 when it is absent (RFC 6763 section 6.8); the first of equals.
func preferred(records [][]string) map[string]string {
	best := map[string]string{}
	bestPriority := 1 << 30
	for _, r := range records {
		txt := parseTXT(r)
		p := 50
		if n, err := strconv.Atoi(txt["priority"]); err == nil && n >= 0 {
			p = n
		}
		if p < bestPriority {
			best, bestPriority = txt, p
		}
	}
	return best
}

// unescape turns the presentation form of a label or string into its octets
// (RFC 1035 section 5.1): \DDD is an octet in decimal, \X stands for X.
func unescape(s string) string {
	if !strings.Contains(s, `\`) {
		return s
	}
	out := make([]byte, 0, len(s))
	for i := 0; i < len(s); i++ {
		c := s[i]
		if c != '\\' || i+1 == len(s) {
			out = append(out, c)
			continue
		}
		if i+3 < len(s) {
			if n, err := strconv.ParseUint(s[i+1:i+4], 10, 8); err == nil {
				out = append(out, byte(n))
				i += 3
				continue
			}
		}
		i++
		out = append(out, s[i])
	}
	return string(out)
}
