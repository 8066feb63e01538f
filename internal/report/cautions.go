package report

import (
	"slices"
	"strings"

	"printround/internal/device"
)

// makerFirst ends the caution of every piece of advice; a page says it once.
const makerFirst = "The maker's documentation and qualified service come first."

// cautions are distinct sentences, in the order in which they are first needed.
// A page says each of them once and points to it by its letter.
type cautions []string

// note adds the sentences of a caution that are not there yet.
func (c *cautions) note(caution device.Text) {
	for _, s := range sentences(caution) {
		if s != makerFirst && !slices.Contains(*c, s) {
			*c = append(*c, s)
		}
	}
}

// mind points to the sentences of a caution; empty when it has none.
func (c cautions) mind(caution device.Text) string {
	var out []string
	for _, s := range sentences(caution) {
		if i := slices.Index(c, s); i >= 0 {
			out = append(out, letter(i))
		}
	}
	slices.Sort(out)
	switch len(out) {
	case 0:
		return ""
	case 1:
		return "caution " + out[0]
	}
	return "cautions " + strings.Join(out, " ")
}

// sentences parts a caution.
func sentences(caution device.Text) []string {
	if caution == "" {
		return nil
	}
	out := strings.SplitAfter(string(caution), ". ")
	for i := range out {
		out[i] = strings.TrimSpace(out[i])
	}
	return out
}

// letter counts A, B, … Z, AA.
func letter(i int) string {
	if i >= 26 {
		return letter(i/26-1) + string(rune('A'+i%26))
	}
	return string(rune('A' + i))
}
