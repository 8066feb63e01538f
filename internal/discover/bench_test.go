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

// silentWire takes probes and answers none.
type silentWire struct{ ch chan event }

func (w silentWire) send(netip.AddrPort, []byte, bool) error { return nil }
func (w silentWire) dropped() uint64                         { return 0 }
func (w silentWire) events() <-chan event                    { return w.ch }
func (w silentWire) close()                                  {}

// probing sends the first probes of a sweep of a /16, again and again.
func probing(t testing.TB) (one func()) {
	s, _, err := Parse(context.Background(), []string{"127.79.0.0/16"}, testOptions())
	if err != nil {
		t.Fatal(err)
	}
	sw := newSweep(Config{Scope: s, Credentials: public(), Pace: 1 << 30}, silentWire{make(chan event)}, newTable(s.Len()), newCounters(s.Len()))
	far := sw.lanes[0]
	far.begin(time.Now())
	now := time.Now()
	return func() {
		now = now.Add(time.Millisecond)
		if far.index >= s.Len()-1 {
			far.index = 0
		}
		if _, sent := sw.step(now); !sent {
			t.Fatal("no probe was sent")
		}
	}
}

// strangers are datagrams that answer nothing: noise, and an answer to somebody
// else's question.
func strangers() [][]byte {
	q := cannedReply()
	q.put(7)
	return [][]byte{[]byte("noise"), q.msg}
}

// receiving hands the wire such datagrams.
func receiving() (one func()) {
	w := &udpWire{ch: make(chan event, 1), done: make(chan struct{})}
	from, data, i := netip.MustParseAddrPort("127.79.1.1:161"), strangers(), 0
	return func() {
		w.deliver(from, data[i%len(data)])
		i++
		<-w.ch
	}
}

func TestSweepAllocatesNothing(t *testing.T) {
	if n := testing.AllocsPerRun(2000, probing(t)); n != 0 {
		t.Errorf("a probe costs %v allocations", n)
	}
	if n := testing.AllocsPerRun(2000, receiving()); n != 0 {
		t.Errorf("a datagram that answers nothing costs %v allocations", n)
	}
}

func BenchmarkProbe(b *testing.B) {
	one := probing(b)
	b.ReportAllocs()
	for b.Loop() {
		one()
	}
}

func BenchmarkUnrelatedReply(b *testing.B) {
	one := receiving()
	b.ReportAllocs()
	for b.Loop() {
		one()
	}
}

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
