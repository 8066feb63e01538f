package discover

import (
	"encoding/hex"
	"fmt"
	"maps"
	"net/netip"
	"slices"
	"strings"
	"testing"

	"github.com/miekg/dns"
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

// A goodbye holds (RFC 6762 section 10.1): the records that say it for the rest
// of the service do not bring it back, nor does what another browser heard
// before. A new announcement does.
func TestGoodbyeHolds(t *testing.T) {
	service := []string{
		`Desk._ipp._tcp.local. 120 IN SRV 0 0 631 desk.local.`,
		`Desk._ipp._tcp.local. 120 IN TXT "rp=ipp/print"`,
		`desk.local. 120 IN A 10.1.2.3`,
	}
	const ptr, bye = `_ipp._tcp.local. 4500 IN PTR Desk._ipp._tcp.local.`, `_ipp._tcp.local. 0 IN PTR Desk._ipp._tcp.local.`
	r := heard(t, append([]string{ptr}, service...)...)
	if len(r.services()) != 1 {
		t.Fatalf("%d services", len(r.services()))
	}
	for _, l := range append([]string{bye, `Desk._ipp._tcp.local. 0 IN SRV 0 0 631 desk.local.`, `Desk._ipp._tcp.local. 0 IN TXT "rp=x"`}, service...) {
		r.record(rr(t, l), "eth0")
	}
	if len(r.services()) != 0 || len(r.instances) != 0 || len(r.missing()) != 0 {
		t.Errorf("after the goodbye: %d services, %d instances, asks %v", len(r.services()), len(r.instances), r.missing())
	}
	for _, l := range append([]string{ptr}, service...) {
		r.record(rr(t, l), "eth0")
	}
	if len(r.services()) != 1 {
		t.Errorf("announced anew: %d services", len(r.services()))
	}
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
