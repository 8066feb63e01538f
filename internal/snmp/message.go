package snmp

import (
	"fmt"
	"net/netip"
	"slices"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// The requests that are sent: it only reads.
const (
	getNext = gosnmp.GetNextRequest
	getBulk = gosnmp.GetBulkRequest
)

// pdu is one request. For a GetBulkRequest names come first, then columns.
type pdu struct {
	kind    gosnmp.PDUType
	id      uint32 // request-id; 1..2^31-1
	names   []oid.Ask
	at      []int // of each name, its place in the question
	columns []oid.Ask
	reps    int
	size    int  // estimated octets of the answer's bindings
	shrunk  bool // less than usual, because earlier tries were not answered
	// insteadOfBulk: GetNext for an agent that may not know GetBulk
	insteadOfBulk bool
	sent          time.Time
}

func (p *pdu) variables() []gosnmp.SnmpPDU {
	vars := make([]gosnmp.SnmpPDU, 0, len(p.names)+len(p.columns))
	var room [8 * oid.MaxLen]byte
	for _, list := range [][]oid.Ask{p.names, p.columns} {
		for _, a := range list {
			vars = append(vars, gosnmp.SnmpPDU{Name: string(a.Name.AppendText(append(room[:0], '.'))), Type: gosnmp.Null})
		}
	}
	return vars
}

// reply is a response that was decoded and not yet matched to a request.
type reply struct {
	version   Version
	community string
	kind      gosnmp.PDUType
	id        uint32
	status    int // error-status (RFC 3416 section 3)
	index     int // error-index, from 1
	binds     []oid.VarBind
	size      int // octets of the datagram
}

// Error statuses (RFC 3416 section 3).
const (
	noError            = 0
	tooBig             = 1
	noSuchName         = 2
	authorizationError = 16
)

// decode reads any SNMP message. What it returns lies in the room of in.
func decode(codec *gosnmp.GoSNMP, datagram []byte, in *received) (*reply, error) {
	if r := decodePlain(datagram, in); r != nil {
		return r, nil
	}
	return decodeAny(codec, datagram, in)
}

// decodeAny leaves it to the codec. That is not ours and the octets are a
// stranger's: a panic in it becomes an error.
func decodeAny(codec *gosnmp.GoSNMP, datagram []byte, in *received) (r *reply, err error) {
	defer func() {
		if p := recover(); p != nil {
			r, err = nil, fmt.Errorf("%w: the decoder gave up", ErrBadAnswer)
		}
	}()
	// The codec writes into its input, and what it returns points there.
	m, err := codec.SnmpDecodePacket(append([]byte(nil), datagram...))
	if err != nil {
		return nil, fmt.Errorf("%w: %v", ErrBadAnswer, err)
	}
	r = &reply{
		version: Version(m.Version), community: m.Community, kind: m.PDUType, id: m.RequestID,
		status: int(m.Error), index: int(m.ErrorIndex), size: len(datagram),
		binds: slices.Grow(in.binds[:0], len(m.Variables)),
	}
	for _, v := range m.Variables {
		vb, err := binding(v)
		if err != nil {
			return nil, fmt.Errorf("%w: %v", ErrBadAnswer, err)
		}
		r.binds = append(r.binds, vb)
	}
	in.binds = r.binds
	return r, nil
}

// binding converts a binding of the codec. A value that the codec could not
// make sense of becomes an Invalid value.
func binding(v gosnmp.SnmpPDU) (oid.VarBind, error) {
	name, err := oid.Parse(v.Name)
	if err != nil {
		return oid.VarBind{}, err
	}
	return oid.VarBind{Name: name, Value: value(v)}, nil
}

func value(v gosnmp.SnmpPDU) oid.Value {
	out := oid.Value{Kind: oid.Kind(v.Type)}
	switch x := v.Value.(type) {
	case int:
		out.Num = int64(x)
	case uint:
		out.Num = int64(x)
	case uint32:
		out.Num = int64(x)
	case uint64:
		out.Num = int64(x)
	case []byte:
		out.Bytes = x
	case string:
		if v.Type == gosnmp.IPAddress {
			a, err := netip.ParseAddr(x)
			if err != nil {
				return oid.Value{}
			}
			out.Bytes = a.AsSlice()
			break
		}
		id, err := oid.Parse(x)
		if err != nil {
			return oid.Value{}
		}
		out.ID = id
	}
	if !sound(v, &out) {
		return oid.Value{}
	}
	return out
}

// sound reports whether the kind has the value that belongs to it, and maps
// the obsolete unsigned integer onto its successor.
func sound(v gosnmp.SnmpPDU, out *oid.Value) bool {
	switch v.Type {
	case gosnmp.Uinteger32:
		out.Kind = oid.Gauge32
		return true
	case gosnmp.Integer:
		return v.Value != nil && out.Num >= -1<<31 && out.Num < 1<<31
	case gosnmp.Counter32, gosnmp.Gauge32, gosnmp.TimeTicks:
		return v.Value != nil && out.Num >= 0 && out.Num < 1<<32
	case gosnmp.Counter64:
		return v.Value != nil
	case gosnmp.OctetString, gosnmp.Opaque:
		_, ok := v.Value.([]byte)
		return ok
	case gosnmp.IPAddress:
		return out.Bytes != nil
	case gosnmp.ObjectIdentifier:
		return out.ID != nil
	case gosnmp.Null, gosnmp.NoSuchObject, gosnmp.NoSuchInstance, gosnmp.EndOfMibView:
		return true
	}
	return false
}
