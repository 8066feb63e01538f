package agent

import (
	"bytes"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Odd is how a host misbehaves on the network. An agent that is given none
// behaves.
type Odd struct {
	// Around answers a request in the host's place. honest is what the host
	// itself would answer to a request; nil: nothing. It is called for one
	// request at a time.
	Around func(h *Host, request []byte, honest func(request []byte) []byte) []Datagram

	Jump      int64 // seconds that snmpEngineTime runs ahead with each message of version 3
	NewEngine bool  // another snmpEngineID in each message of version 3
	Report    OID   // users that are known get a report with this object
	Weaken    bool  // an encrypted request gets an answer without privacy

	mu      sync.Mutex
	ahead   atomic.Int64
	engines atomic.Uint32
}

// Datagram is one that is sent, at once or later.
type Datagram struct {
	Payload []byte
	After   time.Duration
}

// Misbehave makes the host odd from now on; nil makes it behave.
func (h *Host) Misbehave(o *Odd) { h.odd.Store(o) }

// answers returns what an odd host sends; ok is false for one that answers in
// the usual way.
func (r *Responder) answers(h *Host, request []byte, now time.Time) (out []Datagram, ok bool) {
	o := h.odd.Load()
	if o == nil || o.Around == nil {
		return nil, false
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	honest := func(request []byte) []byte {
		// The digest of version 3 is found by the capacity of its slice.
		return r.Respond(h, slices.Clip(bytes.Clone(request)), now, nil)
	}
	return o.Around(h, bytes.Clone(request), honest), true
}

// odd hands an odd host's datagrams over at their time. It reports whether
// the host is one.
func (s *Server) odd(r *Responder, h *Host, request []byte, now time.Time, delay time.Duration, write func([]byte)) bool {
	out, ok := r.answers(h, request, now)
	for _, d := range out {
		s.later.add(now.Add(delay+d.After), func() { write(d.Payload) })
	}
	return ok
}

// Restart begins the host's clocks anew, as after a loss of power.
func (h *Host) Restart(now time.Time) {
	h.restarted.Store(now.UnixNano())
	h.restarts.Add(1)
}

func (h *Host) booted() time.Time {
	if at := h.restarted.Load(); at != 0 {
		return time.Unix(0, at)
	}
	return h.Booted
}

func (h *Host) engineBoots() int32 { return h.EngineBoots + h.restarts.Load() }

// jumped is how far snmpEngineTime is ahead.
func (h *Host) jumped() int64 {
	if o := h.odd.Load(); o != nil {
		return o.ahead.Load()
	}
	return 0
}

// ownEngine is the engine that the host shows in its answer to one message.
func (h *Host) ownEngine() []byte {
	o := h.odd.Load()
	if o == nil {
		return h.EngineID
	}
	o.ahead.Add(o.Jump)
	if !o.NewEngine {
		return h.EngineID
	}
	id := bytes.Clone(h.EngineID)
	id[len(id)-1] ^= byte(o.engines.Add(1)) | 0x80
	return id
}

// reporting is the object that users who are known get a report of, if any.
func (h *Host) reporting() OID {
	if o := h.odd.Load(); o != nil {
		return o.Report
	}
	return nil
}

// weakened takes privacy off the flags of an answer where the host does that.
func (h *Host) weakened(flags byte) byte {
	if o := h.odd.Load(); o != nil && o.Weaken {
		return flags &^ flagPriv
	}
	return flags
}

// Message is a message of version 1 or 2c in parts, for what bends one.
type Message struct {
	Version   int64
	Community string
	Kind      byte
	ID        int64
	Status    int64 // non-repeaters in a GetBulkRequest
	Index     int64 // max-repetitions in a GetBulkRequest
	Binds     []Bind
}

// Bind is one variable binding.
type Bind struct {
	Name  OID
	Value Value
}

// Bulk reports whether the message is a GetBulkRequest.
func (m *Message) Bulk() bool { return m.Kind == pduGetBulk }

// ReadMessage takes a message of version 1 or 2c apart.
func ReadMessage(b []byte) (*Message, error) {
	body, _, err := expect(b, tagSequence)
	if err != nil {
		return nil, err
	}
	m := &Message{}
	if m.Version, body, err = readInt(body); err != nil || m.Version > wireV2c {
		return nil, errMalformed
	}
	community, body, err := expect(body, TagOctets)
	if err != nil {
		return nil, err
	}
	m.Community = string(community)
	var p pdu
	if err := p.decode(body); err != nil {
		return nil, err
	}
	m.Kind, m.ID, m.Status, m.Index = p.kind, p.id, p.nonRep, p.maxRep
	for list, i := p.raw, 0; len(list) > 0; i++ {
		bind, rest, _ := expect(list, tagSequence)
		_, value, _ := expect(bind, TagObjectID)
		tag, v, _, err := readTLV(value)
		if err != nil {
			return nil, err
		}
		m.Binds = append(m.Binds, Bind{slices.Clone(p.names[i]), Value{tag, bytes.Clone(v)}})
		list = rest
	}
	return m, nil
}

// Bytes encodes the message, however large it is.
func (m *Message) Bytes() []byte {
	a := answer{kind: m.Kind, id: m.ID, status: m.Status, index: m.Index}
	for _, b := range m.Binds {
		a.binds = appendVarBind(a.binds, b.Name, b.Value)
	}
	body := appendTLV(appendInt(nil, m.Version), TagOctets, []byte(m.Community))
	return appendTLV(nil, tagSequence, a.appendTo(body))
}

// Response begins the answer to a request, without bindings.
func (m *Message) Response() *Message {
	return &Message{Version: m.Version, Community: m.Community, Kind: pduResponse, ID: m.ID}
}

// Error statuses that an answer may carry (RFC 3416 section 3).
const (
	StatusTooBig     = errTooBig
	StatusNoSuchName = errNoSuchName
)

// Copy returns a builder that holds the instances of the tree.
func (t *Tree) Copy() *Builder { return &Builder{nodes: slices.Clone(t.nodes)} }

// Map returns a builder that holds the instances of the tree with the values
// that f makes of them. What is computed for each answer is computed now if f
// changes it.
func (t *Tree) Map(h *Host, now time.Time, f func(OID, Value) (v Value, changed bool)) *Builder {
	b := &Builder{}
	for pos, n := range t.nodes {
		_, v, err := splitVarBind(t.appendNode(nil, pos, h, now))
		if err != nil {
			continue
		}
		if v, changed := f(n.oid, v); changed {
			b.Put(n.oid[:n.object:n.object], v, n.oid[n.object:]...)
		} else {
			b.nodes = append(b.nodes, n)
		}
	}
	return b
}

// Lacks returns a tree without the instances that f picks. It is cheap enough
// for each request.
func (t *Tree) Lacks(f func(OID) bool) *Tree {
	return &Tree{slices.DeleteFunc(slices.Clone(t.nodes), func(n node) bool { return f(n.oid) })}
}

// Raw returns a value that the other constructors do not make.
func Raw(tag byte, body []byte) Value { return Value{tag, body} }

// Wide returns an INTEGER of up to 64 bits, which SNMP does not have.
func Wide(n int64) Value { return Value{TagInteger, appendIntBody(nil, n)} }
