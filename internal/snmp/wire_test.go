package snmp

import (
	"context"
	"math/rand/v2"
	"net"
	"net/netip"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/mib"
	"printround/internal/oid"
)

// wire is a connection to an agent over a path of which everything is known.
// It has its own clock, which goes on only while somebody reads.
type wire struct {
	net.Conn
	agent *agent
	way   func(n int) (lost bool, back time.Duration) // what happens to datagram n, from 0
	busy  time.Duration                               // the agent's time for one answer

	mu       sync.Mutex
	clock    time.Time
	deadline time.Time
	sent     int
	free     time.Time // when the agent is done with what it has
	onWay    []delivery
	most     int // most answers on their way at a time
}

type delivery struct {
	at   time.Time
	data []byte
}

func (w *wire) now() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.clock
}

func (w *wire) SetReadDeadline(t time.Time) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.deadline = t
	return nil
}

func (w *wire) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	lost, back := w.way(w.sent)
	w.sent++
	if lost || w.agent.deaf > 0 && len(b) > w.agent.deaf {
		return len(b), nil
	}
	if w.free.Before(w.clock) {
		w.free = w.clock
	}
	w.free = w.free.Add(w.busy)
	for _, out := range w.agent.respond(slices.Clone(b)) {
		w.onWay = append(w.onWay, delivery{w.free.Add(back), out})
	}
	slices.SortStableFunc(w.onWay, func(a, b delivery) int { return a.at.Compare(b.at) })
	w.most = max(w.most, len(w.onWay))
	return len(b), nil
}

func (w *wire) Read(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.onWay) == 0 || w.onWay[0].at.After(w.deadline) {
		if w.clock.Before(w.deadline) {
			w.clock = w.deadline
		}
		return 0, os.ErrDeadlineExceeded
	}
	d := w.onWay[0]
	w.onWay = w.onWay[1:]
	if w.clock.Before(d.at) {
		w.clock = d.at
	}
	return copy(b, d.data), nil
}

func (w *wire) Close() error { return nil }

// openWire makes a session over w.
func openWire(t testing.TB, w *wire, c Credential, o Options) *Session {
	t.Helper()
	w.agent.t = t
	if w.agent.community == "" {
		w.agent.community = "public"
	}
	w.clock = time.Date(2025, 11, 24, 2, 30, 0, 0, time.UTC)
	o.Now = w.now
	o.Dial = func(context.Context, netip.AddrPort) (net.Conn, error) { return w, nil }
	s, err := Open(context.Background(), netip.MustParseAddrPort("192.0.2.1:161"), c, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// steady is a path without loss.
func steady(rtt time.Duration) func(int) (bool, time.Duration) {
	return func(int) (bool, time.Duration) { return false, rtt }
}

// lossy loses each datagram with probability p on each of its two ways, and
// makes the others take between half and one and a half of rtt.
func lossy(seed uint64, p float64, rtt time.Duration) func(int) (bool, time.Duration) {
	r := rand.New(rand.NewPCG(seed, 1))
	return func(int) (bool, time.Duration) {
		return r.Float64() < 1-(1-p)*(1-p), rtt/2 + time.Duration(r.Int64N(int64(rtt)))
	}
}

// Two requests are in flight from the first measurement on, and never more:
// the time to read a device is that of fewer waits than it has round trips.
// Where the way is short, there is one at a time.
func TestTwoInFlight(t *testing.T) {
	for _, tt := range []struct {
		rtt  time.Duration
		most int
	}{{time.Millisecond, 1}, {20 * time.Millisecond, 2}, {100 * time.Millisecond, 2}, {time.Second, 2}} {
		t.Run(tt.rtt.String(), func(t *testing.T) {
			w := &wire{agent: &agent{binds: fullDevice(t)}, way: steady(tt.rtt)}
			s := openWire(t, w, public(V2c), Options{})
			began := w.now()
			f := readAll(t, s, fullDevice(t))
			took, st := w.now().Sub(began), s.Stats()
			goal := (useful(f)+1399)/1400 + 3
			t.Logf("%d round trips (goal %d) in the time of %.1f", st.RoundTrips, goal, float64(took)/float64(tt.rtt))
			if w.most != tt.most {
				t.Errorf("%d requests in flight, want %d", w.most, tt.most)
			}
			if st.RoundTrips > goal || st.Repeated > 0 {
				t.Errorf("%d round trips, want at most %d; %d repeated", st.RoundTrips, goal, st.Repeated)
			}
			waits := st.RoundTrips
			if tt.most == 2 {
				waits = (2*waits + 2) / 3
			}
			if took > time.Duration(waits)*tt.rtt {
				t.Errorf("took %v, want at most %v", took, time.Duration(waits)*tt.rtt)
			}
		})
	}
}

// A device that was found is read in full over a path that loses 20 % each
// way, whatever is lost, without asking again for what is known.
func TestLossConverges(t *testing.T) {
	binds := fullDevice(t)
	var slowest time.Duration
	trips, sent := 0, 0
	const runs = 300
	for seed := range uint64(runs) {
		w := &wire{agent: &agent{binds: binds}, way: lossy(seed, 0.2, 20*time.Millisecond)}
		s := openWire(t, w, public(V2c), Options{Timeout: 2 * time.Second, Retries: 2, Heard: true})
		began := w.now()
		f := readAll(t, s, binds)
		slowest = max(slowest, w.now().Sub(began))
		st := s.Stats()
		trips, sent = trips+st.RoundTrips, sent+st.Sent
		if f.Partial || len(f.Problems) > 0 {
			t.Fatalf("seed %d: partial %v, problems %v", seed, f.Partial, f.Problems)
		}
	}
	t.Logf("%.1f round trips and %.1f requests a device, the slowest took %v", float64(trips)/runs, float64(sent)/runs, slowest)
	if trips > 14*runs {
		t.Errorf("%d round trips for %d devices: answers became small", trips, runs)
	}
}

// Agents that bear two requests at a time badly get one: answers that are lost
// or overtake each other twice are the sign.
func TestBackToOne(t *testing.T) {
	rtt := 50 * time.Millisecond
	for _, tt := range []struct {
		name string
		way  func(w *wire) func(int) (bool, time.Duration)
	}{
		{"a second request is dropped", func(w *wire) func(int) (bool, time.Duration) {
			return func(int) (bool, time.Duration) { return len(w.onWay) > 0, rtt }
		}},
		{"a second request is answered first", func(w *wire) func(int) (bool, time.Duration) {
			return func(int) (bool, time.Duration) {
				if len(w.onWay) > 0 {
					return false, rtt / 2
				}
				return false, rtt
			}
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			binds := fullDevice(t)
			w := &wire{agent: &agent{binds: binds}}
			pairs := 0
			way := tt.way(w)
			w.way = func(n int) (bool, time.Duration) {
				if len(w.onWay) > 0 {
					pairs++
				}
				return way(n)
			}
			s := openWire(t, w, public(V2c), Options{Retries: 2})
			readAll(t, s, binds)
			if pairs != maxStrikes {
				t.Errorf("%d times two in flight, want %d", pairs, maxStrikes)
			}
		})
	}
}

// Of a device that somebody else is asking too, one request at a time is the
// share, and what was borrowed is given back.
func TestTurns(t *testing.T) {
	for _, taken := range []bool{false, true} {
		turn := &oneTurn{taken: taken}
		w := &wire{agent: &agent{binds: fullDevice(t)}, way: lossy(3, 0.1, 50*time.Millisecond)}
		s := openWire(t, w, public(V2c), Options{Retries: 2, Heard: true, Extra: turn})
		readAll(t, s, fullDevice(t))
		if turn.taken != taken || turn.over {
			t.Errorf("taken before %v, after %v; given back too often %v", taken, turn.taken, turn.over)
		}
		if (turn.given > 0) == taken {
			t.Errorf("taken by another %v, and given %d times", taken, turn.given)
		}
	}
}

type oneTurn struct {
	taken, over bool
	given       int
}

func (o *oneTurn) TryAcquire(int64) bool {
	if o.taken {
		return false
	}
	o.taken = true
	o.given++
	return true
}

func (o *oneTurn) Release(int64) { o.taken, o.over = false, o.over || !o.taken }

// A device that goes silent half-way is waited for twice as long as a request
// may take, and then left alone.
func TestSilentHalfWay(t *testing.T) {
	for _, retries := range []int{0, 2} {
		w := &wire{agent: &agent{binds: fullDevice(t)}, way: func(n int) (bool, time.Duration) { return n >= 2, 20 * time.Millisecond }}
		s := openWire(t, w, public(V2c), Options{Timeout: time.Second, Retries: retries})
		began := w.now()
		f, err := mib.Read(context.Background(), s)
		if err == nil || !f.Partial || len(f.Raw) == 0 {
			t.Fatalf("error %v, partial %v", err, f.Partial)
		}
		took := w.now().Sub(began).Round(time.Second)
		want := 2 * 3 * time.Second
		if retries == 0 {
			want = time.Second
		}
		if took != want {
			t.Errorf("%d retries: given up after %v, want %v; %d sent", retries, took, want, s.Stats().Sent)
		}
		if st := s.Stats(); retries == 0 && st.Repeated > 0 || st.Sent > 20 {
			t.Errorf("%d retries: %+v", retries, st)
		}
	}
}

// An agent that answers GETNEXT and drops GETBULK, or answers it with next to
// nothing, is asked with GETNEXT for several names at once.
func TestGetBulkOfNoUse(t *testing.T) {
	for _, tt := range []struct {
		name string
		bulk func(resp *gosnmp.SnmpPacket) *gosnmp.SnmpPacket
		most int // datagrams sent
	}{
		{"ignored", func(*gosnmp.SnmpPacket) *gosnmp.SnmpPacket { return nil }, 40},
		{"one binding", func(r *gosnmp.SnmpPacket) *gosnmp.SnmpPacket { r.Variables = r.Variables[:1]; return r }, 20},
		{"four bindings", func(r *gosnmp.SnmpPacket) *gosnmp.SnmpPacket { r.Variables = r.Variables[:4]; return r }, 20},
		{"genErr", func(r *gosnmp.SnmpPacket) *gosnmp.SnmpPacket { r.Error = gosnmp.GenErr; return r }, 30},
	} {
		t.Run(tt.name, func(t *testing.T) {
			binds := fullDevice(t)
			a := &agent{binds: binds}
			a.mangle = func(req, resp *gosnmp.SnmpPacket) [][]byte {
				if req.PDUType == getBulk {
					if resp = tt.bulk(resp); resp == nil {
						return nil
					}
				}
				return [][]byte{marshal(t, resp)}
			}
			w := &wire{agent: a, way: steady(20 * time.Millisecond)}
			s := openWire(t, w, public(V2c), Options{Timeout: 2 * time.Second, Retries: 2, Heard: true})
			f := readAll(t, s, binds)
			if st := s.Stats(); st.Sent > tt.most {
				t.Errorf("%d requests, want at most %d", st.Sent, tt.most)
			} else {
				t.Logf("%+v", st)
			}
			if len(f.Problems) > 0 {
				t.Errorf("problems: %q", f.Problems)
			}
		})
	}
}

// A long alert table costs as many answers as its values fill, and few more.
func TestManyAlerts(t *testing.T) {
	binds := fullDevice(t)
	for at := uint32(100); at < 100+100*7; at += 7 {
		for sub, v := range map[uint32]oid.Value{2: oid.Int(3), 3: oid.Int(4), 4: oid.Int(8), 5: oid.Int(2), 6: oid.Int(-2), 7: oid.Int(8),
			8: oid.Str("Tray 2 is nearly empty: A4, plain, 80 g/m²"), 9: oid.Ticks(81_000_000 + at)} {
			binds = append(binds, oid.VarBind{Name: oid.OID{1, 3, 6, 1, 2, 1, 43, 18, 1, 1, sub, 1, at}, Value: v})
		}
	}
	slices.SortFunc(binds, oid.ByName)
	for _, v := range []Version{V2c, V1} {
		w := &wire{agent: &agent{binds: binds}, way: steady(20 * time.Millisecond)}
		s := openWire(t, w, public(v), Options{})
		f := readAll(t, s, binds)
		st := s.Stats()
		goal := (useful(f)+1399)/1400 + 3
		t.Logf("version %v: %d values, %d octets useful of %d, %d round trips (goal %d)", v, len(f.Raw), useful(f), st.BytesIn, st.RoundTrips, goal)
		if v == V2c && st.RoundTrips > goal {
			t.Errorf("%d round trips, want at most %d", st.RoundTrips, goal)
		}
	}
}

// Every kind of agent gives the same values with two requests in flight, and
// over a path that loses 20 % each way.
func TestAgentsFarAway(t *testing.T) {
	for _, tt := range []struct {
		name    string
		version Version
		make    func() *agent
		most    int // round trips without loss
	}{
		{"v2c", V2c, func() *agent { return &agent{} }, 9},
		{"answers of 484 octets", V2c, func() *agent { return &agent{maxSize: 484} }, 27},
		{"answers of 300 octets", V2c, func() *agent { return &agent{maxSize: 300} }, 50},
		{"20 names", V2c, func() *agent { return &agent{maxNames: 20} }, 60},
		{"deaf to large requests", V2c, func() *agent { return &agent{deaf: 500} }, 28},
		{"v1", V1, func() *agent { return &agent{v1Only: true} }, 10},
		{"v1, answers of 484 octets", V1, func() *agent { return &agent{v1Only: true, maxSize: 484} }, 60},
		{"v3", V3, func() *agent { return &agent{} }, 11},
	} {
		t.Run(tt.name, func(t *testing.T) {
			binds := fullDevice(t)
			for seed := range uint64(12) {
				a := tt.make()
				a.binds = binds
				cred := public(tt.version)
				if tt.version == V3 {
					a.v3, cred = v3Pair("SHA", "AES")
				}
				way := steady(20 * time.Millisecond)
				if seed > 0 {
					way = lossy(seed, 0.2, 20*time.Millisecond)
				}
				w := &wire{agent: a, way: way}
				s := openWire(t, w, cred, Options{Retries: 2, Heard: true})
				f := readAll(t, s, binds)
				if f.Partial || len(f.Problems) > 0 {
					t.Errorf("seed %d: partial %v, problems %v", seed, f.Partial, f.Problems)
				}
				st := s.Stats()
				if seed == 0 {
					t.Logf("%d in flight, %+v", w.most, st)
					if st.RoundTrips > tt.most || w.most != 2 {
						t.Errorf("%d round trips, want at most %d; %d in flight", st.RoundTrips, tt.most, w.most)
					}
				}
			}
		})
	}
}
