package snmp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/mib"
	"printround/internal/oid"
)

// quick are options for tests in which the device stays silent on purpose.
var quick = Options{Timeout: 30 * time.Millisecond}

// readAll reads a device and compares with a reading of the recording itself.
func readAll(t *testing.T, s *Session, binds []oid.VarBind) *mib.Facts {
	t.Helper()
	want, err := mib.Read(context.Background(), mib.NewRecording(binds))
	if err != nil {
		t.Fatal(err)
	}
	got, err := mib.Read(context.Background(), s)
	if err != nil {
		t.Fatalf("%v (stats %+v)", err, s.Stats())
	}
	have := map[string]oid.Value{}
	for _, b := range got.Raw {
		have[b.Name.String()] = b.Value
	}
	missing := 0
	for _, b := range want.Raw {
		if v, ok := have[b.Name.String()]; !ok || !v.Equal(b.Value) {
			missing++
		}
	}
	if missing > 0 {
		t.Errorf("%d of %d values missing or different", missing, len(want.Raw))
	}
	return got
}

// Every kind of agent must give the same values; those that can take little at
// a time only take longer.
func TestAgents(t *testing.T) {
	tests := []struct {
		name  string
		agent *agent
		cred  Credential
		most  int // round trips
	}{
		{"v2c", &agent{}, public(V2c), 11},
		{"v2c, long community", &agent{community: strings.Repeat("c", 127)}, Credential{Version: V2c, Community: Secret(strings.Repeat("c", 127))}, 12},
		{"v2c, answers of 484 octets", &agent{maxSize: 484}, public(V2c), 45},
		{"v2c, answers of 1472 octets", &agent{maxSize: 1472}, public(V2c), 11},
		{"v2c, answers of 300 octets", &agent{maxSize: 300}, public(V2c), 80},
		{"v2c, 20 names", &agent{maxNames: 20}, public(V2c), 60},
		{"v2c, 1 name", &agent{maxNames: 1}, public(V2c), 700},
		{"v2c, deaf to large requests", &agent{deaf: 500}, public(V2c), 60},
		{"v2c, first request lost", &agent{dropFirst: 1}, public(V2c), 13},
		{"v1", &agent{v1Only: true}, public(V1), 40},
		{"v1, answers of 484 octets", &agent{v1Only: true, maxSize: 484}, public(V1), 80},
		{"v1 by fallback", &agent{v1Only: true}, public(V2c), 42},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			binds := fullDevice(t)
			tt.agent.binds = binds
			o := Options{Timeout: 5 * time.Second}
			if tt.agent.deaf > 0 || tt.agent.dropFirst > 0 || tt.agent.v1Only && tt.cred.Version == V2c {
				o = Options{Timeout: 60 * time.Millisecond, Retries: 5}
			}
			s := open(t, tt.agent, tt.cred, o)
			f := readAll(t, s, binds)
			if st := s.Stats(); st.RoundTrips > tt.most {
				t.Errorf("%d round trips, want at most %d", st.RoundTrips, tt.most)
			} else {
				t.Logf("%+v", st)
			}
			if len(f.Problems) > 0 {
				t.Errorf("problems: %q", f.Problems)
			}
			want := tt.cred.Version
			if tt.agent.v1Only {
				want = V1
			}
			if s.Version() != want {
				t.Errorf("version %v, want %v", s.Version(), want)
			}
		})
	}
}

// In SNMPv1 nothing behind a name is an error for the whole request (RFC 1157
// section 4.1.3): names past the end must not cost the others.
func TestV1PastTheEnd(t *testing.T) {
	var binds []oid.VarBind
	for _, b := range fullDevice(t) {
		if b.Name.Compare(oid.MustParse("1.3.6.1.2.1.43.18.2")) < 0 {
			binds = append(binds, b)
		}
	}
	s := open(t, &agent{binds: binds, v1Only: true}, public(V1), Options{})
	readAll(t, s, binds)
	if st := s.Stats(); st.RoundTrips > 45 {
		t.Errorf("%d round trips", st.RoundTrips)
	}
}

// One object that the agent cannot read must not cost the others (RFC 3416
// section 4.2.2, genErr with an index).
func TestOneBadObject(t *testing.T) {
	for _, v := range []Version{V1, V2c} {
		t.Run(v.String(), func(t *testing.T) {
			bad := oid.MustParse("1.3.6.1.2.1.43.11.1.1.6.1.3")
			s := open(t, &agent{binds: fullDevice(t), bad: bad}, public(v), Options{})
			f, err := mib.Read(context.Background(), s)
			if err != nil {
				t.Fatal(err)
			}
			if len(f.Supplies) != 9 || f.Supplies[3].Description != "" || f.Supplies[4].Description == "" {
				t.Errorf("supplies %+v", f.Supplies)
			}
			if len(f.Problems) != 1 || !strings.Contains(f.Problems[0], "could not read 1.3.6.1.2.1.43.11.1.1.6.1.4") {
				t.Errorf("problems %q", f.Problems)
			}
		})
	}
}

func TestErrorsWithoutEnd(t *testing.T) {
	s := open(t, &agent{genErr: true}, public(V2c), Options{})
	b, err := s.probe(context.Background(), systemGroup)
	if err != nil || b.Value.Kind != oid.Invalid {
		t.Errorf("%v, %v: want a value that could not be read", b, err)
	}
	if _, err := mib.Read(context.Background(), s); !errors.Is(err, mib.ErrNotPrinter) && err == nil {
		t.Errorf("error %v", err)
	}
}

// Answers that are no answers to the request are ignored, and the real one
// behind them still counts.
func TestForeignAnswers(t *testing.T) {
	tests := map[string]func(req, resp *gosnmp.SnmpPacket){
		"request-id 0":        func(_, r *gosnmp.SnmpPacket) { r.RequestID = 0 },
		"another request-id":  func(_, r *gosnmp.SnmpPacket) { r.RequestID ^= 1 << 20 }, // the next id is that of the second try
		"another community":   func(_, r *gosnmp.SnmpPacket) { r.Community = "other" },
		"another version":     func(_, r *gosnmp.SnmpPacket) { r.Version ^= 1 },
		"a request":           func(_, r *gosnmp.SnmpPacket) { r.PDUType = gosnmp.GetRequest },
		"a report":            func(_, r *gosnmp.SnmpPacket) { r.PDUType = gosnmp.Report },
		"a trap, version two": func(_, r *gosnmp.SnmpPacket) { r.PDUType = gosnmp.SNMPv2Trap },
	}
	for name, bend := range tests {
		for _, real := range []bool{true, false} {
			t.Run(fmt.Sprintf("%s, real answer %v", name, real), func(t *testing.T) {
				a := &agent{binds: fullDevice(t)}
				a.mangle = func(req, resp *gosnmp.SnmpPacket) [][]byte {
					good := marshal(t, resp)
					bend(req, resp)
					out := [][]byte{marshal(t, resp)}
					if real {
						out = append(out, good)
					}
					return out
				}
				o := quick
				if real {
					o = Options{}
				}
				s := open(t, a, public(V2c), o)
				b, err := s.probe(context.Background(), systemGroup)
				if real && (err != nil || b.Value.Kind != oid.OctetString) || !real && !errors.Is(err, ErrNotAsked) {
					t.Errorf("%v, %v", b, err)
				}
				if s.Stats().Ignored == 0 {
					t.Error("nothing was ignored")
				}
			})
		}
	}
}

// Garbage, cut messages and messages with bad values end in an error or in a
// value that is left out.
func TestGarbage(t *testing.T) {
	garbage := map[string][]byte{
		"empty": {}, "text": []byte("HTTP/1.1 400 Bad Request\r\n\r\n"), "zeros": make([]byte, 200), "ones": slices.Repeat([]byte{0xff}, 1400),
		"a length without end": {0x30, 0x84, 0xff, 0xff, 0xff, 0xff},
	}
	for name, datagram := range garbage {
		t.Run(name, func(t *testing.T) {
			a := &agent{mangle: func(_, _ *gosnmp.SnmpPacket) [][]byte { return [][]byte{datagram} }}
			s := open(t, a, public(V2c), quick)
			if _, err := s.probe(context.Background(), systemGroup); !errors.Is(err, ErrNotAsked) {
				t.Errorf("error %v", err)
			}
		})
	}
	t.Run("every prefix of an answer", func(t *testing.T) {
		var n atomic.Int64
		a := &agent{binds: fullDevice(t)}
		a.mangle = func(_, resp *gosnmp.SnmpPacket) [][]byte {
			b := marshal(t, resp)
			var out [][]byte
			for i := range b {
				out = append(out, b[:i])
			}
			n.Store(int64(len(b)))
			return append(out, b)
		}
		s := open(t, a, public(V2c), Options{})
		if _, err := s.probe(context.Background(), systemGroup); err != nil {
			t.Errorf("error %v", err)
		}
		if got := s.Stats().Ignored; got != int(n.Load()) {
			t.Errorf("%d ignored, want %d", got, n.Load())
		}
	})
}

// More bindings than asked for are cut; none at all is an answer that cannot
// be used.
func TestOddBindingCounts(t *testing.T) {
	a := &agent{binds: fullDevice(t)}
	a.mangle = func(_, resp *gosnmp.SnmpPacket) [][]byte {
		resp.Variables = append(resp.Variables, resp.Variables...)
		return [][]byte{marshal(t, resp)}
	}
	s := open(t, a, public(V2c), Options{})
	got, err := s.Next(context.Background(), oid.Request{Names: []oid.Ask{{Name: systemGroup, Size: 10}}})
	if err != nil || len(got.Names) != 1 || len(got.Columns) != 0 {
		t.Errorf("%+v, %v", got, err)
	}
	a = &agent{mangle: func(_, resp *gosnmp.SnmpPacket) [][]byte {
		resp.Variables = nil
		return [][]byte{marshal(t, resp)}
	}}
	s = open(t, a, public(V2c), Options{})
	b, err := s.probe(context.Background(), systemGroup)
	if err != nil || b.Value.Kind != oid.Invalid {
		t.Errorf("no bindings: %v, %v", b, err)
	}
}

func TestSilence(t *testing.T) {
	s := open(t, &agent{dropFirst: 100}, public(V2c), Options{Timeout: 10 * time.Millisecond, Retries: 2})
	start := time.Now()
	if _, err := s.probe(context.Background(), systemGroup); !errors.Is(err, ErrNoAnswer) {
		t.Errorf("error %v", err)
	}
	if took := time.Since(start); took < 40*time.Millisecond {
		t.Errorf("gave up after %v; the tries wait 10, 10 and 20 ms", took)
	}
	if st := s.Stats(); st.Repeated != 2 || st.RoundTrips != 0 {
		t.Errorf("stats %+v", st)
	}
}

// A device that wakes up answers an earlier try late: that counts.
func TestLateAnswer(t *testing.T) {
	var held [][]byte
	a := &agent{binds: fullDevice(t)}
	a.mangle = func(req, resp *gosnmp.SnmpPacket) [][]byte {
		if req.Version == gosnmp.Version1 {
			return nil
		}
		held = append(held, marshal(t, resp))
		if len(held) == 1 {
			return nil
		}
		return held[:1]
	}
	s := open(t, a, public(V2c), Options{Timeout: 50 * time.Millisecond, Retries: 4})
	if b, err := s.probe(context.Background(), systemGroup); err != nil || b.Value.Kind != oid.OctetString {
		t.Errorf("%v, %v", b, err)
	}
}

// Cancelling ends a wait at once.
func TestCancel(t *testing.T) {
	for _, cred := range []Credential{public(V2c), {Version: V3, User: "reader"}} {
		a := &agent{dropFirst: 100}
		s := open(t, a, cred, Options{Timeout: time.Hour})
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan error)
		go func() {
			_, err := s.probe(ctx, systemGroup)
			done <- err
		}()
		cancel()
		select {
		case err := <-done:
			if !errors.Is(err, context.Canceled) {
				t.Errorf("%v: error %v", cred.Version, err)
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("%v: still waiting", cred.Version)
		}
	}
}

func TestDeadline(t *testing.T) {
	s := open(t, &agent{dropFirst: 100}, public(V2c), Options{Timeout: time.Hour})
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if _, err := s.probe(ctx, systemGroup); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error %v", err)
	}
}

func TestClosedPort(t *testing.T) {
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	at := conn.LocalAddr().(*net.UDPAddr).AddrPort()
	conn.Close()
	s, err := Open(context.Background(), at, public(V2c), Options{Timeout: 2 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.probe(context.Background(), systemGroup); !errors.Is(err, ErrRefused) {
		t.Errorf("error %v, want ErrRefused", err)
	}
}

func TestCredentials(t *testing.T) {
	at := netip.MustParseAddrPort("127.0.0.1:1")
	long := Secret(strings.Repeat("s3cret-", 30))
	tests := []Credential{
		{Version: V2c}, {Version: V1}, {Version: V2c, Community: long}, {Version: V1, Community: long[:128]}, {Version: 2, Community: "x"},
		{Version: V3}, {Version: V3, User: strings.Repeat("u", 33)}, {Version: V3, User: "u", AuthProtocol: "SHA3", AuthPass: long},
		{Version: V3, User: "u", AuthProtocol: "SHA", AuthPass: "s3cret-"}, {Version: V3, User: "u", PrivProtocol: "AES", PrivPass: long},
		{Version: V3, User: "u", AuthProtocol: "SHA", AuthPass: long, PrivProtocol: "ROT13", PrivPass: long},
		{Version: V3, User: "u", AuthProtocol: "SHA", AuthPass: long, PrivProtocol: "DES", PrivPass: "s3cret-"},
		{Version: V3, User: "u", Context: strings.Repeat("c", 33)},
	}
	for i, c := range tests {
		s, err := Open(context.Background(), at, c, Options{})
		if s != nil || !errors.Is(err, ErrCredential) {
			t.Errorf("%d: %v, want ErrCredential", i, err)
		}
		if err != nil && (strings.Contains(err.Error(), "s3cret") || strings.Contains(err.Error(), "\n")) {
			t.Errorf("%d: the error shows a secret or has two lines: %v", i, err)
		}
	}
}

// An IPv6 address with an interface that is not here is told so.
func TestMissingInterface(t *testing.T) {
	_, err := Open(context.Background(), netip.MustParseAddrPort("[fe80::1%nosuch]:161"), public(V2c), Options{
		Dial: func(context.Context, netip.AddrPort) (net.Conn, error) {
			return nil, &net.OpError{Op: "dial", Err: os.NewSyscallError("connect", syscall.EINVAL)}
		}})
	if !errors.Is(err, ErrUnreachable) || !strings.Contains(err.Error(), `no network interface "nosuch"`) {
		t.Errorf("error %v", err)
	}
}
