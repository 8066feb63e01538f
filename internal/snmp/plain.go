package snmp

import (
	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// decodePlain reads what nearly all answers are: a response of SNMPv1 or v2c,
// in order from the first octet to the last, with the types of values that the
// tables read are made of. The library would format each name as text to parse
// it again. Whatever is in any way out of the ordinary gives nil and is left to
// the library, which knows what agents get wrong; what is taken is taken as the
// library takes it (a test holds it).
func decodePlain(datagram []byte, in *received) *reply {
	message, rest, ok := field(datagram, 0x30)
	if !ok || len(rest) > 0 {
		return nil
	}
	version, rest, ok := small(message)
	if !ok || version != int(V1) && version != int(V2c) {
		return nil
	}
	community, rest, ok := field(rest, byte(oid.OctetString))
	if !ok {
		return nil
	}
	body, rest, ok := field(rest, byte(gosnmp.GetResponse))
	if !ok || len(rest) > 0 {
		return nil
	}
	number, body, ok := field(body, byte(oid.Integer))
	id, fits := signed(number)
	if !ok || !fits {
		return nil
	}
	status, body, ok := small(body)
	if !ok {
		return nil
	}
	index, body, ok := small(body)
	if !ok {
		return nil
	}
	list, rest, ok := field(body, 0x30)
	if !ok || len(rest) > 0 {
		return nil
	}
	list = in.copy(list) // values point there, and the datagram's room is used again
	binds := in.binds[:0]
	for len(list) > 0 {
		var bind []byte
		if bind, list, ok = field(list, 0x30); !ok {
			return nil
		}
		b, ok := plainBinding(bind, in)
		if !ok {
			return nil
		}
		binds = append(binds, b)
	}
	in.binds = binds
	return &reply{
		version: Version(version), community: string(community), kind: gosnmp.GetResponse, id: uint32(id),
		status: status, index: index, binds: binds, size: len(datagram),
	}
}

func plainBinding(bind []byte, in *received) (b oid.VarBind, ok bool) {
	name, value, ok := field(bind, byte(oid.ObjectID))
	if !ok || len(value) == 0 {
		return b, false
	}
	if b.Name, ok = in.object(name); !ok {
		return b, false
	}
	kind := oid.Kind(value[0])
	content, rest, ok := field(value, value[0])
	if !ok || len(rest) > 0 {
		return b, false
	}
	b.Value.Kind = kind
	switch kind {
	case oid.Integer:
		b.Value.Num, ok = signed(content)
	case oid.Counter32, oid.Gauge32, oid.TimeTicks:
		b.Value.Num, ok = unsigned(content)
	case oid.OctetString:
		b.Value.Bytes = content
	case oid.ObjectID:
		b.Value.ID, ok = in.object(content)
	case oid.Null, oid.NoSuchObject, oid.NoSuchInstance, oid.EndOfMibView:
		ok = len(content) == 0
	default:
		ok = false
	}
	return b, ok
}

// field takes a field with the tag off the front of b. Its length may be
// written in more octets than it needs (X.690 section 8.1.3.5).
func field(b []byte, tag byte) (content, rest []byte, ok bool) {
	if len(b) < 2 || b[0] != tag {
		return nil, nil, false
	}
	n, at := int(b[1]), 2
	if n > 0x7f {
		at += n & 0x7f
		if at == 2 || at > 5 || at > len(b) {
			return nil, nil, false
		}
		n = 0
		for _, c := range b[2:at] {
			n = n<<8 | int(c)
		}
	}
	if n > len(b)-at {
		return nil, nil, false
	}
	return b[at : at+n : at+n], b[at+n:], true
}

// small takes an INTEGER of 0 to 127 off the front of b.
func small(b []byte) (n int, rest []byte, ok bool) {
	content, rest, ok := field(b, byte(oid.Integer))
	if !ok || len(content) != 1 || content[0] > 0x7f {
		return 0, nil, false
	}
	return int(content[0]), rest, true
}

// signed reads an Integer32 of at most four octets.
func signed(b []byte) (int64, bool) {
	if len(b) == 0 || len(b) > 4 {
		return 0, false
	}
	n := int64(int8(b[0]))
	for _, c := range b[1:] {
		n = n<<8 | int64(c)
	}
	return n, true
}

// unsigned reads a number below 2^32, which takes five octets from 2^31 on.
func unsigned(b []byte) (int64, bool) {
	if len(b) == 0 || len(b) > 5 || len(b) == 5 && b[0] != 0 {
		return 0, false
	}
	n := int64(0)
	for _, c := range b {
		n = n<<8 | int64(c)
	}
	return n, true
}
