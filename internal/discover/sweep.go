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

	maxWait   = 10 * time.Second
	minPause  = 100 * time.Millisecond // when the system had no room to send
	maxPause  = 3 * time.Second        // how long an unresolved neighbour holds its place
	maxPauses = 20                     // in a row, before a probe is given up
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

	pass, passes int
	pace         *pacer // of everything
	localPace    *pacer // of what is on-link
	pause        time.Duration
	pauses       int
	pausedUntil  time.Time
	again        []item // not sent for want of room

	talk     map[int]*host // hosts that answered and are not judged yet
	talkNext time.Time     // when one of them wants attention
	engines  map[int]bool  // only a v3 engine has answered

	openFirst int // addresses without an answer and without a first "gone"
	openLater int // the same for a later "gone"

	timer    *time.Timer
	problems []Problem
	told     map[string]bool // what was made a problem already
}

func newSweep(cfg Config, w wire, t *table, n *counters) *sweep {
	now := time.Now()
	s := &sweep{
		cfg: cfg, scope: cfg.Scope, wire: w, table: t, count: n, ways: newWays(cfg.Credentials), ids: newIDs(),
		emit: func(Candidate) {}, suspect: func(int) {}, firstOut: func() {},
		passes: max(cfg.Retries, 0) + 1, pace: newPacer(cfg.Pace, now), localPace: newPacer(cfg.Pace, now),
		talk: map[int]*host{}, engines: map[int]bool{}, told: map[string]bool{},
		openFirst: cfg.Scope.Len(), openLater: cfg.Scope.Len(), timer: time.NewTimer(time.Hour),
	}
	return s
}

// run sends every pass and listens. It returns early when every address has
// answered or is known to be unreachable, and with the context's error when
// that ends.
func (s *sweep) run(ctx context.Context) error {
	defer s.timer.Stop()
	for s.pass = 0; s.pass < s.passes; s.pass++ {
		if err := s.sendPass(ctx, everyone); err != nil {
			return err
		}
		if s.pass > 0 && s.pass == s.passes-1 {
			break
		}
		if err := s.wait(ctx, s.gap(), false); err != nil {
			return err
		}
		if s.pass == 0 {
			s.firstOut()
		}
	}
	if s.worthMore() {
		if err := s.wait(ctx, s.gap(), false); err != nil {
			return err
		}
		s.pass++
		if err := s.sendPass(ctx, promising); err != nil {
			return err
		}
	}
	listen := s.cfg.Listen
	if listen <= 0 {
		listen = DefaultListen
	}
	return s.wait(ctx, listen, true)
}

// gap is how long this pass waits before the next one: longer each time, as a
// sleeping device needs longer than a network does.
func (s *sweep) gap() time.Duration {
	w := s.cfg.Timeout
	if w <= 0 {
		w = DefaultWait
	}
	return min(w*time.Duration(s.pass+1), max(w, maxWait))
}

// worthMore reports whether an address deserves one try more than the others:
// one where a device is expected, or that sent something that was no answer.
func (s *sweep) worthMore() bool {
	more := false
	s.table.each(func(_ int, f uint8) { more = more || promising(f) })
	return more
}

// sendPass sends one pass and handles what comes back meanwhile.
func (s *sweep) sendPass(ctx context.Context, who func(flags uint8) bool) error {
	ways := s.ways.in(s.pass, s.passes)
	if len(ways) == 0 {
		return nil
	}
	s.table.each(func(_ int, f uint8) {
		if who(f) {
			s.count.planned.Add(int64(len(ways)))
		}
	})
	far := &walk{s: s, ways: ways, who: who}
	near := &walk{s: s, ways: ways, who: who, local: true}
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		s.drain()
		wait, sent := s.step(time.Now(), far, near)
		switch {
		case sent:
			continue
		case wait < 0:
			return nil
		}
		if err := s.sleep(ctx, wait); err != nil {
			return err
		}
	}
}

// step sends at most one probe. It returns how long there is nothing to do;
// less than 0: nothing is left.
func (s *sweep) step(now time.Time, far, near *walk) (wait time.Duration, sent bool) {
	idle := s.followUps(now)
	if d := s.pace.wait(now); d > 0 {
		return sooner(idle, d), false
	}
	held := s.held(now, near)
	if held == 0 {
		s.localPace.take()
		if n := len(s.again); n > 0 {
			it := s.again[n-1]
			s.again = s.again[:n-1]
			s.probe(now, it)
		} else if it, ok := near.next(); ok {
			s.probe(now, it)
		}
		return 0, true
	}
	if it, ok := far.next(); ok {
		s.probe(now, it)
		return 0, true
	}
	if held < 0 {
		return -1, false
	}
	return sooner(idle, held), false
}

// held is how long probes must wait that have their own pace: those on-link and
// those that the system had no room for. Less than 0: there are none.
func (s *sweep) held(now time.Time, near *walk) time.Duration {
	if len(s.again) == 0 && (s.local == nil || !near.more()) {
		return -1
	}
	return max(s.localPace.wait(now), s.pausedUntil.Sub(now), 0)
}

// sooner is the shorter of two waits; one below 0 is none.
func sooner(a, b time.Duration) time.Duration {
	if a < 0 || b >= 0 && b < a {
		return b
	}
	return a
}

// probe sends one probe.
func (s *sweep) probe(now time.Time, it item) {
	way := &s.ways.all[it.way]
	way.probe.put(s.ids.make(it.way, s.pass, it.index))
	t := s.scope.At(it.index)
	s.pace.take()
	err := s.wire.send(netip.AddrPortFrom(t.Addr, t.SNMPPort), way.probe.msg)
	switch {
	case err == nil:
		s.count.sent.Add(1)
		s.pause, s.pauses = 0, 0
		s.table.add(it.index, asked)
	case errors.Is(err, errBusy) && s.pauses < maxPauses:
		s.count.requeued.Add(1)
		s.again = append(s.again, it)
		s.pauses++
		s.pause = min(max(2*s.pause, minPause), maxPause)
		s.pausedUntil = now.Add(s.pause)
	case errors.Is(err, errBusy):
		s.problem("busy", Problem{Stage: "snmp",
			Message: "the system has no room to send: some addresses were not asked; lower --pace, or survey a smaller range"})
	default:
		s.lost(it.index, s.pass)
		origin, _ := s.scope.Origin(t.Addr)
		s.problem(origin, Problem{Address: t.Addr.String(), Stage: "route",
			Message: fmt.Sprintf("%s: cannot send to %s: %v; check the network connection, the route and the local firewall", origin, t.Addr, err)})
	}
}

// problem adds a problem unless one of this kind was added before.
func (s *sweep) problem(kind string, p Problem) {
	if !s.told[kind] {
		s.told[kind] = true
		s.problems = append(s.problems, p)
	}
}

// wait handles events for a time, or until nobody is left to wait for. The last
// wait also ends the conversations with the hosts that answered.
func (s *sweep) wait(ctx context.Context, d time.Duration, last bool) error {
	end := time.Now().Add(d)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		s.drain()
		now := time.Now()
		next := s.followUps(now)
		left := max(end.Sub(now), 0)
		if s.settled() || left == 0 && (next < 0 || !last) {
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

// settled reports whether nobody is left to wait for in this pass.
func (s *sweep) settled() bool {
	open := s.openLater
	if s.pass == 0 || s.passes == 1 {
		open = min(open, s.openFirst)
	}
	return open == 0 && len(s.talk) == 0
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
