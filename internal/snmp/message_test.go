package snmp

import (
	"fmt"
	"strings"
	"testing"

	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// Values as they stand on the wire (BER, X.690; RFC 3416 section 3): published
// check values, decoded in a response.
func TestDecodeVectors(t *testing.T) {
	response := func(value string) []byte {
		name := "06082b06010201010100"
		v := len(value) / 2
		bind := fmt.Sprintf("30%02x%s%s", 10+v, name, value)
		list := fmt.Sprintf("30%02x%s", len(bind)/2, bind)
		body := "020101020100020100" + list
		rest := fmt.Sprintf("02010104067075626c6963a2%02x%s", len(body)/2, body)
		return unhex(t, fmt.Sprintf("30%02x%s", len(rest)/2, rest))
	}
	tests := []struct {
		hex  string
		want oid.Value
	}{
		{"0201ff", oid.Int(-1)}, {"0201fe", oid.Int(-2)}, {"0201fd", oid.Int(-3)}, {"02017f", oid.Int(127)}, {"02020080", oid.Int(128)},
		{"020180", oid.Int(-128)}, {"0202ff7f", oid.Int(-129)}, {"02047fffffff", oid.Int(2147483647)}, {"020480000000", oid.Int(-2147483648)},
		{"0205ff80000000", oid.Int(-2147483648)}, // one octet too long: some agents send it
		{"410500ffffffff", oid.Value{Kind: oid.Counter32, Num: 4294967295}}, {"42020080", oid.Value{Kind: oid.Gauge32, Num: 128}},
		{"43040083d600", oid.Ticks(8640000)}, {"460900ffffffffffffffff", oid.Value{Kind: oid.Counter64, Num: -1}},
		{"40047f000001", oid.Value{Kind: oid.IPAddress, Bytes: []byte{127, 0, 0, 1}}}, {"04024000", oid.Str("\x40\x00")},
		{"0400", oid.Str("")}, {"0500", oid.Value{Kind: oid.Null}}, {"8000", oid.Value{Kind: oid.NoSuchObject}},
		{"8100", oid.Value{Kind: oid.NoSuchInstance}}, {"8200", oid.Value{Kind: oid.EndOfMibView}},
		{"060c2b060102012b0b0101090101", oid.Value{Kind: oid.ObjectID, ID: oid.MustParse("1.3.6.1.2.1.43.11.1.1.9.1.1")}},
		{"06102b060102012b120101070187ffffff7f", oid.Value{Kind: oid.ObjectID, ID: oid.MustParse("1.3.6.1.2.1.43.18.1.1.7.1.2147483647")}},
		{"060100", oid.Value{Kind: oid.ObjectID, ID: oid.MustParse("0.0")}},
		{"02050100000000", oid.Value{}},              // beyond Integer32
		{"42060100000000ff", oid.Value{}},            // beyond Gauge32
		{"4000", oid.Value{}}, {"9f00", oid.Value{}}, // an address without octets; no such tag
	}
	codec := &gosnmp.GoSNMP{Version: gosnmp.Version2c}
	for _, tt := range tests {
		r, err := decode(codec, response(tt.hex), &received{})
		if err != nil {
			if tt.want.Kind != oid.Invalid {
				t.Errorf("%s: %v", tt.hex, err)
			}
			continue
		}
		if len(r.binds) != 1 || !r.binds[0].Value.Equal(tt.want) {
			t.Errorf("%s = %+v, want %+v", tt.hex, r.binds, tt.want)
		}
	}
}

// GetBulkRequest with one non-repeater and two repetitions of two columns: the
// names of the example of RFC 3417 section 8.1 and its PDU tag and fields.
func TestEncodeBulk(t *testing.T) {
	ask := func(s string) oid.Ask { return oid.Ask{Name: oid.MustParse(s)} }
	p := &pdu{kind: gosnmp.GetBulkRequest, id: 1414684022, names: []oid.Ask{ask("1.3.6.1.2.1.1.3")},
		columns: []oid.Ask{ask("1.3.6.1.2.1.4.22.1.2"), ask("1.3.6.1.2.1.4.22.1.4")}, reps: 2}
	got, _ := appendCommunity(nil, V2c, "public", p, nil)
	want := unhex(t, "3046"+"020101"+"04067075626c6963"+"a539"+"02045452"+"5d76"+"020101"+"020102"+
		"302b"+"300b06072b060102010103"+"0500"+"300d06092b06010201041601020500"+"300d06092b06010201041601040500")
	if string(got) != string(want) {
		t.Errorf("% x\nwant\n% x", got, want)
	}
}

// Our requests are those of the library, octet for octet.
func TestEncodeLikeTheLibrary(t *testing.T) {
	var names []oid.Ask
	for _, b := range fullDevice(t) {
		names = append(names, oid.Ask{Name: b.Name})
	}
	names = append(names, oid.Ask{Name: oid.OID{1, 3, 6, 1, 2, 1, 43, 1 << 7, 1<<14 - 1, 1 << 14, 1 << 21, 1 << 28, 1<<32 - 1}}, oid.Ask{Name: oid.OID{0, 0}})
	for n := range maxNames + 1 {
		for _, id := range []uint32{1, 127, 128, 255, 1 << 15, 1 << 23, 1<<31 - 1} {
			p := &pdu{kind: getNext, id: id, names: names[len(names)-n:]}
			if n%2 == 0 {
				p.kind, p.columns, p.reps = getBulk, names[:n/8], 1+n*3
			}
			v := Version(n % 2)
			community := Secret(strings.Repeat("c", 1+n))
			m := gosnmp.SnmpPacket{Version: gosnmp.SnmpVersion(v), Community: community.Reveal(), PDUType: p.kind, RequestID: id, Variables: p.variables()}
			if p.kind == getBulk {
				m.NonRepeaters, m.MaxRepetitions = uint8(len(p.names)), uint32(p.reps)
			}
			want, err := m.MarshalMsg()
			if err != nil {
				t.Fatal(err)
			}
			if got, _ := appendCommunity(nil, v, community, p, nil); string(got) != string(want) {
				t.Fatalf("%d names, id %d:\n% x\nwant\n% x", n, id, got, want)
			}
		}
	}
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	var b []byte
	if _, err := fmt.Sscanf(s, "%x", &b); err != nil {
		t.Fatal(err)
	}
	return b
}
