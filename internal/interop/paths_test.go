package interop

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"net/netip"
	"testing"
	"time"

	"printround/internal/lab"
	"printround/internal/mib"
	"printround/internal/needtest"
	"printround/internal/snmp"
)

// lossyConn is a UDP connection over a path that loses datagrams both ways.
type lossyConn struct {
	net.Conn
	rand *rand.Rand
	loss float64
	sent int
	lost int
}

func (c *lossyConn) Write(b []byte) (int, error) {
	c.sent++
	if c.rand.Float64() < c.loss {
		c.lost++
		return len(b), nil
	}
	return c.Conn.Write(b)
}

func (c *lossyConn) Read(b []byte) (int, error) {
	for {
		n, err := c.Conn.Read(b)
		if err != nil || c.rand.Float64() >= c.loss {
			return n, err
		}
		c.lost++
	}
}

// A full device far away, over a path that loses nothing and over paths that
// lose 20 % each way: two requests are in flight, and each value is the one
// that the reference reader prints.
func TestFarDeviceValueForValue(t *testing.T) {
	far, err := lab.StartLoad(t.Context(), lab.LoadOptions{Devices: 1, Prefix: netip.MustParsePrefix("127.97.1.0/24"), Delay: 20 * time.Millisecond})
	if err != nil {
		needtest.Missing(t, "all of 127.0.0.0/8 on the loopback interface: %v", err)
	}
	defer far.Close()
	at := netip.AddrPortFrom(far.Addr(0), uint16(far.Port()))
	want := walk(t, community(at.String(), "2c", "public"), "1.3.6.1.2.1")
	for seed, loss := range map[uint64]float64{1: 0, 2: 0.2, 3: 0.2} {
		t.Run(fmt.Sprintf("loss %g, seed %d", loss, seed), func(t *testing.T) {
			path := &lossyConn{rand: rand.New(rand.NewPCG(seed, 7)), loss: loss}
			session, err := snmp.Open(t.Context(), at, named("public"), snmp.Options{
				Timeout: time.Second, Retries: 2, Heard: true,
				Dial: func(_ context.Context, at netip.AddrPort) (net.Conn, error) {
					c, err := net.DialUDP("udp", nil, net.UDPAddrFromAddrPort(at))
					path.Conn = c
					return path, err
				},
			})
			if err != nil {
				t.Fatal(err)
			}
			defer session.Close()
			facts, err := mib.Read(t.Context(), session)
			if err != nil || facts.Partial || len(facts.Problems) > 0 {
				t.Fatalf("%v, partial %v, problems %v", err, facts.Partial, facts.Problems)
			}
			equal := compareValues(t, facts, want)
			st := session.Stats()
			t.Logf("%d values are equal; %d round trips, %d datagrams sent, %d lost on either way", equal, st.RoundTrips, path.sent, path.lost)
			if equal < leastValues {
				t.Errorf("%d values, want at least %d", equal, leastValues)
			}
			if loss == 0 && st.Repeated > 0 || loss > 0 && path.lost == 0 {
				t.Errorf("%d repeated, %d lost", st.Repeated, path.lost)
			}
		})
	}
}
