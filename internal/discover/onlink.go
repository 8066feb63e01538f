package discover

import (
	"net"
	"net/netip"
)

// Sending to an address of an attached network makes the system look for its
// neighbour first, and the table of neighbours is small: an unresolved one holds
// a place in it, and memory of the socket, for about three seconds, and one that
// answers keeps its place for up to 45 s. A sweep that is faster than the table
// loses probes to live devices without an error. So on-link addresses have a
// pace and a lane of their own.
const (
	// nearPace is the on-link pace while the table has room. Each new address is
	// a broadcast, and each that nobody has two more. Three seconds later the
	// system reports them as unreachable at the same pace, of which Linux lets a
	// thousand a second pass (icmp_msgs_per_sec), in bursts of 50.
	nearPace = 1000
	// plainPace is the on-link pace where the table cannot be looked at.
	plainPace = 100
)

// onLink returns the pace of on-link addresses, and the room for them.
func onLink(pace int) (perSecond int, room *places) {
	limit := neighbourLimit()
	if limit <= 0 {
		return min(pace, plainPace), nil
	}
	return min(pace, nearPace), &places{limit: limit, resolved: resolvedNeighbours}
}

// network is what is known of the attached networks.
type network struct {
	prefixes []netip.Prefix
	own      map[netip.Addr]bool
	links    []link
}

// link is an interface that had a link.
type link struct {
	name     string
	index    int
	prefixes []netip.Prefix
}

// attachedNetwork looks at the interfaces that are up. Loopback, point-to-point
// links and others without address resolution have no neighbours to resolve.
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
		l := link{name: ifi.Name, index: ifi.Index}
		for _, p := range prefixesOf(addrs) {
			n.own[p.Addr()] = true
			if ifi.Flags&(net.FlagLoopback|net.FlagPointToPoint) == 0 && resolves(ifi.Name) {
				n.prefixes = append(n.prefixes, p.Masked())
				l.prefixes = append(l.prefixes, p.Masked())
			}
		}
		if ifi.Flags&net.FlagRunning != 0 && len(l.prefixes) > 0 {
			n.links = append(n.links, l)
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

// down returns what lists the attached networks of a scope whose interface had
// a link when they were looked at and has none any more.
func (n *network) down(s *Scope) func() []string {
	var mine []link
	for _, l := range n.links {
		at := network{prefixes: l.prefixes}
		if at.count(s) > 0 {
			mine = append(mine, l)
		}
	}
	return func() []string {
		var out []string
		for _, l := range mine {
			if ifi, err := net.InterfaceByIndex(l.index); err != nil || ifi.Flags&net.FlagUp == 0 || ifi.Flags&net.FlagRunning == 0 {
				out = append(out, l.name)
			}
		}
		return out
	}
}
