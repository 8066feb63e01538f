package snmp

import (
	"slices"
	"sync"

	"printround/internal/oid"
)

// room is where a session encodes, and where the present question, its requests
// and its answers lie. It is used again by the next session.
type room struct {
	out, binds []byte
	ask        asking
	pdus       []*pdu
	lent       int // how many of pdus are in use
	open       waiting
	flights    [2]flight // by number
	in         received
}

var rooms = sync.Pool{New: func() any { return &room{} }}

// Bounds of a room that is kept for others. Usual answers take a quarter of it.
const (
	maxKeptOctets = 1 << 14
	maxKeptBinds  = 1 << 10
)

// release lets another session use the room.
func (r *room) release() {
	if cap(r.in.octets) <= maxKeptOctets && cap(r.in.binds) <= maxKeptBinds {
		rooms.Put(r)
	}
}

// borrow returns an empty request in the room of one of an earlier exchange.
func (r *room) borrow() *pdu {
	if r.lent == len(r.pdus) {
		r.pdus = append(r.pdus, &pdu{})
	}
	p := r.pdus[r.lent]
	r.lent++
	*p = pdu{names: p.names[:0], at: p.at[:0]}
	return p
}

// received is where the answers of one exchange lie.
type received struct {
	binds  []oid.VarBind // of the last answer alone
	arcs   oid.OID       // of names, and of values that are object identifiers
	octets []byte        // of values
}

// reset forgets what was received.
func (in *received) reset() { in.arcs, in.octets = in.arcs[:0], in.octets[:0] }

// copy returns octets that last as long as the answers.
func (in *received) copy(b []byte) []byte {
	begin := len(in.octets)
	in.octets = append(in.octets, b...)
	return in.octets[begin:len(in.octets):len(in.octets)]
}

// object reads the contents of an OBJECT IDENTIFIER (X.690 section 8.19).
func (in *received) object(b []byte) (oid.OID, bool) {
	n := 1
	for _, c := range b {
		if c < 0x80 {
			n++
		}
	}
	if len(b) == 0 || b[len(b)-1] > 0x7f || n > oid.MaxLen {
		return nil, false
	}
	begin := len(in.arcs)
	in.arcs = slices.Grow(in.arcs, n)[:begin+n]
	o := in.arcs[begin : begin+n : begin+n]
	at, arc := 1, uint64(0)
	for _, c := range b {
		arc = arc<<7 | uint64(c&0x7f)
		if arc > 1<<32-1 {
			return nil, false
		}
		if c < 0x80 {
			o[at], arc = uint32(arc), 0
			at++
		}
	}
	o[0] = min(o[1]/40, 2)
	o[1] -= 40 * o[0]
	return o, true
}
