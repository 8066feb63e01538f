package lab

import (
	"fmt"
	"strconv"
	"strings"
)

// medium is a media size. Width and Length are in micrometres; a roll has
// Length 0.
type medium struct {
	Name   string
	Width  int
	Length int
}

// parseMedia reads a self-describing media name such as iso_a4_210x297mm (PWG
// 5101.1 section 5): the last part gives width and length.
func parseMedia(name string) (medium, error) {
	fail := fmt.Errorf("%q is no self-describing media name", name)
	at := strings.LastIndexByte(name, '_')
	size := name[at+1:]
	perUnit := 1000.0
	switch {
	case strings.HasSuffix(size, "mm"):
		size = strings.TrimSuffix(size, "mm")
	case strings.HasSuffix(size, "in"):
		size, perUnit = strings.TrimSuffix(size, "in"), 25400
	default:
		return medium{}, fail
	}
	w, l, ok := strings.Cut(size, "x")
	width, err := strconv.ParseFloat(w, 64)
	if !ok || err != nil || width <= 0 {
		return medium{}, fail
	}
	length, err := strconv.ParseFloat(l, 64)
	if err != nil || length < 0 {
		return medium{}, fail
	}
	return medium{Name: name, Width: int(width*perUnit + 0.5), Length: int(length*perUnit + 0.5)}, nil
}

// mustMedia is parseMedia for names that were checked before.
func mustMedia(name string) medium {
	m, err := parseMedia(name)
	if err != nil {
		panic("lab: " + err.Error())
	}
	return m
}

// hundredths gives a length in hundredths of a millimetre, the unit of IPP
// media-size (RFC 8011 section 5.2.13, PWG 5100.7).
func hundredths(micrometres int) int { return (micrometres + 5) / 10 }
