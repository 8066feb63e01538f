package survey

import (
	"context"
	"fmt"
	"net/netip"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/mib"
)

// BenchmarkFinish joins 10,000 hosts that were read, one in ten of them over a
// second interface of the device before it.
func BenchmarkFinish(b *testing.B) {
	view := viewOf(b, fullSNMP(b))
	shelf := NewShelf("", 1<<30)
	hosts := make([]*host, 10000)
	for i := range hosts {
		v := view
		n := i
		if i%10 == 9 {
			n = i - 1
		}
		v.Serial = device.Text(fmt.Sprintf("LAB%06d", n))
		v.MAC = device.Text(fmt.Sprintf("02:00:00:%02x:%02x:%02x", n>>16, n>>8&255, n&255))
		a := netip.AddrFrom4([4]byte{10, 20, byte(i >> 8), byte(i)})
		v.Addresses = []netip.Addr{a}
		hosts[i] = &host{target: discover.Target{Addr: a, SNMPPort: 161, IPPPort: 631}, kind: discover.Printer, snmpOK: true,
			snmpViews: sketchesOf([]device.Device{v}, shelf)}
	}
	b.ReportAllocs()
	for b.Loop() {
		p := &pipeline{o: Options{Now: func() time.Time { return snmpNow }}.withDefaults(), order: hosts}
		f := p.finish(discover.Stats{})
		if s, err := f.Survey(); err != nil || len(s.Devices) != 9000 {
			b.Fatalf("%d devices (%v)", f.Len(), err)
		}
	}
}

// BenchmarkView maps what one full device showed over SNMP.
func BenchmarkView(b *testing.B) {
	facts, err := mib.Read(context.Background(), fullSNMP(b))
	if err != nil {
		b.Fatal(err)
	}
	index, o := facts.Printers()[0], snmpOptions()
	b.ReportAllocs()
	for b.Loop() {
		if d := snmpView(facts, index, o); d.Serial == "" {
			b.Fatal("no serial number")
		}
	}
}
