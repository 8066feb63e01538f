package zootest

import (
	"net"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/lab"
	"printround/internal/needtest"
	"printround/internal/snmp"
	"printround/internal/survey"
)

// announced are the devices that misbehave over DNS-SD, all in one office, and
// what a sweep of it gets.
var announced = []struct {
	name, host string
	mdns       bool   // the announcement names the device
	called     string // its name then; empty: the device's own title
}{
	{"dnssd-port-0", "copy-1", false, ""},
	{"dnssd-no-txt", "copy-2", true, ""},
	{"dnssd-long-txt", "corridor", true, ""},
	{"dnssd-odd-names", "harbour-copy", true, `The "2.nd" \ floor. Büro; a=b`},
	{"dnssd-goodbye", "workshop", false, ""},
	{"dnssd-conflict", "training", true, ""}, // 127.x.3.10 as well, which is depot-office
	{"dnssd-link-local", "plan-room", false, ""},
}

// A sweep of the office of odd announcers: each is found once with its own
// facts, whatever DNS-SD says of it.
func TestAnnouncements(t *testing.T) {
	faults := map[string]string{}
	for _, a := range announced {
		faults[a.host] = a.name
	}
	p := newPen(t, lab.Options{Faults: faults})
	for _, n := range p.Notes() {
		if strings.Contains(n, "no DNS-SD announcements") {
			needtest.Missing(t, "%s", n)
		}
	}
	var targets []discover.Target
	var creds []snmp.Credential
	for _, a := range append([]string{"depot-office"}, hostsOf()...) {
		targets = append(targets, p.target(t, a))
		c := snmp.Secret(p.device(t, a).Community)
		if !slices.ContainsFunc(creds, func(o snmp.Credential) bool { return o.Community == c }) {
			creds = append(creds, snmp.Credential{Label: "office", Version: snmp.V2c, Community: c})
		}
	}
	s, err := survey.Run(t.Context(), survey.Options{
		Credentials: creds, Timeout: 5 * time.Second, Retries: 2,
		Discover: discover.Config{Scope: discover.NewScope(targets), Pace: 1000, Retries: 1, Timeout: time.Second, Listen: 4 * time.Second, Interfaces: loopback(t)},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range s.Errors {
		t.Errorf("line about trouble: %+v", e)
	}
	if len(s.Devices) != len(targets) {
		t.Errorf("%d devices, want %d", len(s.Devices), len(targets))
	}
	for _, a := range announced {
		t.Run(a.name, func(t *testing.T) {
			want := p.device(t, a.host)
			d := swept(t, s, want)
			plain(t, d)
			if a.called == "" {
				a.called = want.Title
			}
			if !d.Reached.SNMP.OK || !d.Reached.IPP.OK || string(d.Serial) != want.Serial || string(d.Name) != a.called {
				t.Errorf("%q, serial %s, reached %+v; want %q, %s", d.Name, d.Serial, d.Reached, a.called, want.Serial)
			}
			if d.Reached.MDNS.OK != a.mdns {
				t.Errorf("DNS-SD %+v, want %v", d.Reached.MDNS, a.mdns)
			}
		})
	}
	// The other device of the conflict keeps its name and is there once.
	depot := p.device(t, "depot-office")
	if d := swept(t, s, depot); string(d.Name) != depot.Title || string(d.Serial) != depot.Serial {
		t.Errorf("%q, serial %s: want %q, %s", d.Name, d.Serial, depot.Title, depot.Serial)
	}
	if note := "announced outside the targets, not looked at"; !slices.ContainsFunc(s.Scope.Notes, func(n string) bool { return strings.Contains(n, note) }) {
		t.Errorf("notes %q, want one that says %q", s.Scope.Notes, note)
	}
}

func hostsOf() (out []string) {
	for _, a := range announced {
		out = append(out, a.host)
	}
	return out
}

// swept is the one device of the survey at an address.
func swept(t *testing.T, s *device.Survey, want lab.Device) *device.Device {
	t.Helper()
	var found []*device.Device
	for i := range s.Devices {
		if slices.ContainsFunc(want.Addrs, func(a netip.Addr) bool { return slices.Contains(s.Devices[i].Addresses, a) }) {
			found = append(found, &s.Devices[i])
		}
	}
	if len(found) != 1 {
		t.Fatalf("%s: %d devices at %v", want.Name, len(found), want.Addrs)
	}
	return found[0]
}

func loopback(t *testing.T) []net.Interface {
	t.Helper()
	all, err := net.Interfaces()
	if err != nil {
		t.Fatal(err)
	}
	return slices.DeleteFunc(all, func(i net.Interface) bool { return i.Flags&net.FlagLoopback == 0 })
}
