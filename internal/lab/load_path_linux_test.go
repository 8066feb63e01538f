package lab

import (
	"net"
	"net/netip"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"printround/internal/lab/agent"
	"printround/internal/needtest"
)

// A crowd behind a path loses, doubles and delays as often as it was told, and
// the same seed does it to the same datagrams.
func TestCrowdPath(t *testing.T) {
	question := []byte{0x30, 0x26, 0x02, 0x01, 0x01, 0x04, 0x06, 'p', 'u', 'b', 'l', 'i', 'c', 0xa0, 0x19, 0x02, 0x01, 0x07, 0x02, 0x01, 0x00, 0x02, 0x01, 0x00,
		0x30, 0x0e, 0x30, 0x0c, 0x06, 0x08, 0x2b, 6, 1, 2, 1, 1, 3, 0, 0x05, 0x00} // GET sysUpTime.0
	fates := func(seed int64, path LoadPath) (out []int) {
		l := crowd(t, LoadOptions{Devices: 1, Prefix: netip.MustParsePrefix("127.98.1.0/24"), Seed: seed, Path: path})
		defer l.Close()
		c, err := net.DialUDP("udp4", nil, net.UDPAddrFromAddrPort(netip.AddrPortFrom(l.Addr(0), uint16(l.Port()))))
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		raw, err := c.SyscallConn()
		if err != nil {
			t.Fatal(err)
		}
		buf := make([]byte, 512)
		for i := range 200 {
			question[17] = byte(i%100 + 1)
			if _, err := c.Write(question); err != nil {
				t.Fatal(err)
			}
			for deadline := time.Now().Add(10 * time.Second); l.handled.Load() <= int64(i); time.Sleep(20 * time.Microsecond) {
				if time.Now().After(deadline) {
					t.Fatal("the crowd reads nothing")
				}
			}
			n := 0
			// What was sent before the path was through is here.
			err := raw.Control(func(fd uintptr) {
				for {
					if _, _, err := unix.Recvfrom(int(fd), buf, unix.MSG_DONTWAIT); err != nil {
						return
					}
					n++
				}
			})
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, n)
		}
		return out
	}
	sum := func(list []int) (lost, doubled int) {
		for _, n := range list {
			lost += count(n == 0)
			doubled += count(n > 1)
		}
		return lost, doubled
	}
	if lost, doubled := sum(fates(1, LoadPath{Loss: 0.2})); lost < 40 || lost > 105 || doubled != 0 { // 36 % of 200 are 72
		t.Errorf("%d of 200 lost, %d doubled", lost, doubled)
	}
	if lost, doubled := sum(fates(1, LoadPath{Duplicate: 0.3})); doubled < 30 || doubled > 90 || lost != 0 {
		t.Errorf("%d of 200 lost, %d doubled", lost, doubled)
	}
}

func TestCrowdOutsideLoopback(t *testing.T) {
	if !agent.OneSocket {
		needtest.Missing(t, "IP_PKTINFO of Linux, by which one socket serves all addresses")
	}
	l, err := StartLoad(t.Context(), LoadOptions{Devices: 20, Prefix: netip.MustParsePrefix("10.77.0.0/20"), Routed: true})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if a := l.Addr(19); !netip.MustParsePrefix("10.77.0.0/20").Contains(a) {
		t.Errorf("device 19 stands at %s", a)
	}
}
