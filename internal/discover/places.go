package discover

import (
	"net/netip"
	"time"
)

const (
	// unresolvedTime is how long an address that nobody has holds a place in
	// the neighbour table: three questions, one second each (RFC 1122 section
	// 2.3.2.1 asks for the limit; the numbers are those of Linux), and the time
	// until that is noticed.
	unresolvedTime = 3300 * time.Millisecond
	// lookEvery is how often the table is looked at.
	lookEvery = 250 * time.Millisecond
	// lookAfter is when the table shows that an address could not be resolved,
	// whether or not an error was reported: the system limits their number.
	lookAfter = 3050 * time.Millisecond
	// fewest is how many unresolved neighbours there may always be: a table full
	// of live ones frees its places one by one.
	fewest = 8
)

// places is the room for neighbours: the lane that has it never has more
// addresses unresolved than the table takes beside the neighbours that are
// resolved, with some left for the other programs of the machine.
type places struct {
	limit    int                        // of the table
	resolved func() map[netip.Addr]bool // neighbours with an address; nil: not known
	nobody   func(index int)            // called for an address that nobody has
	blind    func() bool                // the link is down: the table says nothing
	table    map[netip.Addr]bool        // as it was looked at last
	now      int                        // places for unresolved ones
	looked   time.Time                  // when now was computed
	open     []place                    // asked not long ago, by time; its head may be resolved
	head     int                        // of open
	full     time.Duration              // how long live neighbours left it no room
	since    time.Time                  // when that began
}

type place struct {
	index int32
	addr  netip.Addr
	at    time.Time
}

// reserved is how many places of a table are left to others.
func reserved(limit int) int { return max(limit/64, 1) }

// wait returns how long it is until there may be room for one more.
func (p *places) wait(now time.Time, t *table) time.Duration {
	if p.looked.IsZero() || now.Sub(p.looked) >= lookEvery {
		p.looked = now
		p.table = p.resolved()
		p.now = p.limit - reserved(p.limit) - len(p.table)
		p.now = max(p.now, min(fewest, p.limit))
	}
	for p.head < len(p.open) {
		o := p.open[p.head]
		settled := settledFlags(t.get(int(o.index)))
		if now.Sub(o.at) < unresolvedTime && !settled {
			break
		}
		if p.head++; !settled && p.table != nil && !p.table[o.addr] && p.looked.Sub(o.at) > lookAfter && !p.blind() {
			p.nobody(int(o.index))
		}
	}
	if p.head > 4096 && p.head*2 > len(p.open) {
		p.open = append(p.open[:0], p.open[p.head:]...)
		p.head = 0
	}
	if len(p.open)-p.head < p.now {
		p.release(now)
		return 0
	}
	if p.since.IsZero() && p.now <= fewest {
		p.since = now
	}
	return minPause
}

// took notes that an address was asked.
func (p *places) took(now time.Time, index int, a netip.Addr) {
	p.open = append(p.open, place{int32(index), a, now})
}

// release ends a time of waiting.
func (p *places) release(now time.Time) {
	if !p.since.IsZero() {
		p.full += now.Sub(p.since)
		p.since = time.Time{}
	}
}
