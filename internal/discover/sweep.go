package discover

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"time"
)

const (
	// DefaultListen is how long a sweep listens after its last probe: printers
	// wake up slowly.
	DefaultListen = 5 * time.Second
	// DefaultRetries is how many passes over the silent follow the first.
	DefaultRetries = 2
	// DefaultWait is how long the first pass waits for its last answers.
	DefaultWait = time.Second

	maxWait = 10 * time.Second
)

// sweep asks the addresses of a scope over SNMP. One goroutine owns it.
type sweep struct {
	cfg   Config
	scope *Scope
	wire  wire
	table *table
	count *counters
	ways  ways
	ids   ids

	local    func(netip.Addr) bool // on-link: the address has to be resolved first; nil: none is
	emit     func(Candidate)
	suspect  func(index int) // no printer by SNMP, but worth asking over IPP
	firstOut func()          // the first pass is over

	passes   int
	thorough bool   // so few addresses that later passes ask in every version
	pace     *pacer // of everything
	lanes    []*lane
	turn     int // whose turn it is when several lanes have something to send
	lastSent time.Time

	talk     map[int]*host // hosts that answered and are not judged yet
	talkNext time.Time     // when one of them wants attention
	engines  map[int]bool  // only a v3 engine has answered

	open    int             // addresses that may still answer
	firstBy map[int]int     // hosts by the pass whose question they answered first
	dropped uint64          // answers that the system had to drop
	looked  time.Time       // when that was looked at
	left    map[int]int     // addresses that were not asked because their network went away, by target
	there   map[int]bool    // whether a target's network was there before
	links   func() []string // attached networks whose link is down; nil: not known
	linksAt time.Time       // when they were looked at
	noLink  bool            // one of them has none
	waited  time.Duration   // for links, all in all

	timer    *time.Timer
	problems []Problem
	notes    []string
	told     map[string]bool // what was made a problem already
}

func newSweep(cfg Config, w wire, t *table, n *counters) *sweep {
	s := &sweep{
		cfg: cfg, scope: cfg.Scope, wire: w, table: t, count: n, ways: newWays(cfg.Credentials), ids: newIDs(),
		emit: func(Candidate) {}, suspect: func(int) {}, firstOut: func() {},
		passes: max(cfg.Retries, 0) + 1, thorough: cfg.Scope.Len() <= cfg.Pace, pace: newPacer(cfg.Pace, time.Now()),
		talk: map[int]*host{}, engines: map[int]bool{}, told: map[string]bool{}, left: map[int]int{}, there: map[int]bool{}, firstBy: map[int]int{},
		open: cfg.Scope.Len(), timer: time.NewTimer(time.Hour),
	}
	s.lanes = []*lane{newLane(s, false, cfg.Pace)}
	return s
}

// attach gives on-link addresses a lane of their own.
func (s *sweep) attach(local func(netip.Addr) bool, perSecond int, room *places) {
	near := newLane(s, true, perSecond)
	if near.room = room; room != nil {
		room.nobody = s.nobody
		room.blind = func() bool { return s.noLink }
	}
	s.local = local
	s.lanes = []*lane{near, s.lanes[0]}
}

// run sends every pass and listens. It returns early when every address has
// answered or is known to be unreachable, and with the context's error when
// that ends.
func (s *sweep) run(ctx context.Context) error {
	defer s.timer.Stop()
	defer s.report()
	now := time.Now()
	s.lastSent = now
	for _, l := range s.lanes {
		l.begin(now)
	}
	first := true
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		s.drain()
		now := time.Now()
		s.watch(now)
		if first && s.firstOver(now) {
			first = false
			s.firstOut()
		}
		if s.open == 0 && len(s.talk) == 0 {
			return nil
		}
		wait, sent := s.step(now)
		switch {
		case sent:
			continue
		case wait < 0:
			return s.listen(ctx)
		}
		if err := s.sleep(ctx, wait); err != nil {
			return err
		}
	}
}

// listen takes what comes after the last probe, and ends the conversations with
// the hosts that answered.
func (s *sweep) listen(ctx context.Context) error {
	end := s.lastSent.Add(s.listenTime())
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		s.drain()
		now := time.Now()
		next := s.followUps(now)
		left := max(end.Sub(now), 0)
		if next < 0 && (s.open == 0 || left == 0) {
			return nil
		}
		if left == 0 {
			left = next
		}
		if err := s.sleep(ctx, sooner(next, left)); err != nil {
			return err
		}
	}
}

func (s *sweep) listenTime() time.Duration {
	if s.cfg.Listen <= 0 {
		return DefaultListen
	}
	return s.cfg.Listen
}

// firstOver reports whether the first pass is through and was waited for.
func (s *sweep) firstOver(now time.Time) bool {
	for _, l := range s.lanes {
		if l.pass == 0 || !l.over && now.Sub(l.ended) < l.gap(0) && l.pass == 1 {
			return false
		}
	}
	return true
}

// gap is how long after a pass an address is asked again at the soonest: longer
// each time, as a sleeping device needs longer than a network does.
func (s *sweep) gap(pass int) time.Duration {
	w := s.cfg.Timeout
	if w <= 0 {
		w = DefaultWait
	}
	return min(w*time.Duration(pass+1), max(w, maxWait))
}

// step sends at most one probe. It returns how long there is nothing to do;
// less than 0: nothing is left.
func (s *sweep) step(now time.Time) (wait time.Duration, sent bool) {
	idle := s.followUps(now)
	if d := s.pace.wait(now); d > 0 {
		return sooner(idle, d), false
	}
	left := false
	for range s.lanes {
		l := s.lanes[s.turn%len(s.lanes)]
		s.turn++
		switch d := l.ready(now); {
		case d < 0:
			continue
		case d == 0:
			s.probe(now, l, l.next())
			return 0, true
		default:
			left = true
			idle = sooner(idle, d)
		}
	}
	if !left {
		return -1, false
	}
	return idle, false
}

// sooner is the shorter of two waits; one below 0 is none.
func sooner(a, b time.Duration) time.Duration {
	if a < 0 || b >= 0 && b < a {
		return b
	}
	return a
}

// probe sends one probe.
func (s *sweep) probe(now time.Time, l *lane, it item) {
	way := &s.ways.all[it.way]
	way.probe.put(s.ids.make(it.way, l.pass, it.index))
	t := s.scope.At(it.index)
	s.pace.take()
	err := s.wire.send(netip.AddrPortFrom(t.Addr, t.SNMPPort), way.probe.msg, l.local)
	switch {
	case err == nil:
		s.count.sent.Add(1)
		s.lastSent = now
		l.sent(now, it.index)
		s.table.add(it.index, asked)
		return
	case errors.Is(err, errBusy):
		s.count.requeued.Add(1)
		if !l.local { // an on-link lane waits for the table, and says nothing of the network
			s.pace.slow(now)
		}
		if !l.blocked(now, it, patience) {
			s.problem("busy", Problem{Stage: "snmp",
				Message: "the system has no room to send: some addresses were not asked; lower --pace, or survey a smaller range"})
		}
		return
	}
	origin := s.scope.originOf(it.index)
	if isNetworkGone(err) && s.wentAway(now, l, it, origin) {
		return
	}
	s.lost(it.index, l.pass)
	name := s.scope.targets[origin]
	s.problem(name, Problem{Address: t.Addr.String(), Stage: "route",
		Message: fmt.Sprintf("%s: cannot send to %s: %v; check the network connection, the route and the local firewall", name, t.Addr, err)})
}

// wentAway holds a lane whose target was there before: an interface that went
// down, or a machine that changes its network. Only so long, then the address
// counts as not asked.
func (s *sweep) wentAway(now time.Time, l *lane, it item, origin int) bool {
	there, known := s.there[origin]
	if !known {
		s.table.each(func(i int, f uint8) {
			there = there || f&asked != 0 && s.scope.originOf(i) == origin
		})
		s.there[origin] = there
	}
	if !there {
		return false
	}
	if l.blocked(now, it, away) {
		return true
	}
	if l.pass == 0 {
		s.left[origin]++
	}
	s.lost(it.index, l.pass)
	return true
}

// Loss is taken for granted when so many of the hosts that answered did so only
// in a later pass.
const (
	lossPart  = 5 // one in this many
	lossHosts = 8 // and at least so many
)

// judgeLoss looks at a pass that is over. Many hosts that only now gave their
// first answer mean that packets get lost: the rest of the run is slower.
func (s *sweep) judgeLoss(pass int) {
	late, all := s.firstBy[pass], 0
	for _, n := range s.firstBy {
		all += n
	}
	if late >= lossHosts && late*lossPart > all {
		s.pace.limit()
		s.logf("sweep: %d of %d hosts answered only in pass %d: packets get lost, so at most %.0f a second from now on", late, all, pass+1, s.pace.cap)
	}
}

// watchEvery is how often the sweep looks after the system.
const (
	watchEvery = 100 * time.Millisecond
	linkEvery  = time.Second
)

// watch slows the sweep down when the system drops answers, and notices links
// that go down.
func (s *sweep) watch(now time.Time) {
	if now.Sub(s.looked) < watchEvery {
		return
	}
	s.looked = now
	if n := s.wire.dropped(); n > s.dropped {
		s.dropped = n
		s.pace.slow(now)
	}
	if s.links != nil && now.Sub(s.linksAt) >= linkEvery {
		s.linksAt = now
		down := s.links()
		for _, name := range down {
			s.problem("link "+name, Problem{Stage: "route",
				Message: fmt.Sprintf("%s lost its link during the sweep: what it asked then got nowhere; check the cable or the wireless network and run again", name)})
		}
		s.noLink = len(down) > 0
		for _, l := range s.lanes {
			// What an interface without a link is given is lost, so it is waited for.
			if s.noLink && l.local && s.waited < away {
				l.pausedUntil = now.Add(linkEvery)
				s.waited += linkEvery
			}
		}
	}
}

// report adds what can be said at the end.
func (s *sweep) report() {
	for origin, n := range s.left {
		name := s.scope.targets[origin]
		s.problem("left "+name, Problem{Stage: "route",
			Message: fmt.Sprintf("%s: its network went away during the sweep and %s not asked; what was found until then counts: check the connection and run again", name, addressesWere(n))})
	}
	if s.dropped > 0 {
		s.notes = append(s.notes, fmt.Sprintf("SNMP: this system dropped %d answers for want of room and the sweep slowed down; a lower --pace avoids that", s.dropped))
	}
	for _, l := range s.lanes {
		if l.room == nil {
			continue
		}
		l.room.release(s.lastSent)
		if l.room.full > tellHeld {
			s.notes = append(s.notes, fmt.Sprintf("SNMP: the system's table of neighbours takes %d, and the sweep of the attached network waited %d s for live ones to leave it; a larger table makes it faster", l.room.limit, int(l.room.full.Seconds())))
		}
	}
}

// tellHeld is how long a full table of neighbours is worth no word.
const tellHeld = 10 * time.Second

func addressesWere(n int) string {
	if n == 1 {
		return "one address was"
	}
	return fmt.Sprintf("%d addresses were", n)
}

func (s *sweep) logf(format string, args ...any) {
	if s.cfg.Log != nil {
		s.cfg.Log(fmt.Sprintf(format, args...))
	}
}

// problem adds a problem unless one of this kind was added before.
func (s *sweep) problem(kind string, p Problem) {
	if !s.told[kind] {
		s.told[kind] = true
		s.problems = append(s.problems, p)
	}
}

// sleep waits for a time or the next event, which it handles.
func (s *sweep) sleep(ctx context.Context, d time.Duration) error {
	s.timer.Reset(d)
	select {
	case e := <-s.wire.events():
		s.take(e)
	case <-s.timer.C:
	case <-ctx.Done():
		return ctx.Err()
	}
	return nil
}

// drain handles the events that are there.
func (s *sweep) drain() {
	for {
		select {
		case e := <-s.wire.events():
			s.take(e)
		default:
			return
		}
	}
}
