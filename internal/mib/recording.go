package mib

import (
	"bufio"
	"bytes"
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"net/netip"
	"slices"
	"strconv"
	"strings"

	"printround/internal/oid"
)

// Recording is what an agent would answer, read from a file. It is a Reader.
type Recording struct {
	binds     []oid.VarBind // sorted, no name twice
	Exchanges int           // calls of Next so far
}

// maxRecording bounds the instances of a recording.
const maxRecording = 200_000

// ParseRecording reads recorded instances, one a line, in either of two forms:
//
//	1.3.6.1.2.1.1.3.0|67|8923081              OID|tag|value; an x behind the tag: hexadecimal
//	.1.3.6.1.2.1.1.3.0 = Timeticks: (8923081) what an SNMP walk with numeric names prints
//
// The tags are those of BER: 2 INTEGER, 4 OCTET STRING, 5 NULL, 6 OBJECT
// IDENTIFIER, 64 IpAddress, 65 Counter32, 66 Gauge32, 67 TimeTicks, 68 Opaque,
// 70 Counter64. Empty lines, lines that begin with # and the closing "End of
// MIB" of a walk are skipped. In the second form the lines of a text in quotes
// and of hexadecimal octets may go on below. The
// first of several equal names counts. Errors name the line.
func ParseRecording(r io.Reader) (*Recording, error) {
	sc := bufio.NewScanner(r)
	sc.Buffer(nil, 1<<20)
	rec := &Recording{}
	walk := walkText{}
	for line := 1; sc.Scan(); line++ {
		text := strings.TrimRight(sc.Text(), "\r")
		if len(rec.binds) > maxRecording {
			return nil, fmt.Errorf("line %d: more than %d instances", line, maxRecording)
		}
		if walk.more(text) {
			continue
		}
		rec.binds = walk.flush(rec.binds)
		if text == "" || text[0] == '#' || text == "End of MIB" {
			continue
		}
		if name, value, ok := strings.Cut(text, " = "); ok && !strings.Contains(name, "|") {
			if err := walk.start(name, value); err != nil {
				return nil, fmt.Errorf("line %d: %w", line, err)
			}
			continue
		}
		vb, err := parseRecord(text)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		rec.binds = append(rec.binds, vb)
	}
	if err := sc.Err(); err != nil {
		return nil, err
	}
	rec.binds = walk.flush(rec.binds)
	slices.SortStableFunc(rec.binds, func(a, b oid.VarBind) int { return a.Name.Compare(b.Name) })
	rec.binds = slices.CompactFunc(rec.binds, func(a, b oid.VarBind) bool { return a.Name.Equal(b.Name) })
	return rec, nil
}

// NewRecording makes a recording of bindings.
func NewRecording(binds []oid.VarBind) *Recording {
	rec := &Recording{binds: slices.Clone(binds)}
	slices.SortStableFunc(rec.binds, func(a, b oid.VarBind) int { return a.Name.Compare(b.Name) })
	return rec
}

// Bindings returns all instances in order.
func (r *Recording) Bindings() []oid.VarBind { return r.binds }

// Next answers as the agent would that the recording was taken from.
func (r *Recording) Next(ctx context.Context, q oid.Request) (oid.Answer, error) {
	if err := ctx.Err(); err != nil {
		return oid.Answer{}, err
	}
	r.Exchanges++
	var a oid.Answer
	for _, n := range q.Names {
		a.Names = append(a.Names, r.after(n.Name))
	}
	for _, c := range q.Columns {
		var col []oid.VarBind
		name := c.Name
		for range q.Reps {
			vb := r.after(name)
			col = append(col, vb)
			name = vb.Name
		}
		a.Columns = append(a.Columns, col)
	}
	return a, nil
}

func (r *Recording) after(name oid.OID) oid.VarBind {
	i, found := slices.BinarySearchFunc(r.binds, name, func(b oid.VarBind, n oid.OID) int { return b.Name.Compare(n) })
	if found {
		i++
	}
	if i == len(r.binds) {
		return oid.VarBind{Name: name, Value: oid.Value{Kind: oid.EndOfMibView}}
	}
	return r.binds[i]
}

func parseRecord(line string) (oid.VarBind, error) {
	f := strings.SplitN(line, "|", 3)
	if len(f) != 3 {
		return oid.VarBind{}, fmt.Errorf("want OID|tag|value")
	}
	name, err := oid.Parse(f[0])
	if err != nil {
		return oid.VarBind{}, err
	}
	tagText, isHex := strings.CutSuffix(f[1], "x")
	tag, err := strconv.ParseUint(tagText, 10, 8)
	if err != nil {
		return oid.VarBind{}, fmt.Errorf("tag %q is no number", f[1])
	}
	data := []byte(f[2])
	if isHex {
		if data, err = hex.DecodeString(f[2]); err != nil {
			return oid.VarBind{}, fmt.Errorf("value is not hexadecimal")
		}
	}
	v, err := parseValue(oid.Kind(tag), data)
	return oid.VarBind{Name: name, Value: v}, err
}

// parseValue reads a value from its text; octets are taken as they are.
func parseValue(k oid.Kind, data []byte) (oid.Value, error) {
	text := strings.TrimSpace(string(data))
	v := oid.Value{Kind: k}
	var err error
	switch k {
	case oid.Integer:
		v.Num, err = strconv.ParseInt(text, 10, 64)
	case oid.Counter32, oid.Gauge32, oid.TimeTicks:
		var n uint64
		n, err = strconv.ParseUint(text, 10, 32)
		v.Num = int64(n)
	case oid.Counter64:
		var n uint64
		n, err = strconv.ParseUint(text, 10, 64)
		v.Num = int64(n)
	case oid.OctetString, oid.Opaque:
		v.Bytes = data
	case oid.ObjectID:
		v.ID, err = oid.Parse(text)
	case oid.IPAddress:
		var a netip.Addr
		if len(data) == 4 {
			a = netip.AddrFrom4([4]byte(data))
		} else if a, err = netip.ParseAddr(text); err != nil || !a.Is4() {
			return oid.Value{}, fmt.Errorf("%q is no IPv4 address", text)
		}
		v.Bytes = a.AsSlice()
	case oid.Null:
	default:
		return oid.Value{}, fmt.Errorf("tag %d is no type of a recording", uint8(k))
	}
	if err != nil {
		return oid.Value{}, fmt.Errorf("%q is no %s", text, k)
	}
	return v, nil
}

// walkText collects one instance of a printed walk, which may take several
// lines.
type walkText struct {
	open   bool
	quoted bool // the text goes on until a closing quote
	hex    bool
	name   oid.OID
	kind   oid.Kind
	data   []byte
}

var walkKinds = map[string]oid.Kind{
	"INTEGER": oid.Integer, "STRING": oid.OctetString, "Hex-STRING": oid.OctetString, "OID": oid.ObjectID,
	"IpAddress": oid.IPAddress, "Network Address": oid.IPAddress, "Counter32": oid.Counter32, "Gauge32": oid.Gauge32,
	"Timeticks": oid.TimeTicks, "Counter64": oid.Counter64, "OPAQUE": oid.Opaque, "BITS": oid.OctetString,
}

func (w *walkText) start(name, value string) error {
	o, err := oid.Parse(strings.TrimSpace(name))
	if err != nil {
		return err
	}
	*w = walkText{name: o}
	switch {
	case value == `""`:
		w.open, w.kind = true, oid.OctetString
		return nil
	case value == "NULL":
		w.open, w.kind = true, oid.Null
		return nil
	case strings.HasPrefix(value, "No "): // no such object, no such instance, no more variables
		return nil
	}
	typ, text, ok := strings.Cut(value, ":")
	if w.kind = walkKinds[typ]; !ok || w.kind == oid.Invalid {
		return fmt.Errorf("%q begins with no type", value)
	}
	w.open = true
	text = strings.TrimPrefix(text, " ")
	switch w.kind {
	case oid.OctetString, oid.Opaque:
		w.hex = typ != "STRING"
		if after, quoted := strings.CutPrefix(text, `"`); quoted && !w.hex {
			w.quoted = true
			w.text(after)
		} else {
			w.data = []byte(text)
		}
		return nil
	case oid.Integer, oid.TimeTicks: // label(5), (123) 0:00:01.23
		if i := strings.IndexByte(text, '('); i >= 0 {
			text = text[i+1:]
			text, _, _ = strings.Cut(text, ")")
		}
	}
	text, _, _ = strings.Cut(text, " ") // units behind a number
	v, err := parseValue(w.kind, []byte(text))
	if err != nil {
		return err
	}
	w.data = []byte(text)
	if w.kind == oid.IPAddress {
		w.data = v.Bytes
	}
	return nil
}

// text takes the rest of a quoted string, up to the closing quote.
func (w *walkText) text(s string) {
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '\\' && i+1 < len(s):
			i++
			w.data = append(w.data, s[i])
		case s[i] == '"' && i == len(s)-1:
			w.quoted = false
		default:
			w.data = append(w.data, s[i])
		}
	}
}

// more takes a line that continues the instance before it.
func (w *walkText) more(line string) bool {
	if !w.open || len(w.data) > 1<<16 {
		return false
	}
	if w.quoted {
		w.data = append(w.data, '\n')
		w.text(line)
		return true
	}
	if w.hex && line != "" && strings.Trim(line, "0123456789abcdefABCDEF ") == "" {
		w.data = append(append(w.data, ' '), line...)
		return true
	}
	return false
}

func (w *walkText) flush(binds []oid.VarBind) []oid.VarBind {
	if !w.open {
		return binds
	}
	data := w.data
	if w.hex {
		packed := bytes.ReplaceAll(data, []byte(" "), nil)
		octets, err := hex.DecodeString(string(packed))
		if err == nil {
			data = octets
		}
	}
	v, err := parseValue(w.kind, data)
	if err == nil {
		binds = append(binds, oid.VarBind{Name: w.name, Value: v})
	}
	*w = walkText{}
	return binds
}
