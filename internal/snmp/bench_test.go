package snmp

import (
	"testing"

	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// sixty are the first sixty values of the complete device, about one full
// datagram.
func sixty(b *testing.B) []oid.VarBind { return fullDevice(b)[:60] }

func BenchmarkDecode(b *testing.B) {
	m := gosnmp.SnmpPacket{Version: gosnmp.Version2c, Community: "public", PDUType: gosnmp.GetResponse, RequestID: 1}
	for _, v := range sixty(b) {
		m.Variables = append(m.Variables, library(v))
	}
	datagram, err := m.MarshalMsg()
	if err != nil {
		b.Fatal(err)
	}
	codec := &gosnmp.GoSNMP{Version: gosnmp.Version2c}
	var in received
	b.ReportAllocs()
	for b.Loop() {
		r, err := decode(codec, datagram, &in)
		if err != nil || len(r.binds) != 60 {
			b.Fatal(err)
		}
		in.reset()
	}
}

func BenchmarkEncode(b *testing.B) {
	p := &pdu{kind: getBulk, id: 1, reps: 1}
	for _, v := range sixty(b) {
		p.names = append(p.names, oid.Ask{Name: v.Name})
	}
	var out, room []byte
	b.ReportAllocs()
	for b.Loop() {
		out, room = appendCommunity(out[:0], V2c, "public", p, room)
	}
	b.ReportMetric(float64(len(out)), "octets")
}
