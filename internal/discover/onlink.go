package discover

import (
	"net"
	"net/netip"
)

// Sending to an address of an attached network makes the system look for its
// neighbour first, and the table of neighbours is small: an unresolved one holds
// a place in it, and memory of the socket, for about three seconds. A sweep that
// is faster than the table loses probes to live devices without an error. So
// on-link addresses have their own pace.
const (
	// smallPace is the pace where all on-link targets fit the table at once.
	smallPace = 500
	// plainPace is the on-link pace where the table cannot be looked at.
	plainPace = 100
	// placeTime is how many seconds a neighbour that answers keeps its place
	// before the system may give it away (5 s on Linux), with some room.
	placeTime = 8
	leastPace = 20
)

// network is what is known of the attached networks.
type network struct {
	prefixes []netip.Prefix
	own      map[netip.Addr]bool
}

// attachedNetwork looks at the interfaces that are up. Loopback and
// point-to-point links have no neighbours to resolve.
func attachedNetwork() *network {
	n := &network{own: map[netip.Addr]bool{}}
	all, err := net.Interfaces()
	if err != nil {
		return n
	}
	for _, ifi := range all {
		addrs, err := ifi.Addrs()
		if err != nil || ifi.Flags&net.FlagUp == 0 {
			continue
		}
		for _, p := range prefixesOf(addrs) {
			n.own[p.Addr()] = true
			if ifi.Flags&(net.FlagLoopback|net.FlagPointToPoint) == 0 {
				n.prefixes = append(n.prefixes, p.Masked())
			}
		}
	}
	n.prefixes = append(n.prefixes, linkRoutes()...)
	return n
}

// onLink reports whether an address is that of a neighbour.
func (n *network) onLink(a netip.Addr) bool {
	if a.IsLoopback() || n.own[a] {
		return false
	}
	if a.IsLinkLocalUnicast() {
		return true
	}
	for _, p := range n.prefixes {
		if p.Contains(a) {
			return true
		}
	}
	return false
}

// count returns how many addresses of a scope are on-link.
func (n *network) count(s *Scope) int {
	c := 0
	for _, v := range s.spans {
		if !n.touches(v) {
			continue
		}
		for i := range v.n {
			if n.onLink(v.at(i)) {
				c++
			}
		}
	}
	return c
}

// touches reports whether a run can have on-link addresses at all.
func (n *network) touches(v span) bool {
	first, last := v.from, v.at(v.n-1)
	for _, p := range n.prefixes {
		if p.Contains(first) || p.Contains(last) || first.Is4() && p.Addr().Is4() && first.Compare(p.Addr()) <= 0 && p.Addr().Compare(last) <= 0 {
			return true
		}
	}
	return first.IsLinkLocalUnicast()
}

// onLinkPace is the pace for n on-link addresses when the neighbour table has
// this much room; less than 0: not known.
func onLinkPace(n, room, pace int) int {
	switch {
	case room < 0:
		return min(pace, plainPace)
	case n <= room/2:
		return min(pace, smallPace)
	}
	return min(pace, max(room/placeTime, leastPace))
}
