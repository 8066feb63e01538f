package discover

import (
	"sync"
	"sync/atomic"
)

// counters are what a run counts. Several goroutines write them.
type counters struct {
	addresses   int
	planned     atomic.Int64
	sent        atomic.Int64
	answered    atomic.Int64
	hinted      atomic.Int64
	others      atomic.Int64
	printers    atomic.Int64
	requeued    atomic.Int64
	unreachable atomic.Int64
	malformed   atomic.Int64

	mu       sync.Mutex
	byTarget map[int]int // printers by number of the target
}

func newCounters(addresses int) *counters {
	return &counters{addresses: addresses, byTarget: map[int]int{}}
}

// printer counts a printer that a target brought.
func (c *counters) printer(target int) {
	c.printers.Add(1)
	c.mu.Lock()
	c.byTarget[target]++
	c.mu.Unlock()
}

func (c *counters) progress() Progress {
	return Progress{
		Addresses: c.addresses, Probes: int(c.planned.Load()), Sent: int(c.sent.Load()),
		Answered: int(c.answered.Load()), Printers: int(c.printers.Load()),
	}
}

// stats puts the counters together, with what is known of each address.
func (c *counters) stats(scope *Scope, t *table) Stats {
	s := Stats{
		Addresses: c.addresses, OtherHosts: int(c.others.Load()), Hinted: int(c.hinted.Load()), Printers: int(c.printers.Load()),
		PacketsSent: int(c.sent.Load()), Requeued: int(c.requeued.Load()), Unreachable: int(c.unreachable.Load()),
		Malformed: int(c.malformed.Load()),
	}
	for _, name := range scope.targets {
		s.Prefixes = append(s.Prefixes, PrefixStats{Target: name})
	}
	k := 0 // the run of addresses that i lies in
	tried := make([]bool, len(scope.targets))
	t.each(func(i int, f uint8) {
		for i >= scope.spans[k].start+scope.spans[k].n {
			k++
		}
		p := &s.Prefixes[scope.spans[k].origin]
		tried[scope.spans[k].origin] = tried[scope.spans[k].origin] || f&(asked|goneFirst|goneLater|ippTried) != 0
		if f&(asked|ippTried|otherSigns) != 0 {
			s.Probed++
			p.Probed++
		}
		if f&(answered|otherSigns) != 0 {
			s.Answered++
			p.Answered++
		}
	})
	c.mu.Lock()
	defer c.mu.Unlock()
	for target, n := range c.byTarget {
		s.Prefixes[target].Printers = n
	}
	for i := range s.Prefixes {
		if p := &s.Prefixes[i]; tried[i] && p.Answered == 0 {
			p.Note = NoAnswerNote
		}
	}
	return s
}
