package discover

import (
	"encoding/binary"
	"errors"
	"net"
	"net/netip"
	"strconv"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// prepare asks for the errors that belong to single packets (IP_RECVERR): with
// it a full neighbour table fails a send instead of losing the packet without a
// word, and an unreachable host is named.
func prepare(c *net.UDPConn, six bool) {
	raw, err := c.SyscallConn()
	if err != nil {
		return
	}
	_ = raw.Control(func(fd uintptr) {
		if six {
			_ = unix.SetsockoptInt(int(fd), unix.IPPROTO_IPV6, unix.IPV6_RECVERR, 1)
		} else {
			_ = unix.SetsockoptInt(int(fd), unix.IPPROTO_IP, unix.IP_RECVERR, 1)
		}
		// Beyond the system's limit if we may, which is only so for the superuser.
		_ = unix.SetsockoptInt(int(fd), unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, receiveBuffer)
	})
}

func isNoRoom(err error) bool {
	return errors.Is(err, syscall.ENOBUFS) || errors.Is(err, syscall.ENOMEM) || errors.Is(err, syscall.EAGAIN)
}

// pollTime bounds how long a socket that is closed is waited for.
const pollTime = 20 * time.Millisecond

// receive reads datagrams and the error queue until the socket is closed. It
// polls by itself: the runtime's poller takes a socket that has nothing but
// errors for one that cannot be polled, and reads from it fail from then on.
func (w *udpWire) receive(c *net.UDPConn) {
	raw, err := c.SyscallConn()
	if err != nil {
		return
	}
	buf, oob := make([]byte, maxDatagram), make([]byte, 512)
	for {
		select {
		case <-w.done:
			return
		default:
		}
		err := raw.Control(func(fd uintptr) {
			ready := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN | unix.POLLERR}}
			if n, err := unix.Poll(ready, int(pollTime.Milliseconds())); n <= 0 || err != nil {
				return
			}
			w.errorQueue(int(fd), buf, oob)
			w.datagrams(int(fd), buf)
		})
		if err != nil {
			return
		}
	}
}

// datagrams takes the datagrams that wait. An error that is pending fails a
// read without anything being read.
func (w *udpWire) datagrams(fd int, buf []byte) {
	for failed, taken := 0, 0; failed < sendTries && taken < eventQueue; taken++ {
		n, from, err := unix.Recvfrom(fd, buf, unix.MSG_DONTWAIT)
		switch {
		case err == unix.EAGAIN:
			return
		case err != nil:
			failed++
			continue
		}
		if at, ok := addrPort(from); ok {
			w.deliver(at, buf[:n])
		}
	}
}

// errorQueue takes the errors that wait. Each comes with the packet that it is
// about, as far as the host that reports it quotes it, and with its destination.
func (w *udpWire) errorQueue(fd int, buf, oob []byte) {
	for range eventQueue {
		n, oobn, _, to, err := unix.Recvmsg(fd, buf, oob, unix.MSG_ERRQUEUE|unix.MSG_DONTWAIT)
		if err != nil {
			return
		}
		at, ok := addrPort(to)
		if !ok {
			continue
		}
		switch errno := unix.Errno(extendedErrno(oob[:oobn])); errno {
		case unix.ECONNREFUSED, unix.EHOSTUNREACH, unix.ENETUNREACH, unix.EHOSTDOWN, unix.ENOPROTOOPT, unix.EACCES:
			w.post(event{kind: gone, from: at, id: questionID(buf[:n]), here: errno == unix.ECONNREFUSED})
		}
	}
}

// extendedErrno finds ee_errno of struct sock_extended_err in control messages.
func extendedErrno(oob []byte) uint32 {
	messages, err := unix.ParseSocketControlMessage(oob)
	if err != nil {
		return 0
	}
	for _, m := range messages {
		is4 := m.Header.Level == unix.IPPROTO_IP && m.Header.Type == unix.IP_RECVERR
		is6 := m.Header.Level == unix.IPPROTO_IPV6 && m.Header.Type == unix.IPV6_RECVERR
		if (is4 || is6) && len(m.Data) >= int(unsafe.Sizeof(unix.SockExtendedErr{})) {
			return binary.NativeEndian.Uint32(m.Data)
		}
	}
	return 0
}

func addrPort(sa unix.Sockaddr) (netip.AddrPort, bool) {
	switch sa := sa.(type) {
	case *unix.SockaddrInet4:
		return netip.AddrPortFrom(netip.AddrFrom4(sa.Addr), uint16(sa.Port)), true
	case *unix.SockaddrInet6:
		a := netip.AddrFrom16(sa.Addr)
		if sa.ZoneId != 0 {
			zone := strconv.Itoa(int(sa.ZoneId))
			if ifi, err := net.InterfaceByIndex(int(sa.ZoneId)); err == nil {
				zone = ifi.Name
			}
			a = a.WithZone(zone)
		}
		return netip.AddrPortFrom(a, uint16(sa.Port)), true
	}
	return netip.AddrPort{}, false
}
