package snmp

import (
	"slices"

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
	// fewNames are asked for when nothing larger is answered.
	fewNames = 8
	// patientTries is how often a request of a size that got through before is
	// repeated as it is: what is lost then is lost by chance.
	patientTries = 4
	// maxStunted is how often GetBulk may be answered with next to nothing.
	maxStunted = 2
)

// packing decides how much to ask for at once, and learns from the answers.
type packing struct {
	limit     int     // octets an answer should not exceed
	ceiling   int     // octets that limit may grow back to
	names     int     // names in one request
	mostNames int     // names that names may grow back to
	scale     float64 // how much larger values are than expected
	proven    int     // largest answer received
	losses    int     // how often only a smaller try was answered, since a larger one was
	fallback  int     // octets that the last smaller try was limited to
	bulked    bool    // GetBulk was answered
	stunted   int     // how often GetBulk brought much less than fits an answer, or nothing while GetNext did
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

// budget is how many octets the answer to one try may have, the first try
// being 0, and how many names it may ask for; shrunk says that it is less than
// usual because earlier tries were not answered.
func (k *packing) budget(try int) (octets, names int, shrunk bool) {
	octets, names = k.limit, k.names
	small := smallAnswer
	switch {
	case try == 0:
		return octets, names, false
	case k.proven < smallAnswer && try == 1, try >= patientTries:
	case k.proven < smallAnswer || try >= 2:
		small = max(smallAnswer, k.proven)
	default:
		return octets, names, false
	}
	if octets > small {
		octets, shrunk = small, true
	}
	if try >= patientTries || try > 1 && k.proven < smallAnswer {
		names = min(names, fewNames)
	}
	return octets, names, shrunk
}

// Where a name of a question stands.
const (
	isOpen = 0   // and 1 or 2: in the flight of that number
	isDone = 255 // answered
)

// asking is one question on its way: what is answered and what is open.
type asking struct {
	q    oid.Request
	at   []uint8 // of each name, where it stands
	left int     // names that are not done
	ans  []oid.VarBind
	cols [][]oid.VarBind
	none bool // columns are not asked for (any more)

	colsRoom [][]oid.VarBind // for cols
	rowsRoom []oid.VarBind   // for the rows in them
}

// reset begins another question in the room of the one before.
func (a *asking) reset(q oid.Request) {
	n := len(q.Names)
	a.q, a.left, a.none, a.cols = q, n, len(q.Columns) == 0, nil
	a.at, a.ans = slices.Grow(a.at[:0], n)[:n], slices.Grow(a.ans[:0], n)[:n]
	clear(a.at)
	clear(a.ans)
}

// release opens again what a flight leaves unanswered.
func (a *asking) release(number uint8) {
	for i, at := range a.at {
		if at == number {
			a.at[i] = isOpen
		}
	}
}

// compose makes the request of one try of a flight: as many of the open names
// as fit, and the columns if they fit beside them. Columns go with the first
// flight. Later tries ask for what their flight asked first, or for less.
func (s *Session) compose(a *asking, number uint8, try int) *pdu {
	k := &s.pack
	budget, most, shrunk := k.budget(try)
	p := s.borrow()
	p.kind, p.reps, p.shrunk = getBulk, 1, shrunk
	budget -= overhead + len(s.cred.Community.Reveal())
	if s.usm != nil {
		budget -= overheadV3 - overhead
	}
	single := s.version == V1 || k.noBulk
	if !single && s.tryGetNext(try) {
		single, p.insteadOfBulk = true, true
	}
	if single {
		p.kind = getNext
	}
	if !a.none && number == 1 {
		p.addColumns(k, a, budget, single)
	}
	from := uint8(isOpen)
	if try > 0 {
		from = number
	}
	room := min(a.left, most)
	p.names, p.at = slices.Grow(p.names, room), slices.Grow(p.at, room)
	for i := range a.q.Names {
		if a.at[i] != from {
			continue
		}
		n := k.expect(a.q.Names[i])
		if (p.size+n > budget || len(p.names)+len(p.columns) >= most) && len(p.names)+len(p.columns) > 0 {
			break
		}
		p.names, p.at = append(p.names, a.q.Names[i]), append(p.at, i)
		p.size += n
		a.at[i] = number
	}
	return p
}

// tryGetNext reports whether a try should ask without GetBulk: the agent has
// answered none yet, and perhaps it drops what it does not know.
func (s *Session) tryGetNext(try int) bool {
	k := &s.pack
	return s.awake() && !k.bulked && (try > 0 && try%2 == 0 || try > 0 && k.stunted > 0)
}

// addColumns puts the columns into p with as many repetitions as half of the
// budget holds, or all of it when nothing else is asked.
func (p *pdu) addColumns(k *packing, a *asking, budget int, single bool) {
	columns := a.q.Columns
	most := k.names
	if a.left > 0 {
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
		if a.left > 0 {
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
		a.set(s, p.at[i], ended(p.names[i].Name, b))
	}
	if rest := binds[min(len(binds), len(p.names)):]; len(rest) > 0 {
		a.takeColumns(s, p, rest)
	}
	return true
}

func (a *asking) takeColumns(s *Session, p *pdu, rest []oid.VarBind) {
	n := len(p.columns)
	a.colsRoom, a.rowsRoom = slices.Grow(a.colsRoom[:0], n)[:n], slices.Grow(a.rowsRoom[:0], n*p.reps)[:n*p.reps]
	a.cols = a.colsRoom
	for c := range a.cols {
		a.cols[c] = a.rowsRoom[c*p.reps : c*p.reps : (c+1)*p.reps]
	}
	for i, b := range rest {
		c := i % n
		asked := p.columns[c].Name
		if had := a.cols[c]; len(had) > 0 {
			asked = had[len(had)-1].Name
		}
		a.cols[c] = append(a.cols[c], ended(asked, b))
		s.count(b)
	}
	a.none = true
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

// set notes the answer to a name; of several the first counts.
func (a *asking) set(s *Session, i int, b oid.VarBind) {
	if a.at[i] == isDone {
		return
	}
	a.ans[i], a.at[i] = b, isDone
	a.left--
	s.count(b)
}

// answer returns what was answered. See oid.Answer for the holes in it.
func (a *asking) answer() oid.Answer {
	n := len(a.ans)
	for n > 0 && a.at[n-1] != isDone {
		n--
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
	bad := a.q.Names[p.at[r.index-1]].Name
	if r.status != noSuchName {
		a.set(s, p.at[r.index-1], oid.VarBind{Name: bad})
		return a.finished()
	}
	// Nothing follows this name, so nothing follows the names behind it.
	for i, n := range a.q.Names {
		if n.Name.Compare(bad) >= 0 {
			a.set(s, i, ended(n.Name, oid.VarBind{Value: oid.Value{Kind: oid.EndOfMibView}}))
		}
	}
	return a.finished()
}

func (a *asking) finished() bool { return a.left == 0 && a.none }

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
	case p.kind == getBulk:
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
	a.set(s, p.at[0], oid.VarBind{Name: p.names[0].Name})
	return a.finished()
}

// learn adjusts to the size of an answer, to where the agent cut it, and to
// whether only a smaller try was answered.
func (k *packing) learn(p *pdu, r *reply, cut bool) {
	if p.size > 200 && !cut {
		k.scale = min(3, max(0.7, (k.scale+k.scale*float64(r.size-overhead)/float64(p.size))/2))
	}
	stunted := p.kind == getBulk && cut && r.size < smallAnswer/2 || p.insteadOfBulk
	k.bulked = k.bulked || p.kind == getBulk
	if stunted {
		// So little is not for want of room: some agents take GetBulk for
		// GetNext, or answer the first binding only.
		if k.stunted++; k.stunted == maxStunted {
			k.noBulk = true
		}
	}
	switch {
	case p.shrunk:
		k.losses++
		k.limit = max(smallAnswer, k.proven)
		k.fallback = k.limit
		if k.losses > 1 {
			k.ceiling = k.limit
		}
	case stunted && cut:
	case cut && len(r.binds) < len(p.names):
		k.limit = max(leastAnswer, min(k.limit, r.size+20))
		k.ceiling = k.limit
	default:
		if r.size > k.fallback {
			k.losses = 0
		}
		k.limit = min(k.ceiling, 2*k.limit)
		k.names = min(k.mostNames, 2*k.names)
	}
	k.proven = max(k.proven, r.size)
}
