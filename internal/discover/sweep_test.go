package discover

import (
	"context"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/snmp"
)

func TestSweepKinds(t *testing.T) {
	o := sweepNet(t, "10.1.2.0/24", Config{Retries: 2}, map[string]*fakeHost{
		"10.1.2.10": {agent: newAgent(t, laser)},
		"10.1.2.11": {agent: newAgent(t, switchbox)},
		"10.1.2.12": {agent: newAgent(t, bare)},
	})
	if c := o.of(t, "10.1.2.10"); c == nil || c.Kind != Printer || c.SNMP.Version != snmp.V2c || c.SNMP.Credential != 0 ||
		c.SNMP.Description != "Tessel L40" || c.SNMP.ObjectID != "1.3.6.1.4.1.99999.4.1" {
		t.Errorf("printer: %+v", c)
	}
	if c := o.of(t, "10.1.2.11"); c == nil || c.Kind != OtherHost {
		t.Errorf("switch: %+v", c)
	}
	if c := o.of(t, "10.1.2.12"); c == nil || c.Kind != Hinted || c.Reason == "" || c.SNMP.Description != "Ambry printer port" {
		t.Errorf("host with hints: %+v", c)
	}
	s := o.stats
	if s.Addresses != 254 || s.Probed != 254 || s.Answered != 3 || s.Printers != 1 || s.Hinted != 1 || s.OtherHosts != 1 || s.Malformed != 0 {
		t.Errorf("stats %+v", s)
	}
	if p := s.Prefixes; len(p) != 1 || p[0] != (PrefixStats{Target: "10.1.2.0/24", Probed: 254, Answered: 3, Printers: 1}) {
		t.Errorf("prefixes %+v", p)
	}
	if !slices.Equal(o.suspect, []netip.Addr{netip.MustParseAddr("10.1.2.12")}) {
		t.Errorf("to be tried over IPP: %v", o.suspect)
	}
	// Three passes over the silent, SNMPv1 included in the later ones; nobody
	// who has answered is asked again, but for one question more to the host
	// with hints.
	per := map[netip.Addr]int{}
	for _, p := range o.net.sent {
		per[p.to]++
	}
	for a, n := range per {
		want := 5
		switch a.String() {
		case "10.1.2.10", "10.1.2.11":
			want = 1
		case "10.1.2.12":
			want = 2
		}
		if n != want {
			t.Errorf("%s was sent %d packets, want %d", a, n, want)
		}
	}
	if s.PacketsSent != len(o.net.sent) {
		t.Errorf("%d packets counted, %d sent", s.PacketsSent, len(o.net.sent))
	}
}

// A device that answers only after four seconds, and only the second question,
// is found with what is set by default.
func TestSweepSleepingDevice(t *testing.T) {
	o := sweepNet(t, "10.1.2.0/24", Config{Retries: 2}, map[string]*fakeHost{
		"10.1.2.10": {agent: newAgent(t, laser), skip: 1, delay: 4 * time.Second},
		"10.1.2.11": {agent: newAgent(t, laser), skip: 3, delay: 4900 * time.Millisecond},
	})
	for _, a := range []string{"10.1.2.10", "10.1.2.11"} {
		if c := o.of(t, a); c == nil || c.Kind != Printer {
			t.Errorf("%s: %+v", a, c)
		}
	}
	last := o.net.sent[len(o.net.sent)-1].at
	if quiet := o.took - last.Sub(o.net.sent[0].at); quiet < DefaultListen {
		t.Errorf("listened %v after the last probe, want at least %v", quiet, DefaultListen)
	}
}

func TestSweepOldProtocol(t *testing.T) {
	one := newAgent(t, laser)
	one.versions = []gosnmp.SnmpVersion{gosnmp.Version1}
	end := newAgent(t, bare) // what the sweep asks for lies partly behind its last object
	end.versions = one.versions
	two := newAgent(t, laser)
	two.versions = []gosnmp.SnmpVersion{gosnmp.Version2c}
	o := sweepNet(t, "10.1.2.0/28", Config{Retries: 1}, map[string]*fakeHost{
		"10.1.2.1": {agent: one}, "10.1.2.2": {agent: end}, "10.1.2.3": {agent: two, skip: 1},
	})
	if c := o.of(t, "10.1.2.1"); c == nil || c.Kind != Printer || c.SNMP.Version != snmp.V1 {
		t.Errorf("SNMPv1 only: %+v", c)
	}
	if c := o.of(t, "10.1.2.2"); c == nil || c.Kind != Hinted || c.SNMP.Description != "Ambry printer port" {
		t.Errorf("SNMPv1 without Printer MIB: %+v", c)
	}
	if c := o.of(t, "10.1.2.3"); c == nil || c.SNMP.Version != snmp.V2c {
		t.Errorf("SNMPv2c only, second question: %+v", c)
	}
}

// Agents that fail requests of several objects are asked for fewer.
func TestSweepFailingAgents(t *testing.T) {
	for _, status := range []gosnmp.SNMPError{gosnmp.GenErr, gosnmp.TooBig, gosnmp.NoSuchName} {
		for _, v := range []gosnmp.SnmpVersion{gosnmp.Version1, gosnmp.Version2c} {
			t.Run(fmt.Sprint(status, v), func(t *testing.T) {
				fails := func(lines string, limit int) *fakeHost {
					a := newAgent(t, lines)
					a.versions = []gosnmp.SnmpVersion{v}
					a.fail = func(objects int) gosnmp.SNMPError {
						if objects > limit {
							return status
						}
						return gosnmp.NoError
					}
					return &fakeHost{agent: a}
				}
				o := sweepNet(t, "10.1.2.0/28", Config{Retries: 2}, map[string]*fakeHost{
					"10.1.2.1": fails(laser, 1), "10.1.2.2": fails(switchbox, 2), "10.1.2.3": fails(bare, 3), "10.1.2.4": fails(laser, 0),
				})
				for a, want := range map[string]Kind{"10.1.2.1": Printer, "10.1.2.2": OtherHost, "10.1.2.3": Hinted, "10.1.2.4": OtherHost} {
					if c := o.of(t, a); c == nil || c.Kind != want {
						t.Errorf("%s: %+v, want %s", a, c, want)
					}
				}
				for _, h := range o.net.hosts {
					if h.heard > 1+5+followUpLimit {
						t.Errorf("a host was asked %d times", h.heard)
					}
				}
			})
		}
	}
}

// A host that falls silent in the middle is judged by what it said.
func TestSweepHostFallsSilent(t *testing.T) {
	a := newAgent(t, bare)
	n := 0
	a.fail = func(int) gosnmp.SNMPError { n++; return gosnmp.NoError }
	h := &fakeHost{agent: a}
	o := sweepNet(t, "10.1.2.1", Config{Retries: 2}, map[string]*fakeHost{"10.1.2.1": h}, func(s *sweep, f *fakeNet) {
		emit := s.suspect
		s.suspect = func(i int) { emit(i) }
		a.fail = func(objects int) gosnmp.SNMPError {
			if objects == 1 {
				h.agent = &agent{community: "other"} // nothing more
			}
			return gosnmp.NoError
		}
	})
	if c := o.of(t, "10.1.2.1"); c == nil || c.Kind != Hinted {
		t.Errorf("got %+v", c)
	}
}

// Replies that are not to what was asked count as malformed and bring nothing.
func TestSweepRefusesReplies(t *testing.T) {
	answerWith := func(edit func(*gosnmp.SnmpPacket)) []byte {
		p := &gosnmp.SnmpPacket{Version: gosnmp.Version2c, Community: "public", PDUType: gosnmp.GetResponse, RequestID: 0,
			Variables: []gosnmp.SnmpPDU{{Name: ".1.3.6.1.2.1.43.5.1.1.1.1", Type: gosnmp.Counter32, Value: uint32(1)}}}
		edit(p)
		return marshal(p)
	}
	fixed := ids{0x155555}
	id := uint32(fixed.make(0, 0, 0))
	for name, raw := range map[string][]byte{
		"noise":              []byte("\xff\x00noise"),
		"text":               []byte("HTTP/1.1 400 Bad Request\r\n\r\n"),
		"request-id 0":       answerWith(func(p *gosnmp.SnmpPacket) {}),
		"another address":    answerWith(func(p *gosnmp.SnmpPacket) { p.RequestID = uint32(fixed.make(0, 0, 1)) }),
		"beyond the scope":   answerWith(func(p *gosnmp.SnmpPacket) { p.RequestID = uint32(fixed.make(0, 0, 9)) }),
		"unknown way":        answerWith(func(p *gosnmp.SnmpPacket) { p.RequestID = uint32(fixed.make(5, 0, 0)) }),
		"follow-up unasked":  answerWith(func(p *gosnmp.SnmpPacket) { p.RequestID = uint32(fixed.make(followUp, 0, 0)) }),
		"another community":  answerWith(func(p *gosnmp.SnmpPacket) { p.RequestID, p.Community = id, "other" }),
		"another version":    answerWith(func(p *gosnmp.SnmpPacket) { p.RequestID, p.Version = id, gosnmp.Version1 }),
		"the question again": answerWith(func(p *gosnmp.SnmpPacket) { p.RequestID, p.PDUType = id, gosnmp.GetNextRequest }),
	} {
		t.Run(name, func(t *testing.T) {
			o := sweepNet(t, "10.1.2.1", Config{}, map[string]*fakeHost{"10.1.2.1": {raw: raw}}, func(s *sweep, _ *fakeNet) { s.ids = fixed })
			if len(o.found) != 0 || o.stats.Malformed == 0 {
				t.Errorf("found %+v, malformed %d", o.found, o.stats.Malformed)
			}
			if o.stats.Answered != 0 {
				t.Errorf("it counts as an answer")
			}
			// Whoever sends something is alive, and is tried once more.
			if n := o.net.hosts[netip.MustParseAddr("10.1.2.1")].heard; n != 3 {
				t.Errorf("asked %d times, want 3: one pass, and one more in two versions", n)
			}
		})
	}
}

// An answer from another address counts for the one asked if that other address
// is not in scope, and not at all if it is.
func TestSweepAnswerFromElsewhere(t *testing.T) {
	o := sweepNet(t, "10.1.2.1-10.1.2.3", Config{}, map[string]*fakeHost{
		"10.1.2.1": {agent: newAgent(t, laser), from: netip.MustParseAddr("10.9.9.9")},
		"10.1.2.2": {agent: newAgent(t, laser), from: netip.MustParseAddr("10.1.2.3")},
	})
	if c := o.of(t, "10.1.2.1"); c == nil || c.Kind != Printer {
		t.Errorf("from outside: %+v", c)
	}
	if c := o.of(t, "10.1.2.2"); c != nil {
		t.Errorf("from a neighbour: %+v", c)
	}
	if c := o.of(t, "10.1.2.3"); c != nil {
		t.Errorf("the neighbour was not asked this: %+v", c)
	}
	for _, c := range o.found {
		if !o.sweep.scope.Contains(c.Target.Addr) {
			t.Errorf("%s is outside the scope", c.Target.Addr)
		}
	}
}

func TestSweepCredentials(t *testing.T) {
	creds := []snmp.Credential{
		{Label: "a", Version: snmp.V2c, Community: "first"},
		{Label: "b", Version: snmp.V1, Community: "second"},
		{Label: "c", Version: snmp.V2c, Community: "third"},
		{Label: "d", Version: snmp.V2c, Community: "fourth"},
	}
	hosts := map[string]*fakeHost{}
	for i, c := range creds {
		a := newAgent(t, laser)
		a.community = c.Community.Reveal()
		hosts[fmt.Sprintf("10.1.2.%d", i+1)] = &fakeHost{agent: a}
	}
	o := sweepNet(t, "10.1.2.0/28", Config{Retries: 2, Credentials: creds}, hosts)
	for i := range 3 {
		if c := o.of(t, fmt.Sprintf("10.1.2.%d", i+1)); c == nil || c.SNMP.Credential != i {
			t.Errorf("credential %d: %+v", i, c)
		}
	}
	if c := o.of(t, "10.1.2.4"); c != nil {
		t.Errorf("a fourth credential was used: %+v", c)
	}
	for _, p := range o.net.sent {
		if p.to == netip.MustParseAddr("10.1.2.1") && p.p.Community != "first" {
			t.Errorf("a device that answered was sent the community %q", p.p.Community)
		}
		if p.v3 {
			t.Error("a v3 engine was asked for without a v3 credential")
		}
	}
}

func TestSweepEngine(t *testing.T) {
	fixed := ids{0x2aaaaa}
	report := func(index int) []byte {
		params := &gosnmp.UsmSecurityParameters{AuthoritativeEngineID: "\x80\x00\x1f\x88\x04abc", UserName: "x"}
		return marshal(&gosnmp.SnmpPacket{
			Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, SecurityParameters: params,
			MsgID: uint32(fixed.make(1+1, 1, index)), MsgMaxSize: 65507, PDUType: gosnmp.Report, ContextEngineID: "\x80\x00\x1f\x88\x04abc",
			Variables: []gosnmp.SnmpPDU{{Name: ".1.3.6.1.6.3.15.1.1.4.0", Type: gosnmp.Counter32, Value: uint32(7)}},
		})
	}
	creds := append(public(), snmp.Credential{Label: "s", Version: snmp.V3, User: "reader"})
	o := sweepNet(t, "10.1.2.1 10.1.2.2", Config{Retries: 1, Credentials: creds}, map[string]*fakeHost{
		"10.1.2.1": {raw: report(0), skip: 1},
		"10.1.2.2": {raw: report(0), skip: 1}, // speaks for its neighbour
	}, func(s *sweep, _ *fakeNet) { s.ids = fixed })
	if c := o.of(t, "10.1.2.1"); c == nil || c.Kind != Possible || c.SNMP == nil || c.SNMP.Version != snmp.V3 || c.SNMP.Credential != -1 {
		t.Errorf("got %+v", c)
	}
	if c := o.of(t, "10.1.2.2"); c != nil {
		t.Errorf("got %+v", c)
	}
	engines := 0
	for _, p := range o.net.sent {
		if p.v3 {
			engines++
		}
	}
	if engines != 3 { // each in the second pass, and the neighbour once more because it sent something
		t.Errorf("%d questions for an engine, want 3", engines)
	}
}

// The sweep is over when everybody has answered or is known to be gone.
func TestSweepEndsEarly(t *testing.T) {
	hosts := map[string]*fakeHost{}
	for i := 1; i < 15; i++ {
		hosts[fmt.Sprintf("10.1.2.%d", i)] = &fakeHost{agent: newAgent(t, laser), delay: 3 * time.Millisecond}
	}
	if o := sweepNet(t, "10.1.2.0/28", Config{Retries: 2}, hosts); o.took > 200*time.Millisecond || o.stats.Printers != 14 {
		t.Errorf("all answered: took %v, %d printers", o.took, o.stats.Printers)
	}
	for i := 1; i < 8; i++ {
		hosts[fmt.Sprintf("10.1.2.%d", i)] = &fakeHost{gone: true, delay: 3 * time.Millisecond}
	}
	for _, retries := range []int{0, 2} {
		o := sweepNet(t, "10.1.2.0/28", Config{Retries: retries}, hosts)
		if o.took > 500*time.Millisecond || o.stats.Printers != 7 || o.stats.Unreachable != 7 {
			t.Errorf("retries %d: took %v, %d printers, %d unreachable", retries, o.took, o.stats.Printers, o.stats.Unreachable)
		}
	}
	o := sweepNet(t, "10.1.2.0/28", Config{Retries: 2}, hosts)
	for _, p := range o.net.sent {
		if h := o.net.hosts[p.to]; h.gone && h.heard > 3*4 {
			t.Errorf("%s was asked %d times although the network says twice that it is gone", p.to, h.heard)
		}
	}
}

func TestSweepExpected(t *testing.T) {
	o := sweepNet(t, "10.1.2.0/28", Config{Retries: 1, Expected: []netip.Addr{netip.MustParseAddr("10.1.2.9"), netip.MustParseAddr("10.7.7.7")}},
		map[string]*fakeHost{"10.1.2.9": {agent: newAgent(t, laser), skip: 3}})
	if o.net.sent[0].to != netip.MustParseAddr("10.1.2.9") {
		t.Errorf("%s is asked first, want the expected device", o.net.sent[0].to)
	}
	if c := o.of(t, "10.1.2.9"); c == nil {
		t.Error("the expected device was not found by its extra try")
	}
}

// In fake time the pace can be checked to the packet.
func TestSweepPace(t *testing.T) {
	o := sweepNet(t, "10.1.0.0/20", Config{Pace: 1000}, nil)
	if n := len(o.net.sent); n != 4094 {
		t.Fatalf("%d packets", n)
	}
	first, burst := o.net.sent[0].at, int(burstOf(1000))
	for i, p := range o.net.sent {
		if earliest := time.Duration(i-burst-1) * time.Millisecond; p.at.Sub(first) < earliest {
			t.Fatalf("packet %d went after %v, not before %v is right", i, p.at.Sub(first), earliest)
		}
	}
	if took := o.net.sent[4093].at.Sub(first); took > 4200*time.Millisecond {
		t.Errorf("the pace was not reached: %v", took)
	}
}

func TestSweepOnLinkPace(t *testing.T) {
	near := netip.MustParsePrefix("10.1.2.0/24")
	o := sweepNet(t, "10.1.2.0/24 10.1.3.0/24", Config{Pace: 2000}, nil, func(s *sweep, f *fakeNet) {
		s.attach(near.Contains, 100, nil)
		f.busy = 3
	})
	var nearLast, farLast time.Duration
	seen := map[netip.Addr]int{}
	for _, p := range o.net.sent {
		seen[p.to]++
		if d := p.at.Sub(o.net.sent[0].at); near.Contains(p.to) {
			nearLast = d
		} else {
			farLast = d
		}
	}
	if nearLast < 2500*time.Millisecond || farLast > 500*time.Millisecond {
		t.Errorf("on-link took %v, want 2.5 s; the others %v, want less than half a second", nearLast, farLast)
	}
	if len(seen) != 508 || o.stats.Requeued != 3 {
		t.Errorf("%d addresses asked, %d requeued; want 508 and 3", len(seen), o.stats.Requeued)
	}
}

func TestSweepCannotSend(t *testing.T) {
	o := sweepNet(t, "10.1.2.1 10.1.2.2 10.1.3.0/29", Config{Retries: 1}, map[string]*fakeHost{
		"10.1.2.1": {error: syscall.ENETUNREACH}, "10.1.2.2": {agent: newAgent(t, laser)},
		"10.1.3.1": {error: syscall.EPERM}, "10.1.3.2": {error: syscall.EPERM}, "10.1.3.3": {agent: newAgent(t, laser)},
	})
	if o.stats.Printers != 2 || len(o.stats.Problems) != 2 {
		t.Errorf("%d printers, problems %v", o.stats.Printers, o.stats.Problems)
	}
	for _, p := range o.stats.Problems {
		if p.Stage != "route" || !strings.Contains(p.Message, "cannot send to") || strings.Contains(p.Message, "\n") {
			t.Errorf("problem %+v", p)
		}
	}
	if o.stats.Prefixes[0].Note != NoAnswerNote || o.stats.Prefixes[1].Note != "" {
		t.Errorf("prefixes %+v", o.stats.Prefixes)
	}
	// A system that never has room ends in a problem, not in a sweep without end.
	o = sweepNet(t, "10.1.2.0/28", Config{Retries: 2}, nil, func(_ *sweep, f *fakeNet) { f.busy = 1 << 30 })
	if len(o.stats.Problems) != 1 || !strings.Contains(o.stats.Problems[0].Message, "no room to send") || o.stats.Probed != 0 {
		t.Errorf("stats %+v", o.stats)
	}
}

func TestSweepCancelled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, _, err := Parse(t.Context(), []string{"10.1.0.0/16"}, testOptions())
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
		defer cancel()
		f := &fakeNet{ch: make(chan event)}
		sw := newSweep(Config{Scope: s, Credentials: public(), Pace: 1000}, f, newTable(s.Len()), newCounters(s.Len()))
		start := time.Now()
		if err := sw.run(ctx); err != context.DeadlineExceeded {
			t.Errorf("error %v", err)
		}
		if d := time.Since(start); d != 3*time.Second {
			t.Errorf("ended after %v", d)
		}
	})
}
