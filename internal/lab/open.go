package lab

import (
	"fmt"
	"net"
	"net/netip"

	"printround/internal/lab/agent"
)

// loopback is the one address that every system has.
var loopback = netip.MustParseAddr("127.0.0.1")

// tries bounds the search for a port that is free on all addresses.
const tries = 16

// onePort reports whether all devices share 127.0.0.1.
func (l *Lab) onePort() bool { return l.options.OnePort }

// open puts the organisation on the network.
func (l *Lab) open() error {
	if !l.options.OnePort && !canBind(l.nodes[0].addrs[0]) {
		l.options.OnePort = true
		l.notes = append(l.notes, "this system has no loopback address but 127.0.0.1: every device has ports of its own")
	}
	if l.options.OnePort {
		for _, n := range l.nodes {
			for i := range n.addrs {
				n.addrs[i] = loopback
			}
		}
	}
	if err := l.openSNMP(); err != nil {
		return err
	}
	if err := l.openIPP(); err != nil {
		return err
	}
	if !l.options.NoMDNS {
		l.openMDNS()
	}
	return nil
}

// canBind tells whether the system has the address.
func canBind(a netip.Addr) bool {
	c, err := net.ListenUDP("udp", net.UDPAddrFromAddrPort(netip.AddrPortFrom(a, 0)))
	if err != nil {
		return false
	}
	c.Close()
	return true
}

func (l *Lab) openSNMP() error {
	l.byPlace.Store(&map[netip.AddrPort]*node{})
	if agent.OneSocket && !l.options.OnePort {
		s, err := agent.ListenAll(l.options.SNMPPort, l.find)
		if err != nil {
			return err
		}
		l.snmp = s
		l.setPorts(func(int) int { return s.Port() })
		return nil
	}
	base, err := l.firstPort("udp", l.options.SNMPPort)
	if err != nil {
		return err
	}
	step := 0
	if l.options.OnePort {
		step = 1
	}
	l.setPorts(func(i int) int { return base + i*step })
	var at []netip.AddrPort
	for _, n := range l.nodes {
		for i, a := range n.addrs {
			if n.host != nil && !n.off.Load() {
				at = append(at, netip.AddrPortFrom(a, uint16(n.ports[i])))
			}
		}
	}
	l.snmp, err = agent.ListenEach(at, l.find)
	return err
}

// setPorts gives every address its SNMP port and says who answers where.
func (l *Lab) setPorts(port func(i int) int) {
	k := 0
	for _, n := range l.nodes {
		n.ports = n.ports[:0]
		for range n.addrs {
			n.ports = append(n.ports, port(k))
			k++
		}
	}
	l.route()
}

// route rebuilds the table of who answers SNMP where.
func (l *Lab) route() {
	places := map[netip.AddrPort]*node{}
	for _, n := range l.nodes {
		for i, a := range n.addrs {
			if n.host != nil {
				places[netip.AddrPortFrom(a, uint16(n.ports[i]))] = n
			}
		}
	}
	l.byPlace.Store(&places)
}

// firstPort finds the port to use on every address, or the first of as many
// ports in a row as there are addresses when all share one.
func (l *Lab) firstPort(network string, wanted int) (int, error) {
	if wanted != 0 {
		return wanted, nil
	}
	var last error
	for range tries {
		port, err := freePort(network)
		if err != nil {
			return 0, err
		}
		if last = l.allFree(network, port); last == nil {
			return port, nil
		}
	}
	return 0, fmt.Errorf("no %s port is free on all addresses: %w", network, last)
}

func (l *Lab) allFree(network string, base int) error {
	port := base
	for _, n := range l.nodes {
		for _, a := range n.addrs {
			if port > 65535 {
				return fmt.Errorf("ports end at 65535")
			}
			if err := bindOnce(network, netip.AddrPortFrom(a, uint16(port))); err != nil {
				return err
			}
			if l.options.OnePort {
				port++
			}
		}
	}
	return nil
}

func freePort(network string) (int, error) {
	if network == "udp" {
		c, err := net.ListenPacket("udp4", "127.0.0.1:0")
		if err != nil {
			return 0, err
		}
		defer c.Close()
		return c.LocalAddr().(*net.UDPAddr).Port, nil
	}
	c, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer c.Close()
	return c.Addr().(*net.TCPAddr).Port, nil
}

func bindOnce(network string, at netip.AddrPort) error {
	if network == "udp" {
		c, err := net.ListenPacket("udp4", at.String())
		if err != nil {
			return err
		}
		return c.Close()
	}
	c, err := net.Listen("tcp4", at.String())
	if err != nil {
		return err
	}
	return c.Close()
}
