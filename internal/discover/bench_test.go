package discover

import (
	"context"
	"net/netip"
	"runtime"
	"slices"
	"testing"
	"time"

	"printround/internal/snmp"
)

// benchmarkSweep sweeps loopback addresses of which one in a hundred is a
// printer. The answer is encoded once, so that the sweep is measured and not
// the responder.
func benchmarkSweep(b *testing.B, targets string, pace int) {
	canned := cannedReply()
	r := startResponder(b, func(to netip.Addr, q []byte) []byte {
		if number4(to)%100 != 1 {
			return nil
		}
		canned.put(questionID(q))
		return canned.msg
	})
	scope := loopScope(b, targets, r.port, 1)
	printers := 0
	for i := range scope.Len() {
		if number4(scope.At(i).Addr)%100 == 1 {
			printers++
		}
	}
	b.ResetTimer()
	for b.Loop() {
		_, stats, err := discoverAll(b, context.Background(), Config{
			Scope: scope, Credentials: public(), Pace: pace, Timeout: 200 * time.Millisecond, Listen: 300 * time.Millisecond, NoMDNS: true, NoIPP: true,
		})
		if err != nil || stats.Printers != printers {
			b.Fatalf("%d printers, want %d: %+v %v", stats.Printers, printers, stats, err)
		}
		b.ReportMetric(float64(stats.PacketsSent), "packets/op")
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/(1<<20), "MiB-from-system")
}

// cannedReply answers the sweep's first question as a printer does.
func cannedReply() question {
	str := func(s string) []byte { return tlv(tagOctetString, []byte(s)) }
	bindings := tlv(tagSequence,
		tlv(tagSequence, tlv(tagOID, oid(6, 1, 2, 1, 1, 1, 0)), str("Tessel L40 system")),
		tlv(tagSequence, tlv(tagOID, oid(6, 1, 2, 1, 1, 2, 0)), tlv(tagOID, oid(6, 1, 4, 1, 99999, 4, 1))),
		tlv(tagSequence, tlv(tagOID, append(slices.Clone(askNames[askDeviceType]), 1)), tlv(tagOID, devicePrinter)),
		tlv(tagSequence, tlv(tagOID, append(slices.Clone(askNames[askDeviceDescr]), 1)), str("Tessel L40")),
		tlv(tagSequence, tlv(tagOID, append(slices.Clone(askNames[askPrinterStatus]), 1)), tlv(tagInteger, []byte{3})),
		tlv(tagSequence, tlv(tagOID, append(slices.Clone(configChanges), 1)), tlv(tagInteger, []byte{3})))
	zero := tlv(tagInteger, []byte{0})
	pdu := tlv(tagResponse, markInteger(), zero, zero, bindings)
	msg := tlv(tagSequence, tlv(tagInteger, []byte{1}), str("public"), pdu)
	return question{msg, markAt(msg, 1)}
}

func TestCannedReply(t *testing.T) {
	q := cannedReply()
	q.put(0x41424344)
	var r reply
	if err := decodeReply(q.msg, &r); err != nil || r.id != 0x41424344 || r.n != int(askCount) || r.version != snmp.V2c {
		t.Fatalf("%+v, %v", r, err)
	}
}

func BenchmarkSweep24(b *testing.B)     { benchmarkSweep(b, "127.78.1.0/24", 20000) }
func BenchmarkSweep16(b *testing.B)     { benchmarkSweep(b, "127.79.0.0/16", DefaultPace) }
func BenchmarkSweep16Fast(b *testing.B) { benchmarkSweep(b, "127.79.0.0/16", 20000) }

func BenchmarkDecodeReply(b *testing.B) {
	msg := cannedReply().msg
	var r reply
	b.ReportAllocs()
	for b.Loop() {
		if err := decodeReply(msg, &r); err != nil {
			b.Fatal(err)
		}
	}
}
