package color

import (
	"math"
	"strings"
	"unicode"

	"printround/internal/colorimetry"
	"printround/internal/device"
)

// Patch is one colour of a set, as it should be or as it was measured.
type Patch struct {
	ID   device.Text
	Name device.Text // empty: none
	Lab  colorimetry.Lab
	RGB  *[3]float64 // device values, 0..255; nil: not known
	CMYK *[4]float64 // device values in percent; nil: not known
}

// Set is the patches of a page or a file, in its order.
type Set struct {
	Source  Source
	Patches []Patch
	notes   []string
}

// Source says where patches are from.
type Source struct {
	Kind       Kind        `json:"kind"`
	Name       device.Text `json:"name"`
	Instrument device.Text `json:"instrument"`
	Created    device.Text `json:"created"`
	Material   device.Text `json:"material"`
	Conditions Conditions  `json:"conditions"`
	Patches    int         `json:"patches"`
}

// Kind of a source.
type Kind string

// Kinds of sources.
const (
	FromPage Kind = "nominal" // what the values sent mean
	FromFile Kind = "file"
)

// Conditions of measuring, as far as the file states them (ISO 13655).
type Conditions struct {
	Illuminant device.Text `json:"illuminant"` // such as D50
	Observer   device.Text `json:"observer"`   // 2 or 10, degrees
	Mode       device.Text `json:"mode"`       // M0 to M3
	WhiteBase  device.Text `json:"white_base"` // absolute or paper
	Filter     device.Text `json:"filter"`
	Backing    device.Text `json:"backing"`
}

// Nominal returns a page as it should be: what each value sent means by sRGB,
// under D50.
func Nominal(name string, patches []Patch) *Set {
	s := &Set{Source: Source{Kind: FromPage, Name: device.Text(name), Patches: len(patches), Conditions: Conditions{Illuminant: "D50", Observer: "2"}}}
	for _, p := range patches {
		if p.RGB != nil {
			p.Lab = colorimetry.SRGB{R: uint8(p.RGB[0]), G: uint8(p.RGB[1]), B: uint8(p.RGB[2])}.Lab()
		}
		s.Patches = append(s.Patches, p)
	}
	return s
}

// label is what a patch is called: its identifier, or its name where the
// identifier is but a number.
func (p *Patch) label() string {
	if p.Name != "" && strings.Trim(string(p.ID), "0123456789") == "" {
		return string(p.Name)
	}
	return string(p.ID)
}

// fold makes names comparable: letters and digits in small letters.
func fold(t device.Text) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, string(t))
}

// sameInk reports whether device values of two patches, where both have them,
// do not contradict each other.
func sameInk(a, b *Patch) bool {
	near := func(x, y []float64, by float64) bool {
		for i := range x {
			if math.Abs(x[i]-y[i]) > by {
				return false
			}
		}
		return true
	}
	if a.RGB != nil && b.RGB != nil && !near(a.RGB[:], b.RGB[:], 1.5) {
		return false
	}
	return a.CMYK == nil || b.CMYK == nil || near(a.CMYK[:], b.CMYK[:], 1)
}
