package discover

import (
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strings"
)

// widestLocal is the widest prefix of an own interface that is offered for a
// sweep: 4,094 addresses.
const widestLocal = 20

// LocalPrefixes returns the private IPv4 subnets that this machine is attached
// to, for a sweep without targets: those of interfaces that are up, never of
// loopback, tunnel, VPN, point-to-point or virtual interfaces. Of an attached
// subnet wider than /20 only the /20 around the own address is returned.
func LocalPrefixes() ([]netip.Prefix, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, fmt.Errorf("listing the network interfaces: %w; name the targets", err)
	}
	var found []attached
	for _, ifi := range all {
		addrs, err := ifi.Addrs()
		if err != nil {
			continue
		}
		found = append(found, attached{ifi, prefixesOf(addrs), isPhysical(ifi.Name)})
	}
	return localPrefixes(found), nil
}

// attached is an interface with what is known of it.
type attached struct {
	net.Interface
	prefixes []netip.Prefix // address and prefix length, not masked
	physical bool
}

func localPrefixes(all []attached) []netip.Prefix {
	var out []netip.Prefix
	for _, ifi := range all {
		if ifi.Flags&net.FlagUp == 0 || ifi.Flags&(net.FlagLoopback|net.FlagPointToPoint) != 0 ||
			ifi.Flags&net.FlagBroadcast == 0 || len(ifi.HardwareAddr) != 6 || !ifi.physical || hasVirtualName(ifi.Name) {
			continue
		}
		for _, p := range ifi.prefixes {
			a := p.Addr()
			if !a.Is4() || !a.IsPrivate() || p.Bits() > 30 {
				continue
			}
			p = netip.PrefixFrom(a, max(p.Bits(), widestLocal)).Masked()
			if !slices.Contains(out, p) {
				out = append(out, p)
			}
		}
	}
	return out
}

// virtualNames begin the names of interfaces that tunnels, VPNs, containers and
// hypervisors make (common practice, no source).
var virtualNames = []string{
	"tun", "tap", "ppp", "pppoe", "wg", "utun", "ipsec", "gif", "stf", "sit", "gre", "vti", "zt", "tailscale",
	"docker", "veth", "virbr", "br-", "lxc", "lxd", "cni", "cali", "flannel", "podman", "vnet", "vmnet", "vboxnet",
	"vethernet", "dummy", "ifb", "awdl", "llw", "bridge", "anpi", "npcap", "loopback",
}

func hasVirtualName(name string) bool {
	name = strings.ToLower(name)
	for _, v := range virtualNames {
		if strings.HasPrefix(name, v) {
			return true
		}
	}
	return false
}

func prefixesOf(addrs []net.Addr) []netip.Prefix {
	var out []netip.Prefix
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		if !ok {
			continue
		}
		ip, ok := netip.AddrFromSlice(n.IP)
		if !ok {
			continue
		}
		ones, bits := n.Mask.Size()
		ip = ip.Unmap()
		if ip.Is4() && bits == 128 {
			ones -= 96
		}
		if ones >= 0 && bits > 0 {
			out = append(out, netip.PrefixFrom(ip, ones))
		}
	}
	return out
}
