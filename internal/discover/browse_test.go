package discover

import (
	"fmt"
	"maps"
	"net"
	"printround/internal/needtest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/miekg/dns"
	"golang.org/x/net/ipv4"
)

// loopback returns the loopback interface, or skips where the system does not
// carry multicast on it.
func loopback(t testing.TB) []net.Interface {
	t.Helper()
	all, err := net.Interfaces()
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range all {
		if i.Flags&net.FlagLoopback == 0 || i.Flags&net.FlagUp == 0 {
			continue
		}
		w, err := openMDNS([]net.Interface{i})
		if err != nil {
			needtest.Missing(t, "multicast DNS on the loopback interface: %v", err)
		}
		defer w.close()
		if !w.shared {
			needtest.Missing(t, "a shared port 5353: another program holds it alone")
		}
		echo := make(chan struct{}, 1)
		go w.hear(func([]byte, string) {
			select {
			case echo <- struct{}{}:
			default:
			}
		})
		for range 10 {
			if err := w.ask([]dns.Question{{Name: "probe.local.", Qtype: dns.TypeA, Qclass: dns.ClassINET}}, nil); err != nil {
				needtest.Missing(t, "multicast on the loopback interface: %v", err)
			}
			select {
			case <-echo:
				return []net.Interface{i}
			case <-time.After(100 * time.Millisecond):
			}
		}
		needtest.Missing(t, "multicast on the loopback interface: what is sent does not come back")
	}
	needtest.Missing(t, "a loopback interface that is up")
	return nil
}

// announcer is a responder on loopback, over the DNS library.
type announcer struct {
	conn    *ipv4.PacketConn
	mu      sync.Mutex
	queries []*dns.Msg
	done    sync.WaitGroup
	raw     *net.UDPConn
}

// startAnnouncer answers queries with what answer returns: each message is sent
// to the group as one packet.
func startAnnouncer(t *testing.T, ifaces []net.Interface, answer func(*dns.Msg) []*dns.Msg) *announcer {
	t.Helper()
	c, err := net.ListenUDP("udp4", &net.UDPAddr{IP: mdnsGroup.IP, Port: mdnsGroup.Port})
	if err != nil {
		t.Fatal(err)
	}
	_ = c.SetReadBuffer(4 << 20)
	a := &announcer{conn: ipv4.NewPacketConn(c), raw: c}
	if err := a.conn.JoinGroup(&ifaces[0], mdnsGroup); err != nil {
		t.Fatal(err)
	}
	a.done.Go(func() {
		buf := make([]byte, maxDatagram)
		for {
			n, _, _, err := a.conn.ReadFrom(buf)
			if err != nil {
				return
			}
			m := new(dns.Msg)
			if m.Unpack(buf[:n]) != nil || m.Response {
				continue
			}
			a.mu.Lock()
			a.queries = append(a.queries, m)
			a.mu.Unlock()
			for _, r := range answer(m) {
				a.send(t, ifaces[0], r)
			}
		}
	})
	t.Cleanup(func() { c.Close(); a.done.Wait() })
	return a
}

func (a *announcer) send(t *testing.T, ifi net.Interface, m *dns.Msg) {
	m.Response, m.Authoritative = true, true
	b, err := m.Pack()
	if err != nil {
		t.Error(err)
		return
	}
	_, _ = a.conn.WriteTo(b, &ipv4.ControlMessage{IfIndex: ifi.Index}, mdnsGroup)
}

func answers(list ...dns.RR) *dns.Msg { return &dns.Msg{Answer: list} }

// browseLoopback runs a discovery that only browses.
func browseLoopback(t *testing.T, ifaces []net.Interface, targets string) (map[string]*Service, Stats) {
	t.Helper()
	all, stats, err := discoverAll(t, t.Context(), Config{Scope: loopScope(t, targets, 161, 631), NoSNMP: true, NoIPP: true, Interfaces: ifaces})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]*Service{}
	for _, c := range all {
		if c.Service != nil {
			got[c.Service.Instance] = c.Service
		}
	}
	return got, stats
}

// Three hundred services that answer at once, each in a packet of its own: all
// are found.
func TestBrowseBurst(t *testing.T) {
	lo := loopback(t)
	const many = 300
	startAnnouncer(t, lo, func(q *dns.Msg) []*dns.Msg {
		var out []*dns.Msg
		for _, question := range q.Question {
			if question.Qtype != dns.TypePTR || question.Name != "_ipp._tcp.local." {
				continue
			}
			known := map[string]bool{}
			for _, k := range q.Answer {
				if p, ok := k.(*dns.PTR); ok {
					known[p.Ptr] = true
				}
			}
			for i := range many {
				name := fmt.Sprintf(`Burst\ %d._ipp._tcp.local.`, i)
				if known[name] {
					continue
				}
				out = append(out, answers(
					rr(t, "_ipp._tcp.local. 120 IN PTR "+name),
					rr(t, fmt.Sprintf("%s 120 IN SRV 0 0 631 burst%d.local.", name, i)),
					rr(t, fmt.Sprintf(`%s 120 IN TXT "rp=ipp/print" "ty=Tessel %d"`, name, i)),
					rr(t, fmt.Sprintf("burst%d.local. 120 IN A 127.81.%d.%d", i, i/200, i%200+1))))
			}
		}
		return out
	})
	got, _ := browseLoopback(t, lo, "127.81.0.0/22")
	for i := range many {
		s := got[fmt.Sprintf("Burst %d", i)]
		if s == nil {
			t.Fatalf("service %d of %d is missing; %d found", i, many, len(got))
		}
		if want := fmt.Sprintf("127.81.%d.%d", i/200, i%200+1); s.Port != 631 || s.TXT["ty"] != fmt.Sprintf("Tessel %d", i) || s.Addrs[0].String() != want {
			t.Errorf("service %d: %+v", i, s)
		}
	}
}

// Services whose records come one by one, each only to its own question, with a
// type of its own, a name in another case and a name that needs escapes.
func TestBrowseSeparateRecords(t *testing.T) {
	lo := loopback(t)
	zone := []dns.RR{
		rr(t, `_ipp._tcp.local. 120 IN PTR Slow\ \195\169\.\ desk._ipp._tcp.local.`),
		rr(t, `slow\ \195\169\.\ desk._ipp._tcp.local. 120 IN SRV 0 0 8631 Slow-Host.local.`),
		rr(t, `Slow\ \195\169\.\ desk._ipp._tcp.local. 120 IN TXT "txtvers=1" "rp=ipp/print" "note=2nd floor"`),
		rr(t, `slow-host.local. 120 IN A 127.82.0.1`),
		rr(t, `_ipps._tcp.local. 120 IN PTR Slow\ \195\169\.\ desk._ipps._tcp.local.`),
		rr(t, `Slow\ \195\169\.\ desk._ipps._tcp.local. 120 IN SRV 0 0 8443 slow-host.local.`),
		rr(t, `_printer._tcp.local. 120 IN PTR Slow\ \195\169\.\ desk._printer._tcp.local.`),
		rr(t, `Slow\ \195\169\.\ desk._printer._tcp.local. 120 IN SRV 0 0 0 slow-host.local.`),
		rr(t, `_pdl-datastream._tcp.local. 120 IN PTR Raw\ only._pdl-datastream._tcp.local.`),
		rr(t, `Raw\ only._pdl-datastream._tcp.local. 120 IN SRV 0 0 1234 raw-host.local.`),
		rr(t, `Raw\ only._pdl-datastream._tcp.local. 120 IN TXT "ty=Ambry R1"`),
		rr(t, `raw-host.local. 120 IN A 127.82.0.2`),
		rr(t, `_ipp._tcp.local. 120 IN PTR Elsewhere._ipp._tcp.local.`),
		rr(t, `Elsewhere._ipp._tcp.local. 120 IN SRV 0 0 631 elsewhere.local.`),
		rr(t, `Elsewhere._ipp._tcp.local. 120 IN TXT "rp=ipp/print"`),
		rr(t, `elsewhere.local. 120 IN A 127.82.99.1`),
		rr(t, `_ipp._tcp.local. 120 IN PTR No\ address._ipp._tcp.local.`),
		rr(t, `No\ address._ipp._tcp.local. 120 IN SRV 0 0 631 nowhere.local.`),
	}
	a := startAnnouncer(t, lo, func(q *dns.Msg) []*dns.Msg {
		var out []*dns.Msg
		for _, question := range q.Question {
			for _, r := range zone {
				if h := r.Header(); h.Rrtype == question.Qtype && strings.EqualFold(h.Name, question.Name) {
					out = append(out, answers(r))
				}
			}
		}
		return out
	})
	got, stats := browseLoopback(t, lo, "127.82.0.0/24")
	s := got["Slow é. desk"]
	if s == nil {
		s = got["slow é. desk"]
	}
	if s == nil {
		t.Fatalf("not found: %v", slices.Collect(maps.Keys(got)))
	}
	if s.Port != 8631 || !s.TLS || s.TLSPort != 8443 || s.TXT["note"] != "2nd floor" || s.TXT["rp"] != "ipp/print" || s.Addrs[0].String() != "127.82.0.1" {
		t.Errorf("got %+v", s)
	}
	if !slices.Equal(s.Types, []string{"_ipp._tcp", "_ipps._tcp"}) {
		t.Errorf("types %v: a name held with port 0 is no service", s.Types)
	}
	if r := got["Raw only"]; r == nil || r.Port != 0 || r.TLS || r.TXT["ty"] != "Ambry R1" {
		t.Errorf("without IPP: %+v", r)
	}
	if got["Elsewhere"] != nil {
		t.Error("a service outside the targets was emitted")
	}
	notes := strings.Join(stats.Notes, "\n")
	for _, want := range []string{"DNS-SD does not cross subnets", "announced outside the targets", "announced without an address"} {
		if !strings.Contains(notes, want) {
			t.Errorf("notes %q, want %q", notes, want)
		}
	}
	if stats.Answered != 2 {
		t.Errorf("%d hosts answered, want 2", stats.Answered)
	}
	// Known answers are listed, so that a responder need not repeat itself.
	a.mu.Lock()
	defer a.mu.Unlock()
	if !slices.ContainsFunc(a.queries, func(m *dns.Msg) bool { return len(m.Answer) > 0 }) {
		t.Error("no question carried known answers")
	}
}

func TestBrowseWithoutMulticast(t *testing.T) {
	stats, err := Run(t.Context(), Config{Scope: loopScope(t, "127.82.1.1", 161, 631), NoSNMP: true, NoIPP: true, Interfaces: []net.Interface{}}, nil)
	if err != nil || len(stats.Notes) != 1 || !strings.Contains(stats.Notes[0], "DNS-SD was not browsed") {
		t.Errorf("%v, %v", stats.Notes, err)
	}
}

// Questions with many known answers go out in several packets, all but the last
// with the TC bit (RFC 6762 section 7.2).
func TestAskSplitsKnownAnswers(t *testing.T) {
	lo := loopback(t)
	var mu sync.Mutex
	var got []*dns.Msg
	all := make(chan struct{})
	startAnnouncer(t, lo, func(m *dns.Msg) []*dns.Msg {
		mu.Lock()
		defer mu.Unlock()
		if len(m.Question) > 0 && m.Question[0].Name != "split.local." || len(m.Answer) == 0 || !strings.HasPrefix(m.Answer[0].(*dns.PTR).Ptr, "Split") {
			return nil
		}
		got = append(got, m)
		if !m.Truncated {
			close(all)
		}
		return nil
	})
	w, err := openMDNS(lo)
	if err != nil {
		t.Fatal(err)
	}
	defer w.close()
	r := newRecords()
	for i := range 300 {
		r.record(rr(t, fmt.Sprintf(`_ipp._tcp.local. 120 IN PTR Split\ %d._ipp._tcp.local.`, i)), "")
	}
	if err := w.ask([]dns.Question{{Name: "split.local.", Qtype: dns.TypePTR, Qclass: dns.ClassINET}}, r.known(typeIPP)); err != nil {
		t.Fatal(err)
	}
	select {
	case <-all:
	case <-time.After(5 * time.Second):
		t.Fatal("the last packet did not come")
	}
	mu.Lock()
	defer mu.Unlock()
	total := 0
	for i, m := range got {
		total += len(m.Answer)
		if m.Len() > mdnsPacket || len(m.Question) > 1 || (i == 0) != (len(m.Question) == 1) {
			t.Errorf("packet %d: %d octets, %d questions", i, m.Len(), len(m.Question))
		}
	}
	if total != 300 || len(got) < 2 {
		t.Errorf("%d known answers in %d packets, want 300 in several", total, len(got))
	}
}
