package discover

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"sync"
	"syscall"
	"time"
)

// wire is what the sweep sends over: one UDP socket for each address family.
type wire interface {
	// send sends one datagram. It returns errBusy when the system has no room
	// for it now, and another error when it cannot go there.
	send(to netip.AddrPort, msg []byte) error
	events() <-chan event
	close()
}

// event is something that came back.
type event struct {
	kind  eventKind
	from  netip.AddrPort // for gone: the address that was asked
	reply *reply         // for answer
	id    int32          // for gone: the id of the question; 0: not known
	here  bool           // for gone: the host itself refused, so it is there and only the port is not
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
	eventQueue    = 4096
	writePatience = 100 * time.Millisecond
	maxDatagram   = 1 << 16
)

// udpWire is the wire of the real network.
type udpWire struct {
	four, six *net.UDPConn
	ch        chan event
	done      chan struct{}
	readers   sync.WaitGroup
	patience  time.Time // write deadline that is set
}

// openWire opens the sockets that a scope needs.
func openWire(four, six bool) (*udpWire, error) {
	w := &udpWire{ch: make(chan event, eventQueue), done: make(chan struct{})}
	for _, f := range []struct {
		want    bool
		network string
		conn    **net.UDPConn
	}{{four, "udp4", &w.four}, {six, "udp6", &w.six}} {
		if !f.want {
			continue
		}
		c, err := net.ListenUDP(f.network, nil)
		if err != nil {
			w.close()
			return nil, fmt.Errorf("opening a UDP socket for the sweep: %w", err)
		}
		*f.conn = c
		_ = c.SetReadBuffer(receiveBuffer) // as much as the system allows
		prepare(c, f.network == "udp6")
		w.readers.Go(func() { w.receive(c) })
	}
	return w, nil
}

func (w *udpWire) events() <-chan event { return w.ch }

func (w *udpWire) close() {
	close(w.done)
	for _, c := range []*net.UDPConn{w.four, w.six} {
		if c != nil {
			c.Close()
		}
	}
	w.readers.Wait()
}

// sendTries bounds how often a packet is offered again after an error. An ICMP
// error that is pending makes the next send fail with its packet unsent, so one
// failure says nothing about this packet.
const sendTries = 8

func (w *udpWire) send(to netip.AddrPort, msg []byte) error {
	c := w.four
	if to.Addr().Is6() {
		c = w.six
	}
	if now := time.Now(); w.patience.Sub(now) < writePatience/2 {
		w.patience = now.Add(writePatience)
		for _, c := range []*net.UDPConn{w.four, w.six} {
			if c != nil {
				_ = c.SetWriteDeadline(w.patience)
			}
		}
	}
	var err error
	for range sendTries {
		if _, err = c.WriteToUDPAddrPort(msg, to); err == nil {
			return nil
		}
		if errors.Is(err, os.ErrDeadlineExceeded) || isNoRoom(err) {
			w.patience = time.Time{}
			return errBusy
		}
	}
	if errno, ok := errors.AsType[syscall.Errno](err); ok {
		return errno
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
