package survey

import (
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/discover"
)

func addrs(list ...string) []netip.Addr {
	out := make([]netip.Addr, len(list))
	for i, s := range list {
		out[i] = netip.MustParseAddr(s)
	}
	return out
}

func found(key string, at ...string) device.Device {
	d := device.Device{Key: key, Aliases: []string{key}, Role: device.RolePrinter, Addresses: addrs(at...)}
	d.Reached.SNMP.OK = true
	return d
}

func missed(key string, at ...string) device.Device {
	d := found(key, at...)
	d.Reached.SNMP.OK = false
	return d
}

func TestMerge(t *testing.T) {
	t0 := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	north := &device.Survey{
		Started: t0, Finished: t0.Add(9 * time.Second), ToolVersion: "v", Site: "North",
		Scope: device.Scope{
			Targets: []string{"10.0.1.0/24"}, Addresses: 254, Probed: 254, Answered: 3, NotPrinters: 1, SilentExpected: 1,
			Prefixes: []device.Prefix{{Target: "10.0.1.0/24", Probed: 254, Answered: 3, Printers: 2}},
			Notes:    []string{"DNS-SD does not cross subnets"},
		},
		Devices:     []device.Device{found("serial:a:1", "10.0.1.5"), found("serial:a:2", "10.0.1.6"), missed("serial:a:3", "10.0.1.7")},
		Unconfirmed: []device.Unconfirmed{{Address: netip.MustParseAddr("10.0.1.9"), Reason: "hint"}},
		Errors:      []device.Problem{{Stage: "mdns", Message: "no multicast"}},
	}
	south := &device.Survey{
		Started: t0.Add(-time.Second), Finished: t0.Add(5 * time.Second), ToolVersion: "v", Site: "South",
		Partial: true, PartialReason: "interrupted",
		Scope: device.Scope{
			Targets: []string{"10.0.2.0/24"}, Addresses: 254, Probed: 10, Answered: 2,
			Prefixes: []device.Prefix{{Target: "10.0.2.0/24", Probed: 10, Answered: 2, Printers: 2}},
			Notes:    []string{"DNS-SD: 3 announced outside the targets, not looked at", "DNS-SD does not cross subnets"},
		},
		// The first is the device of North with its other interface, the second
		// the one that North missed.
		Devices: []device.Device{found("serial:a:1", "10.0.2.5"), found("serial:a:3", "10.0.2.7")},
		Errors:  []device.Problem{{Stage: "mdns", Message: "no multicast"}},
	}
	got, err := Merge([]*Fleet{Hold(north), Hold(south)}).Survey()
	if err != nil {
		t.Fatal(err)
	}
	want := &device.Survey{
		Schema:  device.SurveySchema,
		Started: t0.Add(-time.Second), Finished: t0.Add(9 * time.Second), ToolVersion: "v", Site: "North, South",
		Partial: true, PartialReason: "South: interrupted",
		Scope: device.Scope{
			Targets: []string{"10.0.1.0/24", "10.0.2.0/24"}, Addresses: 508, Probed: 264, Answered: 5, NotPrinters: 1, Unconfirmed: 1,
			Prefixes: []device.Prefix{north.Scope.Prefixes[0], south.Scope.Prefixes[0]},
			Notes:    []string{"DNS-SD does not cross subnets"},
		},
		Devices:     []device.Device{found("serial:a:1", "10.0.1.5", "10.0.2.5"), found("serial:a:2", "10.0.1.6"), found("serial:a:3", "10.0.2.7", "10.0.1.7")},
		Unconfirmed: north.Unconfirmed,
		Errors:      north.Errors,
	}
	if diff := cmp.Diff(want, got, cmp.Comparer(func(a, b netip.Addr) bool { return a == b }), cmp.AllowUnexported(device.Level{})); diff != "" {
		t.Errorf("merged survey (-want +got):\n%s", diff)
	}
	if len(north.Devices[0].Addresses) != 1 {
		t.Error("merging changed one of the surveys")
	}
}

func TestSameDevice(t *testing.T) {
	two := func(key string, aliases ...string) *device.Device {
		return &device.Device{Key: key, Aliases: aliases, Role: device.RolePrinter}
	}
	tests := []struct {
		name string
		a, b *device.Device
		want bool
	}{
		{"same key", two("serial:a:1"), two("serial:a:1"), true},
		{"a lasting alias", two("serial:a:1", "serial:a:1", "uuid:x"), two("uuid:x", "uuid:x"), true},
		{"an address is none", two("serial:a:1", "serial:a:1", "addr:10.0.0.1"), two("serial:a:2", "serial:a:2", "addr:10.0.0.1"), false},
		{"two printers of one box", two("mac:x#1", "mac:x"), two("mac:x#2", "mac:x"), false},
		{"no aliases", two("addr:10.0.0.1"), two("addr:10.0.0.2"), false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := SameDevice(tt.a, tt.b); got != tt.want {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
	queue := two("serial:a:1")
	queue.Role = device.RoleServerQueue
	if SameDevice(queue, two("serial:a:1")) {
		t.Error("a queue of a server is not the device")
	}
}

// An announcement whose UUID is another device's names nobody at this address.
func TestAnnouncementOfAnotherDevice(t *testing.T) {
	const own, other = "0a907428-92e0-407c-b220-5c90e89dd58d", "611b5fae-512d-474b-a18d-1fbcf772772e"
	for _, tt := range []struct {
		device, announced string
		named             bool
	}{{own, own, true}, {own, strings.ToUpper(own), true}, {own, other, false}, {own, "", true}, {"", other, true}} {
		s := &serviceInfo{}
		s.note(&discover.Service{Instance: "Front desk", TXT: map[string]string{"uuid": tt.announced}})
		d := device.Device{Name: "Own name", UUID: device.Text(tt.device)}
		if s.apply(&d); d.Reached.MDNS.OK != tt.named || (d.Name == "Front desk") != tt.named {
			t.Errorf("%q announced at %q: %q, %+v", tt.announced, tt.device, d.Name, d.Reached.MDNS)
		}
	}
}
