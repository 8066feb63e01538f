package agent

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"sync"
	"time"
)

// Find returns the host that answers at an address, how long it takes, and
// whether it answers at all. It is called for each datagram, from several
// goroutines.
type Find func(at netip.AddrPort, now time.Time) (h *Host, delay time.Duration, answers bool)

// maxRequest is the largest datagram read, in octets.
const maxRequest = 4096

// receiveBuffer keeps a burst of a whole sweep from being dropped, in octets.
const receiveBuffer = 4 << 20

// Server answers SNMP requests on loopback addresses.
type Server struct {
	port  int
	conns []*net.UDPConn
	later *delayed
	loops sync.WaitGroup
	end   sync.Once
	err   error
}

// ListenEach opens one socket for each address and port. It works on every
// system that has these addresses.
func ListenEach(at []netip.AddrPort, find Find) (*Server, error) {
	s := &Server{later: newDelayed()}
	for _, a := range at {
		if !a.Addr().IsLoopback() {
			s.Close()
			return nil, fmt.Errorf("%s is no loopback address", a.Addr())
		}
		c, err := net.ListenUDP("udp", net.UDPAddrFromAddrPort(a))
		if err != nil {
			s.Close()
			return nil, fmt.Errorf("opening the SNMP socket: %w", err)
		}
		s.conns = append(s.conns, c)
		a = c.LocalAddr().(*net.UDPAddr).AddrPort()
		if s.port == 0 {
			s.port = int(a.Port())
		}
		s.loops.Go(func() { s.serveOne(c, a, find) })
	}
	return s, nil
}

// Port is the UDP port of the server, of its first socket when it has several.
func (s *Server) Port() int { return s.port }

// Close ends the server and waits for its loops. It may be called several
// times.
func (s *Server) Close() error {
	s.end.Do(func() {
		var errs []error
		for _, c := range s.conns {
			errs = append(errs, c.Close())
		}
		s.loops.Wait()
		s.later.stop()
		s.err = errors.Join(errs...)
	})
	return s.err
}

func (s *Server) serveOne(c *net.UDPConn, at netip.AddrPort, find Find) {
	var r Responder
	in, out := make([]byte, maxRequest), make([]byte, 0, MaxMessage)
	for {
		n, from, err := c.ReadFromUDPAddrPort(in)
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil || !from.Addr().Unmap().IsLoopback() {
			continue
		}
		now := time.Now()
		h, delay, answers := find(at, now)
		if !answers {
			continue
		}
		if s.odd(&r, h, in[:n], now, delay, func(b []byte) { c.WriteToUDPAddrPort(b, from) }) {
			continue
		}
		out = r.Respond(h, in[:n], now, out[:0])
		switch {
		case len(out) == 0:
		case delay <= 0:
			c.WriteToUDPAddrPort(out, from) // a full buffer is a lost datagram, as on a network
		default:
			payload := append([]byte(nil), out...)
			s.later.add(now.Add(delay), func() { c.WriteToUDPAddrPort(payload, from) })
		}
	}
}
