package discover

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"sync"
)

// wire is what the sweep sends over: one UDP socket for each address family,
// and others for on-link addresses.
type wire interface {
	// send sends one datagram; near: to an on-link address. It does not wait: it
	// returns errBusy when the system has no room for it now, and another error
	// when it cannot go there.
	send(to netip.AddrPort, msg []byte, near bool) error
	events() <-chan event
	// dropped counts the answers that the system had no room for, if it tells.
	dropped() uint64
	close()
}

// event is something that came back.
type event struct {
	kind   eventKind
	from   netip.AddrPort // for gone: the address that was asked
	reply  *reply         // for answer
	id     int32          // for gone: the id of the question; 0: not known
	here   bool           // for gone: the host itself refused, so it is there and only the port is not
	nobody bool           // for gone: there is no such host
}

type eventKind uint8

const (
	answer    eventKind = iota
	malformed           // no valid SNMP message
	gone                // the network or the host says that nobody answers there
)

var errBusy = errors.New("no room to send")

const (
	receiveBuffer = 4 << 20 // octets; keeps answers whole that come in a burst
	// sendBuffer of on-link sockets holds what waits for neighbours.
	sendBuffer  = 4 << 20
	eventQueue  = 4096
	maxDatagram = 1 << 16

	// nearSockets is how many sockets send to on-link addresses, at most. A
	// probe takes memory of its socket until its neighbour is resolved, and the
	// system may allow one socket less than the table of neighbours takes.
	nearSockets = 4
	// keptPacket is the memory that the system takes for a small datagram,
	// generously.
	keptPacket = 2048
)

// udpWire is the wire of the real network.
type udpWire struct {
	four, six *socket
	near      []*socket // IPv4
	turn      int       // of near
	ch        chan event
	done      chan struct{}
	readers   sync.WaitGroup
}

// socket is a UDP socket with what its system needs to know of it.
type socket struct {
	conn *net.UDPConn
	room int // octets it can receive; 0: not known
	osSocket
}

// openWire opens the sockets that a scope needs; near: some IPv4 addresses are
// on-link.
func openWire(four, six, near bool) (*udpWire, error) {
	w := &udpWire{ch: make(chan event, eventQueue), done: make(chan struct{})}
	var err error
	if four {
		w.four, err = w.open("udp4", 0)
	}
	if six && err == nil {
		w.six, err = w.open("udp6", 0)
	}
	for have := 0; four && near && err == nil && len(w.near) < nearSockets && have < sendBuffer/2; {
		var s *socket
		if s, err = w.open("udp4", sendBuffer); err == nil {
			w.near = append(w.near, s)
			have += max(s.sendRoom(), keptPacket)
		}
	}
	if err != nil {
		w.close()
		return nil, fmt.Errorf("opening a UDP socket for the sweep: %w", err)
	}
	return w, nil
}

func (w *udpWire) open(network string, send int) (*socket, error) {
	c, err := net.ListenUDP(network, nil)
	if err != nil {
		return nil, err
	}
	_ = c.SetReadBuffer(receiveBuffer) // as much as the system allows
	if send > 0 {
		_ = c.SetWriteBuffer(send)
	}
	s := &socket{conn: c}
	s.prepare(network == "udp6", send)
	w.readers.Go(func() { w.receive(s) })
	return s, nil
}

func (w *udpWire) events() <-chan event { return w.ch }

func (w *udpWire) sockets() []*socket {
	var all []*socket
	for _, s := range append([]*socket{w.four, w.six}, w.near...) {
		if s != nil {
			all = append(all, s)
		}
	}
	return all
}

func (w *udpWire) close() {
	close(w.done)
	for _, s := range w.sockets() {
		s.conn.Close()
	}
	w.readers.Wait()
}

// receiveRoom is how many octets the smallest socket takes; 0: not known.
func (w *udpWire) receiveRoom() int {
	room := 0
	for _, s := range w.sockets() {
		if s.room > 0 && (room == 0 || s.room < room) {
			room = s.room
		}
	}
	return room
}

func (w *udpWire) dropped() uint64 {
	var n uint64
	for _, s := range []*socket{w.four, w.six} {
		if s != nil {
			n += s.dropped()
		}
	}
	for _, s := range w.near {
		n += s.dropped()
	}
	return n
}

// sendTries bounds how often a packet is offered again after an error. An ICMP
// error that is pending makes the next send fail with its packet unsent, so one
// failure says nothing about this packet, and errors come in bursts.
const sendTries = 64

func (w *udpWire) send(to netip.AddrPort, msg []byte, near bool) error {
	switch {
	case to.Addr().Is6():
		return w.six.send(to, msg)
	case !near || len(w.near) == 0:
		return w.four.send(to, msg)
	}
	var err error
	for range w.near {
		if err = w.near[w.turn].send(to, msg); !errors.Is(err, errBusy) {
			return err
		}
		w.turn = (w.turn + 1) % len(w.near) // this one may have room
	}
	return err
}

// deliver decodes a datagram and hands it on. Only one that could answer a
// question of the sweep is copied: whatever else arrives costs no memory.
func (w *udpWire) deliver(from netip.AddrPort, data []byte) {
	e := event{kind: malformed, from: netip.AddrPortFrom(from.Addr().Unmap(), from.Port())}
	var look reply
	if decodeReply(data, &look) == nil && isOurs(look.id) {
		r := new(reply)
		_ = decodeReply(bytes.Clone(data), r) // was decoded just now
		e.kind, e.reply = answer, r
	}
	w.post(e)
}

func (w *udpWire) post(e event) {
	select {
	case w.ch <- e:
	case <-w.done:
	}
}
