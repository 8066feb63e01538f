package mib

import (
	"fmt"
	"strconv"
)

//go:generate go run gen.go

// label returns the standard's label of v, the number when it has none, and
// nothing for a 0 that is no value: such a 0 stands for an object that was not
// reported.
func label[T ~int32](labels map[T]string, v T) string {
	if s, ok := labels[v]; ok {
		return s
	}
	if v == 0 {
		return ""
	}
	return strconv.Itoa(int(v))
}

func name[T ~int32](labels map[T]string, v T, typ string) string {
	if s, ok := labels[v]; ok {
		return s
	}
	return fmt.Sprintf("%s(%d)", typ, int32(v))
}

func parse[T ~int32](labels map[T]string, s string) (T, bool) {
	for v, l := range labels {
		if l == s {
			return v, true
		}
	}
	return 0, false
}

// ErrorBits returns the conditions that hrPrinterDetectedErrorState codes, in
// the order of their bits: bit 0 is the most significant bit of the first
// octet (RFC 2790 section 4). Octets that are missing read as 0; bits without
// a meaning are left out.
func ErrorBits(octets []byte) []ErrorBit {
	var bits []ErrorBit
	for i := range ErrorBit(8 * min(len(octets), 2)) {
		if _, known := errorBitLabels[i]; known && octets[i/8]&(0x80>>(i%8)) != 0 {
			bits = append(bits, i)
		}
	}
	return bits
}
