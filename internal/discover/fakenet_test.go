package discover

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/snmp"
)

// fakeNet is a network without sockets, in the time of a synctest bubble.
type fakeNet struct {
	hosts map[netip.Addr]*fakeHost
	ch    chan event
	sent  []sentProbe
	// busy makes the next sends fail for want of room.
	busy  int
	drops atomic.Uint64 // answers that the system dropped
	// silence says whether what is sent at a time is lost; may be nil.
	silence func(time.Time) bool
	// outage says whether the network is away at a time; may be nil.
	outage func(time.Time) bool
	// neighbours, if not nil, is the table of neighbours that sends need.
	neighbours *fakeTable
}

// fakeTable behaves as the system's table of neighbours: an address that nobody
// has keeps its place for three seconds, a live one for 30.
type fakeTable struct {
	limit int
	until map[netip.Addr]time.Time
	live  map[netip.Addr]bool
	most  int // of the unresolved at once
	asked int // of every hundredth that is nobody's no error is reported
}

func (n *fakeTable) resolved() map[netip.Addr]bool {
	out := map[netip.Addr]bool{}
	for a, t := range n.until {
		if n.live[a] && t.After(time.Now()) {
			out[a] = true
		}
	}
	return out
}

// take gives an address its place; it reports false when there is none.
func (n *fakeTable) take(a netip.Addr, there bool) bool {
	now, taken, open := time.Now(), 0, 0
	if n.until[a].After(now) {
		return true
	}
	for b, t := range n.until {
		if t.After(now) {
			taken++
			if !n.live[b] {
				open++
			}
		}
	}
	if taken >= n.limit {
		return false
	}
	n.live[a] = there
	n.until[a] = now.Add(3 * time.Second)
	if there {
		n.until[a] = now.Add(30 * time.Second)
	}
	n.most = max(n.most, open+1)
	return true
}

type sentProbe struct {
	to netip.Addr
	at time.Time
	v3 bool
	p  *gosnmp.SnmpPacket
}

type fakeHost struct {
	agent   *agent
	delay   time.Duration
	skip    int        // questions that it does not hear
	from    netip.Addr // that it answers from, if not its own
	raw     []byte     // what it answers in place of an agent
	gone    bool       // nobody there: the network says so
	refuses bool       // with gone: the host is there, its port is closed
	error   error      // of sending
	heard   int
}

func (f *fakeNet) events() <-chan event { return f.ch }
func (f *fakeNet) close()               {}

func (f *fakeNet) dropped() uint64 { return f.drops.Load() }

func (f *fakeNet) send(to netip.AddrPort, msg []byte, _ bool) error {
	if f.busy > 0 {
		f.busy--
		return errBusy
	}
	if f.outage != nil && f.outage(time.Now()) {
		return syscall.ENETUNREACH
	}
	h := f.hosts[to.Addr()]
	if f.neighbours != nil {
		if !f.neighbours.take(to.Addr(), h != nil) {
			return errBusy
		}
		if f.neighbours.asked++; h == nil && f.neighbours.asked%100 != 0 {
			e := event{kind: gone, from: to, id: questionID(msg), nobody: true}
			time.AfterFunc(3*time.Second, func() { f.ch <- e })
		}
	}
	if h != nil && h.error != nil {
		return h.error
	}
	ref := &gosnmp.GoSNMP{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, SecurityParameters: &gosnmp.UsmSecurityParameters{UserName: "x"}}
	p, err := ref.SnmpDecodePacket(slices.Clone(msg))
	if err != nil {
		return fmt.Errorf("not an SNMP message: %w", err)
	}
	f.sent = append(f.sent, sentProbe{to.Addr(), time.Now(), p.Version == gosnmp.Version3, p})
	if h == nil || f.silence != nil && f.silence(time.Now()) {
		return nil
	}
	if h.heard++; h.heard <= h.skip {
		return nil
	}
	e := event{kind: malformed, from: to}
	switch {
	case h.gone:
		e = event{kind: gone, from: to, id: questionID(msg), nobody: !h.refuses, here: h.refuses}
	case h.raw != nil:
		r := new(reply)
		if decodeReply(h.raw, r) == nil {
			e.kind, e.reply = answer, r
		}
	case h.agent != nil:
		b := h.agent.respond(msg)
		if b == nil {
			return nil
		}
		e.kind, e.reply = answer, new(reply)
		if err := decodeReply(b, e.reply); err != nil {
			return err
		}
	}
	if h.from.IsValid() {
		e.from = netip.AddrPortFrom(h.from, to.Port())
	}
	time.AfterFunc(h.delay, func() { f.ch <- e })
	return nil
}

// outcome is what a sweep of a fakeNet brought.
type outcome struct {
	found   []Candidate
	stats   Stats
	net     *fakeNet
	took    time.Duration
	suspect []netip.Addr
	sweep   *sweep
	err     error
}

func (o *outcome) of(t *testing.T, addr string) *Candidate {
	t.Helper()
	var got *Candidate
	for i := range o.found {
		if o.found[i].Target.Addr == netip.MustParseAddr(addr) {
			if got != nil {
				t.Errorf("%s came twice", addr)
			}
			got = &o.found[i]
		}
	}
	return got
}

func public() []snmp.Credential {
	return []snmp.Credential{{Label: "default", Version: snmp.V2c, Community: "public"}}
}

// sweepNet sweeps a fakeNet in fake time.
func sweepNet(t *testing.T, targets string, cfg Config, hosts map[string]*fakeHost, adjust ...func(*sweep, *fakeNet)) (o outcome) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		s, _, err := Parse(t.Context(), strings.Fields(targets), testOptions())
		if err != nil {
			t.Fatal(err)
		}
		cfg.Scope = s
		if cfg.Credentials == nil {
			cfg.Credentials = public()
		}
		if cfg.Pace == 0 {
			cfg.Pace = DefaultPace
		}
		f := &fakeNet{hosts: map[netip.Addr]*fakeHost{}, ch: make(chan event, eventQueue)}
		for a, h := range hosts {
			f.hosts[netip.MustParseAddr(a)] = h
		}
		table, count := newTable(s.Len()), newCounters(s.Len())
		for _, a := range cfg.Expected {
			if i, ok := s.Find(a); ok {
				table.add(i, expected)
			}
		}
		sw := newSweep(cfg, f, table, count)
		sw.emit = func(c Candidate) { o.found = append(o.found, c) }
		sw.suspect = func(i int) { o.suspect = append(o.suspect, s.At(i).Addr) }
		for _, a := range adjust {
			a(sw, f)
		}
		start := time.Now()
		o.err = sw.run(t.Context())
		o.took, o.net, o.sweep = time.Since(start), f, sw
		o.stats = count.stats(s, table)
		o.stats.Problems = sw.problems
	})
	return o
}
