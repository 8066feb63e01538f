package discover

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"math/bits"
	"net/netip"
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// usualNeighbours is the limit that Linux has by default (gc_thresh3).
const usualNeighbours = 1024

// neighbourLimit is how many neighbours the table of IPv4 takes. A container
// shares the table but is not told its limit: that of the kernel is assumed.
func neighbourLimit() int {
	limit, err := os.ReadFile("/proc/sys/net/ipv4/neigh/default/gc_thresh3")
	if err != nil {
		return usualNeighbours
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(limit)))
	if err != nil || n < 1 {
		return usualNeighbours
	}
	return n
}

// resolvedNeighbours are the neighbours that have an address, so that their
// places are taken; nil: not known.
func resolvedNeighbours() map[netip.Addr]bool {
	table, err := os.ReadFile("/proc/net/arp")
	if err != nil {
		return nil
	}
	return parseResolved(table)
}

// parseResolved reads the table: address, type, flags, ..., with the flag 2 of a
// neighbour that is resolved. Its first line is a heading.
func parseResolved(table []byte) map[netip.Addr]bool {
	const complete = 2
	out := map[netip.Addr]bool{}
	for line := range bytes.Lines(table) {
		f := bytes.Fields(line)
		if len(f) < 3 {
			continue
		}
		a, bad := netip.ParseAddr(string(f[0]))
		if flags, err := strconv.ParseUint(string(f[2]), 0, 32); err == nil && bad == nil && flags&complete != 0 {
			out[a] = true
		}
	}
	return out
}

// resolves reports whether an interface asks for the neighbour that has an
// address (ARP); where that cannot be found out it is taken to.
func resolves(name string) bool {
	ifr, err := unix.NewIfreq(name)
	if err != nil {
		return true
	}
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return true
	}
	defer unix.Close(fd)
	return unix.IoctlIfreq(fd, unix.SIOCGIFFLAGS, ifr) != nil || ifr.Uint16()&unix.IFF_NOARP == 0
}

// linkRoutes are the IPv4 routes without a gateway: networks that are attached
// although no address of an interface says so.
func linkRoutes() []netip.Prefix {
	table, err := os.ReadFile("/proc/net/route")
	if err != nil {
		return nil
	}
	return parseLinkRoutes(table)
}

// parseLinkRoutes reads the table of IPv4 routes: interface, destination,
// gateway, flags, ..., mask, with addresses in hexadecimal as they lie in memory.
func parseLinkRoutes(table []byte) []netip.Prefix {
	const flagUp, flagGateway = 1, 2
	var out []netip.Prefix
	lines := bufio.NewScanner(bytes.NewReader(table))
	for lines.Scan() {
		f := strings.Fields(lines.Text())
		if len(f) < 8 {
			continue
		}
		flags, err := strconv.ParseUint(f[3], 16, 32)
		if err != nil || flags&flagUp == 0 || flags&flagGateway != 0 || hasVirtualName(f[0]) || !resolves(f[0]) {
			continue
		}
		to, ok1 := hexAddr(f[1])
		mask, ok2 := hexAddr(f[7])
		if !ok1 || !ok2 {
			continue
		}
		out = append(out, netip.PrefixFrom(addr4(to), bits.OnesCount32(mask)).Masked())
	}
	return out
}

func hexAddr(s string) (uint32, bool) {
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != 4 {
		return 0, false
	}
	return binary.BigEndian.Uint32(binary.NativeEndian.AppendUint32(nil, binary.BigEndian.Uint32(b))), true
}
