package lab

import (
	"context"
	"net"
	"printround/internal/needtest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/grandcat/zeroconf"
	"github.com/miekg/dns"
)

// announced starts a lab with DNS-SD; a system that does not let it do so
// skips the test, which CI must not.
func announced(t *testing.T) *Lab {
	t.Helper()
	l, err := Start(context.Background(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	if l.turn.number != 0 {
		t.Logf("lab number %d", l.turn.number+1)
	}
	if notes := l.Notes(); len(notes) > 0 {
		needtest.Missing(t, "%s", strings.Join(notes, "; "))
	}
	return l
}

// TestInstanceNames: RFC 6763 section 4.3 escapes dots and backslashes; other
// octets outside printable ASCII take the decimal form of RFC 1035 section 5.1.
func TestInstanceNames(t *testing.T) {
	for in, want := range map[string]string{
		"Front desk":    `Front\032desk`,
		"Mr. Printer":   `Mr\.\032Printer`,
		`a\b`:           `a\\b`,
		"Drivers' room": `Drivers\039\032room`,
		"Büro":          `B\195\188ro`,
	} {
		if got := instanceName(in); got != want {
			t.Errorf("%q: got %s, want %s", in, got, want)
		}
		var m dns.Msg
		m.SetQuestion(instanceName(in)+"._ipp._tcp.local.", dns.TypeSRV)
		b, err := m.Pack()
		if err != nil || int(b[12]) != len(in) || string(b[13:13+len(in)]) != in {
			t.Errorf("%q does not survive packing: %v", in, err)
		}
	}
}

// TestOneShotQuery: a query from another port than 5353 is answered to its
// sender, with its id and question, short-lived and without cache-flush bits
// (RFC 6762 section 6.7).
func TestOneShotQuery(t *testing.T) {
	l := announced(t)
	d := named(t, l, "front-desk")
	var name, host string
	for _, s := range *l.announce.services.Load() {
		if strings.HasPrefix(s.host, "nq-front-desk") && s.kind == "_ipp._tcp.local." {
			name, host = s.name, s.host
		}
	}
	for _, c := range []struct {
		question string
		kind     uint16
		want     func(*dns.Msg) bool
	}{
		{name, dns.TypeSRV, func(m *dns.Msg) bool {
			srv, ok := m.Answer[0].(*dns.SRV)
			return ok && int(srv.Port) == d.IPPPort && srv.Target == host && len(m.Extra) == 1
		}},
		{name, dns.TypeTXT, func(m *dns.Msg) bool {
			txt, ok := m.Answer[0].(*dns.TXT)
			return ok && txt.Txt[0] == "txtvers=1" && slices.Contains(txt.Txt, "rp=ipp/print") && slices.Contains(txt.Txt, "UUID="+d.UUID)
		}},
		{strings.ToUpper(host), dns.TypeA, func(m *dns.Msg) bool {
			a, ok := m.Answer[0].(*dns.A)
			return ok && a.A.String() == d.Addr.String()
		}},
		{metaQuery, dns.TypePTR, func(m *dns.Msg) bool { return len(m.Answer) == 2 }},
		{"_print._sub._ipp._tcp.local.", dns.TypePTR, func(m *dns.Msg) bool { return strings.Contains(m.Answer[0].(*dns.PTR).Ptr, "._ipp._tcp.local.") }},
	} {
		t.Run(c.question, func(t *testing.T) {
			m := oneShot(t, c.question, c.kind, c.want)
			for _, rr := range append(m.Answer, m.Extra...) {
				if rr.Header().Ttl > ttlOneShot || rr.Header().Class != dns.ClassINET {
					t.Errorf("record %v", rr)
				}
			}
			if len(m.Question) != 1 || m.Len() > 1500 {
				t.Errorf("question %v, %d octets", m.Question, m.Len())
			}
		})
	}
}

// oneShot returns the answer that is wanted; others on the machine may answer
// too, or may have answered for a lab that ended.
func oneShot(t *testing.T, name string, kind uint16, wanted func(*dns.Msg) bool) *dns.Msg {
	t.Helper()
	c, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	var q dns.Msg
	q.SetQuestion(name, kind)
	q.Id = 4711
	b, err := q.Pack()
	if err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 9000)
	for range 5 { // multicast may be lost
		if _, err := c.WriteToUDP(b, mdnsGroup); err != nil {
			t.Fatal(err)
		}
		if err := c.SetReadDeadline(time.Now().Add(time.Second)); err != nil {
			t.Fatal(err)
		}
		for {
			n, _, err := c.ReadFromUDP(buf)
			if err != nil {
				break
			}
			var m dns.Msg
			if m.Unpack(buf[:n]) != nil || m.Id != 4711 || !m.Response || len(m.Answer) == 0 {
				continue
			}
			if wanted(&m) {
				return &m
			}
			t.Logf("another answer: %v", &m)
		}
	}
	t.Fatalf("not the wanted answer to %s", name)
	return nil
}

// TestBrowse finds the announced printers with a general-purpose browser.
func TestBrowse(t *testing.T) {
	l := announced(t)
	loop, err := loopbackInterface()
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]bool{}
	for _, s := range *l.announce.services.Load() {
		if s.kind == "_ipp._tcp.local." {
			want[s.host] = true
		}
	}
	if len(want) < 12 {
		t.Fatalf("only %d services", len(want))
	}
	r, err := zeroconf.NewResolver(zeroconf.SelectIfaces([]net.Interface{*loop}), zeroconf.SelectIPTraffic(zeroconf.IPv4))
	if err != nil {
		needtest.Missing(t, "no browser: %v", err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	entries := make(chan *zeroconf.ServiceEntry, 64)
	if err := r.Browse(ctx, "_ipp._tcp", "local.", entries); err != nil {
		t.Fatal(err)
	}
	for e := range entries {
		delete(want, e.HostName)
		if len(e.AddrIPv4) == 0 || e.Port == 0 || len(e.Text) < 10 {
			t.Errorf("%s is incomplete: %+v", e.Instance, e)
		}
		if len(want) == 0 {
			cancel()
		}
	}
	if len(want) > 0 {
		t.Errorf("not found: %v", want)
	}
}

// TestKnownAnswers: what the asker has is not sent again (RFC 6762 section
// 7.1).
func TestKnownAnswers(t *testing.T) {
	s := &dnssd{kind: "_ipp._tcp.local.", sub: "_print", name: `A._ipp._tcp.local.`, host: "a.local.", port: 1, txt: []string{"txtvers=1"}}
	a := &announcer{}
	a.services.Store(&[]*dnssd{s})
	var q dns.Msg
	q.SetQuestion(s.kind, dns.TypePTR)
	if got := a.sets(&q); len(got) != 1 || len(got[0].extra) != 2 {
		t.Fatalf("got %v", got)
	}
	fresh, old := s.ptr(ttlOther), s.ptr(ttlOther/2-1)
	q.Answer = []dns.RR{old}
	if got := a.sets(&q); len(got) != 1 {
		t.Errorf("a record past half its life: got %v", got)
	}
	q.Answer = []dns.RR{fresh}
	if got := a.sets(&q); len(got) != 0 {
		t.Errorf("a fresh record: got %v", got)
	}
}

// TestTXT holds the records to RFC 6763 section 6: keys of at most nine
// characters, strings of at most 255 octets, no key twice.
func TestTXT(t *testing.T) {
	l := announced(t)
	for _, s := range *l.announce.services.Load() {
		seen := map[string]bool{}
		total := 0
		for i, kv := range s.txt {
			key, _, ok := strings.Cut(kv, "=")
			if !ok || key == "" || len(key) > 9 || len(kv) > 255 || seen[strings.ToLower(key)] {
				t.Errorf("%s: %q", s.name, kv)
			}
			seen[strings.ToLower(key)] = true
			total += 1 + len(kv)
			if i == 0 && kv != "txtvers=1" {
				t.Errorf("%s begins with %q", s.name, kv)
			}
		}
		if total > 1300 {
			t.Errorf("%s: %d octets", s.name, total)
		}
	}
}
