package discover

import (
	"net"
	"net/netip"
	"printround/internal/needtest"
	"testing"

	"golang.org/x/sys/unix"
)

// bareWire is a wire without readers, with one socket of each kind.
func bareWire(t testing.TB) *udpWire {
	t.Helper()
	open := func(network, address string) *socket {
		c, err := net.ListenPacket(network, address)
		if err != nil {
			needtest.Missing(t, "sockets of %s: %v", network, err)
		}
		t.Cleanup(func() { c.Close() })
		s := &socket{conn: c.(*net.UDPConn)}
		s.prepare(network == "udp6", sendBuffer)
		return s
	}
	return &udpWire{
		ch: make(chan event, 256), done: make(chan struct{}),
		four: open("udp4", "127.0.0.1:0"), near: []*socket{open("udp4", "127.0.0.1:0")}, six: open("udp6", "[::1]:0"),
	}
}

func local(s *socket) netip.AddrPort { return s.conn.LocalAddr().(*net.UDPAddr).AddrPort() }

// Sending a probe and reading what is no answer cost no memory, system calls
// included.
func TestSocketsAllocateNothing(t *testing.T) {
	w := bareWire(t)
	buf := make([]byte, maxDatagram)
	for name, to := range map[string]*socket{"IPv4": w.four, "IPv6": w.six} {
		for _, stranger := range strangers() {
			at := local(to)
			n := testing.AllocsPerRun(500, func() {
				if err := w.send(at, stranger, false); err != nil {
					t.Fatal(err)
				}
				w.datagrams(to.fd, buf)
				select {
				case e := <-w.ch:
					if e.kind != malformed || e.from != at {
						t.Fatalf("%+v, want a datagram from %s", e, at)
					}
				default:
					t.Fatal("nothing arrived")
				}
			})
			if n != 0 {
				t.Errorf("%s: %v allocations for a datagram sent and one received", name, n)
			}
		}
	}
}

// On-link datagrams go out of their own sockets.
func TestNearSockets(t *testing.T) {
	w := bareWire(t)
	buf := make([]byte, maxDatagram)
	for _, near := range []bool{true, false} {
		if err := w.send(local(w.four), []byte("x"), near); err != nil {
			t.Fatal(err)
		}
		w.datagrams(w.four.fd, buf)
		want := w.four
		if near {
			want = w.near[0]
		}
		if e := <-w.ch; e.from != local(want) {
			t.Errorf("near %v: came from %s, want %s", near, e.from, local(want))
		}
	}
	if w.near[0].sendRoom() < 1<<16 {
		t.Errorf("a send buffer of %d octets", w.near[0].sendRoom())
	}
}

// What the system drops for want of room is counted.
func TestDroppedIsCounted(t *testing.T) {
	w := bareWire(t)
	if n := w.dropped(); n != 0 {
		t.Errorf("%d dropped before anything was sent", n)
	}
	_ = unix.SetsockoptInt(w.four.fd, unix.SOL_SOCKET, unix.SO_RCVBUF, 1)
	for range 100 {
		if err := w.send(local(w.four), make([]byte, 500), true); err != nil {
			t.Fatal(err)
		}
	}
	if n := w.dropped(); n == 0 || n > 100 {
		t.Errorf("%d of 100 dropped", n)
	}
}

func TestParseResolved(t *testing.T) {
	table := "IP address       HW type     Flags       HW address            Mask     Device\n" +
		"10.1.2.1         0x1         0x2         02:00:00:00:00:01     *        eth0\n" +
		"10.1.2.2         0x1         0x0         00:00:00:00:00:00     *        eth0\n" +
		"10.1.2.3         0x1         0x6         02:00:00:00:00:03     *        eth0\nodd\n"
	got := parseResolved([]byte(table))
	if len(got) != 2 || !got[netip.MustParseAddr("10.1.2.1")] || !got[netip.MustParseAddr("10.1.2.3")] {
		t.Errorf("resolved: %v, want 10.1.2.1 and 10.1.2.3", got)
	}
}
