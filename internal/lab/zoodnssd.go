package lab

import (
	"fmt"
	"net"
	"strings"
)

func announcing(name, help string, change func(s *dnssd)) misbehaviour {
	return misbehaviour{Misbehaviour{name, overDNSSD, help}, func(o *oddity) { o.announce = change }}
}

// conflicting is the address that a host name has beside its own: that of the
// scenario's first device.
const conflicting = 10

var zooDNSSD = []misbehaviour{
	announcing("dnssd-port-0", "is announced with port 0, which is no service", func(s *dnssd) { s.port = 0 }),
	announcing("dnssd-no-txt", "is announced without a TXT record", func(s *dnssd) { s.txt = nil }),
	announcing("dnssd-long-txt", "is announced with a TXT record of 9 KiB", func(s *dnssd) {
		for n := range 38 {
			s.txt = append(s.txt, fmt.Sprintf("more%02d=", n)+strings.Repeat("x", 240))
		}
	}),
	announcing("dnssd-odd-names", "is announced under a name with dots, backslashes, spaces and accents", func(s *dnssd) {
		s.name = asReceived(instanceName(`The "2.nd" \ floor. Büro; a=b`) + "." + s.kind)
	}),
	announcing("dnssd-goodbye", "is announced and says goodbye as soon as somebody asks", func(s *dnssd) { s.leaves = true }),
	announcing("dnssd-conflict", "its host name has the address of another device as well", func(s *dnssd) {
		other := append(net.IP(nil), s.addrs[0].To4()...)
		other[3] = conflicting
		s.addrs = append(s.addrs, other)
	}),
	announcing("dnssd-link-local", "is announced at a link-local IPv6 address only", func(s *dnssd) {
		s.addrs = []net.IP{net.ParseIP("fe80::7ed9:1")}
	}),
}
