package discover

import (
	"net"
	"net/netip"
	"strings"
)

// privateBlocks may be asked without being allowed to: RFC 1918 section 3,
// RFC 6598 section 7, RFC 3927 section 2.1, RFC 1122 section 3.2.1.3 (127/8),
// RFC 4193 section 3.1, RFC 4291 sections 2.5.3 and 2.5.6.
var privateBlocks = []netip.Prefix{
	netip.MustParsePrefix("10.0.0.0/8"),
	netip.MustParsePrefix("172.16.0.0/12"),
	netip.MustParsePrefix("192.168.0.0/16"),
	netip.MustParsePrefix("100.64.0.0/10"),
	netip.MustParsePrefix("169.254.0.0/16"),
	netip.MustParsePrefix("127.0.0.0/8"),
	netip.MustParsePrefix("fc00::/7"),
	netip.MustParsePrefix("fe80::/10"),
	netip.MustParsePrefix("::1/128"),
}

// private reports whether one private block holds both ends of a run.
func private(lo, hi netip.Addr) bool {
	for _, b := range privateBlocks {
		if b.Contains(lo.WithZone("")) && b.Contains(hi.WithZone("")) {
			return true
		}
	}
	return false
}

// notADevice says why an address cannot be that of a device, or nothing.
func notADevice(a netip.Addr) string {
	switch {
	case a.IsUnspecified(), a.Is4() && a.As4()[0] == 0:
		return `it means "this host" and is no address to ask; give the device's address`
	case a.IsMulticast():
		return "it is a multicast address; give the device's own address"
	case a.Is4() && a.As4()[0] >= 240:
		return "it is a reserved or broadcast address; give the device's own address"
	}
	return ""
}

// isRange tells a range from a host name with a hyphen: a range begins or ends
// with something that only an address looks like.
func isRange(arg string) bool {
	left, right, ok := strings.Cut(arg, "-")
	if !ok {
		return false
	}
	_, err1 := netip.ParseAddr(strings.TrimSpace(left))
	_, err2 := netip.ParseAddr(strings.TrimSpace(right))
	return err1 == nil || err2 == nil || strings.Trim(arg, "0123456789.- ") == ""
}

func hasPort(arg string) bool {
	host, port, err := net.SplitHostPort(arg)
	if err != nil || port == "" || strings.Trim(port, "0123456789") != "" {
		return false
	}
	_, err = netip.ParseAddr(host)
	return err == nil || isHostName(host)
}

// isHostName follows RFC 1123 section 2.1, with the underscore that some
// networks use. A name that is all digits and dots is a mistyped address.
func isHostName(s string) bool {
	s = strings.TrimSuffix(s, ".")
	if s == "" || len(s) > 253 || strings.Trim(s, "0123456789.") == "" {
		return false
	}
	for label := range strings.SplitSeq(s, ".") {
		if label == "" || len(label) > 63 || label[0] == '-' || label[len(label)-1] == '-' {
			return false
		}
		for _, c := range []byte(label) {
			if !(c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c == '-' || c == '_') {
				return false
			}
		}
	}
	return true
}
