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
)

// neighbourRoom is how many neighbours the table of IPv4 can still take; less
// than 0: not known.
func neighbourRoom() int {
	limit, err := os.ReadFile("/proc/sys/net/ipv4/neigh/default/gc_thresh3")
	if err != nil {
		return -1
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(limit)))
	if err != nil {
		return -1
	}
	table, err := os.ReadFile("/proc/net/arp")
	if err != nil {
		return n
	}
	return max(0, n-max(0, bytes.Count(table, []byte("\n"))-1)) // its first line is a heading
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
		if err != nil || flags&flagUp == 0 || flags&flagGateway != 0 || hasVirtualName(f[0]) {
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
