package discover

import (
	"cmp"
	"net/netip"
	"slices"
	"sort"
)

// MaxAddresses is the largest scope there is, even when a large one was asked
// for: an index into it fits the 24 bits that a request-id has for it.
const MaxAddresses = 1 << 24

// span is a run of consecutive addresses that share their ports and the target
// that named them. An IPv6 span always holds one address.
type span struct {
	from   netip.Addr
	n      int
	snmp   uint16
	ipp    uint16
	origin int // index into Scope.targets
	start  int // index of from in the scope
}

func (s span) at(i int) netip.Addr {
	if i == 0 {
		return s.from
	}
	return addr4(number4(s.from) + uint32(i))
}

func (s span) contains(a netip.Addr) bool {
	if s.n == 1 || !a.Is4() {
		return s.from == a
	}
	return s.from.Is4() && a.Compare(s.from) >= 0 && number4(a)-number4(s.from) < uint32(s.n)
}

// Scope is a set of unique addresses in a fixed order. It stores runs of
// addresses, not each one, so a subnet of any size costs the same.
type Scope struct {
	spans   []span // by start
	byAddr  []int  // indices of spans, by from and SNMP port
	targets []string
	n       int
}

// NewScope returns the scope of these targets, without repetitions of an
// address at the same SNMP port. IPv4-mapped addresses are unmapped, invalid
// ones left out.
func NewScope(targets []Target) *Scope {
	type key struct {
		addr netip.Addr
		port uint16
	}
	seen := make(map[key]bool, len(targets))
	var spans []span
	var names []string
	for _, t := range targets {
		a := t.Addr.Unmap()
		k := key{a, t.SNMPPort}
		if !a.IsValid() || seen[k] {
			continue
		}
		seen[k] = true
		spans = append(spans, span{from: a, n: 1, snmp: t.SNMPPort, ipp: t.IPPPort, origin: len(names)})
		names = append(names, a.String())
	}
	return newScope(spans, names)
}

func newScope(spans []span, targets []string) *Scope {
	s := &Scope{spans: spans, targets: targets, byAddr: make([]int, len(spans))}
	for i := range s.spans {
		s.spans[i].start = s.n
		s.n += s.spans[i].n
		s.byAddr[i] = i
	}
	slices.SortFunc(s.byAddr, func(i, j int) int {
		a, b := s.spans[i], s.spans[j]
		return cmp.Or(a.from.Compare(b.from), cmp.Compare(a.snmp, b.snmp))
	})
	return s
}

// Len is the number of addresses.
func (s *Scope) Len() int { return s.n }

// Targets are the targets as they were given.
func (s *Scope) Targets() []string { return slices.Clone(s.targets) }

// At returns the target with index i, 0 <= i < Len.
func (s *Scope) At(i int) Target {
	p := s.spans[s.spanOf(i)]
	return Target{Addr: p.at(i - p.start), SNMPPort: p.snmp, IPPPort: p.ipp}
}

// Contains reports whether an address is in scope. The zone of a link-local
// IPv6 address counts.
func (s *Scope) Contains(a netip.Addr) bool {
	_, ok := s.Find(a)
	return ok
}

// Find returns the index of an address; where it is in scope with several SNMP
// ports, that of the lowest.
func (s *Scope) Find(a netip.Addr) (int, bool) {
	k, ok := s.run(a.Unmap())
	if !ok {
		return 0, false
	}
	p := s.spans[s.byAddr[k]]
	if p.n == 1 {
		return p.start, true
	}
	return p.start + int(number4(a.Unmap())-number4(p.from)), true
}

// findPort returns the index of an address with this SNMP port.
func (s *Scope) findPort(a netip.AddrPort) (int, bool) {
	k, ok := s.run(a.Addr().Unmap())
	for ; ok && k < len(s.byAddr); k++ {
		p := s.spans[s.byAddr[k]]
		switch {
		case !p.contains(a.Addr().Unmap()):
			return 0, false
		case p.snmp == a.Port() && p.n == 1:
			return p.start, true
		case p.snmp == a.Port():
			return p.start + int(number4(a.Addr().Unmap())-number4(p.from)), true
		}
	}
	return 0, false
}

// findIPP returns the index of an address with one of these IPP ports; where
// there is none, that of the address.
func (s *Scope) findIPP(a netip.Addr, ports ...uint16) (int, bool) {
	k, ok := s.run(a.Unmap())
	for ; ok && k < len(s.byAddr); k++ {
		p := s.spans[s.byAddr[k]]
		if !p.contains(a.Unmap()) {
			break
		}
		if p.n == 1 && slices.Contains(ports, p.ipp) {
			return p.start, true
		}
	}
	return s.Find(a)
}

// families reports whether there are IPv4 and IPv6 addresses.
func (s *Scope) families() (four, six bool) {
	for _, p := range s.spans {
		four = four || p.from.Is4()
		six = six || !p.from.Is4()
	}
	return four, six
}

// run finds the first run of addresses, by byAddr, that holds an address.
func (s *Scope) run(a netip.Addr) (int, bool) {
	// The last run that begins at or before a is the only one that can hold it;
	// runs that begin at the same address are single addresses with different ports.
	k := sort.Search(len(s.byAddr), func(k int) bool { return s.spans[s.byAddr[k]].from.Compare(a) > 0 }) - 1
	if k < 0 || !s.spans[s.byAddr[k]].contains(a) {
		return 0, false
	}
	for k > 0 && s.spans[s.byAddr[k-1]].from == s.spans[s.byAddr[k]].from {
		k--
	}
	return k, true
}

// Origin returns the target, as given, that brought an address into scope.
func (s *Scope) Origin(a netip.Addr) (string, bool) {
	i, ok := s.Find(a)
	if !ok {
		return "", false
	}
	return s.targets[s.originOf(i)], true
}

func (s *Scope) originOf(i int) int { return s.spans[s.spanOf(i)].origin }

func (s *Scope) spanOf(i int) int {
	return sort.Search(len(s.spans), func(k int) bool { return s.spans[k].start > i }) - 1
}

// number4 is an IPv4 address as a number.
func number4(a netip.Addr) uint32 {
	b := a.As4()
	return uint32(b[0])<<24 | uint32(b[1])<<16 | uint32(b[2])<<8 | uint32(b[3])
}

func addr4(n uint32) netip.Addr {
	return netip.AddrFrom4([4]byte{byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)})
}
