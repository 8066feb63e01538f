package agent

import "time"

// PDU types (RFC 3416 section 3).
const (
	pduGet      = 0xa0
	pduGetNext  = 0xa1
	pduResponse = 0xa2
	pduSet      = 0xa3
	pduGetBulk  = 0xa5
	pduInform   = 0xa6
	pduReport   = 0xa8
)

// Error statuses (RFC 1157 section 4.1.1, RFC 3416 section 3).
const (
	noError            = 0
	errTooBig          = 1
	errNoSuchName      = 2
	errAuthorization   = 16
	errNotWritable     = 17
	maxRequestVarBinds = 256 // more than fit a datagram with any useful answer
)

// pdu is a request as received. names are decoded, raw is the variable
// binding list's content for echoing.
type pdu struct {
	kind      byte
	id        int64
	nonRep    int64 // error-status in other requests
	maxRep    int64 // error-index in other requests
	names     []OID
	rawNames  [][]byte
	raw       []byte
	arcs      OID // backing store of names
	nameStart []int
	cursors   []int // where GetBulk is for each name
}

func (p *pdu) decode(b []byte) error {
	kind, body, rest, err := readTLV(b)
	if err != nil || len(rest) != 0 {
		return errMalformed
	}
	p.kind = kind
	if p.id, body, err = readInt(body); err != nil {
		return err
	}
	if p.nonRep, body, err = readInt(body); err != nil {
		return err
	}
	if p.maxRep, body, err = readInt(body); err != nil {
		return err
	}
	if p.raw, _, err = expect(body, tagSequence); err != nil {
		return err
	}
	return p.decodeNames(p.raw)
}

func (p *pdu) decodeNames(list []byte) error {
	p.names, p.rawNames, p.arcs, p.nameStart = p.names[:0], p.rawNames[:0], p.arcs[:0], p.nameStart[:0]
	for len(list) > 0 {
		bind, rest, err := expect(list, tagSequence)
		if err != nil {
			return err
		}
		name, value, err := expect(bind, TagObjectID)
		if err != nil {
			return err
		}
		if _, _, extra, err := readTLV(value); err != nil || len(extra) != 0 {
			return errMalformed
		}
		if len(p.rawNames) == maxRequestVarBinds {
			return errMalformed
		}
		p.nameStart = append(p.nameStart, len(p.arcs))
		if p.arcs, err = decodeOID(p.arcs, name); err != nil {
			p.arcs = nil
			return err
		}
		p.rawNames = append(p.rawNames, name)
		list = rest
	}
	for i, start := range p.nameStart {
		end := len(p.arcs)
		if i+1 < len(p.nameStart) {
			end = p.nameStart[i+1]
		}
		p.names = append(p.names, p.arcs[start:end:end])
	}
	return nil
}

// answer is a response PDU being built.
type answer struct {
	kind   byte
	id     int64
	status int64
	index  int64
	binds  []byte
}

func (a *answer) size() int {
	return sizeTLV(sizeInt(a.id) + sizeInt(a.status) + sizeInt(a.index) + sizeTLV(len(a.binds)))
}

func (a *answer) appendTo(dst []byte) []byte {
	n := sizeInt(a.id) + sizeInt(a.status) + sizeInt(a.index) + sizeTLV(len(a.binds))
	dst = appendLength(append(dst, a.kind), n)
	dst = appendInt(appendInt(appendInt(dst, a.id), a.status), a.index)
	return appendTLV(dst, tagSequence, a.binds)
}

func sizeInt(n int64) int {
	octets := 1
	for m := n; m > 127 || m < -128; m >>= 8 {
		octets++
	}
	return 2 + octets
}

// room is how many octets of variable bindings fit an answer PDU of at most
// max octets.
func room(id int64, max int) int {
	fixed := sizeInt(id) + sizeInt(1) + sizeInt(1)
	return max - fixed - 8 // two headers of at most four octets
}

// perform carries a read request out against the host's tree. max bounds the
// answer PDU. ok is false when the request gets no answer.
func (p *pdu) perform(h *Host, now time.Time, v1 bool, max int, buf []byte) (a answer, ok bool) {
	a = answer{kind: pduResponse, id: p.id, binds: buf[:0]}
	t := h.Tree()
	if t == nil {
		return a, false
	}
	limit := room(p.id, max)
	switch {
	case p.kind == pduGet || p.kind == pduGetNext:
		p.each(&a, t, h, now, v1)
	case p.kind == pduGetBulk && !v1:
		p.bulk(&a, t, h, now, limit)
	case p.kind == pduSet:
		p.refuseSet(&a, h, v1)
	default:
		return a, false
	}
	if len(a.binds) > limit {
		p.tooBig(&a, v1)
	}
	return a, true
}

// each answers GetRequest and GetNextRequest (RFC 1157 sections 4.1.2 and
// 4.1.3, RFC 3416 sections 4.2.1 and 4.2.2).
func (p *pdu) each(a *answer, t *Tree, h *Host, now time.Time, v1 bool) {
	for i, name := range p.names {
		var pos int
		var missing byte
		if p.kind == pduGet {
			pos, missing = t.get(name)
		} else if pos = t.next(name); pos == t.Len() {
			missing = tagEndOfMibView
		}
		switch {
		case missing == 0:
			a.binds = t.appendNode(a.binds, pos, h, now)
		case v1:
			a.status, a.index = errNoSuchName, int64(i+1)
			a.binds = append(a.binds[:0], p.raw...)
			return
		default:
			a.binds = appendException(a.binds, p.rawNames[i], missing)
		}
	}
}

// bulk answers GetBulkRequest (RFC 3416 section 4.2.3). What does not fit is
// left off the end; when not even the first binding fits the answer is tooBig.
func (p *pdu) bulk(a *answer, t *Tree, h *Host, now time.Time, limit int) {
	p.cursors = p.cursors[:0]
	for _, name := range p.names {
		p.cursors = append(p.cursors, t.next(name))
	}
	nonRep := min(max(int(p.nonRep), 0), len(p.names))
	for i := range nonRep {
		if !p.put(a, t, h, now, i, limit) {
			return
		}
	}
	for range max(int(p.maxRep), 0) {
		ended := true
		for i := nonRep; i < len(p.names); i++ {
			ended = ended && p.cursors[i] >= t.Len()
			if !p.put(a, t, h, now, i, limit) {
				return
			}
			p.cursors[i]++
		}
		if ended {
			return
		}
	}
}

// put appends the instance that name i has got to. It reports whether the
// answer has room for more.
func (p *pdu) put(a *answer, t *Tree, h *Host, now time.Time, i, limit int) bool {
	before := len(a.binds)
	switch pos := p.cursors[i]; {
	case pos < t.Len():
		a.binds = t.appendNode(a.binds, pos, h, now)
	case t.Len() > 0 && t.nodes[t.Len()-1].oid.Compare(p.names[i]) > 0:
		// The name of the last variable retrieved stands beside endOfMibView.
		a.binds = appendException(a.binds, appendOIDBody(nil, t.nodes[t.Len()-1].oid), tagEndOfMibView)
	default:
		a.binds = appendException(a.binds, p.rawNames[i], tagEndOfMibView)
	}
	if len(a.binds) <= limit {
		return true
	}
	if before > 0 {
		a.binds = a.binds[:before]
	}
	return false
}

// refuseSet answers SetRequest without doing it. Nothing is in a write view:
// notWritable in v2c and v3 (RFC 3416 section 4.2.5), noSuchName in v1 (RFC
// 1157 section 4.1.5).
func (p *pdu) refuseSet(a *answer, h *Host, v1 bool) {
	what := "SNMP SetRequest"
	if len(p.names) > 0 {
		what += " of " + p.names[0].String()
	}
	h.refuse(what)
	a.status, a.index = errNotWritable, min(1, int64(len(p.names)))
	if v1 {
		a.status = errNoSuchName
	}
	a.binds = append(a.binds[:0], p.raw...)
}

// tooBig makes a the answer that says so: with the request's own bindings in
// v1 (RFC 1157 section 4.1.2), with none in v2c and v3 (RFC 3416 section
// 4.2.1).
func (p *pdu) tooBig(a *answer, v1 bool) {
	a.status, a.index = errTooBig, 0
	a.binds = a.binds[:0]
	if v1 {
		a.binds = append(a.binds, p.raw...)
	}
}

func appendException(dst, rawName []byte, tag byte) []byte {
	dst = appendLength(append(dst, tagSequence), sizeTLV(len(rawName))+2)
	return append(appendTLV(dst, TagObjectID, rawName), tag, 0)
}
