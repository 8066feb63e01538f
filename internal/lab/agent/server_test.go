package agent

import (
	"net"
	"net/netip"
	"printround/internal/needtest"
	"testing"
	"time"
)

// TestAnswersComeFromWhereTheyWereAsked: a client drops what comes from
// another address, so one socket for all must answer with the right one.
func TestAnswersComeFromWhereTheyWereAsked(t *testing.T) {
	if !OneSocket {
		needtest.Missing(t, "IP_PKTINFO of Linux, by which one socket serves all addresses")
	}
	hosts := map[netip.Addr]*Host{}
	for i, a := range []string{"127.0.0.1", "127.99.1.2", "127.99.255.254"} {
		var b Builder
		b.Put(MustOID("1.3.6.1.2.1.1.5"), Text(a), 0)
		hosts[netip.MustParseAddr(a)] = testHost(b.Build())
		hosts[netip.MustParseAddr(a)].ID = uint32(i)
	}
	s, err := ListenAll(0, func(at netip.AddrPort, _ time.Time) (*Host, time.Duration, bool) {
		h := hosts[at.Addr()]
		if h == nil {
			return nil, 0, false
		}
		return h, time.Duration(h.ID) * 5 * time.Millisecond, true // the later ones with a delay
	})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for a, h := range hosts {
		c, err := net.DialUDP("udp", nil, &net.UDPAddr{IP: a.AsSlice(), Port: s.Port()})
		if err != nil {
			t.Fatal(err)
		}
		got := exchange(t, c, ask(false, "public", pduGetNext, 3, 0, 0, MustOID("1.3")))
		c.Close()
		if len(got.values) != 1 || string(got.values[0].Body) != a.String() || h == nil {
			t.Errorf("%s answers %v", a, got)
		}
	}
}

func exchange(t *testing.T, c net.Conn, request []byte) reply {
	t.Helper()
	if err := c.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Write(request); err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 4096)
	n, err := c.Read(buf)
	if err != nil {
		t.Fatal(err)
	}
	return decodeReply(t, buf[:n])
}

func TestOnlyLoopback(t *testing.T) {
	if s, err := ListenEach([]netip.AddrPort{netip.MustParseAddrPort("192.0.2.1:16100")}, nil); err == nil {
		s.Close()
		t.Error("an address that is no loopback address is accepted")
	}
}

func TestDelayedKeepsOrderAndStops(t *testing.T) {
	d := newDelayed()
	got := make(chan int, 3)
	now := time.Now()
	d.add(now.Add(30*time.Millisecond), func() { got <- 3 })
	d.add(now.Add(10*time.Millisecond), func() { got <- 1 })
	d.add(now.Add(20*time.Millisecond), func() { got <- 2 })
	for want := 1; want <= 3; want++ {
		if n := <-got; n != want {
			t.Errorf("got %d, want %d", n, want)
		}
	}
	d.add(time.Now().Add(time.Hour), func() { t.Error("done after the end") })
	d.stop()
	d.stop()
}
