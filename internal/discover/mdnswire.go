package discover

import (
	"fmt"
	"net"
	"net/netip"
	"time"

	"github.com/miekg/dns"
	"golang.org/x/net/ipv4"
)

// Multicast DNS over IPv4 (RFC 6762 section 3).
var mdnsGroup = &net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353}

// loopbackAddr is where questions come from that leave by loopback. Where that is
// the only interface, a system may send them from 0.0.0.0, and responders ignore
// what comes from there.
var loopbackAddr = net.IPv4(127, 0, 0, 1)

const (
	mdnsBuffer      = 1 << 20 // receive buffer, octets: announcements come in bursts
	mdnsPacket      = 1200    // octets of a question; RFC 6762 section 17 allows up to the link's limit
	mdnsTTL         = 255     // RFC 6762 section 11
	questionsAtOnce = 10
	writePatience   = 100 * time.Millisecond
)

// mdnsWire hears and asks multicast DNS on some interfaces.
type mdnsWire struct {
	conn     *net.UDPConn
	packets  *ipv4.PacketConn
	ifaces   []net.Interface
	prefixes []netip.Prefix
	shared   bool // port 5353, among the other users of it on this machine
}

// openMDNS takes port 5353 beside whoever else has it, so that answers to all
// are heard. Where the system does not allow that, it asks from another port and
// gets answers of its own (RFC 6762 section 5.1).
func openMDNS(ifaces []net.Interface) (*mdnsWire, error) {
	w := &mdnsWire{ifaces: ifaces, shared: true}
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: mdnsGroup.IP, Port: mdnsGroup.Port})
	if err != nil {
		w.shared = false
		if conn, err = net.ListenUDP("udp4", nil); err != nil {
			return nil, err
		}
	}
	w.conn, w.packets = conn, ipv4.NewPacketConn(conn)
	_ = conn.SetReadBuffer(mdnsBuffer)
	_ = w.packets.SetControlMessage(ipv4.FlagInterface|ipv4.FlagDst, true)
	_ = w.packets.SetMulticastTTL(mdnsTTL)
	_ = w.packets.SetMulticastLoopback(true)
	joined := 0
	for i := range ifaces {
		if w.packets.JoinGroup(&ifaces[i], mdnsGroup) == nil {
			joined++
		}
		if addrs, err := ifaces[i].Addrs(); err == nil {
			for _, p := range prefixesOf(addrs) {
				w.prefixes = append(w.prefixes, p.Masked())
			}
		}
	}
	if joined == 0 {
		conn.Close()
		return nil, fmt.Errorf("no interface took part in the group %s", mdnsGroup.IP)
	}
	return w, nil
}

// hear hands packets to f until the socket is closed. What was sent to the
// group came from this link; anything else must come from an address of it
// (RFC 6762 section 11).
func (w *mdnsWire) hear(f func(packet []byte, zone string)) {
	buf := make([]byte, maxDatagram)
	for failures := 0; failures < 100; {
		n, cm, from, err := w.packets.ReadFrom(buf)
		if err != nil {
			if isClosed(err) {
				return
			}
			failures++
			continue
		}
		failures = 0
		zone := ""
		if cm != nil && cm.IfIndex != 0 {
			zone = w.zone(cm.IfIndex)
		}
		if (cm == nil || !cm.Dst.Equal(mdnsGroup.IP)) && !w.onLink(from) {
			continue
		}
		f(buf[:n], zone)
	}
}

func (w *mdnsWire) zone(index int) string {
	for i := range w.ifaces {
		if w.ifaces[i].Index == index {
			return w.ifaces[i].Name
		}
	}
	return ""
}

func (w *mdnsWire) onLink(from net.Addr) bool {
	u, ok := from.(*net.UDPAddr)
	if !ok {
		return false
	}
	a := u.AddrPort().Addr().Unmap()
	if a.IsLinkLocalUnicast() {
		return true
	}
	for _, p := range w.prefixes {
		if p.Contains(a) {
			return true
		}
	}
	return false
}

// ask sends questions with what is known already, in as many packets as it
// takes: all but the last with the TC bit, which says that more known answers
// follow (RFC 6762 section 7.2).
func (w *mdnsWire) ask(questions []dns.Question, known []dns.RR) error {
	m := &dns.Msg{Question: questions}
	for len(known) > 0 {
		k := len(known)
		for m.Answer = known[:k]; k > 1 && m.Len() > mdnsPacket; m.Answer = known[:k] {
			k /= 2
		}
		known = known[k:]
		m.Truncated = len(known) > 0
		if err := w.send(m); err != nil {
			return err
		}
		if len(known) == 0 {
			return nil
		}
		m = &dns.Msg{}
	}
	return w.send(m)
}

// send sends a message out of every interface; one is enough.
func (w *mdnsWire) send(m *dns.Msg) error {
	if !w.shared {
		m.Id = dns.Id()
	}
	packet, err := m.Pack()
	if err != nil {
		return err
	}
	sent := 0
	_ = w.conn.SetWriteDeadline(time.Now().Add(writePatience))
	for i := range w.ifaces {
		cm := &ipv4.ControlMessage{IfIndex: w.ifaces[i].Index}
		if w.ifaces[i].Flags&net.FlagLoopback != 0 {
			cm.Src = loopbackAddr
		}
		if _, e := w.packets.WriteTo(packet, cm, mdnsGroup); e == nil {
			sent++
		} else {
			err = e
		}
	}
	if sent > 0 {
		return nil
	}
	return err
}

// batch is how many questions go into one packet: an answer from a port of our
// own is in one packet too, so there it is one.
func (w *mdnsWire) batch() int {
	if w.shared {
		return questionsAtOnce
	}
	return 1
}

func (w *mdnsWire) close() { w.conn.Close() }
