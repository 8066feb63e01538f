package discover

import (
	"encoding/hex"
	"fmt"
	"maps"
	"net"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/miekg/dns"
	"golang.org/x/net/ipv4"
)

// RFC 6763 section 6, rule by rule.
func TestTXTRules(t *testing.T) {
	long := make([]string, 200)
	for i := range long {
		long[i] = fmt.Sprintf("k%d=%s", i, strings.Repeat("v", 200))
	}
	for _, c := range []struct {
		name string
		txt  []string
		want map[string]string
	}{
		{"6.1 no strings, or an empty one, mean nothing", []string{""}, map[string]string{}},
		{"6.3 split at the first =", []string{"pdl=a=b=c"}, map[string]string{"pdl": "a=b=c"}},
		{"6.4 no = is a key without a value", []string{"passreq"}, map[string]string{"passreq": ""}},
		{"6.4 an empty value", []string{"PlugIns="}, map[string]string{"plugins": ""}},
		{"6.4 an empty key is ignored", []string{"=x", "="}, map[string]string{}},
		{"6.4 case does not matter and the first of equal keys counts",
			[]string{"papersize=A4", "PAPERSIZE=Letter", "Papersize"}, map[string]string{"papersize": "A4"}},
		{"6.4 spaces in a key count", []string{"a key=1", "akey=2"}, map[string]string{"a key": "1", "akey": "2"}},
		{"6.4 a key is printable ASCII", []string{"k\\195\\169=1", "k\\007=2", "ok=3"}, map[string]string{"ok": "3"}},
		{"6.5 a value is opaque and keeps its spaces", []string{`note= \195\169\000\"x `}, map[string]string{"note": " \u00e9\x00\"x "}},
		{"6.7 a version that is known", []string{"txtvers=1", "ty=Tessel"}, map[string]string{"txtvers": "1", "ty": "Tessel"}},
		{"6.7 a version that is not", []string{"txtvers=2", "ty=Tessel"}, map[string]string{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := parseTXT(c.txt); !maps.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
	if got := parseTXT(long); len(got) > maxTXTStrings {
		t.Errorf("%d keys kept", len(got))
	}
}

// The record printed in RFC 6763 section 6.6.
func TestTXTPublishedExample(t *testing.T) {
	rdata, err := hex.DecodeString("096b65793d76616c75650870617065723d41340770617373726571")
	if err != nil {
		t.Fatal(err)
	}
	var presented []string
	for len(rdata) > 0 {
		n := int(rdata[0])
		presented = append(presented, string(rdata[1:1+n]))
		rdata = rdata[1+n:]
	}
	want := map[string]string{"key": "value", "paper": "A4", "passreq": ""}
	if got := parseTXT(presented); !maps.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// RFC 6763 section 6.8: among several records the one with the lowest priority
// number is preferred; 50 when there is none.
func TestTXTPriority(t *testing.T) {
	got := preferred([][]string{{"rp=a"}, {"rp=b", "priority=20"}, {"rp=c", "priority=60"}, {"rp=d", "priority=x"}})
	if got["rp"] != "b" {
		t.Errorf("got %q", got)
	}
}

// The names printed in RFC 6763 sections 4.3 and 13, and what a hostile name
// becomes: the octets it has, to be cleaned where a device is joined.
func TestSplitInstance(t *testing.T) {
	for _, c := range []struct{ name, label, typ string }{
		{`Stuart's\032Printer._printer._tcp.local.`, "Stuart's Printer", "_printer._tcp"},
		{`Dots\.\.\.\\._ipp._tcp.local.`, `Dots...\`, "_ipp._tcp"},
		{`Office\ \195\169._IPPS._TCP.Local.`, "Office é", "_ipps._tcp"},
		{`\027[31m._ipp._tcp.local.`, "\x1b[31m", "_ipp._tcp"},
		{`Web._http._tcp.local.`, "", ""},
		{`_ipp._tcp.local.`, "", ""},
		{`a._sub._ipp._tcp.local.`, "", ""},
		{`a._ipp._tcp.example.`, "", ""},
		{``, "", ""},
		{`.`, "", ""},
	} {
		label, typ, ok := splitInstance(c.name)
		if label != c.label || typ != c.typ || ok != (c.typ != "") {
			t.Errorf("%q: got %q, %q, %v; want %q, %q", c.name, label, typ, ok, c.label, c.typ)
		}
	}
}

func rr(t testing.TB, s string) dns.RR {
	t.Helper()
	r, err := dns.NewRR(s)
	if err != nil {
		t.Fatalf("%s: %v", s, err)
	}
	return r
}

func heard(t testing.TB, lines ...string) *records {
	r := newRecords()
	for _, l := range lines {
		r.record(rr(t, l), "eth0")
	}
	return r
}

func TestServicesMergeTypes(t *testing.T) {
	r := heard(t,
		`_ipp._tcp.local. 120 IN PTR Front\ desk._ipp._tcp.local.`,
		`Front\ desk._ipp._tcp.local. 120 IN SRV 0 0 631 Front.local.`,
		`Front\ desk._ipp._tcp.local. 120 IN TXT "rp=ipp/print" "ty=Tessel L40"`,
		`FRONT\ DESK._ipps._tcp.local. 120 IN SRV 0 0 443 front.local.`,
		`Front\ desk._pdl-datastream._tcp.local. 120 IN SRV 0 0 1234 front.local.`,
		`Front\ desk._printer._tcp.local. 120 IN SRV 0 0 1235 front.local.`,
		`Front\ desk._printer._tcp.local. 120 IN TXT "rp=auto"`,
		`front.local. 120 IN A 10.1.2.3`,
		`front.local. 120 IN A 10.1.2.3`,
		`Front.local. 120 IN AAAA fe80::1`,
	)
	got := r.services()
	if len(got) != 1 {
		t.Fatalf("%d services, want 1", len(got))
	}
	s := got[0]
	if s.Instance != "Front desk" || s.Host != "Front.local" || s.Port != 631 || !s.TLS || s.TLSPort != 443 || s.TXT["rp"] != "ipp/print" {
		t.Errorf("got %+v", s)
	}
	if !slices.Equal(s.Types, []string{"_ipp._tcp", "_ipps._tcp", "_printer._tcp", "_pdl-datastream._tcp"}) {
		t.Errorf("types %v", s.Types)
	}
	if !slices.Equal(s.Addrs, []netip.Addr{netip.MustParseAddr("10.1.2.3"), netip.MustParseAddr("fe80::1%eth0")}) {
		t.Errorf("addresses %v", s.Addrs)
	}
}

// RFC 6763 section 8: a device without LPR holds its name by an SRV record with
// port 0; that is no service, even where it can be browsed.
func TestServicesFlagship(t *testing.T) {
	r := heard(t,
		`_printer._tcp.local. 120 IN PTR Only\ a\ name._printer._tcp.local.`,
		`Only\ a\ name._printer._tcp.local. 120 IN SRV 0 0 0 front.local.`,
		`Desk._printer._tcp.local. 120 IN SRV 0 0 0 front.local.`,
		`Desk._ipp._tcp.local. 120 IN SRV 0 0 631 front.local.`,
		`front.local. 120 IN A 10.1.2.3`,
	)
	got := r.services()
	if len(got) != 1 || got[0].Instance != "Desk" || !slices.Equal(got[0].Types, []string{"_ipp._tcp"}) {
		t.Errorf("got %+v", got)
	}
	if r.unfinished() != 0 {
		t.Errorf("%d count as unfinished", r.unfinished())
	}
}

func TestRecords(t *testing.T) {
	r := heard(t,
		`_ipp._tcp.local. 120 IN PTR a._ipp._tcp.local.`,
		`_ipp._tcp.local. 120 IN PTR b._ipp._tcp.local.`,
		`_ipp._tcp.local. 120 IN PTR c._printer._tcp.local.`, // not of this type
		`_http._tcp.local. 120 IN PTR d._http._tcp.local.`,
		`a._ipp._tcp.local. 120 IN SRV 0 0 631 host.local.`,
	)
	if len(r.instances) != 2 || r.unfinished() != 2 {
		t.Fatalf("%d instances, %d unfinished", len(r.instances), r.unfinished())
	}
	var asked []string
	for _, q := range r.missing() {
		asked = append(asked, q.Name+" "+dns.TypeToString[q.Qtype])
	}
	want := "a._ipp._tcp.local. TXT, host.local. A, host.local. AAAA, b._ipp._tcp.local. SRV, b._ipp._tcp.local. TXT"
	if got := strings.Join(asked, ", "); got != want {
		t.Errorf("would ask %s\nwant      %s", got, want)
	}
	if n := len(r.known(typeIPP)); n != 2 {
		t.Errorf("%d known answers, want 2", n)
	}
	news := r.news
	r.record(rr(t, `_ipp._tcp.local. 120 IN PTR a._ipp._tcp.local.`), "")
	r.record(rr(t, `A._ipp._tcp.local. 120 IN SRV 0 0 631 HOST.local.`), "")
	if r.news != news {
		t.Error("what is known already counts as news")
	}
	// The cache-flush bit is no part of the class (RFC 6762 section 10.2), and
	// another class is none of ours.
	flush := rr(t, `host.local. 120 IN A 10.1.2.3`)
	flush.Header().Class |= 1 << 15
	r.record(flush, "")
	r.record(rr(t, `host.local. 120 CH A 10.1.2.4`), "")
	if got := r.hosts["host.local."]; !slices.Equal(got, []netip.Addr{netip.MustParseAddr("10.1.2.3")}) {
		t.Errorf("addresses %v", got)
	}
	// A lifetime of 0 is a goodbye (RFC 6762 section 10.1).
	r.record(rr(t, `_ipp._tcp.local. 0 IN PTR a._ipp._tcp.local.`), "")
	if len(r.services()) != 0 || len(r.instances) != 1 {
		t.Errorf("the service that said goodbye is still there: %v", r.services())
	}
	// A link-local address without the interface it was heard on means nothing.
	r.record(rr(t, `host.local. 120 IN AAAA fe80::9`), "")
	if len(r.hosts["host.local."]) != 1 {
		t.Errorf("addresses %v", r.hosts["host.local."])
	}
}

func TestRecordsAreBounded(t *testing.T) {
	r := newRecords()
	for i := range 3 * maxInstances {
		r.record(rr(t, fmt.Sprintf(`n%d._ipp._tcp.local. 120 IN SRV 0 0 631 h%d.local.`, i, i)), "")
		r.record(rr(t, fmt.Sprintf(`h%d.local. 120 IN A 10.1.2.3`, i)), "")
		r.record(rr(t, fmt.Sprintf(`h0.local. 120 IN A 10.2.%d.%d`, i/256%256, i%256)), "")
		r.record(rr(t, fmt.Sprintf(`n0._ipp._tcp.local. 120 IN TXT "k=%d"`, i)), "")
	}
	if len(r.instances) > maxInstances || len(r.hosts) > maxHosts || len(r.hosts["h0.local."]) > maxHostAddrs || len(r.instances["n0._ipp._tcp.local."].txt) > maxTXTOfService {
		t.Errorf("%d instances, %d hosts", len(r.instances), len(r.hosts))
	}
}

func FuzzDNSMessage(f *testing.F) {
	m := &dns.Msg{MsgHdr: dns.MsgHdr{Response: true}, Answer: []dns.RR{
		rr(f, `_ipp._tcp.local. 120 IN PTR a\.b._ipp._tcp.local.`),
		rr(f, `a\.b._ipp._tcp.local. 120 IN SRV 0 0 631 host.local.`),
		rr(f, `a\.b._ipp._tcp.local. 120 IN TXT "rp=ipp/print" "\195\169=1"`),
	}, Extra: []dns.RR{rr(f, `host.local. 120 IN A 10.1.2.3`), rr(f, `host.local. 120 IN AAAA fe80::1`)}}
	packet, err := m.Pack()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(packet)
	f.Add(packet[:40])
	f.Fuzz(func(t *testing.T, b []byte) {
		r := newRecords()
		r.message(b, "eth0")
		r.message(b, "")
		for _, s := range r.services() {
			if s.Instance == "" || len(s.Addrs) == 0 || s.Port == 0 && s.TLSPort == 0 && len(s.Types) == 0 || len(s.Instance) > 255 {
				t.Errorf("service %+v", s)
			}
		}
		for _, q := range r.missing() {
			m := &dns.Msg{Question: []dns.Question{q}}
			if _, err := m.Pack(); err != nil {
				t.Errorf("cannot ask for %q: %v", q.Name, err)
			}
		}
		m := &dns.Msg{Answer: r.known(typeIPP)}
		if _, err := m.Pack(); err != nil {
			t.Errorf("cannot send known answers: %v", err)
		}
	})
}

func FuzzTXT(f *testing.F) {
	f.Add("rp=ipp/print", `note=\195\169`, "=")
	f.Add("txtvers=1", `\`, `\25`)
	f.Fuzz(func(t *testing.T, a, b, c string) {
		for k := range parseTXT([]string{a, b, c}) {
			if k == "" || strings.Contains(k, "=") || k != strings.ToLower(k) {
				t.Errorf("key %q", k)
			}
		}
		preferred([][]string{{a}, {b, c}})
	})
}

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
			t.Skip("multicast DNS on loopback is impossible here:", err)
		}
		defer w.close()
		if !w.shared {
			t.Skip("port 5353 cannot be shared here")
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
				t.Skip("multicast cannot be sent on loopback here:", err)
			}
			select {
			case <-echo:
				return []net.Interface{i}
			case <-time.After(100 * time.Millisecond):
			}
		}
		t.Skip("multicast on loopback does not come back here")
	}
	t.Skip("no loopback interface is up")
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
