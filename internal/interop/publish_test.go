package interop

import (
	"net"
	"net/netip"
	"testing"
	"time"

	"printround/internal/discover"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/needtest"
)

// A service that the reference publisher announces, with a name of dots,
// backslashes and letters beyond ASCII and a TXT record of every kind of key
// (RFC 6763 sections 4.3 and 6.4), is found as it was meant.
func TestReferencePublisher(t *testing.T) {
	env := startResponder(t)
	port := freeTCP(t)
	const name = `Plan room. 2 \ Größe (3)`
	startServer(t, env, needtest.Program(t, "avahi-publish"), "-s", name, "_ipp._tcp", portText(port),
		"txtvers=1", "rp=printers/plan room", "ty=Ulvarne P44", "note=", "Color", "product=(a=b)")
	cfg := discover.Config{
		Scope:      discover.NewScope([]discover.Target{{Addr: netip.MustParseAddr("127.0.0.1"), SNMPPort: freeUDP(t), IPPPort: port}}),
		Pace:       1000,
		Timeout:    500 * time.Millisecond,
		Listen:     4 * time.Second,
		NoSNMP:     true,
		Interfaces: []net.Interface{loopback(t)},
	}
	var s *discover.Service
	for range 3 { // the publisher probes for its name first (RFC 6762 section 8.1)
		if s = discovered(t, cfg, name); s != nil {
			break
		}
	}
	if s == nil {
		t.Fatalf("%q was not discovered", name)
	}
	if s.Port != port || s.Host == "" {
		t.Errorf("at %s:%d, want port %d", s.Host, s.Port, port)
	}
	want := map[string]string{"txtvers": "1", "rp": "printers/plan room", "ty": "Ulvarne P44", "note": "", "color": "", "product": "(a=b)"}
	for key, value := range want {
		if got, ok := s.TXT[key]; !ok || got != value {
			t.Errorf("TXT %s = %q, %v, want %q", key, got, ok, value)
		}
	}
	if len(s.TXT) != len(want) {
		t.Errorf("TXT has %v", s.TXT)
	}
}

// The reference browser sees the printers of the lab where they are, with their
// resource path and what they are.
func TestReferenceBrowserSeesTheLab(t *testing.T) {
	env := startResponder(t)
	l := labtest.Start(t, lab.Options{Seed: labSeed(t)})
	var seen []announcement
	deadline := time.Now().Add(30 * time.Second)
	for len(seen) == 0 && time.Now().Before(deadline) {
		seen = browse(t, env, "_ipp._tcp")
	}
	if len(seen) == 0 {
		t.Fatal("avahi-browse lists no printer of the lab")
	}
	places := map[string]bool{}
	for _, d := range l.Devices() {
		for _, a := range d.Addrs {
			places[net.JoinHostPort(a.String(), portText(uint16(d.IPPPort)))] = true
		}
	}
	for _, a := range seen {
		if !places[net.JoinHostPort(a.addr, a.port)] {
			t.Errorf("%s at %s:%s is no printer of the lab", a.kind, a.addr, a.port)
		}
		if a.txt["rp"] == "" || a.txt["ty"] == "" {
			t.Errorf("%s:%s: TXT %v", a.addr, a.port, a.txt)
		}
	}
	t.Logf("%d announcements of the lab seen", len(seen))
}
