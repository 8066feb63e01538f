package discover

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"sync"
	"time"

	"printround/internal/printport"
)

// Limits of the IPP probe. It opens a TCP connection and closes it: whoever
// reads the device does the talking.
const (
	// DefaultProbeRate is how many connections are tried a second.
	DefaultProbeRate = 50
	// MaxProbes is how many addresses are tried in one run.
	MaxProbes = 4096

	maxProbesOpen = 32
	connectWait   = 2 * time.Second // one repetition of the SYN fits
)

// dialer opens a connection; it is net.Dialer.DialContext outside tests.
type dialer func(ctx context.Context, network, address string) (net.Conn, error)

// prober tries the IPP port of hosts that SNMP did not show to be printers:
// first those with a reason to, then the silent, expected ones before others.
type prober struct {
	scope *Scope
	table *table
	count *counters
	dial  dialer
	rate  int
	emit  func(Candidate)

	mu       sync.Mutex
	suspects []int
	wake     chan struct{}
	silent   bool // the silent may be tried now
	over     bool // no suspects will come any more
	at       int  // next address to look at
	rest     bool // the expected are through
	tried    int
	left     int // not tried because of MaxProbes
}

func newProber(scope *Scope, t *table, n *counters, dial dialer, rate int, emit func(Candidate)) *prober {
	if rate <= 0 {
		rate = DefaultProbeRate
	}
	return &prober{scope: scope, table: t, count: n, dial: dial, rate: rate, emit: emit, wake: make(chan struct{}, 1)}
}

// suspect adds a host with a reason to try it.
func (p *prober) suspect(i int) {
	p.mu.Lock()
	p.suspects = append(p.suspects, i)
	p.mu.Unlock()
	p.ring()
}

// trySilent lets the probe begin with the addresses that have not answered.
func (p *prober) trySilent() {
	p.mu.Lock()
	p.silent = true
	p.mu.Unlock()
	p.ring()
}

// finish lets run return when everything is tried.
func (p *prober) finish() {
	p.mu.Lock()
	p.silent, p.over = true, true
	p.mu.Unlock()
	p.ring()
}

func (p *prober) ring() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

// run tries addresses until there are none left.
func (p *prober) run(ctx context.Context) {
	var open sync.WaitGroup
	defer open.Wait()
	slots := make(chan struct{}, maxProbesOpen)
	pace := newPacer(p.rate, time.Now())
	pace.burst = 1
	for ctx.Err() == nil {
		i, ok, over := p.next()
		if over {
			return
		}
		if !ok {
			select {
			case <-p.wake:
			case <-ctx.Done():
			}
			continue
		}
		for d := pace.wait(time.Now()); d > 0; d = pace.wait(time.Now()) {
			if !pauseFor(ctx, d) {
				return
			}
		}
		pace.take()
		select {
		case slots <- struct{}{}:
		case <-ctx.Done():
			return
		}
		open.Go(func() {
			p.try(ctx, i)
			<-slots
		})
	}
}

// next returns the address to try; over means that there are no more.
func (p *prober) next() (i int, ok, over bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for len(p.suspects) > 0 {
		i, p.suspects = p.suspects[0], p.suspects[1:]
		if p.wanted(i) && p.admit(i) {
			return i, true, false
		}
	}
	if p.silent {
		for i, ok = p.nextSilent(); ok; i, ok = p.nextSilent() {
			if p.admit(i) {
				return i, true, false
			}
		}
	}
	return 0, false, p.over
}

// wanted reports whether to try the port of an address: once, and never one
// that would print what it is sent.
func (p *prober) wanted(i int) bool {
	port := p.scope.At(i).IPPPort
	return p.table.get(i)&ippTried == 0 && port != 0 && !printport.Raw(port)
}

// admit counts an address against the limit.
func (p *prober) admit(i int) bool {
	if p.tried >= MaxProbes {
		p.left++
		return false
	}
	p.tried++
	p.table.add(i, ippTried)
	return true
}

// nextSilent moves to the next address that has not answered. One that the
// network called unreachable in the first and in a later pass is left out, but
// not a host that refused the SNMP port itself: it is there.
func (p *prober) nextSilent() (int, bool) {
	for {
		for p.at < p.scope.Len() {
			i := p.at
			p.at++
			f := p.table.get(i)
			if f&expected != 0 != p.rest && f&answered == 0 && !nobody(f) && p.wanted(i) {
				return i, true
			}
		}
		if p.rest {
			return 0, false
		}
		p.rest, p.at = true, 0
	}
}

// nobody reports that the network twice said that an address is not there.
func nobody(f uint8) bool { return f&(goneFirst|goneLater|alive) == goneFirst|goneLater }

// try connects once.
func (p *prober) try(ctx context.Context, i int) {
	ctx, cancel := context.WithTimeout(ctx, connectWait)
	defer cancel()
	t := p.scope.At(i)
	c, err := p.dial(ctx, "tcp", netip.AddrPortFrom(t.Addr, t.IPPPort).String())
	if err != nil {
		return
	}
	c.Close()
	if p.table.add(i, otherSigns)&(answered|otherSigns) == 0 {
		p.count.answered.Add(1)
	}
	p.emit(Candidate{Target: t, Kind: Possible, IPPOpen: true})
}

// notes says what was left out.
func (p *prober) notes() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.left == 0 {
		return nil
	}
	return []string{fmt.Sprintf("IPP was tried at %d addresses without an SNMP answer and not at %d more; survey smaller ranges to reach them", p.tried, p.left)}
}

// pauseFor waits; it reports false when the context ended first.
func pauseFor(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
