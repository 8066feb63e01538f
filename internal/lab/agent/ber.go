package agent

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Tags of the Basic Encoding Rules as SNMP uses them (RFC 3417 section 8, RFC
// 3416 section 3).
const (
	TagInteger   = 0x02
	TagOctets    = 0x04
	TagNull      = 0x05
	TagObjectID  = 0x06
	TagIPAddress = 0x40
	TagCounter32 = 0x41
	TagGauge32   = 0x42
	TagTimeTicks = 0x43
	TagOpaque    = 0x44
	TagCounter64 = 0x46

	tagSequence       = 0x30
	tagNoSuchObject   = 0x80
	tagNoSuchInstance = 0x81
	tagEndOfMibView   = 0x82
)

var errMalformed = errors.New("malformed message")

// OID is an object identifier, one number per arc.
type OID []uint32

// maxArcs is the largest number of arcs of an object identifier (RFC 2578
// section 3.5).
const maxArcs = 128

// ParseOID reads the dotted form, with or without a leading dot.
func ParseOID(s string) (OID, error) {
	parts := strings.Split(strings.TrimPrefix(s, "."), ".")
	if len(parts) < 2 || len(parts) > maxArcs {
		return nil, fmt.Errorf("object identifier %q: 2 to %d numbers wanted", s, maxArcs)
	}
	o := make(OID, len(parts))
	for i, p := range parts {
		n, err := strconv.ParseUint(p, 10, 32)
		if err != nil {
			return nil, fmt.Errorf("object identifier %q: %q is no number below 2^32", s, p)
		}
		o[i] = uint32(n)
	}
	if o[0] > 2 || o[0] < 2 && o[1] > 39 {
		return nil, fmt.Errorf("object identifier %q: the first two numbers are out of range", s)
	}
	return o, nil
}

// MustOID is ParseOID for constants.
func MustOID(s string) OID {
	o, err := ParseOID(s)
	if err != nil {
		panic(err)
	}
	return o
}

// String returns the dotted form.
func (o OID) String() string {
	var b []byte
	for i, n := range o {
		if i > 0 {
			b = append(b, '.')
		}
		b = strconv.AppendUint(b, uint64(n), 10)
	}
	return string(b)
}

// With returns a new identifier with more arcs behind.
func (o OID) With(arcs ...uint32) OID { return append(slices.Clone(o), arcs...) }

// HasPrefix reports whether o lies at or below p.
func (o OID) HasPrefix(p OID) bool {
	return len(o) >= len(p) && slices.Equal(o[:len(p)], p)
}

// Compare orders identifiers as a walk does.
func (o OID) Compare(p OID) int { return slices.Compare(o, p) }

// readTLV splits the first element off b. Lengths need not be minimal (RFC
// 3417 section 8 note 1); the indefinite form is refused.
func readTLV(b []byte) (tag byte, value, rest []byte, err error) {
	if len(b) < 2 {
		return 0, nil, nil, errMalformed
	}
	n, head := int(b[1]), 2
	if n >= 0x80 {
		octets := n & 0x7f
		if octets == 0 || octets > 4 || len(b) < 2+octets {
			return 0, nil, nil, errMalformed
		}
		n = 0
		for _, c := range b[2 : 2+octets] {
			n = n<<8 | int(c)
		}
		head += octets
	}
	if n < 0 || n > len(b)-head {
		return 0, nil, nil, errMalformed
	}
	return b[0], b[head : head+n], b[head+n:], nil
}

// expect is readTLV with a wanted tag.
func expect(b []byte, tag byte) (value, rest []byte, err error) {
	t, v, r, err := readTLV(b)
	if err != nil || t != tag {
		return nil, nil, errMalformed
	}
	return v, r, nil
}

// readInt reads an INTEGER of at most 32 bits.
func readInt(b []byte) (n int64, rest []byte, err error) {
	v, rest, err := expect(b, TagInteger)
	if err != nil || len(v) == 0 || len(v) > 5 {
		return 0, nil, errMalformed
	}
	n = int64(int8(v[0]))
	for _, c := range v[1:] {
		n = n<<8 | int64(c)
	}
	if n < -1<<31 || n > 1<<31-1 {
		return 0, nil, errMalformed
	}
	return n, rest, nil
}

// decodeOID appends the arcs of an encoded identifier to dst.
func decodeOID(dst OID, v []byte) (OID, error) {
	if len(v) == 0 || v[len(v)-1]&0x80 != 0 {
		return nil, errMalformed
	}
	first, start := true, len(dst)
	var n uint64
	for _, c := range v {
		n = n<<7 | uint64(c&0x7f)
		if n > 1<<32-1+80 {
			return nil, errMalformed
		}
		if c&0x80 != 0 {
			continue
		}
		switch {
		case first && n < 80:
			dst = append(dst, uint32(n/40), uint32(n%40))
		case first:
			dst = append(dst, 2, uint32(n-80))
		case n > 1<<32-1 || len(dst)-start >= maxArcs:
			return nil, errMalformed
		default:
			dst = append(dst, uint32(n))
		}
		first, n = false, 0
	}
	return dst, nil
}

func appendOIDBody(dst []byte, o OID) []byte {
	if len(o) < 2 {
		return append(dst, 0)
	}
	dst = appendArc(dst, uint64(o[0])*40+uint64(o[1]))
	for _, n := range o[2:] {
		dst = appendArc(dst, uint64(n))
	}
	return dst
}

func appendArc(dst []byte, n uint64) []byte {
	for shift := 35; shift > 0; shift -= 7 {
		if n>>shift != 0 {
			dst = append(dst, byte(n>>shift)|0x80)
		}
	}
	return append(dst, byte(n&0x7f))
}

func appendLength(dst []byte, n int) []byte {
	switch {
	case n < 0x80:
		return append(dst, byte(n))
	case n < 0x100:
		return append(dst, 0x81, byte(n))
	case n < 0x10000:
		return append(dst, 0x82, byte(n>>8), byte(n))
	}
	return append(dst, 0x83, byte(n>>16), byte(n>>8), byte(n))
}

// sizeTLV is the encoded size of an element whose contents have n octets.
func sizeTLV(n int) int {
	switch {
	case n < 0x80:
		return 2 + n
	case n < 0x100:
		return 3 + n
	case n < 0x10000:
		return 4 + n
	}
	return 5 + n
}

func appendTLV(dst []byte, tag byte, value []byte) []byte {
	return append(appendLength(append(dst, tag), len(value)), value...)
}

func appendInt(dst []byte, n int64) []byte {
	return appendTLV(dst, TagInteger, appendIntBody(make([]byte, 0, 8), n))
}

// appendIntBody appends the shortest two's complement form.
func appendIntBody(dst []byte, n int64) []byte {
	octets := 1
	for m := n; m > 127 || m < -128; m >>= 8 {
		octets++
	}
	for i := octets - 1; i >= 0; i-- {
		dst = append(dst, byte(n>>(8*i)))
	}
	return dst
}

func appendUintBody(dst []byte, n uint64) []byte {
	if n > 1<<63-1 {
		dst = append(dst, 0)
		for i := 7; i >= 0; i-- {
			dst = append(dst, byte(n>>(8*i)))
		}
		return dst
	}
	return appendIntBody(dst, int64(n))
}
