package snmp

import (
	"net"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/mib"
)

// flood is a connection on which somebody answers to nothing asked.
type flood struct {
	net.Conn
	stray []byte
	left  int
}

func (f *flood) Read(b []byte) (int, error) {
	if f.left--; f.left >= 0 {
		return copy(b, f.stray), nil
	}
	return f.Conn.Read(b)
}

// What answers to nothing asked takes no room, however often it comes.
func TestStrayAnswersTakeNoRoom(t *testing.T) {
	w := &wire{agent: &agent{binds: fullDevice(t)}, way: steady(20 * time.Millisecond)}
	s := openWire(t, w, public(V2c), Options{})
	defer s.Close()
	const strays = 2000
	s.conn = &flood{Conn: w, stray: response(t, gosnmp.Version2c, 0, fullDevice(t)[:60]), left: strays}
	f, err := mib.Read(t.Context(), s)
	if err != nil || f.Values < 350 || s.Stats().Ignored != strays {
		t.Fatalf("%d values, %d answers ignored, want %d (%v)", f.Values, s.Stats().Ignored, strays, err)
	}
	if got := cap(s.in.octets); got > maxKeptOctets {
		t.Errorf("room of %d octets", got)
	}
	if got := cap(s.in.arcs); got > maxKeptOctets {
		t.Errorf("room of %d sub-identifiers", got)
	}
}
