package discover

import (
	"net/netip"
	"time"

	"printround/internal/snmp"
)

const (
	followUpWait  = time.Second // for the answer to a follow-up question
	followUpTries = 3           // of one question
	followUpLimit = 10          // questions to one host, repetitions included
)

// host is one that answered and is not judged yet.
type host struct {
	facts  facts
	way    int
	alone  bool // the Printer MIB was asked for alone
	asking []int
	names  [][]byte
	tries  int // of this question
	asked  int // questions, repetitions included
	due    time.Time
}

// take handles one event.
func (s *sweep) take(e event) {
	switch e.kind {
	case malformed:
		s.stray(e.from.Addr())
	case gone:
		s.refused(e)
	case answer:
		s.reply(e.from.Addr(), e.reply)
	}
}

// stray counts a datagram that answers nothing that was asked. Whoever sent it
// is alive: if it is in scope, it is asked once more than others.
func (s *sweep) stray(from netip.Addr) {
	s.count.malformed.Add(1)
	if i, ok := s.scope.Find(from); ok {
		s.table.add(i, alive)
	}
}

// refused takes the word of the network that a probe did not arrive. An error
// that quotes a question must quote one that was sent there. That a host is not
// there, said of such a question, ends the waiting, unless a device is expected
// there; a port that is closed may be opened by a device that wakes up.
func (s *sweep) refused(e event) {
	i, ok := s.scope.findPort(e.from)
	if !ok {
		return
	}
	pass, known := s.laneOf(i).pass, e.id != 0
	if known {
		way, p, index, ok := s.ids.split(e.id)
		if !ok || index != i || way == followUp {
			return
		}
		pass = p
	}
	f := s.table.get(i)
	switch {
	case e.here:
		s.table.add(i, alive)
	case e.nobody && s.noLink:
		return // nobody could have answered
	case e.nobody && known && f&expected == 0:
		s.nobody(i)
		return
	}
	s.lost(i, pass)
}

// nobody ends the waiting for an address, unless a device is expected there.
func (s *sweep) nobody(i int) {
	s.lost(i, 0)
	if s.table.get(i)&expected == 0 {
		s.lost(i, 1)
	}
}

// lost notes that the network, the host itself or this system says that nobody
// answers at an address. Said once of the first pass and once of a later one, it
// ends the waiting.
func (s *sweep) lost(i, pass int) {
	f := goneLater
	if pass == 0 {
		f = goneFirst
	}
	if s.passes == 1 {
		f = goneFirst | goneLater // there is no later one
	}
	old := s.table.add(i, f)
	if old&answered != 0 {
		return
	}
	if old&(goneFirst|goneLater) == 0 {
		s.count.unreachable.Add(1)
	}
	if !settledFlags(old) && settledFlags(old|f) {
		s.open--
	}
}

// laneOf is the lane that asks an address.
func (s *sweep) laneOf(i int) *lane {
	for _, l := range s.lanes {
		if l.mine(i) {
			return l
		}
	}
	return s.lanes[0]
}

// reply handles a valid SNMP message. It must carry the id, the version and the
// community of a question that was sent. An answer may come from another address
// than the one asked, as from a device with two interfaces: it counts for the
// address asked if the other one is not in scope. One that is in scope answers
// for itself, and could otherwise speak for its neighbours.
func (s *sweep) reply(from netip.Addr, r *reply) {
	way, pass, i, ok := s.ids.split(r.id)
	if !ok || i >= s.scope.Len() {
		s.stray(from)
		return
	}
	known := s.table.get(i)
	h := s.talk[i]
	isFollowUp := way == followUp
	if isFollowUp && h != nil {
		way = h.way
	} else if isFollowUp && known&answered != 0 {
		return // a late one, the host is judged
	}
	to := s.scope.At(i).Addr
	if known&asked == 0 || way >= len(s.ways.all) || !s.ways.all[way].fits(r) ||
		from.WithZone("") != to.WithZone("") && s.scope.Contains(from) {
		s.stray(from)
		return
	}
	switch {
	case h != nil:
		if isFollowUp && h.expects(pass) {
			s.learn(i, h, r)
		}
	case s.ways.all[way].version == snmp.V3:
		s.engine(i, pass)
	case known&answered == 0 || s.engines[i]:
		s.answered(i, pass)
		delete(s.engines, i)
		h = &host{way: way, asking: everything}
		s.talk[i] = h
		s.learn(i, h, r)
	}
}

// expects reports whether an answer is to the question that a host is being
// asked, and not to an earlier one.
func (h *host) expects(number int) bool {
	for n := h.asked - h.tries; n < h.asked; n++ {
		if n&(1<<passBits-1) == number {
			return true
		}
	}
	return false
}

// answered marks an address, once.
func (s *sweep) answered(i, pass int) {
	old := s.table.add(i, answered)
	if old&answered != 0 {
		return
	}
	if !settledFlags(old) {
		s.open--
	}
	s.firstBy[pass]++
	if old&otherSigns == 0 {
		s.count.answered.Add(1)
	}
}

// engine handles the report of a v3 engine: somebody is there, reading will
// tell who. A community that is answered too tells more.
func (s *sweep) engine(i, pass int) {
	if s.table.get(i)&answered != 0 {
		return
	}
	s.answered(i, pass)
	s.engines[i] = true
	s.emit(Candidate{Target: s.scope.At(i), Kind: Possible, SNMP: &SNMPAnswer{Version: snmp.V3, Credential: -1}})
}

// learn takes in what a host answered and decides what to ask next. The Printer
// MIB is asked for alone where the answer leaves a doubt: an agent may fail
// several objects because of one, and some know its columns but nothing behind
// its root.
func (s *sweep) learn(i int, h *host, r *reply) {
	failed := r.status != 0 || r.n == 0
	if failed {
		h.facts.refuse(h.asking, r)
	} else {
		h.facts.absorb(h.asking, r)
	}
	kind, _, shares := h.facts.verdict()
	rest := h.facts.missing()
	switch {
	case kind == Printer:
		h.asking = nil
	case !h.alone && (failed || kind == Hinted || shares):
		h.alone = true
		h.ask([]int{askPrinterMIB}, configChanges)
	case len(rest) > 0:
		h.ask(rest)
	default:
		h.asking = nil
	}
	if h.asking == nil || h.asked >= followUpLimit {
		s.judge(i, h)
		return
	}
	s.repeat(time.Now(), i, h)
}

// ask sets the next question: these objects, or for the only one another name.
func (h *host) ask(what []int, name ...[]byte) {
	h.asking, h.names, h.tries = what, name, 0
	if name == nil {
		for _, w := range what {
			h.names = append(h.names, askNames[w])
		}
	}
}

// repeat sends the question that a host is being asked.
func (s *sweep) repeat(now time.Time, i int, h *host) {
	way := &s.ways.all[h.way]
	q := getNext(way.version, way.community, h.names...)
	q.put(s.ids.make(followUp, h.asked, i))
	h.tries++
	h.asked++
	h.due = now.Add(followUpWait)
	if s.talkNext.Before(now) || h.due.Before(s.talkNext) {
		s.talkNext = h.due
	}
	t := s.scope.At(i)
	s.pace.take()
	s.count.planned.Add(1)
	if s.wire.send(netip.AddrPortFrom(t.Addr, t.SNMPPort), q.msg, s.laneOf(i).local) == nil {
		s.lastSent = now
		s.count.sent.Add(1)
	}
}

// followUps repeats the questions that are due, and judges hosts that no longer
// answer by what they said. It returns the time to the next one; < 0: none.
func (s *sweep) followUps(now time.Time) time.Duration {
	if len(s.talk) == 0 {
		return -1
	}
	if d := s.talkNext.Sub(now); d > 0 {
		return d
	}
	s.talkNext = now.Add(followUpWait)
	for i, h := range s.talk {
		switch {
		case h.due.After(now):
			if h.due.Before(s.talkNext) {
				s.talkNext = h.due
			}
		case h.tries >= followUpTries || h.asked >= followUpLimit:
			s.judge(i, h)
		default:
			s.repeat(now, i, h)
		}
	}
	if len(s.talk) == 0 {
		return -1
	}
	return s.talkNext.Sub(now)
}

// judge ends the conversation with a host.
func (s *sweep) judge(i int, h *host) {
	delete(s.talk, i)
	kind, reason, shares := h.facts.verdict()
	way := &s.ways.all[h.way]
	t := s.scope.At(i)
	switch kind {
	case Printer:
		s.count.printer(s.scope.originOf(i))
	case Hinted:
		s.count.hinted.Add(1)
	default:
		s.count.others.Add(1)
	}
	s.emit(Candidate{Target: t, Kind: kind, Reason: reason, SNMP: h.facts.answer(way.version, way.credential)})
	if kind == Hinted || shares {
		s.suspect(i)
	}
	if s.cfg.Log != nil {
		s.cfg.Log(logLine(t.Addr, kind, reason, way))
	}
}
