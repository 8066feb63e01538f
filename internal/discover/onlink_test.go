package discover

import (
	"net/netip"
	"testing"
)

func TestOnLink(t *testing.T) {
	n := &network{
		prefixes: []netip.Prefix{netip.MustParsePrefix("10.1.2.0/24"), netip.MustParsePrefix("fd00:1::/64")},
		own:      map[netip.Addr]bool{netip.MustParseAddr("10.1.2.9"): true},
	}
	for a, want := range map[string]bool{
		"10.1.2.3": true, "10.1.3.3": false, "10.1.2.9": false, "127.0.0.5": false, "::1": false,
		"fd00:1::5": true, "fd00:2::5": false, "fe80::1%eth0": true,
	} {
		if got := n.onLink(netip.MustParseAddr(a)); got != want {
			t.Errorf("%s on-link: %v, want %v", a, got, want)
		}
	}
	for targets, want := range map[string]int{
		"10.1.2.0/24": 253, "10.1.0.0/16": 255, "10.2.0.0/16": 0, "10.1.1.250-10.1.2.5": 6, "fd00:1::5 fe80::1%eth0 127.0.0.1": 2,
	} {
		s := loopScope(t, targets, 161, 631)
		if got := n.count(s); got != want {
			t.Errorf("%s: %d on-link, want %d", targets, got, want)
		}
	}
}
