package interop

import (
	"context"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/needtest"
	"printround/internal/survey"

	"github.com/miekg/dns"
)

// announcement is one resolved line of the reference browser.
type announcement struct {
	kind, host, addr, port string
	txt                    map[string]string
}

// browse lists the services of a type with avahi-browse. Its parsable output
// has the fields event;interface;protocol;name;type;domain;host;address;port;txt
// (avahi-browse(1), option -p).
func browse(t *testing.T, env []string, kind string) []announcement {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, needtest.Program(t, "avahi-browse"), "-rtpk", kind)
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("avahi-browse: %v", err)
	}
	var all []announcement
	for line := range strings.Lines(string(out)) {
		f := strings.SplitN(strings.TrimRight(line, "\n"), ";", 10)
		if len(f) < 10 || f[0] != "=" {
			continue
		}
		a := announcement{kind: f[4], host: f[6], addr: f[7], port: f[8], txt: map[string]string{}}
		for pair := range strings.SplitSeq(strings.Trim(f[9], `"`), `" "`) {
			key, value, _ := strings.Cut(pair, "=")
			a.txt[strings.ToLower(key)] = value
		}
		all = append(all, a)
	}
	return all
}

// looks is how often something is looked for that goes by multicast, which is
// lost on a busy machine.
const looks = 3

// The tool finds the sample printer's announcement with the host, port and TXT
// record that the reference browser prints, and reads the device behind it.
func TestSamplePrinterAnnouncement(t *testing.T) {
	p := startPrinter(t, "exit 0", "-l", "Ground floor, lab")
	var want []announcement
	deadline := time.Now().Add(20 * time.Second)
	for secure := 0; len(want) == 0 || secure == 0; {
		if time.Now().After(deadline) {
			t.Fatalf("avahi-browse lists %d and %d services, want 1 of each", len(want), secure)
		}
		want, secure = browse(t, p.env, "_ipp._tcp"), len(browse(t, p.env, "_ipps._tcp"))
	}
	if len(want) != 1 {
		t.Fatalf("avahi-browse lists %d services, want 1", len(want))
	}
	cfg := discover.Config{
		Scope:      discover.NewScope([]discover.Target{{Addr: netip.MustParseAddr("127.0.0.1"), SNMPPort: freeUDP(t), IPPPort: p.port}}),
		Pace:       1000,
		Timeout:    500 * time.Millisecond,
		Listen:     4 * time.Second, // a busy machine answers late
		NoSNMP:     true,
		Interfaces: []net.Interface{loopback(t)},
	}
	w := want[0]
	var service *discover.Service
	for range looks {
		if service = discovered(t, cfg, p.name); service != nil && service.TLS && len(service.TXT) == len(w.txt) {
			break
		}
	}
	if service == nil {
		t.Fatalf("%q was not discovered", p.name)
	}
	if service.Host != w.host || portText(service.Port) != w.port {
		t.Errorf("service at %s:%d, want %s:%s", service.Host, service.Port, w.host, w.port)
	}
	for key, value := range w.txt {
		if service.TXT[key] != value {
			t.Errorf("TXT %s: got %q, want %q", key, service.TXT[key], value)
		}
	}
	if len(service.TXT) != len(w.txt) {
		t.Errorf("%d TXT keys, want %d", len(service.TXT), len(w.txt))
	}
	if !service.TLS {
		t.Error("the sample printer announces _ipps._tcp too")
	}

	var s *device.Survey
	for range looks {
		var err error
		if s, err = survey.Run(t.Context(), survey.Options{Discover: cfg, NoSNMP: true, Timeout: 5 * time.Second}); err != nil {
			t.Fatal(err)
		}
		if len(s.Devices) == 1 && s.Devices[0].Reached.MDNS.OK {
			break
		}
	}
	if len(s.Devices) != 1 {
		t.Fatalf("%d devices, want 1: %v", len(s.Devices), s.Errors)
	}
	d := s.Devices[0]
	if !d.Reached.MDNS.OK || string(d.Reached.MDNS.Instance) != p.name || !d.Reached.IPP.OK {
		t.Errorf("reached %+v, want DNS-SD by the name %q, and IPP", d.Reached, p.name)
	}
	if got := printerAttributes(t, p.uri)["printer-uuid"]; got != "urn:uuid:"+string(d.UUID) {
		t.Errorf("UUID %s, want %s", d.UUID, got)
	}
}

// discovered runs discovery and returns the last news of a service.
func discovered(t *testing.T, cfg discover.Config, instance string) (found *discover.Service) {
	t.Helper()
	news := make(chan discover.Candidate)
	done := make(chan error, 1)
	go func() {
		_, err := discover.Run(t.Context(), cfg, news)
		close(news)
		done <- err
	}()
	for c := range news {
		if c.Service != nil && c.Service.Instance == instance {
			found = c.Service
		}
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	return found
}

func loopback(t *testing.T) net.Interface {
	t.Helper()
	all, err := net.Interfaces()
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range all {
		if i.Flags&net.FlagLoopback != 0 && i.Flags&net.FlagUp != 0 {
			return i
		}
	}
	needtest.Missing(t, "no loopback interface is up")
	return net.Interface{}
}

// Where loopback is the only interface a system sends multicast from 0.0.0.0 if
// it is let, and the reference responder ignores that: questions say where they
// come from.
func TestQuestionsHaveASource(t *testing.T) {
	lo := loopback(t)
	conn, err := net.ListenMulticastUDP("udp4", &lo, &net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	ctx, cancel := context.WithCancel(t.Context())
	asked := make(chan struct{})
	go func() {
		defer close(asked)
		_, _ = discover.Run(ctx, discover.Config{
			Scope:  discover.NewScope([]discover.Target{{Addr: netip.MustParseAddr("127.0.0.1"), SNMPPort: 1, IPPPort: 1}}),
			NoSNMP: true, NoIPP: true, Interfaces: []net.Interface{lo},
		}, nil)
	}()
	defer func() { cancel(); <-asked }()
	_ = conn.SetReadDeadline(time.Now().Add(20 * time.Second))
	buf := make([]byte, 1<<16)
	for {
		n, from, err := conn.ReadFromUDPAddrPort(buf)
		if err != nil {
			t.Fatalf("no question from 127.0.0.1: %v", err)
		}
		m := new(dns.Msg)
		if m.Unpack(buf[:n]) == nil && !m.Response && from.Addr().Unmap().IsLoopback() {
			return
		}
	}
}
