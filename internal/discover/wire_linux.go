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

// osSocket is what Linux needs to know of a socket. The descriptor is that of
// the connection, which stays open as long as its wire.
type osSocket struct {
	fd   int
	six  bool
	name unix.RawSockaddrInet6 // of the destination, in place for one family or the other
}

// prepare asks for the errors that belong to single packets (IP_RECVERR): with
// it a full neighbour table fails a send instead of losing the packet without a
// word, and an unreachable host is named.
func (s *socket) prepare(six bool, send int) {
	raw, err := s.conn.SyscallConn()
	if err != nil {
		return
	}
	s.six = six
	_ = raw.Control(func(fd uintptr) {
		s.fd = int(fd)
		if six {
			_ = unix.SetsockoptInt(s.fd, unix.IPPROTO_IPV6, unix.IPV6_RECVERR, 1)
		} else {
			_ = unix.SetsockoptInt(s.fd, unix.IPPROTO_IP, unix.IP_RECVERR, 1)
		}
		// Beyond the system's limit if we may, which is only so for the superuser.
		_ = unix.SetsockoptInt(s.fd, unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, receiveBuffer)
		if send > 0 {
			_ = unix.SetsockoptInt(s.fd, unix.SOL_SOCKET, unix.SO_SNDBUFFORCE, send)
		}
		s.room, _ = unix.GetsockoptInt(s.fd, unix.SOL_SOCKET, unix.SO_RCVBUF)
	})
}

func (s *socket) sendRoom() int {
	n, _ := unix.GetsockoptInt(s.fd, unix.SOL_SOCKET, unix.SO_SNDBUF)
	return n
}

// dropped is the system's own count of datagrams that found no room
// (SO_MEMINFO, its ninth number).
func (s *socket) dropped() uint64 {
	const drops = 8
	var info [drops + 1]uint32
	size := uint32(unsafe.Sizeof(info))
	_, _, errno := unix.Syscall6(unix.SYS_GETSOCKOPT, uintptr(s.fd), unix.SOL_SOCKET, unix.SO_MEMINFO,
		uintptr(unsafe.Pointer(&info)), uintptr(unsafe.Pointer(&size)), 0)
	if errno != 0 {
		return 0
	}
	return uint64(info[drops])
}

// send sends without waiting and without an allocation.
func (s *socket) send(to netip.AddrPort, msg []byte) error {
	size := s.destination(to)
	var errno syscall.Errno
	for range sendTries {
		_, _, errno = unix.Syscall6(unix.SYS_SENDTO, uintptr(s.fd), uintptr(unsafe.Pointer(unsafe.SliceData(msg))), uintptr(len(msg)),
			unix.MSG_DONTWAIT, uintptr(unsafe.Pointer(&s.name)), size)
		switch {
		case errno == 0:
			return nil
		case isNoRoom(errno):
			return errBusy
		}
	}
	return errno
}

// destination puts an address into the socket's name and returns its size.
func (s *socket) destination(to netip.AddrPort) uintptr {
	if !s.six {
		n := (*unix.RawSockaddrInet4)(unsafe.Pointer(&s.name))
		n.Family, n.Addr = unix.AF_INET, to.Addr().As4()
		putPort(&n.Port, to.Port())
		return unix.SizeofSockaddrInet4
	}
	s.name = unix.RawSockaddrInet6{Family: unix.AF_INET6, Addr: to.Addr().As16(), Scope_id: zoneID(to.Addr().Zone())}
	putPort(&s.name.Port, to.Port())
	return unix.SizeofSockaddrInet6
}

// Ports lie in network order whatever the machine's own is.
func putPort(at *uint16, port uint16) {
	binary.BigEndian.PutUint16((*[2]byte)(unsafe.Pointer(at))[:], port)
}
func getPort(at *uint16) uint16 { return binary.BigEndian.Uint16((*[2]byte)(unsafe.Pointer(at))[:]) }

// zoneID is the number of the interface that a zone names.
func zoneID(zone string) uint32 {
	if zone == "" {
		return 0
	}
	if ifi, err := net.InterfaceByName(zone); err == nil {
		return uint32(ifi.Index)
	}
	n, _ := strconv.ParseUint(zone, 10, 32)
	return uint32(n)
}

func isNoRoom(err error) bool {
	return errors.Is(err, syscall.ENOBUFS) || errors.Is(err, syscall.ENOMEM) || errors.Is(err, syscall.EAGAIN)
}

// pollTime bounds how long a socket that is closed is waited for.
const pollTime = 20 * time.Millisecond

// receive reads datagrams and the error queue until the socket is closed. It
// polls by itself: the runtime's poller takes a socket that has nothing but
// errors for one that cannot be polled, and reads from it fail from then on.
func (w *udpWire) receive(s *socket) {
	raw, err := s.conn.SyscallConn()
	if err != nil {
		return
	}
	buf, oob := make([]byte, maxDatagram), make([]byte, 512)
	ready := make([]unix.PollFd, 1)
	look := func(fd uintptr) {
		ready[0] = unix.PollFd{Fd: int32(fd), Events: unix.POLLIN | unix.POLLERR}
		if n, err := unix.Poll(ready, int(pollTime.Milliseconds())); n <= 0 || err != nil {
			return
		}
		w.errorQueue(int(fd), buf, oob)
		w.datagrams(int(fd), buf)
	}
	for {
		select {
		case <-w.done:
			return
		default:
		}
		if raw.Control(look) != nil {
			return
		}
	}
}

// datagrams takes the datagrams that wait. An error that is pending fails a
// read without anything being read. Nothing is allocated for a datagram that
// answers nothing: that is why the address is read by hand.
func (w *udpWire) datagrams(fd int, buf []byte) {
	var name unix.RawSockaddrInet6 // the larger of both
	for failed, taken := 0, 0; failed < sendTries && taken < eventQueue; taken++ {
		size := uint32(unsafe.Sizeof(name))
		n, _, errno := unix.Syscall6(unix.SYS_RECVFROM, uintptr(fd), uintptr(unsafe.Pointer(unsafe.SliceData(buf))), uintptr(len(buf)),
			unix.MSG_DONTWAIT, uintptr(unsafe.Pointer(&name)), uintptr(unsafe.Pointer(&size)))
		switch {
		case errno == unix.EAGAIN:
			return
		case errno != 0:
			failed++
			continue
		}
		if at, ok := nameAddrPort(&name); ok {
			w.deliver(at, buf[:n])
		}
	}
}

func nameAddrPort(name *unix.RawSockaddrInet6) (netip.AddrPort, bool) {
	switch name.Family {
	case unix.AF_INET:
		n := (*unix.RawSockaddrInet4)(unsafe.Pointer(name))
		return netip.AddrPortFrom(netip.AddrFrom4(n.Addr), getPort(&n.Port)), true
	case unix.AF_INET6:
		return netip.AddrPortFrom(withZone(netip.AddrFrom16(name.Addr), name.Scope_id), getPort(&name.Port)), true
	}
	return netip.AddrPort{}, false
}

func withZone(a netip.Addr, id uint32) netip.Addr {
	if id == 0 {
		return a
	}
	zone := strconv.Itoa(int(id))
	if ifi, err := net.InterfaceByIndex(int(id)); err == nil {
		zone = ifi.Name
	}
	return a.WithZone(zone)
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
			w.post(event{kind: gone, from: at, id: questionID(buf[:n]), here: errno == unix.ECONNREFUSED,
				nobody: errno == unix.EHOSTUNREACH || errno == unix.EHOSTDOWN})
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
		return netip.AddrPortFrom(withZone(netip.AddrFrom16(sa.Addr), sa.ZoneId), uint16(sa.Port)), true
	}
	return netip.AddrPort{}, false
}
