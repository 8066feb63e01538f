// Package media knows the names and dimensions of media sizes: the
// self-describing names of PWG 5101.1 (IANA IPP registry, keyword attribute
// media) and the older names of RFC 3805 Appendix B.
package media

import (
	"math"
	"strconv"
	"strings"
	"sync"
)

//go:generate go run gen.go

// tolerance is the largest difference per edge at which a measured sheet still
// counts as a named size, in micrometers (common practice, no source: sizes
// that differ by 6 mm exist, rounding to whole millimetres or points does not
// exceed half a millimetre).
const tolerance = 500

type size struct {
	name    string // PWG 5101.1 self-describing name
	w, l    int    // micrometers, in the order of the name
	rfc3805 string // RFC 3805 Appendix B; may be empty
	label   string // English; may be empty
}

// Size is a named medium size. Width and Length are in millimetres, in the
// order of the name, which is short edge first for nearly all sizes.
type Size struct {
	Name   string
	Width  float64
	Length float64
}

func (s *size) export() Size {
	return Size{Name: s.name, Width: float64(s.w) / 1000, Length: float64(s.l) / 1000}
}

// byName maps folded names and unambiguous labels to rows of sizes.
var byName = sync.OnceValue(func() map[string]*size {
	m := make(map[string]*size, 3*len(sizes))
	labels := map[string]int{}
	for i := range sizes {
		labels[fold(sizes[i].label)]++
	}
	for i := range sizes {
		s := &sizes[i]
		if l := fold(s.label); l != "" && labels[l] == 1 {
			m[l] = s
		}
	}
	for i := range sizes {
		s := &sizes[i]
		m[fold(s.name)] = s
		if s.rfc3805 != "" {
			m[s.rfc3805] = s
		}
	}
	return m
})

func fold(s string) string { return strings.ToLower(strings.TrimSpace(s)) }

// colorSuffixes end the media names of RFC 3805 Appendix C, such as
// iso-a4-white (suffixes from memory).
var colorSuffixes = []string{"-white", "-colored", "-coloured", "-transparent"}

// ByName finds the size that name denotes: a PWG 5101.1 name, an RFC 3805
// Appendix B name, with or without the colour suffix of a media name, or an
// English label that only one size has. Case and surrounding space do not
// matter. A well-formed PWG 5101.1 name that is not registered, such as
// custom_label_100x50mm, is found by its own dimensions and keeps its name.
func ByName(name string) (Size, bool) {
	n := fold(name)
	if s, ok := byName()[n]; ok {
		return s.export(), true
	}
	for _, suffix := range colorSuffixes {
		if s, ok := byName()[strings.TrimSuffix(n, suffix)]; ok {
			return s.export(), true
		}
	}
	if w, l, ok := selfDescribed(n); ok {
		return Size{Name: n, Width: w, Length: l}, true
	}
	return Size{}, false
}

// selfDescribed reads the dimensions of class_size_WxLunit in millimetres
// (PWG 5101.1; unit in or mm).
func selfDescribed(name string) (w, l float64, ok bool) {
	parts := strings.Split(name, "_")
	if len(parts) != 3 || parts[0] == "" || parts[1] == "" {
		return 0, 0, false
	}
	dims, scale := strings.TrimSuffix(parts[2], "mm"), 1.0
	if dims == parts[2] {
		dims, scale = strings.TrimSuffix(parts[2], "in"), 25.4
		if dims == parts[2] {
			return 0, 0, false
		}
	}
	a, b, found := strings.Cut(dims, "x")
	w, okW := dimension(a)
	l, okL := dimension(b)
	if !found || !okW || !okL {
		return 0, 0, false
	}
	return w * scale, l * scale, true
}

// dimension reads an unsigned decimal of at most ten characters, above 0.
func dimension(s string) (float64, bool) {
	if s == "" || len(s) > 10 || strings.Trim(s, "0123456789.") != "" {
		return 0, false
	}
	f, err := strconv.ParseFloat(s, 64)
	return f, err == nil && f > 0
}

// BySize finds the size whose edges, in either order, both lie within 0.5 mm
// of a and b millimetres. The nearest wins; among equals a size with a name in
// RFC 3805, then one named short edge first, then the first of the registry.
func BySize(a, b float64) (Size, bool) {
	if !(a > 0 && b > 0 && a < 1e5 && b < 1e5) {
		return Size{}, false
	}
	x, y := int(math.Round(a*1000)), int(math.Round(b*1000))
	var best *size
	bestOff := tolerance + 1
	for i := range sizes {
		s := &sizes[i]
		off := min(max(dist(x, s.w), dist(y, s.l)), max(dist(x, s.l), dist(y, s.w)))
		if off < bestOff || off == bestOff && off <= tolerance && s.rank() < best.rank() {
			best, bestOff = s, off
		}
	}
	if best == nil {
		return Size{}, false
	}
	return best.export(), true
}

func (s *size) rank() int {
	r := 0
	if s.rfc3805 == "" {
		r += 2
	}
	if s.w > s.l {
		r++
	}
	return r
}

func dist(a, b int) int {
	if a < b {
		return b - a
	}
	return a - b
}
