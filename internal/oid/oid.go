// Package oid holds object identifiers and typed SNMP values (RFC 2578, RFC
// 3416), and the question and answer that pass between a reader of tables and
// whatever answers it: a session with a device, or a recording.
package oid

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// MaxLen is the largest number of sub-identifiers of an object identifier
// (RFC 2578 section 3.5).
const MaxLen = 128

// OID is an object identifier. An OID is never changed once made; Append
// copies.
type OID []uint32

// ErrSyntax is wrapped by Parse.
var ErrSyntax = errors.New("not an object identifier")

// Parse reads the dotted form, with or without a leading dot: at most 128
// sub-identifiers of 0 to 2^32-1, each of at most ten digits.
func Parse(s string) (OID, error) {
	t := strings.TrimPrefix(s, ".")
	if t == "" {
		return nil, fmt.Errorf("%w: %q", ErrSyntax, clip(s))
	}
	o := make(OID, 0, min(strings.Count(t, ".")+1, MaxLen))
	n, digits := uint64(0), 0
	for i := 0; i <= len(t); i++ {
		if i < len(t) && t[i] >= '0' && t[i] <= '9' && digits < 10 {
			n = 10*n + uint64(t[i]-'0')
			digits++
			continue
		}
		if i < len(t) && t[i] != '.' || digits == 0 || n > math.MaxUint32 || len(o) == MaxLen {
			return nil, fmt.Errorf("%w: %q", ErrSyntax, clip(s))
		}
		o = append(o, uint32(n))
		n, digits = 0, 0
	}
	return o, nil
}

func clip(s string) string {
	if len(s) > 64 {
		return s[:64] + "…"
	}
	return s
}

// MustParse is Parse for constants; it panics on bad syntax.
func MustParse(s string) OID {
	o, err := Parse(s)
	if err != nil {
		panic(err)
	}
	return o
}

// String returns the dotted form without a leading dot.
func (o OID) String() string { return string(o.AppendText(make([]byte, 0, 4*len(o)))) }

// AppendText appends the dotted form to b.
func (o OID) AppendText(b []byte) []byte {
	for i, n := range o {
		if i > 0 {
			b = append(b, '.')
		}
		b = strconv.AppendUint(b, uint64(n), 10)
	}
	return b
}

// Compare orders lexicographically (RFC 3416 section 2.2): -1, 0 or 1.
func (o OID) Compare(p OID) int { return slices.Compare(o, p) }

// Equal reports whether both are the same.
func (o OID) Equal(p OID) bool { return slices.Equal(o, p) }

// HasPrefix reports whether o is p or lies below it.
func (o OID) HasPrefix(p OID) bool { return len(o) >= len(p) && slices.Equal(o[:len(p)], p) }

// Append returns o followed by more, sharing nothing with o.
func (o OID) Append(more ...uint32) OID {
	p := make(OID, 0, len(o)+len(more))
	return append(append(p, o...), more...)
}

// Size is the number of octets of o's BER encoding with its header (X.690
// section 8.19), for lengths below 128.
func (o OID) Size() int {
	n := 3
	for i, sub := range o {
		if i < 2 {
			continue
		}
		n++
		for sub >>= 7; sub > 0; sub >>= 7 {
			n++
		}
	}
	return n
}

// Kind is the type of a value. The numbers are those of the tags on the wire
// (RFC 3416 section 3, RFC 2578 section 7).
type Kind uint8

// Kinds of values. Invalid is a value that could not be decoded.
const (
	Invalid        Kind = 0
	Integer        Kind = 0x02
	OctetString    Kind = 0x04
	Null           Kind = 0x05
	ObjectID       Kind = 0x06
	IPAddress      Kind = 0x40
	Counter32      Kind = 0x41
	Gauge32        Kind = 0x42
	TimeTicks      Kind = 0x43
	Opaque         Kind = 0x44
	Counter64      Kind = 0x46
	NoSuchObject   Kind = 0x80
	NoSuchInstance Kind = 0x81
	EndOfMibView   Kind = 0x82
)

var kindNames = map[Kind]string{
	Invalid: "undecodable", Integer: "INTEGER", OctetString: "OCTET STRING", Null: "NULL",
	ObjectID: "OBJECT IDENTIFIER", IPAddress: "IpAddress", Counter32: "Counter32", Gauge32: "Gauge32",
	TimeTicks: "TimeTicks", Opaque: "Opaque", Counter64: "Counter64", NoSuchObject: "noSuchObject",
	NoSuchInstance: "noSuchInstance", EndOfMibView: "endOfMibView",
}

// String returns the name in the standard's words.
func (k Kind) String() string {
	if s, ok := kindNames[k]; ok {
		return s
	}
	return fmt.Sprintf("Kind(%#02x)", uint8(k))
}

// Value is one SNMP value. The zero Value is Invalid.
type Value struct {
	Kind  Kind
	Num   int64  // Integer, Counter32, Gauge32, TimeTicks; Counter64 as its two's complement
	Bytes []byte // OctetString, Opaque, IPAddress
	ID    OID    // ObjectID
}

// Int returns an INTEGER value.
func Int(n int64) Value { return Value{Kind: Integer, Num: n} }

// Str returns an OCTET STRING value.
func Str(s string) Value { return Value{Kind: OctetString, Bytes: []byte(s)} }

// Ticks returns a TimeTicks value, in hundredths of a second.
func Ticks(n uint32) Value { return Value{Kind: TimeTicks, Num: int64(n)} }

// Numeric reports whether v holds a number.
func (v Value) Numeric() bool {
	switch v.Kind {
	case Integer, Counter32, Gauge32, TimeTicks:
		return true
	case Counter64:
		return v.Num >= 0
	}
	return false
}

// Present reports whether the device gave a value at all.
func (v Value) Present() bool {
	switch v.Kind {
	case Invalid, Null, NoSuchObject, NoSuchInstance, EndOfMibView:
		return false
	}
	return true
}

// Equal reports whether both are the same value of the same kind.
func (v Value) Equal(w Value) bool {
	return v.Kind == w.Kind && v.Num == w.Num && string(v.Bytes) == string(w.Bytes) && v.ID.Equal(w.ID)
}

// Size is the number of octets of v's BER encoding with its header, for
// lengths below 128 one header octet less than for longer ones.
func (v Value) Size() int {
	n := 0
	switch v.Kind {
	case OctetString, Opaque, IPAddress:
		n = len(v.Bytes)
	case ObjectID:
		return v.ID.Size()
	case Integer:
		n = 1
		for x := v.Num; x > 127 || x < -128; x >>= 8 {
			n++
		}
	case Counter32, Gauge32, TimeTicks, Counter64:
		n = 1
		for x := uint64(v.Num); x > 127; x >>= 8 {
			n++
		}
	}
	if n > 255 {
		return n + 4
	}
	if n > 127 {
		return n + 3
	}
	return n + 2
}

// String renders v for logs and evidence. Octets that are not printable ASCII
// make the whole string hexadecimal.
func (v Value) String() string {
	switch v.Kind {
	case Integer, Counter32, Gauge32, TimeTicks:
		return strconv.FormatInt(v.Num, 10)
	case Counter64:
		return strconv.FormatUint(uint64(v.Num), 10)
	case ObjectID:
		return v.ID.String()
	case OctetString, Opaque, IPAddress:
		for _, c := range v.Bytes {
			if c < 0x20 || c > 0x7e {
				return fmt.Sprintf("%x", v.Bytes)
			}
		}
		return string(v.Bytes)
	}
	return v.Kind.String()
}

// VarBind is one object instance with its value.
type VarBind struct {
	Name  OID
	Value Value
}

// Size is the number of octets of the binding's BER encoding (RFC 3416
// section 3, VarBind).
func (b VarBind) Size() int { return wrap(b.Name.Size() + b.Value.Size()) }

func wrap(n int) int {
	if n > 255 {
		return n + 4
	}
	if n > 127 {
		return n + 3
	}
	return n + 2
}

// ByName orders bindings for slices.SortFunc.
func ByName(a, b VarBind) int {
	return cmp.Or(a.Name.Compare(b.Name), cmp.Compare(a.Value.Kind, b.Value.Kind))
}

// Ask is one object instance wanted: the first one after Name. Size is what
// its value will probably take on the wire, in octets with the header.
type Ask struct {
	Name OID
	Size int
}

// Request is a question. Names are answered once each; Columns Reps times
// each, one after the other, like the non-repeaters and the repeaters of a
// GetBulkRequest (RFC 3416 section 4.2.3). Names come in order of importance.
type Request struct {
	Names   []Ask
	Columns []Ask
	Reps    int
}

// Answer answers some of Request.Names, one binding for each in the same
// order, and the columns as far as they fit. A name that was not answered has
// no binding behind the last one that was, and before it a binding without a
// name. The end of what the device shows is a binding with the asked name and
// EndOfMibView; an instance that the device could not produce has the asked
// name and an Invalid value. The names of the others are what the device
// gave: nothing is known about their order.
type Answer struct {
	Names   []VarBind
	Columns [][]VarBind // parallel to the first of Request.Columns; an empty one was not answered
}
