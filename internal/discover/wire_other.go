//go:build !linux

package discover

import (
	"errors"
	"net"
	"syscall"
	"time"
)

// prepare has nothing to ask for: errors of single packets are not told here.
func prepare(*net.UDPConn, bool) {}

// wsaENOBUFS is the number that one system has for ENOBUFS.
const wsaENOBUFS = syscall.Errno(10055)

func isNoRoom(err error) bool {
	return errors.Is(err, syscall.ENOBUFS) || errors.Is(err, wsaENOBUFS) || errors.Is(err, syscall.EAGAIN)
}

// receive reads datagrams until the socket is closed. Some systems report an
// ICMP error as a failed read without saying whose it is.
func (w *udpWire) receive(c *net.UDPConn) {
	buf := make([]byte, maxDatagram)
	for failures := 0; ; {
		n, from, err := c.ReadFromUDPAddrPort(buf)
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
