package agent

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// Live computes a value at the moment of the answer.
type Live func(h *Host, now time.Time) Value

type node struct {
	oid    OID
	object int    // how many arcs name the object type; the rest is the instance
	enc    []byte // the encoded VarBind; nil when live
	live   Live
}

// Tree is a sorted set of object instances. It is never changed once built and
// may be shared by many hosts.
type Tree struct{ nodes []node }

// Builder collects object instances.
type Builder struct{ nodes []node }

// Put adds the instance object.index; a later Put of the same one wins.
func (b *Builder) Put(object OID, v Value, index ...uint32) {
	o := object.With(index...)
	b.nodes = append(b.nodes, node{oid: o, object: len(object), enc: appendVarBind(nil, o, v)})
}

// PutLive adds an instance whose value is computed for each answer.
func (b *Builder) PutLive(object OID, f Live, index ...uint32) {
	b.nodes = append(b.nodes, node{oid: object.With(index...), object: len(object), live: f})
}

// Build returns the tree.
func (b *Builder) Build() *Tree {
	nodes := slices.Clone(b.nodes)
	slices.SortStableFunc(nodes, func(x, y node) int { return x.oid.Compare(y.oid) })
	kept := nodes[:0]
	for i, n := range nodes {
		if i+1 < len(nodes) && n.oid.Compare(nodes[i+1].oid) == 0 {
			continue
		}
		kept = append(kept, n)
	}
	return &Tree{nodes: slices.Clip(kept)}
}

// Len is the number of instances.
func (t *Tree) Len() int { return len(t.nodes) }

// get returns the position of o, or how it is missing.
func (t *Tree) get(o OID) (pos int, missing byte) {
	pos, found := slices.BinarySearchFunc(t.nodes, o, func(n node, o OID) int { return n.oid.Compare(o) })
	if found {
		return pos, 0
	}
	// RFC 3416 section 4.2.1: noSuchInstance when the object type exists. Its
	// instances, if any, stand right before or right behind o.
	for _, i := range []int{pos - 1, pos} {
		if i >= 0 && i < len(t.nodes) && o.HasPrefix(t.nodes[i].oid[:t.nodes[i].object]) {
			return pos, tagNoSuchInstance
		}
	}
	return pos, tagNoSuchObject
}

// next returns the position of the first instance behind o, Len when there is
// none.
func (t *Tree) next(o OID) int {
	pos, found := slices.BinarySearchFunc(t.nodes, o, func(n node, o OID) int { return n.oid.Compare(o) })
	if found {
		pos++
	}
	return pos
}

func (t *Tree) appendNode(dst []byte, pos int, h *Host, now time.Time) []byte {
	n := &t.nodes[pos]
	if n.live == nil {
		return append(dst, n.enc...)
	}
	return appendVarBind(dst, n.oid, n.live(h, now))
}

func appendVarBind(dst []byte, o OID, v Value) []byte {
	var buf [160]byte
	name := appendOIDBody(buf[:0], o)
	dst = appendLength(append(dst, tagSequence), sizeTLV(len(name))+sizeTLV(len(v.Body)))
	return appendTLV(appendTLV(dst, TagObjectID, name), v.Tag, v.Body)
}

// Lookup returns the value of one instance.
func (t *Tree) Lookup(o OID, h *Host, now time.Time) (Value, bool) {
	pos, missing := t.get(o)
	if missing != 0 {
		return Value{}, false
	}
	_, v, err := splitVarBind(t.appendNode(nil, pos, h, now))
	return v, err == nil
}

// Walk calls f for every instance in order.
func (t *Tree) Walk(h *Host, now time.Time, f func(OID, Value) error) error {
	for pos := range t.nodes {
		_, v, err := splitVarBind(t.appendNode(nil, pos, h, now))
		if err != nil {
			return fmt.Errorf("instance %s: %w", t.nodes[pos].oid, err)
		}
		if err := f(t.nodes[pos].oid, v); err != nil {
			return err
		}
	}
	return nil
}

func splitVarBind(b []byte) (name []byte, v Value, err error) {
	body, _, err := expect(b, tagSequence)
	if err != nil {
		return nil, Value{}, err
	}
	name, rest, err := expect(body, TagObjectID)
	if err != nil {
		return nil, Value{}, err
	}
	tag, value, _, err := readTLV(rest)
	return name, Value{tag, value}, err
}

// WriteRecording writes the tree in the snmprec text form, one
// `OID|TAG|VALUE` a line.
func (t *Tree) WriteRecording(w io.Writer, h *Host, now time.Time) error {
	out := bufio.NewWriter(w)
	err := t.Walk(h, now, func(o OID, v Value) error {
		s, err := v.snmprec()
		if err != nil {
			return fmt.Errorf("instance %s: %w", o, err)
		}
		_, err = fmt.Fprintf(out, "%s|%s\n", o, s)
		return err
	})
	if err != nil {
		return err
	}
	return out.Flush()
}

// maxRecordingLine bounds one line of a recording, in bytes.
const maxRecordingLine = 1 << 20

// ReadRecording reads the snmprec text form. Empty lines and lines that begin
// with # are skipped; an error names the line.
func ReadRecording(r io.Reader) (*Tree, error) {
	var b Builder
	in := bufio.NewScanner(r)
	in.Buffer(make([]byte, 0, 4096), maxRecordingLine)
	for line := 1; in.Scan(); line++ {
		s := strings.TrimRight(in.Text(), "\r")
		if s == "" || strings.HasPrefix(s, "#") {
			continue
		}
		f := strings.SplitN(s, "|", 3)
		if len(f) != 3 {
			return nil, fmt.Errorf("line %d: OID|TAG|VALUE wanted", line)
		}
		o, err := ParseOID(f[0])
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		v, err := parseSnmprec(f[1], f[2])
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		n := objectArcs(o)
		b.Put(o[:n:n], v, o[n:]...)
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("reading the recording: %w", err)
	}
	return b.Build(), nil
}

// columnsAt lists where recordings have tables and how many arcs name a column
// there (RFC 3805, RFC 2790, RFC 2863).
var columnsAt = []struct {
	under OID
	arcs  int
}{
	{MustOID("1.3.6.1.2.1.43"), 11},
	{MustOID("1.3.6.1.2.1.25.2.3"), 11},
	{MustOID("1.3.6.1.2.1.25.3"), 11},
	{MustOID("1.3.6.1.2.1.2.2"), 10},
}

// objectArcs guesses how many arcs of an instance name its object type, which
// a recording does not say.
func objectArcs(o OID) int {
	for _, c := range columnsAt {
		if o.HasPrefix(c.under) && len(o) > c.arcs {
			return c.arcs
		}
	}
	return len(o) - 1
}
