package discover

import (
	"bytes"
	"encoding/hex"
	"slices"
	"strings"
	"testing"

	"github.com/gosnmp/gosnmp"

	"printround/internal/snmp"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Messages put together by hand from X.690 and RFC 3416; a reference decoder
// reads them to the same fields.
func TestDecodeReply(t *testing.T) {
	for _, c := range []struct {
		name, hex     string
		version       snmp.Version
		status, index int
		object        string
		tag           byte
	}{
		{"v2c level -3 (RFC 3805 prtMarkerSuppliesLevel)",
			"302b02010104067075626c6963a21e02010102010002010030133011060c2b060102012b0b01010901010201fd",
			snmp.V2c, 0, 0, "1.3.6.1.2.1.43.11.1.1.9.1.1", tagInteger},
		{"v2c octet string",
			"302b02010104067075626c6963a21e02010102010002010030133011060b2b0601020119030501020104024004",
			snmp.V2c, 0, 0, "1.3.6.1.2.1.25.3.5.1.2.1", tagOctetString},
		{"v2c endOfMibView (RFC 3416 section 4.2.2)",
			"302702010104067075626c6963a21a020101020100020100300f300d06092b060102012b1201018200",
			snmp.V2c, 0, 0, "1.3.6.1.2.1.43.18.1.1", tagEndOfMibView},
		{"v1 noSuchName index 1 (RFC 1157 section 4.1.3)",
			"302602010004067075626c6963a219020101020102020101300e300c06082b060102010101000500",
			snmp.V1, 2, 1, "1.3.6.1.2.1.1.1.0", tagNull},
	} {
		t.Run(c.name, func(t *testing.T) {
			var r reply
			if err := decodeReply(unhex(t, c.hex), &r); err != nil {
				t.Fatal(err)
			}
			if r.version != c.version || string(r.community) != "public" || r.id != 1 || r.status != c.status || r.index != c.index || r.n != 1 {
				t.Errorf("got %+v", r)
			}
			if got := oidString(r.binds[0].name); got != c.object || r.binds[0].tag != c.tag {
				t.Errorf("got %s tag %#x, want %s tag %#x", got, r.binds[0].tag, c.object, c.tag)
			}
		})
	}
}

// RFC 3417 section 8.1 prints a PDU whose outer length has more octets than it
// needs, as encoders that work from the front produce it. A GetBulkRequest is no
// answer; as a Response the same octets must be read.
func TestDecodeNonMinimalLength(t *testing.T) {
	published := unhex(t, "a5820039020454525d76020101020102302b300b06072b0601020101030500300d06092b06010201041601020500300d06092b06010201041601040500")
	msg := func(pdu []byte) []byte {
		return tlv(tagSequence, []byte{tagInteger, 1, 1, tagOctetString, 0}, pdu)
	}
	var r reply
	if err := decodeReply(msg(published), &r); err == nil {
		t.Error("a GetBulkRequest was taken for an answer")
	}
	published[0] = tagResponse
	if err := decodeReply(msg(published), &r); err != nil {
		t.Fatal(err)
	}
	if r.id != 1414684022 || r.status != 1 || r.index != 2 || r.n != 3 || oidString(r.binds[2].name) != "1.3.6.1.2.1.4.22.1.4" {
		t.Errorf("got %+v", r)
	}
}

// X.690 section 8.3: two's complement; agents also send one octet too many.
func TestInteger(t *testing.T) {
	for _, c := range []struct {
		hex  string
		want int64
	}{
		{"0201ff", -1}, {"0201fd", -3}, {"02017f", 127}, {"02020080", 128}, {"020180", -128}, {"0202ff7f", -129},
		{"0202ff80", -128}, {"02047fffffff", 2147483647}, {"020480000000", -2147483648}, {"0205ff80000000", -2147483648},
		{"020a00000000000000000001", 1},
	} {
		cur := &cursor{unhex(t, c.hex)}
		if got, ok := cur.integer(); !ok || got != c.want {
			t.Errorf("%s: got %d, %v; want %d", c.hex, got, ok, c.want)
		}
	}
	for _, bad := range []string{"0200", "0209010000000000000000", "040101", "02", "0202ff"} {
		cur := &cursor{unhex(t, bad)}
		if v, ok := cur.integer(); ok {
			t.Errorf("%s: read as %d", bad, v)
		}
	}
}

// X.690 section 8.19.
func TestOID(t *testing.T) {
	for dotted, contents := range map[string]string{
		"1.3.6.1.2.1.43.11.1.1.9.1.1":          "2b060102012b0b0101090101",
		"1.3.6.1.4.1.8072.3.2.10":              "2b06010401bf0803020a",
		"1.3.6.1.2.1.43.18.1.1.7.1.2147483647": "2b060102012b120101070187ffffff7f",
		"0.0":                                  "00",
		"2.999.3":                              "883703",
	} {
		if got := oidString(unhex(t, contents)); got != dotted {
			t.Errorf("%s: got %s, want %s", contents, got, dotted)
		}
	}
	for _, bad := range []string{"", "2b86", "2b" + strings.Repeat("ff", 12) + "01"} {
		if got := oidString(unhex(t, bad)); got != "" {
			t.Errorf("%s: got %s, want nothing", bad, got)
		}
	}
	if got := hex.EncodeToString(oid(6, 1, 4, 1, 8072, 3, 2, 10)); got != "2b06010401bf0803020a" {
		t.Errorf("encoded %s", got)
	}
	if inside(oid(6, 1, 2, 1, 43), printerMIB) || inside(oid(6, 1, 2, 1, 4), printerMIB) || !inside(configChanges, printerMIB) {
		t.Error("the border of the Printer MIB is wrong")
	}
}

// A reference library reads the probes as they were meant.
func TestProbesAgainstReference(t *testing.T) {
	ref := &gosnmp.GoSNMP{}
	long := strings.Repeat("c", 127)
	for _, community := range []string{"public", "", long, string(unhex(t, "02045ca1ab1e"))} {
		for _, v := range []snmp.Version{snmp.V1, snmp.V2c} {
			q := getNext(v, community, askNames[:]...)
			q.put(0x41424344)
			p, err := ref.SnmpDecodePacket(slices.Clone(q.msg))
			if err != nil {
				t.Fatalf("%s %q: %v", v, community, err)
			}
			if p.RequestID != 0x41424344 || p.Community != community || uint8(p.Version) != uint8(v) || p.PDUType != gosnmp.GetNextRequest {
				t.Errorf("%s %q: got %+v", v, community, p)
			}
			var names []string
			for _, b := range p.Variables {
				names = append(names, b.Name)
			}
			want := ".1.3.6.1.2.1.1.1 .1.3.6.1.2.1.1.2 .1.3.6.1.2.1.25.3.2.1.2 .1.3.6.1.2.1.25.3.2.1.3 .1.3.6.1.2.1.25.3.5.1.1 .1.3.6.1.2.1.43"
			if got := strings.Join(names, " "); got != want {
				t.Errorf("objects %s, want %s", got, want)
			}
		}
	}
}

func TestV3DiscoveryAgainstReference(t *testing.T) {
	q := discoverV3()
	if len(q.idAt) != 2 {
		t.Fatalf("the id stands at %v", q.idAt)
	}
	q.put(0x41424344)
	ref := &gosnmp.GoSNMP{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, SecurityParameters: &gosnmp.UsmSecurityParameters{UserName: "x"}}
	p, err := ref.SnmpDecodePacket(slices.Clone(q.msg))
	if err != nil {
		t.Fatal(err)
	}
	if p.MsgID != 0x41424344 || p.RequestID != 0x41424344 || p.PDUType != gosnmp.GetRequest || p.MsgFlags != gosnmp.Reportable || len(p.Variables) != 0 {
		t.Errorf("got %+v", p)
	}
}

// A report of an engine, built by the reference library, is read; its own
// request-id is 0, the msgID counts (RFC 3412 section 7.1 step 3).
func TestDecodeV3Report(t *testing.T) {
	params := &gosnmp.UsmSecurityParameters{AuthoritativeEngineID: "\x80\x00\x1f\x88\x04abc", UserName: "x"}
	p := &gosnmp.SnmpPacket{
		Version: gosnmp.Version3, MsgFlags: gosnmp.NoAuthNoPriv, SecurityModel: gosnmp.UserSecurityModel, SecurityParameters: params,
		MsgID: 0x41424344, MsgMaxSize: 65507, PDUType: gosnmp.Report, ContextEngineID: params.AuthoritativeEngineID,
		Variables: []gosnmp.SnmpPDU{{Name: ".1.3.6.1.6.3.15.1.1.4.0", Type: gosnmp.Counter32, Value: uint32(7)}},
	}
	msg, err := p.MarshalMsg()
	if err != nil {
		t.Fatal(err)
	}
	var r reply
	if err := decodeReply(msg, &r); err != nil {
		t.Fatal(err)
	}
	if r.version != snmp.V3 || r.pdu != tagReport || r.id != 0x41424344 || r.n != 1 || oidString(r.binds[0].name) != "1.3.6.1.6.3.15.1.1.4.0" {
		t.Errorf("got %+v", r)
	}
	for n := range msg {
		if err := decodeReply(msg[:n], &r); err == nil {
			t.Errorf("a message cut at octet %d was read", n)
		}
	}
}

func TestDecodeRefusals(t *testing.T) {
	good := unhex(t, "302b02010104067075626c6963a21e02010102010002010030133011060c2b060102012b0b01010901010201fd")
	var r reply
	for n := range good {
		if err := decodeReply(good[:n], &r); err == nil {
			t.Errorf("a message cut at octet %d was read", n)
		}
	}
	if err := decodeReply(append(slices.Clone(good), 0, 0, 0), &r); err != nil {
		t.Error("octets after the message are no harm:", err)
	}
	one := tlv(tagSequence, tlv(tagOID, oid(6, 1)), tlv(tagNull))
	id := tlv(tagInteger, []byte{1})
	build := func(version byte, pdu byte, list []byte) []byte {
		return tlv(tagSequence, tlv(tagInteger, []byte{version}), tlv(tagOctetString), tlv(pdu, id, id, id, list))
	}
	for name, bad := range map[string][]byte{
		"a request":           build(1, tagGetNext, tlv(tagSequence, one)),
		"unknown version":     build(2, tagResponse, tlv(tagSequence, one)),
		"many bindings":       build(1, tagResponse, tlv(tagSequence, bytes.Repeat(one, maxBinds+1))),
		"no list":             build(1, tagResponse, nil),
		"empty name":          build(1, tagResponse, tlv(tagSequence, tlv(tagSequence, tlv(tagOID), tlv(tagNull)))),
		"indefinite length":   {0x30, 0x80, 2, 1, 1, 4, 0, 0, 0},
		"length of 2^32":      {0x30, 0x85, 1, 0, 0, 0, 0, 2, 1, 1},
		"length beyond end":   {0x30, 0x84, 0xff, 0xff, 0xff, 0xff, 2, 1, 1},
		"high tag number":     {0x3f, 0x81, 1, 2, 1, 1},
		"not SNMP":            []byte("HTTP/1.1 400 Bad Request\r\n\r\n"),
		"request-id too wide": tlv(tagSequence, tlv(tagInteger, []byte{1}), tlv(tagOctetString), tlv(tagResponse, tlv(tagInteger, []byte{1, 0, 0, 0, 0}), id, id, tlv(tagSequence))),
	} {
		if err := decodeReply(bad, &r); err == nil {
			t.Errorf("%s was read: %+v", name, r)
		}
	}
}

func FuzzDecodeReply(f *testing.F) {
	for _, s := range []string{
		"302b02010104067075626c6963a21e02010102010002010030133011060c2b060102012b0b01010901010201fd",
		"302602010004067075626c6963a219020101020102020101300e300c06082b060102010101000500",
		"30850000000102010104",
	} {
		b, _ := hex.DecodeString(s)
		f.Add(b)
	}
	f.Add(discoverV3().msg)
	f.Fuzz(func(t *testing.T, b []byte) {
		var r reply
		if decodeReply(b, &r) != nil {
			return
		}
		var known facts
		known.absorb([]int{0, 1, 2, 3, 4, 5}, &r)
		kind, reason, _ := known.verdict()
		if kind == Hinted && reason == "" {
			t.Error("a hint without a reason")
		}
		a := known.answer(r.version, 0)
		if len(a.Description) > maxDescription {
			t.Error("description is not bounded")
		}
	})
}
