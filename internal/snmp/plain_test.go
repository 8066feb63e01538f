package snmp

import (
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// likeTheLibrary reports whether a message was read without the library, and
// fails when that is not what the library makes of it.
func likeTheLibrary(t testing.TB, datagram []byte) bool {
	t.Helper()
	got := decodePlain(datagram, &received{})
	if got == nil {
		return false
	}
	want, err := decodeAny(&gosnmp.GoSNMP{Version: gosnmp.Version2c}, datagram, &received{})
	if err != nil {
		t.Fatalf("the library refuses % x: %v", datagram, err)
	}
	if len(got.binds)+len(want.binds) == 0 {
		got.binds, want.binds = nil, nil
	}
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("% x:\n%+v\nthe library has\n%+v", datagram, got, want)
	}
	return true
}

// response is the library's encoding of an answer.
func response(t testing.TB, v gosnmp.SnmpVersion, status uint8, binds []oid.VarBind) []byte {
	t.Helper()
	m := gosnmp.SnmpPacket{Version: v, Community: "public", PDUType: gosnmp.GetResponse, RequestID: 1<<31 - 2, Error: gosnmp.SNMPError(status), ErrorIndex: status}
	for _, b := range binds {
		m.Variables = append(m.Variables, library(b))
	}
	return marshal(t, &m)
}

// What is read without the library is what the library reads: all values of a
// device, and the same with single octets changed, cut off or added.
func TestPlainLikeTheLibrary(t *testing.T) {
	all := fullDevice(t)
	r := rand.New(rand.NewPCG(1, 2))
	changed, taken := 0, 0
	for from := 0; from < len(all); from += 40 {
		d := response(t, gosnmp.SnmpVersion(from/40%2), uint8(from/40%3), all[from:min(from+40, len(all))])
		if !likeTheLibrary(t, d) {
			t.Errorf("values from %d on were left to the library", from)
		}
		for range 400 {
			one := append([]byte(nil), d...)
			switch at := r.IntN(len(d)); r.IntN(8) {
			case 0:
				one = one[:at]
			case 1:
				one = append(one, byte(at))
			default:
				one[at] = byte(r.IntN(256))
			}
			if changed++; likeTheLibrary(t, one) {
				taken++
			}
		}
	}
	if taken == 0 || taken == changed {
		t.Errorf("%d of %d changed messages were read", taken, changed)
	}
}

// An answer without bindings, and what agents do that is out of the ordinary.
func TestPlainLeavesTheRest(t *testing.T) {
	if !likeTheLibrary(t, response(t, gosnmp.Version2c, 0, nil)) {
		t.Error("an empty answer was left to the library")
	}
	name := oid.MustParse("1.3.6.1.2.1.43.5.1.1.1.1")
	for _, v := range []oid.Value{
		{Kind: oid.Counter64, Num: 7}, {Kind: oid.IPAddress, Bytes: []byte{10, 0, 0, 1}},
	} {
		if likeTheLibrary(t, response(t, gosnmp.Version2c, 0, []oid.VarBind{{Name: name, Value: v}})) {
			t.Errorf("%v was read without the library", v.Kind)
		}
	}
}
