package agent

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"syscall"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/sys/unix"
)

// OneSocket tells whether ListenAll works on this system.
const OneSocket = true

// batch is how many datagrams one system call moves.
const batch = 64

// ListenAll serves all of 127.0.0.0/8 from one socket. Datagrams that came to
// or from any other address are dropped; the socket is tied to the loopback
// interface where the kernel allows that. port 0 takes a free one.
func ListenAll(port int, find Find) (*Server, error) {
	lc := net.ListenConfig{Control: func(_, _ string, c syscall.RawConn) error {
		return c.Control(func(fd uintptr) {
			// Refused by old kernels without privileges: the address checks hold.
			_ = unix.BindToDevice(int(fd), "lo")
		})
	}}
	p, err := lc.ListenPacket(context.Background(), "udp4", fmt.Sprintf("0.0.0.0:%d", port))
	if err != nil {
		return nil, fmt.Errorf("opening the SNMP socket: %w", err)
	}
	c := p.(*net.UDPConn)
	packets := ipv4.NewPacketConn(c)
	if err := packets.SetControlMessage(ipv4.FlagDst, true); err != nil {
		c.Close()
		return nil, fmt.Errorf("asking for destination addresses: %w", err)
	}
	_ = c.SetReadBuffer(receiveBuffer) // as much as the system grants
	_ = c.SetWriteBuffer(receiveBuffer)
	s := &Server{port: c.LocalAddr().(*net.UDPAddr).Port, conns: []*net.UDPConn{c}, later: newDelayed()}
	s.loops.Go(func() { s.serveAll(packets, find) })
	return s, nil
}

func (s *Server) serveAll(p *ipv4.PacketConn, find Find) {
	in := make([]ipv4.Message, batch)
	for i := range in {
		in[i].Buffers = [][]byte{make([]byte, maxRequest)}
		in[i].OOB = ipv4.NewControlMessage(ipv4.FlagDst)
	}
	var r Responder
	out := make([]ipv4.Message, 0, batch)
	space := make([][]byte, batch)
	for {
		n, err := p.ReadBatch(in, 0)
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			continue
		}
		now := time.Now()
		out = out[:0]
		for i := range in[:n] {
			m := &in[i]
			h, delay, from, src := s.route(m, now, find)
			if h == nil {
				continue
			}
			if s.odd(&r, h, m.Buffers[0][:m.N], now, delay, func(b []byte) { p.WriteTo(b, src, from) }) {
				continue
			}
			k := len(out)
			reply := r.Respond(h, m.Buffers[0][:m.N], now, space[k][:0])
			if len(reply) == 0 {
				continue
			}
			space[k] = reply
			if delay <= 0 {
				out = append(out, ipv4.Message{Buffers: [][]byte{space[k]}, OOB: src.Marshal(), Addr: from})
				continue
			}
			payload := append([]byte(nil), space[k]...)
			s.later.add(now.Add(delay), func() { p.WriteTo(payload, src, from) })
		}
		writeAll(p, out)
	}
}

// route finds the host that a datagram is for; nil when it gets no answer.
func (s *Server) route(m *ipv4.Message, now time.Time, find Find) (*Host, time.Duration, *net.UDPAddr, *ipv4.ControlMessage) {
	var cm ipv4.ControlMessage
	from, ok := m.Addr.(*net.UDPAddr)
	if !ok || !from.IP.IsLoopback() || cm.Parse(m.OOB[:m.NN]) != nil || !cm.Dst.IsLoopback() {
		return nil, 0, nil, nil
	}
	to, _ := netip.AddrFromSlice(cm.Dst.To4())
	h, delay, answers := find(netip.AddrPortFrom(to, uint16(s.port)), now)
	if !answers {
		return nil, 0, nil, nil
	}
	return h, delay, from, &ipv4.ControlMessage{Src: cm.Dst}
}

// writeAll sends a batch. A datagram that cannot be sent is dropped, as a
// network would.
func writeAll(p *ipv4.PacketConn, out []ipv4.Message) {
	for len(out) > 0 {
		n, err := p.WriteBatch(out, 0)
		if errors.Is(err, net.ErrClosed) {
			return
		}
		out = out[max(n, 1):]
	}
}
