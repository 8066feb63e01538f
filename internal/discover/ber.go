package discover

import (
	"bytes"
	"encoding/binary"
	"errors"
	"strconv"

	"printround/internal/snmp"
)

// The sweep has its own small encoder and decoder for the one question it asks
// a great many times. Messages are those of RFC 1157 section 4 (v1), RFC 1901
// section 3 (v2c) and RFC 3412 section 6 (v3), in the encoding of RFC 3417
// section 8.

// BER tags.
const (
	tagInteger     = 0x02
	tagOctetString = 0x04
	tagNull        = 0x05
	tagOID         = 0x06
	tagSequence    = 0x30
	tagGet         = 0xa0
	tagGetNext     = 0xa1
	tagResponse    = 0xa2
	tagReport      = 0xa8

	tagNoSuchObject   = 0x80
	tagNoSuchInstance = 0x81
	tagEndOfMibView   = 0x82
)

// maxBinds is how many variable bindings of a reply are looked at; no question
// of the sweep has more.
const maxBinds = 8

// bind is a variable binding. Its parts point into the datagram.
type bind struct {
	name  []byte // contents of the OBJECT IDENTIFIER
	tag   byte
	value []byte
}

// reply is an SNMP message as far as the sweep needs it.
type reply struct {
	version   snmp.Version
	community []byte
	pdu       byte
	id        int32 // request-id; msgID for v3
	status    int   // error-status
	index     int   // error-index
	binds     [maxBinds]bind
	n         int // bindings
}

var errBER = errors.New("no valid SNMP message")

// decodeReply reads one datagram. Lengths need not be minimal and integers may
// have leading octets (agents send both); a length that is indefinite or goes
// beyond its container is an error, and so is more than maxBinds bindings.
// Octets after the message are ignored. Of a v3 message only a plain-text scoped
// PDU is read; the security parameters are not.
func decodeReply(b []byte, r *reply) error {
	*r = reply{}
	msg, ok := (&cursor{b}).in(tagSequence)
	if !ok {
		return errBER
	}
	version, ok := msg.integer()
	if !ok {
		return errBER
	}
	switch snmp.Version(version) {
	case snmp.V1, snmp.V2c:
		r.version = snmp.Version(version)
		if r.community, ok = msg.next(tagOctetString); !ok {
			return errBER
		}
		return decodePDU(&msg, r)
	case snmp.V3:
		r.version = snmp.V3
		return decodeV3(&msg, r)
	}
	return errBER
}

// decodeV3 reads what follows the version of a v3 message:
//
//	SEQUENCE { msgID, msgMaxSize, msgFlags (1 octet), msgSecurityModel }
//	OCTET STRING msgSecurityParameters
//	SEQUENCE { contextEngineID, contextName, PDU }
func decodeV3(msg *cursor, r *reply) error {
	head, ok := msg.in(tagSequence)
	if !ok {
		return errBER
	}
	id, ok1 := head.integer()
	_, ok2 := head.integer()
	flags, ok3 := head.next(tagOctetString)
	if !ok1 || !ok2 || !ok3 || len(flags) != 1 || flags[0]&2 != 0 || id < 0 || id > 1<<31-1 {
		return errBER
	}
	if _, ok := msg.next(tagOctetString); !ok {
		return errBER
	}
	scoped, ok := msg.in(tagSequence)
	if !ok {
		return errBER
	}
	for range 2 {
		if _, ok := scoped.next(tagOctetString); !ok {
			return errBER
		}
	}
	if err := decodePDU(&scoped, r); err != nil {
		return err
	}
	r.id = int32(id) // the report's own request-id may be 0 (RFC 3412 section 7.1 step 3)
	return nil
}

func decodePDU(c *cursor, r *reply) error {
	tag, content, ok := c.any()
	if !ok || tag != tagResponse && tag != tagReport {
		return errBER
	}
	r.pdu = tag
	pdu := cursor{content}
	id, ok1 := pdu.integer()
	status, ok2 := pdu.integer()
	index, ok3 := pdu.integer()
	list, ok4 := pdu.in(tagSequence)
	if !ok1 || !ok2 || !ok3 || !ok4 || id != int64(int32(id)) || status != int64(int32(status)) || index != int64(int32(index)) {
		return errBER
	}
	r.id, r.status, r.index = int32(id), int(status), int(index)
	for len(list.b) > 0 {
		one, ok := list.in(tagSequence)
		if !ok || r.n == maxBinds {
			return errBER
		}
		v := &r.binds[r.n]
		if v.name, ok = one.next(tagOID); !ok || len(v.name) == 0 || len(v.name) > 640 {
			return errBER
		}
		if v.tag, v.value, ok = one.any(); !ok {
			return errBER
		}
		r.n++
	}
	return nil
}

// cursor walks over BER elements.
type cursor struct{ b []byte }

// any takes the next element.
func (c *cursor) any() (tag byte, content []byte, ok bool) {
	b := c.b
	if len(b) < 2 || b[0]&0x1f == 0x1f {
		return 0, nil, false
	}
	tag, b = b[0], b[1:]
	n := int(b[0])
	b = b[1:]
	if n >= 0x80 {
		k := n & 0x7f
		if k == 0 || k > 4 || len(b) < k {
			return 0, nil, false
		}
		n = 0
		for _, x := range b[:k] {
			n = n<<8 | int(x)
		}
		b = b[k:]
	}
	if n < 0 || n > len(b) {
		return 0, nil, false
	}
	c.b = b[n:]
	return tag, b[:n:n], true
}

// next takes the next element, which must have this tag.
func (c *cursor) next(tag byte) ([]byte, bool) {
	t, content, ok := c.any()
	return content, ok && t == tag
}

// in returns a cursor over the contents of the next element.
func (c *cursor) in(tag byte) (cursor, bool) {
	content, ok := c.next(tag)
	return cursor{content}, ok
}

func (c *cursor) integer() (int64, bool) {
	content, ok := c.next(tagInteger)
	if !ok || len(content) == 0 {
		return 0, false
	}
	// Leading octets that only repeat the sign carry nothing.
	for len(content) > 8 && (content[0] == 0 || content[0] == 0xff) && content[0]>>7 == content[1]>>7 {
		content = content[1:]
	}
	if len(content) > 8 {
		return 0, false
	}
	v := int64(int8(content[0]))
	for _, x := range content[1:] {
		v = v<<8 | int64(x)
	}
	return v, true
}

// oidString writes the contents of an OBJECT IDENTIFIER in dotted form. It
// returns nothing for contents that are none (X.690 section 8.19).
func oidString(b []byte) string {
	var out []byte
	v := uint64(0)
	first := true
	for i, x := range b {
		if v > 1<<32 {
			return ""
		}
		v = v<<7 | uint64(x&0x7f)
		if x >= 0x80 {
			if i == len(b)-1 {
				return ""
			}
			continue
		}
		if first {
			root := min(v/40, 2)
			out = strconv.AppendUint(out, root, 10)
			v -= root * 40
			first = false
		}
		out = append(out, '.')
		out = strconv.AppendUint(out, v, 10)
		v = 0
	}
	return string(out)
}

// oid encodes the contents of an OBJECT IDENTIFIER that begins with 1.3.
func oid(rest ...uint32) []byte {
	out := []byte{0x2b}
	for _, v := range rest {
		var sub []byte
		for sub = []byte{byte(v & 0x7f)}; v >= 0x80; {
			v >>= 7
			sub = append([]byte{byte(v&0x7f) | 0x80}, sub...)
		}
		out = append(out, sub...)
	}
	return out
}

// inside reports whether a name lies below a prefix.
func inside(name, prefix []byte) bool {
	return len(name) > len(prefix) && bytes.HasPrefix(name, prefix)
}

func tlv(tag byte, parts ...[]byte) []byte {
	content := bytes.Join(parts, nil)
	out := []byte{tag}
	switch n := len(content); {
	case n < 0x80:
		out = append(out, byte(n))
	case n < 0x100:
		out = append(out, 0x81, byte(n))
	default:
		out = append(out, 0x82, byte(n>>8), byte(n))
	}
	return append(out, content...)
}

// question is an encoded message whose id can be set in place.
type question struct {
	msg  []byte
	idAt []int // where the four octets of the id stand
}

// mark is the id that is encoded first and then looked for. Like every id of
// the sweep it has its second highest bit set and the highest clear, so it
// always takes four octets.
const mark = 0x5ca1ab1e

func (q question) put(id int32) {
	for _, at := range q.idAt {
		binary.BigEndian.PutUint32(q.msg[at:], uint32(id))
	}
}

func markAt(msg []byte, times int) []int {
	want := []byte{tagInteger, 4, mark >> 24, mark >> 16 & 0xff, mark >> 8 & 0xff, mark & 0xff}
	var out []int
	for at := 0; len(out) < times; {
		i := bytes.Index(msg[at:], want)
		at += i + len(want)
		out = append(out, at-4)
	}
	return out
}

func markInteger() []byte {
	return tlv(tagInteger, binary.BigEndian.AppendUint32(nil, mark))
}

// getNext encodes a GetNextRequest for v1 or v2c. A community of 128 octets or
// more is encoded like any other.
func getNext(v snmp.Version, community string, names ...[]byte) question {
	var list [][]byte
	for _, n := range names {
		list = append(list, tlv(tagSequence, tlv(tagOID, n), tlv(tagNull)))
	}
	zero := tlv(tagInteger, []byte{0})
	pdu := tlv(tagGetNext, markInteger(), zero, zero, tlv(tagSequence, list...))
	head := tlv(tagSequence, tlv(tagInteger, []byte{byte(v)}), tlv(tagOctetString, []byte(community)), pdu)
	// The community could hold the mark: the id is the last place.
	at := bytes.LastIndex(head, append([]byte{tagInteger, 4}, binary.BigEndian.AppendUint32(nil, mark)...)) + 2
	return question{head, []int{at}}
}

// discoverV3 encodes the message that asks a v3 engine for its id: reportable,
// no authentication, no engine, no user (RFC 3414 section 4). An engine answers
// with a report of usmStatsUnknownEngineIDs.
func discoverV3() question {
	empty := tlv(tagOctetString)
	zero := tlv(tagInteger, []byte{0})
	head := tlv(tagSequence, markInteger(), tlv(tagInteger, []byte{0, 0xff, 0xe3}), tlv(tagOctetString, []byte{4}), tlv(tagInteger, []byte{3}))
	usm := tlv(tagOctetString, tlv(tagSequence, empty, zero, zero, empty, empty, empty))
	pdu := tlv(tagGet, markInteger(), zero, zero, tlv(tagSequence))
	msg := tlv(tagSequence, tlv(tagInteger, []byte{3}), head, usm, tlv(tagSequence, empty, empty, pdu))
	return question{msg, markAt(msg, 2)}
}

// questionID reads the id out of one of our own messages, as an error report
// quotes it; 0 if too little is quoted.
func questionID(b []byte) int32 {
	msg, ok := (&cursor{b}).in(tagSequence)
	if !ok {
		return 0
	}
	version, ok := msg.integer()
	if !ok {
		return 0
	}
	var part cursor
	if snmp.Version(version) == snmp.V3 {
		part, ok = msg.in(tagSequence)
	} else if _, ok = msg.next(tagOctetString); ok {
		part, ok = msg.in(tagGetNext)
	}
	if !ok {
		return 0
	}
	id, ok := part.integer()
	if !ok || id != int64(int32(id)) {
		return 0
	}
	return int32(id)
}
