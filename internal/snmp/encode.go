package snmp

import "printround/internal/oid"

// appendCommunity appends a request of SNMPv1 or v2c to dst: GetNext and
// GetBulk with names and without values (RFC 1157 section 4.1.1, RFC 3416
// section 3). The library would format each name as text to parse it again.
// binds lends room for the variable bindings.
func appendCommunity(dst []byte, v Version, community Secret, p *pdu, binds []byte) (message, room []byte) {
	binds = binds[:0]
	for _, list := range [2][]oid.Ask{p.names, p.columns} {
		for _, a := range list {
			n := arcsLen(a.Name)
			binds = appendHead(binds, 0x30, headLen(n)+n+2)
			binds = appendArcs(appendHead(binds, byte(oid.ObjectID), n), a.Name)
			binds = append(binds, byte(oid.Null), 0)
		}
	}
	first, second := 0, 0 // non-repeaters and max-repetitions, else error-status and error-index
	if p.kind == getBulk {
		first, second = len(p.names), p.reps
	}
	body := uintLen(p.id) + uintLen(uint32(first)) + uintLen(uint32(second)) + headLen(len(binds)) + len(binds)
	name := community.Reveal()
	dst = appendHead(dst, 0x30, uintLen(uint32(v))+headLen(len(name))+len(name)+headLen(body)+body)
	dst = appendUint(dst, uint32(v))
	dst = append(appendHead(dst, byte(oid.OctetString), len(name)), name...)
	dst = appendHead(dst, byte(p.kind), body)
	dst = appendUint(appendUint(appendUint(dst, p.id), uint32(first)), uint32(second))
	return append(appendHead(dst, 0x30, len(binds)), binds...), binds
}

// appendHead appends tag and length, in as few octets as hold it (X.690
// section 8.1.3), n below 65,536: compose keeps requests far smaller.
func appendHead(dst []byte, tag byte, n int) []byte {
	switch {
	case n < 0x80:
		return append(dst, tag, byte(n))
	case n < 0x100:
		return append(dst, tag, 0x81, byte(n))
	}
	return append(dst, tag, 0x82, byte(n>>8), byte(n))
}

// headLen is the length of what appendHead appends.
func headLen(n int) int {
	switch {
	case n < 0x80:
		return 2
	case n < 0x100:
		return 3
	}
	return 4
}

// appendUint appends an INTEGER below 2^31.
func appendUint(dst []byte, n uint32) []byte {
	octets := uintLen(n) - 2
	dst = append(dst, byte(oid.Integer), byte(octets))
	for i := octets - 1; i >= 0; i-- {
		dst = append(dst, byte(n>>(8*i)))
	}
	return dst
}

func uintLen(n uint32) int {
	octets := 1
	for ; n > 0x7f; n >>= 8 {
		octets++
	}
	return 2 + octets
}

// appendArcs appends the contents of an OBJECT IDENTIFIER (X.690 section
// 8.19). What has fewer than two arcs is completed with 0.
func appendArcs(dst []byte, o oid.OID) []byte {
	dst = appendArc(dst, firstArc(o))
	for _, n := range o[min(len(o), 2):] {
		dst = appendArc(dst, uint64(n))
	}
	return dst
}

func firstArc(o oid.OID) uint64 {
	switch len(o) {
	case 0:
		return 0
	case 1:
		return 40 * uint64(o[0])
	}
	return 40*uint64(o[0]) + uint64(o[1])
}

func appendArc(dst []byte, n uint64) []byte {
	if n < 0x80 {
		return append(dst, byte(n))
	}
	for shift := 35; shift > 0; shift -= 7 {
		if n>>shift != 0 {
			dst = append(dst, byte(n>>shift)|0x80)
		}
	}
	return append(dst, byte(n&0x7f))
}

func arcsLen(o oid.OID) int {
	n := arcLen(firstArc(o))
	for _, sub := range o[min(len(o), 2):] {
		n += arcLen(uint64(sub))
	}
	return n
}

func arcLen(n uint64) int {
	octets := 1
	for n >>= 7; n > 0; n >>= 7 {
		octets++
	}
	return octets
}
