package discover

import (
	"encoding/binary"
	"errors"
	"net"
	"net/netip"
	"strconv"
	"syscall"
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

// receive reads datagrams and the error queue until the socket is closed. The
// error queue wakes a reader without making anything readable, so both are
// looked at in one place.
func (w *udpWire) receive(c *net.UDPConn) {
	raw, err := c.SyscallConn()
	if err != nil {
		return
	}
	buf, oob := make([]byte, maxDatagram), make([]byte, 512)
	for {
		n, from := 0, unix.Sockaddr(nil)
		err := raw.Read(func(fd uintptr) bool {
			w.errorQueue(int(fd), buf, oob)
			for range sendTries { // a pending error fails a read too
				var err error
				n, from, err = unix.Recvfrom(int(fd), buf, unix.MSG_DONTWAIT)
				if err == nil {
					return true
				}
				from = nil
				if err == unix.EAGAIN {
					return false
				}
			}
			return true
		})
		if err != nil {
			return
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
		switch unix.Errno(extendedErrno(oob[:oobn])) {
		case unix.ECONNREFUSED, unix.EHOSTUNREACH, unix.ENETUNREACH, unix.EHOSTDOWN, unix.ENOPROTOOPT, unix.EACCES:
			w.post(event{kind: gone, from: at, id: questionID(buf[:n])})
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
