package discover

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"printround/internal/needtest"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/ipv4"
)

// responder is one socket that answers for many loopback addresses: all of
// 127/8 is there on Linux.
type responder struct {
	conn *ipv4.PacketConn
	port uint16
	done sync.WaitGroup
}

// startResponder answers with answer(address, request), which may return nil.
func startResponder(tb testing.TB, answer func(netip.Addr, []byte) []byte) *responder {
	tb.Helper()
	return startResponderAt(tb, 0, answer)
}

func startResponderAt(tb testing.TB, port int, answer func(netip.Addr, []byte) []byte) *responder {
	tb.Helper()
	if runtime.GOOS != "linux" {
		needtest.Missing(tb, "all of 127.0.0.0/8 on the loopback interface: only Linux has it without setting it up")
	}
	c, err := net.ListenUDP("udp4", &net.UDPAddr{Port: port})
	if err != nil {
		tb.Fatal(err)
	}
	_ = c.SetReadBuffer(4 << 20)
	_ = c.SetWriteBuffer(4 << 20)
	r := &responder{conn: ipv4.NewPacketConn(c), port: c.LocalAddr().(*net.UDPAddr).AddrPort().Port()}
	if err := r.conn.SetControlMessage(ipv4.FlagDst, true); err != nil {
		tb.Fatal(err)
	}
	r.done.Go(func() {
		buf := make([]byte, 2048)
		for {
			n, cm, from, err := r.conn.ReadFrom(buf)
			if errors.Is(err, net.ErrClosed) {
				return
			}
			if err != nil || cm == nil {
				continue
			}
			to, _ := netip.AddrFromSlice(cm.Dst)
			if b := answer(to.Unmap(), buf[:n]); b != nil {
				_, _ = r.conn.WriteTo(b, &ipv4.ControlMessage{Src: cm.Dst}, from)
			}
		}
	})
	tb.Cleanup(func() { c.Close(); r.done.Wait() })
	return r
}

// discoverAll runs a discovery and collects its candidates.
func discoverAll(tb testing.TB, ctx context.Context, cfg Config) ([]Candidate, Stats, error) {
	tb.Helper()
	found := make(chan Candidate)
	var all []Candidate
	var taking sync.WaitGroup
	taking.Go(func() {
		for c := range found {
			all = append(all, c)
		}
	})
	stats, err := Run(ctx, cfg, found)
	close(found)
	taking.Wait()
	return all, stats, err
}

func loopScope(tb testing.TB, targets string, snmpPort, ippPort uint16) *Scope {
	tb.Helper()
	s, problems, err := Parse(context.Background(), strings.Fields(targets), ParseOptions{SNMPPort: snmpPort, IPPPort: ippPort})
	if err != nil || len(problems) > 0 {
		tb.Fatal(err, problems)
	}
	return s
}

func kinds(all []Candidate) map[string]Kind {
	out := map[string]Kind{}
	for _, c := range all {
		if c.SNMP != nil {
			out[c.Target.Addr.String()] = c.Kind
		}
	}
	return out
}

func TestRunOnLoopback(t *testing.T) {
	agents := map[string]*agent{
		"127.77.1.10": newAgent(t, laser), "127.77.1.11": newAgent(t, switchbox), "127.77.1.12": newAgent(t, bare),
		"127.77.1.200": newAgent(t, laser),
	}
	old := newAgent(t, laser)
	old.versions = append(old.versions, 0)
	agents["127.77.1.20"] = old
	r := startResponder(t, func(to netip.Addr, request []byte) []byte {
		if a := agents[to.String()]; a != nil {
			return a.respond(request)
		}
		return nil
	})
	var last Progress
	calls := 0
	cfg := Config{
		Scope: loopScope(t, "127.77.1.0/24", r.port, 1), Credentials: public(), Pace: 5000, Retries: 1,
		Timeout: 300 * time.Millisecond, Listen: time.Second, NoMDNS: true, NoIPP: true,
		Progress: func(p Progress) { last = p; calls++ },
	}
	all, stats, err := discoverAll(t, t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]Kind{"127.77.1.10": Printer, "127.77.1.11": OtherHost, "127.77.1.12": Hinted, "127.77.1.20": Printer, "127.77.1.200": Printer}
	if got := kinds(all); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if stats.Addresses != 254 || stats.Probed != 254 || stats.Answered != 5 || stats.Printers != 3 || stats.Hinted != 1 || stats.OtherHosts != 1 || len(stats.Problems) != 0 {
		t.Errorf("stats %+v", stats)
	}
	if calls == 0 || last.Addresses != 254 || last.Sent != stats.PacketsSent || last.Answered != 5 || last.Printers != 3 || last.Probes < last.Sent {
		t.Errorf("last progress %+v after %d calls; sent %d", last, calls, stats.PacketsSent)
	}
}

// A closed port is told by the network; nobody waits for it. This needs the
// error queue of Linux.
func TestRunClosedPorts(t *testing.T) {
	if runtime.GOOS != "linux" {
		needtest.Missing(t, "IP_RECVERR, the error queue of Linux")
	}
	cfg := Config{Scope: loopScope(t, "127.77.2.0/28", closedUDP(t), 1), Credentials: public(), Retries: 2, NoMDNS: true, NoIPP: true}
	_, stats, err := discoverAll(t, t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	if stats.Unreachable != 14 || stats.Answered != 0 || stats.Prefixes[0].Note != NoAnswerNote {
		t.Errorf("stats %+v", stats)
	}
}

func closedUDP(t *testing.T) uint16 {
	t.Helper()
	c, err := net.ListenUDP("udp4", nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	return c.LocalAddr().(*net.UDPAddr).AddrPort().Port()
}

func TestRunIPv6(t *testing.T) {
	c, err := net.ListenUDP("udp6", &net.UDPAddr{IP: net.IPv6loopback})
	if err != nil {
		needtest.Missing(t, "IPv6 on the loopback interface: %v", err)
	}
	defer c.Close()
	a := newAgent(t, laser)
	go func() {
		buf := make([]byte, 2048)
		for {
			n, from, err := c.ReadFromUDPAddrPort(buf)
			if errors.Is(err, net.ErrClosed) {
				return
			}
			if b := a.respond(buf[:n]); err == nil && b != nil {
				_, _ = c.WriteToUDPAddrPort(b, from)
			}
		}
	}()
	port := c.LocalAddr().(*net.UDPAddr).AddrPort().Port()
	all, stats, err := discoverAll(t, t.Context(), Config{Scope: loopScope(t, "::1", port, 1), Credentials: public(), NoMDNS: true, NoIPP: true})
	if err != nil || len(all) != 1 || all[0].Kind != Printer || stats.Printers != 1 {
		t.Errorf("%v, %+v, %v", all, stats, err)
	}
}

// Several devices at one address, each with its own ports, as a lab has them
// where the system gives loopback one address.
func TestRunPortsOfOneAddress(t *testing.T) {
	one := startResponder(t, func(_ netip.Addr, q []byte) []byte { return newAgent(t, laser).respond(q) })
	two := startResponder(t, func(_ netip.Addr, q []byte) []byte { return newAgent(t, switchbox).respond(q) })
	a := netip.MustParseAddr("127.0.0.1")
	scope := NewScope([]Target{{a, two.port, 2}, {a, closedUDP(t), 3}, {a, one.port, 1}})
	all, stats, err := discoverAll(t, t.Context(), Config{Scope: scope, Credentials: public(), Timeout: 300 * time.Millisecond, Listen: 300 * time.Millisecond, NoMDNS: true, NoIPP: true})
	if err != nil {
		t.Fatal(err)
	}
	got := map[uint16]Kind{}
	for _, c := range all {
		got[c.Target.SNMPPort] = c.Kind
	}
	if len(got) != 2 || got[one.port] != Printer || got[two.port] != OtherHost || stats.Answered != 2 {
		t.Errorf("got %v, stats %+v", got, stats)
	}
}

// fakeDialer records what is tried.
type fakeDialer struct {
	mu    sync.Mutex
	tried []string
	open  map[string]bool
	now   int
	most  int
	hold  time.Duration
}

func (d *fakeDialer) dial(ctx context.Context, _, address string) (net.Conn, error) {
	d.mu.Lock()
	d.tried = append(d.tried, address)
	d.now++
	d.most = max(d.most, d.now)
	open := d.open[address]
	d.mu.Unlock()
	pauseFor(ctx, d.hold)
	d.mu.Lock()
	d.now--
	d.mu.Unlock()
	if !open {
		return nil, errors.New("connection refused")
	}
	c, _ := net.Pipe()
	return c, nil
}

// The IPP port is tried on hosts with hints first, then on the silent, the
// expected before the others; never on printers and other hosts.
func TestRunTriesIPP(t *testing.T) {
	agents := map[string]*agent{"127.77.3.1": newAgent(t, laser), "127.77.3.2": newAgent(t, switchbox), "127.77.3.13": newAgent(t, bare)}
	shares := newAgent(t, `1.3.6.1.2.1.1.1.0|4|Linux printer-host
1.3.6.1.2.1.1.2.0|6|1.3.6.1.4.1.8072.3.2.10
1.3.6.1.2.1.25.3.2.1.2.768|6|1.3.6.1.2.1.25.3.1.3
1.3.6.1.2.1.25.3.5.1.1.1280|2|3
`)
	agents["127.77.3.14"] = shares
	r := startResponder(t, func(to netip.Addr, request []byte) []byte {
		if a := agents[to.String()]; a != nil {
			return a.respond(request)
		}
		return nil
	})
	d := &fakeDialer{open: map[string]bool{"127.77.3.13:631": true, "127.77.3.5:631": true}}
	all, stats, err := discoverAll(t, t.Context(), Config{
		Scope: loopScope(t, "127.77.3.0/28", r.port, 631), Credentials: public(), Expected: []netip.Addr{netip.MustParseAddr("127.77.3.9")},
		Timeout: 500 * time.Millisecond, Listen: 500 * time.Millisecond, NoMDNS: true, ProbeRate: 1000, Dial: d.dial,
	})
	if err != nil {
		t.Fatal(err)
	}
	var open []string
	for _, c := range all {
		if c.IPPOpen {
			open = append(open, c.Target.Addr.String())
		}
	}
	slices.Sort(open)
	if !slices.Equal(open, []string{"127.77.3.13", "127.77.3.5"}) {
		t.Errorf("open: %v", open)
	}
	if k := kinds(all); k["127.77.3.14"] != OtherHost {
		t.Errorf("a computer that shares queues came out as %s", k["127.77.3.14"])
	}
	slices.Sort(d.tried[:2])
	if len(d.tried) != 12 || d.tried[0] != "127.77.3.13:631" || d.tried[1] != "127.77.3.14:631" || d.tried[2] != "127.77.3.9:631" {
		t.Errorf("tried %v", d.tried)
	}
	for _, not := range []string{"127.77.3.1:631", "127.77.3.2:631"} {
		if slices.Contains(d.tried, not) {
			t.Errorf("%s was tried", not)
		}
	}
	if stats.Answered != 5 || stats.Probed != 14 {
		t.Errorf("stats %+v", stats)
	}
}

func TestProbeLimits(t *testing.T) {
	scope := loopScope(t, "127.77.0.0/19", 161, 631) // 8,190 addresses
	d := &fakeDialer{hold: 2 * time.Millisecond}
	_, stats, err := discoverAll(t, t.Context(), Config{Scope: scope, NoSNMP: true, NoMDNS: true, ProbeRate: 1 << 20, Dial: d.dial})
	if err != nil {
		t.Fatal(err)
	}
	if len(d.tried) != MaxProbes || d.most > maxProbesOpen {
		t.Errorf("%d tried, %d at once; want %d and at most %d", len(d.tried), d.most, MaxProbes, maxProbesOpen)
	}
	if len(stats.Notes) != 1 || !strings.Contains(stats.Notes[0], "not at 4094 more") {
		t.Errorf("notes %v", stats.Notes)
	}
	if stats.Probed != MaxProbes {
		t.Errorf("%d probed", stats.Probed)
	}
}

// A raw print port is not tried, whoever names it.
func TestRawPrintPortsAreNotTried(t *testing.T) {
	for _, port := range []uint16{9100, 515} {
		d := &fakeDialer{}
		if _, _, err := discoverAll(t, t.Context(), Config{Scope: loopScope(t, "127.77.3.0/30", 161, port), NoSNMP: true, NoMDNS: true, Dial: d.dial}); err != nil {
			t.Fatal(err)
		}
		if len(d.tried) > 0 {
			t.Errorf("tried %v", d.tried)
		}
	}
}

func TestRunEndsWithContext(t *testing.T) {
	r := startResponder(t, func(to netip.Addr, q []byte) []byte {
		if to == netip.MustParseAddr("127.77.4.1") {
			return newAgent(t, laser).respond(q)
		}
		return nil
	})
	ctx, cancel := context.WithCancel(t.Context())
	found := make(chan Candidate)
	go func() {
		<-found
		cancel()
		for range found {
		}
	}()
	stats, err := Run(ctx, Config{Scope: loopScope(t, "127.77.4.0/24", r.port, 1), Credentials: public(), Interfaces: loopback(t)}, found)
	close(found)
	if !errors.Is(err, context.Canceled) || stats.Printers != 1 {
		t.Errorf("error %v, stats %+v", err, stats)
	}
}

// A taker that takes nothing does not keep Run from ending.
func TestRunEndsWithoutTaker(t *testing.T) {
	r := startResponder(t, func(_ netip.Addr, q []byte) []byte { return newAgent(t, laser).respond(q) })
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	_, err := Run(ctx, Config{Scope: loopScope(t, "127.77.5.0/28", r.port, 1), Credentials: public(), NoMDNS: true, NoIPP: true}, make(chan Candidate))
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error %v", err)
	}
}

func TestRunWithNothingToDo(t *testing.T) {
	if _, err := Run(t.Context(), Config{}, nil); err == nil {
		t.Error("no error without a scope")
	}
	stats, err := Run(t.Context(), Config{Scope: NewScope(nil), NoMDNS: true}, nil)
	if err != nil || stats.Addresses != 0 {
		t.Errorf("%+v, %v", stats, err)
	}
	stats, err = Run(t.Context(), Config{Scope: loopScope(t, "127.77.6.1", 161, 631), NoMDNS: true, NoIPP: true}, nil)
	if err != nil || len(stats.Notes) != 1 || !strings.Contains(stats.Notes[0], "no credential") {
		t.Errorf("%+v, %v", stats, err)
	}
}

// A host that refuses the SNMP port is there: an IPP-only printer refuses it,
// and its IPP port is tried however late its turn comes. An address that the
// network calls unreachable in two passes is not.
func TestProbeTriesHostsThatRefuseSNMP(t *testing.T) {
	scope := loopScope(t, "127.77.4.0/29", 161, 631)
	flags := newTable(scope.Len())
	s := newSweep(Config{Scope: scope, Retries: 2, Pace: DefaultPace}, nil, flags, newCounters(scope.Len()))
	for _, here := range []bool{true, false} {
		from := netip.MustParseAddrPort("127.77.4.2:161")
		if !here {
			from = netip.MustParseAddrPort("127.77.4.5:161")
		}
		for pass := range 2 {
			s.lanes[0].pass = pass
			s.take(event{kind: gone, from: from, here: here})
		}
	}
	p := newProber(scope, flags, s.count, nil, 0, nil)
	var tried []string
	for {
		i, ok := p.nextSilent()
		if !ok {
			break
		}
		if a := scope.At(i).Addr.String(); !slices.Contains(tried, a) {
			tried = append(tried, a)
		}
		flags.add(i, ippTried)
	}
	want := []string{"127.77.4.1", "127.77.4.2", "127.77.4.3", "127.77.4.4", "127.77.4.6"}
	slices.Sort(tried)
	if !slices.Equal(tried, want) {
		t.Errorf("tried %v, want %v", tried, want)
	}
}
