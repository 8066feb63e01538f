package discover

import "time"

// item is a probe to send.
type item struct {
	index, way int
}

const (
	minPause = 10 * time.Millisecond // when the system had no room to send
	maxPause = 250 * time.Millisecond
	// patience is how long a lane waits for room before its probe is given up:
	// a neighbour that answers keeps its place in the table for up to 45 s.
	patience = 75 * time.Second
	// away is how long, over the whole run, a network is waited for that was
	// there and is gone.
	away = 30 * time.Second

	blockSize = 256
)

// lane is the part of a sweep that is on-link, or the rest. Each goes through
// its passes at its own pace, so that neither waits for the other.
type lane struct {
	s     *sweep
	local bool
	pace  *pacer
	room  *places // in the table of neighbours; nil: no limit

	pass int
	ways []int
	who  func(flags uint8) bool
	over bool

	// The walk over the addresses of the pass: those expected first. An address
	// is looked at when its turn comes, so that one that has answered meanwhile
	// is left out.
	rest       bool // the expected ones are through
	index, way int

	// When the last probe went to each block of addresses, in the pass before
	// and in this one: nobody is asked again before the gap is over.
	before, marks []time.Time
	ended         time.Time // when the pass before ended

	again        []item // not sent for want of room
	pause        time.Duration
	pausedUntil  time.Time
	blockedSince time.Time // zero: it is not
}

// everyone and promising choose who is asked in a pass.
func everyone(f uint8) bool  { return !settledFlags(f) }
func promising(f uint8) bool { return everyone(f) && f&(expected|alive) != 0 }

// settledFlags reports whether nothing more is asked of an address: it has
// answered, or it is known that nobody does.
func settledFlags(f uint8) bool {
	return f&answered != 0 || f&(goneFirst|goneLater) == goneFirst|goneLater
}

func newLane(s *sweep, local bool, perSecond int) *lane {
	return &lane{s: s, local: local, pace: newPacer(perSecond, time.Now()), pass: -1}
}

// begin starts a pass; it ends the lane where there is none.
func (l *lane) begin(now time.Time) {
	s := l.s
	if l.pass > 0 && !l.local {
		s.judgeLoss(l.pass)
	}
	l.pass++
	l.ended = now
	l.who = everyone
	if l.pass == s.passes {
		l.who = promising
	}
	l.ways = s.ways.in(l.pass, s.passes, s.thorough)
	l.rest, l.index, l.way = false, 0, 0
	if l.pass > s.passes {
		l.over = true
		return
	}
	blocks := (s.scope.Len() + blockSize - 1) / blockSize
	l.before, l.marks = l.marks, l.before
	if l.marks == nil {
		l.marks = make([]time.Time, blocks)
	}
	clear(l.marks)
	s.table.each(func(i int, f uint8) {
		if l.who(f) && l.mine(i) {
			s.count.planned.Add(int64(len(l.ways)))
		}
	})
}

func (l *lane) mine(i int) bool {
	return l.s.local == nil || l.s.local(l.s.scope.At(i).Addr) == l.local
}

// more moves to the next address whose turn it is.
func (l *lane) more() bool {
	n := l.s.scope.Len()
	for len(l.ways) > 0 {
		for ; l.index < n; l.index, l.way = l.index+1, 0 {
			f := l.s.table.get(l.index)
			if f&expected != 0 != l.rest && l.who(f) && l.mine(l.index) {
				return true
			}
		}
		if l.rest {
			return false
		}
		l.rest, l.index, l.way = true, 0, 0
	}
	return false
}

// ready returns how long it is until the lane has a probe that may go; 0: it
// may now; less than 0: the lane is over.
func (l *lane) ready(now time.Time) time.Duration {
	for !l.over {
		if l.pass == l.s.passes {
			// Who is promising shows when the last pass is answered.
			if d := l.ended.Add(min(l.gap(l.pass-1), l.s.listenTime())).Sub(now); d > 0 {
				return d
			}
		}
		if len(l.again) == 0 && !l.more() {
			l.begin(now)
			continue
		}
		wait := max(l.pausedUntil.Sub(now), l.pace.wait(now))
		if len(l.again) > 0 {
			return wait
		}
		if l.room != nil && l.way == 0 {
			wait = max(wait, l.room.wait(now, l.s.table))
			if !l.who(l.s.table.get(l.index)) {
				continue // nobody is there, as was just seen
			}
		}
		return max(wait, l.due().Sub(now))
	}
	return -1
}

// due is when the next address may be asked: the gap after it was asked last.
func (l *lane) due() time.Time {
	if l.pass == 0 {
		return time.Time{}
	}
	last := l.before[l.index/blockSize]
	if last.IsZero() { // it could not be asked
		last = l.ended
	}
	return last.Add(l.gap(l.pass - 1))
}

// gap is how long after a pass an address is asked again at the soonest. On-link
// the system says by then whether somebody has it.
func (l *lane) gap(pass int) time.Duration {
	d := l.s.gap(pass)
	if l.room != nil {
		d = max(d, unresolvedTime)
	}
	return d
}

// next takes the probe that is ready.
func (l *lane) next() item {
	if n := len(l.again); n > 0 {
		it := l.again[n-1]
		l.again = l.again[:n-1]
		l.pace.take()
		return it
	}
	it := item{l.index, l.ways[l.way]}
	if l.way == 0 {
		// Further probes to one address take no further neighbour.
		l.pace.take()
	}
	if l.way++; l.way == len(l.ways) {
		l.index, l.way = l.index+1, 0
	}
	return it
}

// sent notes a probe that went out.
func (l *lane) sent(now time.Time, index int) {
	l.marks[index/blockSize] = now
	if l.room != nil && !l.blockedSince.IsZero() {
		l.room.full += now.Sub(l.blockedSince)
	}
	l.pause, l.blockedSince = 0, time.Time{}
	if a := l.s.scope.At(index).Addr; l.room != nil && a.Is4() { // the table is that of IPv4
		l.room.took(now, index, a)
	}
}

// blocked keeps a probe that could not go out for later, and holds the lane for
// a moment. It reports false when the lane has waited so long that the probe is
// given up.
func (l *lane) blocked(now time.Time, it item, limit time.Duration) bool {
	if l.blockedSince.IsZero() {
		l.blockedSince = now
	}
	if now.Sub(l.blockedSince) > limit {
		return false
	}
	l.again = append(l.again, it)
	l.pause = min(max(2*l.pause, minPause), maxPause)
	l.pausedUntil = now.Add(l.pause)
	return true
}
