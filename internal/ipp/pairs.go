package ipp

import (
	"errors"
	"strconv"
	"strings"
)

// ErrPairs is the error of a text that holds no key=value pair.
var ErrPairs = errors.New("no key=value pair in it")

// Bounds on one key=value text from a device.
const (
	maxPairsText = 4096 // octets
	maxPairs     = 64
)

// Pairs is one value of printer-supply, printer-input-tray, printer-alert and
// the like: key=value joined by semicolons (PWG 5100.9, PWG 5100.13,
// PWG 5100.1). The values are foreign text and not cleaned.
type Pairs struct {
	keys, values []string
	bad          int // parts that are no pair
}

// ParsePairs reads one value of such an attribute:
//
//	value = pair *( ";" pair ) [ ";" ]
//	pair  = key "=" text
//
// Keys are read without regard to case and order; the first of a repeated key
// counts. What is no pair is skipped and counted. Two deviations seen on real
// devices are taken: a NUL at the end, and the attribute's own name in front,
// as in "printer-alert[0] = code=jam".
func ParsePairs(s string) (Pairs, error) {
	s = strings.TrimRight(s, "\x00")
	if len(s) > maxPairsText {
		s = s[:maxPairsText]
	}
	var p Pairs
	for part := range strings.SplitSeq(dropOwnName(s), ";") {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		key, value, ok := strings.Cut(part, "=")
		key = strings.ToLower(strings.TrimSpace(key))
		if !ok || !isKey(key) || len(p.keys) >= maxPairs {
			p.bad++
			continue
		}
		if _, twice := p.lookup(key); twice {
			p.bad++
			continue
		}
		p.keys = append(p.keys, key)
		p.values = append(p.values, strings.TrimSpace(value))
	}
	if len(p.keys) == 0 {
		return p, ErrPairs
	}
	return p, nil
}

// dropOwnName removes a leading "printer-…[n] =".
func dropOwnName(s string) string {
	t := strings.TrimSpace(s)
	if !strings.HasPrefix(t, "printer-") {
		return s
	}
	head, rest, ok := strings.Cut(t, "=")
	if !ok || !strings.HasSuffix(strings.TrimSpace(head), "]") {
		return s
	}
	return rest
}

func isKey(k string) bool {
	for _, r := range k {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' && r != '_' {
			return false
		}
	}
	return k != ""
}

func (p Pairs) lookup(key string) (string, bool) {
	for i, k := range p.keys {
		if k == key {
			return p.values[i], true
		}
	}
	return "", false
}

// Keys returns the keys in the order received.
func (p Pairs) Keys() []string { return append([]string(nil), p.keys...) }

// Bad returns how many parts of the text are no pair, or repeat a key.
func (p Pairs) Bad() int { return p.bad }

// Text returns the value of the key, empty if it is not there.
func (p Pairs) Text(key string) string {
	v, _ := p.lookup(key)
	return v
}

// Int returns the value of the key if it is a decimal number of 64 bits.
func (p Pairs) Int(key string) (int64, bool) {
	v, ok := p.lookup(key)
	if !ok {
		return 0, false
	}
	n, err := strconv.ParseInt(v, 10, 64)
	return n, err == nil
}
