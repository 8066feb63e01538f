package finding

import (
	"slices"
	"strings"

	"printround/internal/device"
)

// Class returns the class of marking technology whose words fit the device:
// toner, ink, thermal or impact; empty when that is not known.
func Class(d *device.Device) string { return technologyOf(d).class }

// Kind returns what a supply is, in our words: by its type label, else by the
// English words in its name, such as drum, fuser, feed roller, toner.
func Kind(s *device.Supply) string { return kindOf(s).noun }

// Caution returns the usual cautions of the named classes (cautions.toml), once each, ended
// by who goes before them; empty without classes. ok is false for a class that
// does not exist.
func Caution(classes []string) (words device.Text, ok bool) {
	if len(classes) == 0 {
		return "", true
	}
	var all []string
	for i, c := range classes {
		if known().cautions[c] == "" {
			return "", false
		}
		if !slices.Contains(classes[:i], c) {
			all = append(all, known().cautions[c])
		}
	}
	return device.Text(strings.Join(append(all, makerFirst), " ")), true
}
