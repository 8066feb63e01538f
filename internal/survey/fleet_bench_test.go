package survey

import (
	"context"
	"fmt"
	"io"
	"net/netip"
	"runtime/metrics"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/finding"
	"printround/internal/mib"
	"printround/internal/report"
	"printround/internal/snmp"
)

// BenchmarkFleet takes estates of full devices from a sweep that finds them to
// the last octet of the report: read by a reader without a network, 64 at once,
// grouped, judged, ranked and written. It says how much memory was in use at
// the most, and what that is a device.
func BenchmarkFleet(b *testing.B) {
	facts, err := mib.Read(context.Background(), fullSNMP(b))
	if err != nil {
		b.Fatal(err)
	}
	for _, n := range []int{1000, 10000, 100000} {
		for _, f := range []report.Format{report.CSV, report.JSON} {
			b.Run(fmt.Sprintf("%d/%s", n, f), func(b *testing.B) {
				for b.Loop() {
					peak := watchMemory()
					writeEstate(b, estate(n, facts), n, f)
					most := float64(peak())
					b.ReportMetric(most/1e6, "peak-MB")
					b.ReportMetric(most/float64(n), "peak-B/device")
				}
			})
		}
	}
}

// estate is n devices of a few models. Every tenth has a second interface.
func estate(n int, facts *mib.Facts) readers {
	index := facts.Printers()[0]
	at := func(i int) netip.Addr { return netip.AddrFrom4([4]byte{10, byte(i >> 16), byte(i >> 8), byte(i)}) }
	return readers{
		discover: func(ctx context.Context, _ discover.Config, found chan<- discover.Candidate) (discover.Stats, error) {
			for i := range n {
				found <- discover.Candidate{
					Target: discover.Target{Addr: at(i), SNMPPort: 161, IPPPort: 631}, Kind: discover.Printer,
					SNMP: &discover.SNMPAnswer{Version: snmp.V2c, Description: fmt.Sprintf("Lab L%d printer of the bench", i%7)},
				}
			}
			return discover.Stats{Addresses: n, Probed: n, Answered: n}, nil
		},
		snmp: func(_ context.Context, to netip.AddrPort, _ []snmp.Credential, o ReadOptions) SNMPResult {
			a := to.Addr().As4()
			i := int(a[1])<<16 | int(a[2])<<8 | int(a[3])
			d := snmpView(facts, index, o)
			if i%10 == 9 {
				i-- // the other interface of the device before
			}
			d.Serial = device.Text(fmt.Sprintf("LAB%07d", i))
			d.MAC = device.Text(fmt.Sprintf("02:00:00:%02x:%02x:%02x", i>>16, i>>8&255, i&255))
			d.MakeModel = device.Text(fmt.Sprintf("Lab L%d", i%7))
			d.Addresses = []netip.Addr{to.Addr()}
			d.Reached.SNMP = device.SNMPReach{OK: true, Tried: true, Version: "2c"}
			return SNMPResult{Views: []device.Device{d}, Indices: []int{index}, Reach: d.Reached.SNMP}
		},
	}
}

func writeEstate(b *testing.B, via readers, n int, format report.Format) {
	f, err := collect(context.Background(), Options{NoIPP: true, Credentials: []snmp.Credential{{}}, Now: func() time.Time { return snmpNow }}, via)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	if want := n - n/10; f.Len() != want {
		b.Fatalf("%d devices, want %d", f.Len(), want)
	}
	writeFleet(b, io.Discard, f, report.Options{Format: format})
}

// rankFleet judges the devices of a fleet and returns their order, and what
// judges one again.
func rankFleet(t testing.TB, f *Fleet) ([]int, func(int) device.Device) {
	t.Helper()
	var peers finding.Peers
	for i := range f.Len() {
		d := f.Outline(i)
		peers.Add(&d)
	}
	judged := func(i int) device.Device {
		d, err := f.Device(i)
		if err != nil {
			t.Fatal(err)
		}
		peers.Judge(&d, finding.Defaults())
		return d
	}
	places, order := make([]finding.Place, f.Len()), make([]int, f.Len())
	for i := range f.Len() {
		d := judged(i)
		places[i], order[i] = finding.PlaceOf(&d, 0, false), i
	}
	slices.SortFunc(order, func(i, j int) int { return places[i].Compare(places[j]) })
	return order, judged
}

// writeFleet writes a fleet as the program does, with one processor.
func writeFleet(t testing.TB, w io.Writer, f *Fleet, o report.Options) {
	t.Helper()
	order, judged := rankFleet(t, f)
	if !report.Streamed(o.Format) {
		s := *f.Head
		for _, i := range order {
			d := judged(i)
			s.Devices = append(s.Devices, report.Brief(&d, o))
		}
		if err := report.Write(w, &s, o); err != nil {
			t.Fatal(err)
		}
		return
	}
	out, err := report.NewStream(w, f.Head, o)
	if err != nil {
		t.Fatal(err)
	}
	var piece []byte
	for _, i := range order {
		d := judged(i)
		if piece, err = out.Append(piece[:0], &d); err != nil {
			t.Fatal(err)
		}
		if err := out.Write(piece); err != nil {
			t.Fatal(err)
		}
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
}

// watchMemory notes how much memory the heap takes, what is garbage included;
// the function that it returns ends that and says how much it was at the most.
func watchMemory() func() uint64 {
	var most atomic.Uint64
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
		tick := time.NewTicker(5 * time.Millisecond)
		defer tick.Stop()
		for {
			metrics.Read(sample)
			most.Store(max(most.Load(), sample[0].Value.Uint64()))
			select {
			case <-tick.C:
			case <-stop:
				return
			}
		}
	}()
	return func() uint64 {
		close(stop)
		<-done
		return most.Load()
	}
}
