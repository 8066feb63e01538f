package snmp

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/mib"
	"printround/internal/oid"
)

// fullDevice is the invented complete device.
func fullDevice(t testing.TB) []oid.VarBind {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "mib", "testdata", "full.snmprec"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec, err := mib.ParseRecording(f)
	if err != nil {
		t.Fatal(err)
	}
	return rec.Bindings()
}

// reindexed moves the rows of the Printer and Finisher MIBs, hrDeviceTable and
// hrPrinterTable to another hrDeviceIndex.
func reindexed(binds []oid.VarBind, from, to uint32) []oid.VarBind {
	var out []oid.VarBind
	for _, b := range binds {
		name := b.Name.Append()
		at := -1
		switch {
		case name.HasPrefix(oid.MustParse("1.3.6.1.2.1.43")):
			at = 11
		case name.HasPrefix(oid.MustParse("1.3.6.1.2.1.25.3.2")), name.HasPrefix(oid.MustParse("1.3.6.1.2.1.25.3.5")):
			at = 11
		}
		if at > 0 && len(name) > at && name[at] == from {
			name[at] = to
		}
		out = append(out, oid.VarBind{Name: name, Value: b.Value})
	}
	return out
}

func open(t testing.TB, a *agent, c Credential, o Options) *Session {
	t.Helper()
	at := a.start(t)
	if o.Timeout == 0 {
		o.Timeout = 5 * time.Second
	}
	s, err := Open(context.Background(), at, c, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func public(v Version) Credential { return Credential{Label: "test", Version: v, Community: "public"} }

// useful is the number of octets that the bindings of facts take.
func useful(f *mib.Facts) int {
	n := 0
	for _, b := range f.Raw {
		n += b.Size()
	}
	return n
}

// TestRoundTrips holds the reader to its goal: a full device in no more round
// trips than its answers fill datagrams of 1,400 octets, plus three.
func TestRoundTrips(t *testing.T) {
	for _, index := range []uint32{1, 5, 300} {
		t.Run(fmt.Sprintf("hrDeviceIndex %d", index), func(t *testing.T) {
			s := open(t, &agent{binds: reindexed(fullDevice(t), 1, index)}, public(V2c), Options{})
			f, err := mib.Read(context.Background(), s)
			if err != nil {
				t.Fatal(err)
			}
			st := s.Stats()
			goal := (useful(f)+1399)/1400 + 3
			t.Logf("%d values, %d octets useful of %d received, %d round trips (goal %d)", len(f.Raw), useful(f), st.BytesIn, st.RoundTrips, goal)
			if len(f.Raw) < 350 {
				t.Errorf("%d values, the device has at least 350", len(f.Raw))
			}
			if st.RoundTrips > goal {
				t.Errorf("%d round trips, want at most %d", st.RoundTrips, goal)
			}
			if got := f.Printers(); !slices.Equal(got, []int{int(index)}) {
				t.Errorf("printers %v", got)
			}
			if len(f.Problems) > 0 {
				t.Errorf("problems: %v", f.Problems)
			}
		})
	}
}

// The reader only reads, and asks each device for one thing after the other.
func TestOnlyReads(t *testing.T) {
	for _, v := range []Version{V1, V2c} {
		a := &agent{binds: fullDevice(t)}
		s := open(t, a, public(v), Options{})
		if _, err := mib.Read(context.Background(), s); err != nil {
			t.Fatal(err)
		}
		for _, req := range a.seen() {
			if req.PDUType != gosnmp.GetNextRequest && (v == V1 || req.PDUType != gosnmp.GetBulkRequest) {
				t.Errorf("%v: sent PDU type %#x", v, req.PDUType)
			}
			if req.RequestID == 0 {
				t.Errorf("%v: request-id 0", v)
			}
		}
		if len(a.seen()) != s.Stats().RoundTrips {
			t.Errorf("%v: %d requests, %d round trips", v, len(a.seen()), s.Stats().RoundTrips)
		}
	}
}

// BenchmarkFullDevice reads a complete device and reports round trips beside
// the goal, and octets.
func BenchmarkFullDevice(b *testing.B) {
	for _, bench := range []struct {
		name string
		cred Credential
		a    *agent
	}{
		{"v2c", public(V2c), &agent{}},
		{"v2c/answers of 484 octets", public(V2c), &agent{maxSize: 484}},
		{"v1", public(V1), &agent{}},
		{"v3", Credential{}, &agent{}},
	} {
		b.Run(bench.name, func(b *testing.B) {
			bench.a.binds = fullDevice(b)
			if bench.name == "v3" {
				bench.a.v3, bench.cred = v3Pair("SHA", "AES")
			}
			at := bench.a.start(b)
			var st Stats
			var f *mib.Facts
			for b.Loop() {
				s, err := Open(context.Background(), at, bench.cred, Options{})
				if err != nil {
					b.Fatal(err)
				}
				if f, err = mib.Read(context.Background(), s); err != nil {
					b.Fatal(err)
				}
				st = s.Stats()
				s.Close()
			}
			b.ReportMetric(float64(st.RoundTrips), "round-trips")
			b.ReportMetric(float64((useful(f)+1399)/1400+3), "goal")
			b.ReportMetric(float64(len(f.Raw)), "values")
			b.ReportMetric(float64(st.BytesIn), "octets-in")
		})
	}
}
