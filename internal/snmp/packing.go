package snmp

import (
	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// Sizes of answers, in octets of UDP payload.
const (
	// fullAnswer keeps an answer in one Ethernet frame with room for tunnels.
	fullAnswer = 1400
	// smallAnswer is what every agent must be able to send and receive (RFC
	// 3417 section 3.2.1). What was not answered is asked again in this size.
	smallAnswer = 484
	// leastAnswer is where making answers smaller ends.
	leastAnswer = 150
	// overhead is what an answer takes beside its bindings and the community.
	overhead = 36
	// overheadV3 is the same with the fields of SNMPv3 (RFC 3412 section 6).
	overheadV3 = 150
	// maxNames bounds the names of one request: non-repeaters are encoded in
	// one octet, and agents have limits of their own.
	maxNames = 120
)

// packing decides how much to ask for at once, and learns from the answers.
type packing struct {
	limit     int     // octets an answer should not exceed
	ceiling   int     // octets that limit may grow back to
	names     int     // names in one request
	mostNames int     // names that names may grow back to
	scale     float64 // how much larger values are than expected
	proven    int     // largest answer received
	losses    int     // how often only a smaller try was answered
	noBulk    bool    // the agent fails on GetBulk: GetNext instead
}

func newPacking() packing {
	return packing{limit: fullAnswer, ceiling: fullAnswer, names: maxNames, mostNames: maxNames, scale: 1}
}

func tlv(n int) int {
	if n > 127 {
		return n + 3
	}
	return n + 2
}

// expect estimates the octets of the binding that answers a.
func (k *packing) expect(a oid.Ask) int {
	return tlv(a.Name.Size() + int(float64(a.Size)*k.scale))
}

// asking is one question on its way: what is answered and what is open.
type asking struct {
	q    oid.Request
	open []int // indices of names without an answer, in order
	ans  []oid.VarBind
	done []bool
	cols [][]oid.VarBind
	none bool // columns are not asked for (any more)
}

func newAsking(q oid.Request) *asking {
	n := len(q.Names)
	a := &asking{q: q, open: make([]int, n), ans: make([]oid.VarBind, n), done: make([]bool, n), none: len(q.Columns) == 0}
	for i := range a.open {
		a.open[i] = i
	}
	return a
}

// compose makes the request of one try: as many of the open names as fit, and
// the columns if they fit beside them.
func (s *Session) compose(a *asking, try int) *pdu {
	k := &s.pack
	budget := k.limit
	p := &pdu{kind: gosnmp.GetBulkRequest, reps: 1}
	if (try > 1 || try == 1 && k.proven < smallAnswer) && budget > smallAnswer {
		budget, p.shrunk = smallAnswer, true
	}
	budget -= overhead + len(s.cred.Community.Reveal())
	if s.usm != nil {
		budget -= overheadV3 - overhead
	}
	single := s.version == V1 || k.noBulk
	if single {
		p.kind = gosnmp.GetNextRequest
	}
	if !a.none {
		p.addColumns(k, a, budget, single)
	}
	names := k.names
	if try > 1 {
		names = min(names, 8)
	}
	p.names = make([]oid.Ask, 0, min(len(a.open), names))
	for _, i := range a.open {
		n := k.expect(a.q.Names[i])
		if (p.size+n > budget || len(p.names)+len(p.columns) >= names) && len(p.names)+len(p.columns) > 0 {
			break
		}
		p.names = append(p.names, a.q.Names[i])
		p.size += n
	}
	return p
}

// addColumns puts the columns into p with as many repetitions as half of the
// budget holds, or all of it when nothing else is asked.
func (p *pdu) addColumns(k *packing, a *asking, budget int, single bool) {
	columns := a.q.Columns
	most := k.names
	if len(a.open) > 0 {
		budget, most = budget/2, most/2
	}
	columns = columns[:min(most, len(columns))]
	row := 0
	for _, c := range columns {
		row += k.expect(c)
	}
	if row == 0 {
		return
	}
	reps := max(a.q.Reps, 1)
	if single {
		reps = 1
	}
	reps = min(reps, budget/row)
	if reps == 0 {
		if len(a.open) > 0 {
			return
		}
		reps = 1
	}
	p.columns, p.reps = columns, reps
	p.size += reps * row
}

// take sorts the answer to p into a and reports whether a has something to
// return; if not, the rest is to be asked again.
func (a *asking) take(s *Session, p *pdu, r *reply) bool {
	if r.status != noError {
		return a.takeError(s, p, r)
	}
	n := len(p.names) + len(p.columns)*p.reps
	binds := r.binds
	if len(binds) > n {
		binds = binds[:n]
	}
	if len(binds) == 0 {
		return a.reduce(s, p, r)
	}
	s.pack.learn(p, r, len(binds) < n)
	for i, b := range binds[:min(len(binds), len(p.names))] {
		a.set(s, a.open[i], ended(p.names[i].Name, b))
	}
	if rest := binds[min(len(binds), len(p.names)):]; len(rest) > 0 {
		a.cols = make([][]oid.VarBind, len(p.columns))
		for i, b := range rest {
			c := i % len(p.columns)
			asked := p.columns[c].Name
			if had := a.cols[c]; len(had) > 0 {
				asked = had[len(had)-1].Name
			}
			a.cols[c] = append(a.cols[c], ended(asked, b))
			s.count(b)
		}
		a.none = true
	}
	a.drop()
	return true
}

// ended gives bindings that stand for "nothing more" the name that was asked.
// SNMPv2c agents that do not know endOfMibView in a GetBulk use its sisters.
func ended(asked oid.OID, b oid.VarBind) oid.VarBind {
	switch b.Value.Kind {
	case oid.EndOfMibView, oid.NoSuchObject, oid.NoSuchInstance:
		return oid.VarBind{Name: asked, Value: oid.Value{Kind: oid.EndOfMibView}}
	}
	return b
}

func (s *Session) count(b oid.VarBind) {
	if b.Value.Present() {
		s.stats.Values++
	}
}

func (a *asking) set(s *Session, i int, b oid.VarBind) {
	a.ans[i], a.done[i] = b, true
	s.count(b)
}

func (a *asking) drop() {
	open := a.open[:0]
	for _, i := range a.open {
		if !a.done[i] {
			open = append(open, i)
		}
	}
	a.open = open
}

// answer returns the answered prefix.
func (a *asking) answer() oid.Answer {
	n := len(a.ans)
	if len(a.open) > 0 {
		n = a.open[0]
	}
	return oid.Answer{Names: a.ans[:n], Columns: a.cols}
}

// takeError copes with an error status (RFC 3416 section 4.2.1 to 4.2.3, RFC
// 1157 section 4.1.3): one bad name must not cost the others.
func (a *asking) takeError(s *Session, p *pdu, r *reply) bool {
	switch {
	case r.status == tooBig:
		return a.reduce(s, p, r)
	case r.index < 1 || r.index > len(p.names)+len(p.columns):
		return a.reduce(s, p, r)
	case r.index > len(p.names):
		return a.columnFailed(p, r)
	}
	bad := a.open[r.index-1]
	if r.status != noSuchName {
		a.set(s, bad, oid.VarBind{Name: a.q.Names[bad].Name})
		a.drop()
		return a.finished()
	}
	// Nothing follows this name, so nothing follows the names behind it.
	for _, i := range a.open {
		if a.q.Names[i].Name.Compare(a.q.Names[bad].Name) >= 0 {
			a.set(s, i, ended(a.q.Names[i].Name, oid.VarBind{Value: oid.Value{Kind: oid.EndOfMibView}}))
		}
	}
	a.drop()
	return a.finished()
}

func (a *asking) finished() bool { return len(a.open) == 0 && a.none }

// columnFailed notes that a column has no more rows (noSuchName) or cannot be
// read: either way it ends here. The others are asked for again by the caller.
func (a *asking) columnFailed(p *pdu, r *reply) bool {
	c := r.index - 1 - len(p.names)
	a.cols = make([][]oid.VarBind, len(p.columns))
	a.cols[c] = []oid.VarBind{ended(p.columns[c].Name, oid.VarBind{Value: oid.Value{Kind: oid.EndOfMibView}})}
	a.none = true
	return a.finished()
}

// reduce asks for less at once. What cannot be asked for with less is given up
// as unreadable.
func (a *asking) reduce(s *Session, p *pdu, r *reply) bool {
	k := &s.pack
	switch {
	case len(p.names) > 1:
		k.names = len(p.names) / 2
		if r.status == tooBig {
			k.limit = max(leastAnswer, min(k.limit, p.size+overhead)*2/3)
			k.ceiling, k.mostNames = k.limit, k.names
		}
		return false
	case len(p.columns) > 0 && p.reps > 1 && len(p.names) == 0:
		a.q.Reps = p.reps / 2
		return false
	case len(p.columns) > 1 && len(p.names) == 0:
		k.names = len(p.columns) / 2
		if r.status == tooBig {
			k.mostNames = k.names
		}
		return false
	case len(p.columns) > 0 && len(p.names) > 0:
		a.none = true
		return false
	case p.kind == gosnmp.GetBulkRequest:
		k.noBulk = true
		return false
	case len(p.columns) > 0:
		a.cols = make([][]oid.VarBind, len(p.columns))
		for c := range p.columns {
			a.cols[c] = []oid.VarBind{ended(p.columns[c].Name, oid.VarBind{Value: oid.Value{Kind: oid.EndOfMibView}})}
		}
		a.none = true
		return a.finished()
	}
	bad := a.open[0]
	a.set(s, bad, oid.VarBind{Name: a.q.Names[bad].Name})
	a.drop()
	return a.finished()
}

// learn adjusts to the size of an answer, to where the agent cut it, and to
// whether only a smaller try was answered.
func (k *packing) learn(p *pdu, r *reply, cut bool) {
	k.proven = max(k.proven, r.size)
	if p.size > 200 && !cut {
		k.scale = min(3, max(0.7, (k.scale+k.scale*float64(r.size-overhead)/float64(p.size))/2))
	}
	switch {
	case p.shrunk:
		k.losses++
		k.limit = smallAnswer
		if k.losses > 1 {
			k.ceiling = smallAnswer
		}
	case cut && len(r.binds) < len(p.names):
		k.limit = max(leastAnswer, min(k.limit, r.size+20))
		k.ceiling = k.limit
	default:
		k.limit = min(k.ceiling, 2*k.limit)
		k.names = min(k.mostNames, 2*k.names)
	}
}
