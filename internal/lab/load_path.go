package lab

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/net/ipv4"

	"printround/internal/lab/agent"
)

// loadBuffer keeps a burst of a whole sweep from being dropped, in octets.
const loadBuffer = 8 << 20

// pathServer answers for a crowd whose datagrams have a way to go.
type pathServer struct {
	conn *net.UDPConn
	loop sync.WaitGroup
}

// listenPath opens a socket for every address that is routed here. One loop
// reads it, so the fate of the datagrams follows from their order and the seed.
func (l *Load) listenPath() (loadServer, error) {
	address := &net.UDPAddr{Port: l.options.Port}
	c, err := net.ListenUDP("udp4", address)
	if err != nil {
		return nil, fmt.Errorf("opening the SNMP socket: %w", err)
	}
	packets := ipv4.NewPacketConn(c)
	if err := packets.SetControlMessage(ipv4.FlagDst, true); err != nil {
		c.Close()
		return nil, fmt.Errorf("asking for destination addresses: %w", err)
	}
	_ = c.SetReadBuffer(loadBuffer) // as much as the system grants
	_ = c.SetWriteBuffer(loadBuffer)
	s := &pathServer{conn: c}
	s.loop.Go(func() { l.servePath(packets) })
	return s, nil
}

func (s *pathServer) Port() int { return s.conn.LocalAddr().(*net.UDPAddr).Port }

func (s *pathServer) Close() error {
	err := s.conn.Close()
	s.loop.Wait()
	return err
}

func (l *Load) servePath(packets *ipv4.PacketConn) {
	const maxRequest = 4096
	fate := rand.New(rand.NewPCG(uint64(l.options.Seed), 0x70617468)) // the second number is any
	happens := func(p float64) bool { return p > 0 && fate.Float64() < p }
	path := l.options.Path
	var r agent.Responder
	in := make([]byte, maxRequest)
	for ; ; l.handled.Add(1) {
		n, cm, from, err := packets.ReadFrom(in)
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil || cm == nil {
			continue
		}
		to, _ := netip.AddrFromSlice(cm.Dst)
		if !l.options.Prefix.Contains(to.Unmap()) || happens(path.Loss) {
			continue
		}
		now := time.Now()
		h, delay, answers := l.find(netip.AddrPortFrom(to.Unmap(), 0), now)
		if !answers {
			continue
		}
		answer := r.Respond(h, in[:n], now, nil)
		if len(answer) == 0 || happens(path.Loss) {
			continue
		}
		send := func() {
			if _, err := packets.WriteTo(answer, &ipv4.ControlMessage{Src: cm.Dst}, from); err == nil {
				l.sent.Add(1)
				l.octets.Add(int64(len(answer)))
			}
		}
		if happens(path.Reorder) {
			delay += time.Duration(fate.Float64() * float64(path.Late))
		}
		copies := 1
		if happens(path.Duplicate) {
			copies = 2
		}
		for range copies {
			if delay <= 0 {
				send()
			} else {
				time.AfterFunc(delay, send)
			}
		}
	}
}
