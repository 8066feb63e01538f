package main

import (
	"context"
	"errors"
	"net/netip"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/discover"
)

func TestFind(t *testing.T) {
	named := func(key, name, serial string, at ...string) device.Device {
		d := found(key, at...)
		d.Name, d.Serial = device.Text(name), device.Text(serial)
		return d
	}
	earlier := &device.Survey{Devices: []device.Device{
		named("serial:maker one:0042", "Landing", "0042", "10.0.2.4", "10.0.2.5"),
		named("uuid:4509a320-00a0-008f-00b6-002507510eca", "Twin", "", "10.0.2.6"),
		named("serial:maker one:0043", "Twin", "0043", "10.0.2.7"),
		named("serial:a:9", "Moved", "9", "10.0.1.77"),
	}}
	tests := []struct {
		name, query string
		addrs       []string
		site        string
		fail        string // part of the error
	}{
		{"address", "10.0.1.9", []string{"10.0.1.9"}, "North", ""},
		{"address of no site", "10.0.9.9", []string{"10.0.9.9"}, "", ""},
		{"address as a key", "addr:10.0.1.9", []string{"10.0.1.9"}, "North", ""},
		{"IPv6 in brackets", "[fd00::9]", []string{"fd00::9"}, "", ""},
		{"name in the site file", "front DESK", []string{"10.0.1.5"}, "North", ""},
		{"key in the site file, address in the survey", "serial:a:9", []string{"10.0.1.77"}, "North", ""},
		{"serial number", "0042", []string{"10.0.2.4", "10.0.2.5"}, "South", ""},
		{"key", "serial:maker one:0042", []string{"10.0.2.4", "10.0.2.5"}, "South", ""},
		{"UUID", "4509A320-00a0-008f-00b6-002507510eca", []string{"10.0.2.6"}, "South", ""},
		{"two of a name", "Twin", nil, "", `"Twin" may be any of: uuid:4509a320-00a0-008f-00b6-002507510eca, serial:maker one:0043`},
		{"unknown key", "serial:nobody:1", nil, "", "asked: site file, earlier survey)"},
		{"skipped", "10.0.1.201", nil, "", "skip list"},
		{"public", "192.0.2.7", nil, "", "--allow-public"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := planOf(t, twoSites)
			p.from, p.reach.noMDNS = earlier, true
			got, err := p.find(context.Background(), tt.query)
			if tt.fail != "" {
				if err == nil || !strings.Contains(err.Error(), tt.fail) {
					t.Errorf("got %v, want an error with %q", err, tt.fail)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			var at []string
			for _, x := range got.targets {
				at = append(at, x.Addr.String())
			}
			if strings.Join(at, " ") != strings.Join(tt.addrs, " ") {
				t.Errorf("found at %v, want %v", at, tt.addrs)
			}
			name := ""
			if got.site != nil {
				name = got.site.Name
			}
			if name != tt.site {
				t.Errorf("site %q, want %q", name, tt.site)
			}
		})
	}
}

func TestUnknownNameIsNoUsageError(t *testing.T) {
	p := planOf(t, "")
	p.reach.noMDNS = true
	_, err := p.find(context.Background(), "serial:nobody:1")
	var u *usageError
	if !notFound(err) || errors.As(err, &u) {
		t.Errorf("got %T: %v", err, err)
	}
}

func TestAnnounces(t *testing.T) {
	s := &discover.Service{
		Instance: "Lobby\x1b[31m printer", Host: "lobby-7.local.",
		Addrs: []netip.Addr{netip.MustParseAddr("10.0.0.1")},
		TXT:   map[string]string{"uuid": "4509a320-00a0-008f-00b6-002507510eca"},
	}
	for _, query := range []string{
		"lobby printer", "LOBBY-7.local", "lobby-7",
		"4509A320-00a0-008f-00b6-002507510eca", "uuid:4509a320-00a0-008f-00b6-002507510eca",
	} {
		if !announces(s, query) {
			t.Errorf("%q is not recognised", query)
		}
	}
	for _, query := range []string{"", "lobby", "uuid:", "local"} {
		if announces(s, query) {
			t.Errorf("%q is taken for it", query)
		}
	}
	if announces(&discover.Service{Instance: "x"}, "") {
		t.Error("nothing is taken for a service without a UUID")
	}
}

func TestSiteOf(t *testing.T) {
	p := planOf(t, "[[site]]\nname = \"Names\"\ntargets = [\"front.example\", \"back.example\"]\n"+twoSites[strings.Index(twoSites, "[[site]]"):])
	// Both names are known to the resolver: no look-up leaves the machine.
	for host, a := range map[string]string{"front.example": "10.0.8.1", "back.example": "10.0.8.2"} {
		l := &lookedUp{addrs: addrs(a)}
		l.once.Do(func() {})
		if p.names.known == nil {
			p.names.known = map[string]*lookedUp{}
		}
		p.names.known[host] = l
	}
	tests := []struct{ query, addr, want string }{
		{"10.0.1.9", "10.0.1.9", "North"},
		{"10.0.1.210", "10.0.1.210", "North"}, // in its skip list, and still its own
		{"10.0.7.7", "10.0.7.7", "South"},
		{"FRONT.example", "10.0.9.9", "Names"},
		{"10.0.8.2", "10.0.8.2", "Names"},
		{"10.0.9.9", "10.0.9.9", ""},
	}
	for _, tt := range tests {
		got := ""
		if s := p.siteOf(context.Background(), tt.query, netip.MustParseAddr(tt.addr)); s != nil {
			got = s.Name
		}
		if got != tt.want {
			t.Errorf("%s at %s: site %q, want %q", tt.query, tt.addr, got, tt.want)
		}
	}
}

func TestLookUpsAreMadeOnce(t *testing.T) {
	var r resolver
	const calls = 8
	asked := 0
	l := &lookedUp{}
	r.known = map[string]*lookedUp{"front.example": l}
	l.once.Do(func() { asked++; l.addrs = addrs("10.0.8.1") })
	hosts := make([]string, calls)
	for i := range hosts {
		hosts[i] = "front.example"
	}
	ahead(context.Background(), hosts, r.lookup)
	got, err := r.lookup(context.Background(), "front.example")
	if err != nil || len(got) != 1 || got[0] != addrs("10.0.8.1")[0] || asked != 1 {
		t.Errorf("got %v, %v after %d look-ups", got, err, asked)
	}
}
