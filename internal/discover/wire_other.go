//go:build !linux

package discover

import (
	"errors"
	"net"
	"net/netip"
	"os"
	"syscall"
	"time"
)

// osSocket is what other systems need to know of a socket.
type osSocket struct {
	patience time.Time // write deadline that is set
}

// prepare has nothing to ask for: errors of single packets are not told here.
func (s *socket) prepare(bool, int) {}

func (s *socket) sendRoom() int   { return sendBuffer }
func (s *socket) dropped() uint64 { return 0 }

// sendPatience is how long a send waits for room.
const sendPatience = 20 * time.Millisecond

func (s *socket) send(to netip.AddrPort, msg []byte) error {
	if now := time.Now(); s.patience.Sub(now) < sendPatience/2 {
		s.patience = now.Add(sendPatience)
		_ = s.conn.SetWriteDeadline(s.patience)
	}
	var err error
	for range sendTries {
		if _, err = s.conn.WriteToUDPAddrPort(msg, to); err == nil {
			return nil
		}
		if errors.Is(err, os.ErrDeadlineExceeded) || isNoRoom(err) {
			s.patience = time.Time{}
			return errBusy
		}
	}
	if errno, ok := errors.AsType[syscall.Errno](err); ok {
		return errno
	}
	return err
}

// wsaENOBUFS is the number that one system has for ENOBUFS.
const wsaENOBUFS = syscall.Errno(10055)

func isNoRoom(err error) bool {
	return errors.Is(err, syscall.ENOBUFS) || errors.Is(err, wsaENOBUFS) || errors.Is(err, syscall.EAGAIN)
}

// receive reads datagrams until the socket is closed. Some systems report an
// ICMP error as a failed read without saying whose it is.
func (w *udpWire) receive(s *socket) {
	buf := make([]byte, maxDatagram)
	for failures := 0; ; {
		n, from, err := s.conn.ReadFromUDPAddrPort(buf)
		if err == nil {
			failures = 0
			w.deliver(from, buf[:n])
			continue
		}
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if failures++; failures > 100 {
			select { // something lasting: do not spin
			case <-w.done:
				return
			case <-time.After(10 * time.Millisecond):
			}
		}
	}
}
