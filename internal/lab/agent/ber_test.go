package agent

import (
	"encoding/hex"
	"net/netip"
	"strings"
	"testing"
	"time"
)

// TestValues compares encoded values with the shared vectors (X.690; several
// recomputed by another library).
func TestValues(t *testing.T) {
	v := vectors(t)
	for id, value := range map[string]Value{
		"ber-09": Integer(-1), "ber-10": Integer(-2), "ber-11": Integer(-3), "ber-12": Integer(127),
		"ber-13": Integer(128), "ber-14": Integer(-128), "ber-15": Integer(-129), "ber-16": Integer(2147483647),
		"ber-17": Integer(-2147483648), "ber-18": Counter32(4294967295), "ber-19": Gauge32(128),
		"ber-20": TimeTicks(8640000), "ber-21": {TagCounter64, appendUintBody(nil, 1<<64-1)},
		"ber-22": IPAddress(netip.MustParseAddr("127.0.0.1")), "ber-23": Octets([]byte{0x40, 0}),
		"ber-25": {Tag: TagNull}, "ber-26": {Tag: tagNoSuchObject}, "ber-27": {Tag: tagNoSuchInstance}, "ber-28": {Tag: tagEndOfMibView},
		"ber-29": ObjectID(MustOID("1.3.6.1.2.1.43.11.1.1.9.1.1")), "ber-30": ObjectID(MustOID("1.3.6.1.4.1.8072.3.2.10")),
		"ber-31": ObjectID(MustOID("1.3.6.1.2.1.43.18.1.1.7.1.2147483647")), "ber-32": ObjectID(MustOID("0.0")),
	} {
		if got := hex.EncodeToString(appendTLV(nil, value.Tag, value.Body)); got != v[id] {
			t.Errorf("%s: got %s, want %s", id, got, v[id])
		}
	}
	head := hex.EncodeToString(appendTLV(nil, TagOctets, []byte(strings.Repeat("A", 200))))[:12]
	if head != v["ber-24"] {
		t.Errorf("ber-24: got %s, want %s", head, v["ber-24"])
	}
}

// TestAnswers compares whole answers, octet for octet, with the shared vectors
// (RFC 1157 section 4.1, RFC 3416 section 4.2).
func TestAnswers(t *testing.T) {
	v := vectors(t)
	level, state := MustOID("1.3.6.1.2.1.43.11.1.1.9"), MustOID("1.3.6.1.2.1.25.3.5.1.2")
	end := MustOID("1.3.6.1.2.1.43.18.1.1")
	var b Builder
	b.Put(level, Integer(-3), 1, 1)
	b.Put(state, Octets([]byte{0x40, 0x04}), 1)
	h := testHost(b.Build())
	for _, c := range []struct {
		id   string
		v1   bool
		kind byte
		name OID
	}{
		{"ber-05", false, pduGet, level.With(1, 1)},
		{"ber-06", false, pduGetNext, state},
		{"ber-07", false, pduGetNext, end},
		{"ber-08", true, pduGet, MustOID("1.3.6.1.2.1.1.1.0")},
	} {
		var r Responder
		got := hex.EncodeToString(r.Respond(h, ask(c.v1, "public", c.kind, 1, 0, 0, c.name), time.Now(), nil))
		if got != v[c.id] {
			t.Errorf("%s: got %s, want %s", c.id, got, v[c.id])
		}
	}
}

// TestRequests reads the requests of the shared vectors; that of RFC 3417
// section 8.1 has a length that is longer than needed, on purpose.
func TestRequests(t *testing.T) {
	v := vectors(t)
	for _, c := range []struct {
		id        string
		kind      byte
		request   int64
		nonRep    int64
		maxRep    int64
		names     string
		wholePDUs bool
	}{
		{"ber-01", pduGet, 1, 0, 0, "1.3.6.1.2.1.1.1.0", false},
		{"ber-02", pduGet, 1, 0, 0, "1.3.6.1.2.1.1.1.0", false},
		{"ber-03", pduGetNext, 2, 0, 0, "1.3.6.1.2.1.43.11.1.1.9", false},
		{"ber-04", pduGetBulk, 3, 0, 10, "1.3.6.1.2.1.43.18.1.1", false},
		{"rfc3417-8.1", pduGetBulk, 1414684022, 1, 2, "1.3.6.1.2.1.1.3 1.3.6.1.2.1.4.22.1.2 1.3.6.1.2.1.4.22.1.4", true},
	} {
		b, err := hex.DecodeString(v[c.id])
		if err != nil {
			t.Fatal(err)
		}
		if !c.wholePDUs {
			msg, _, err := expect(b, tagSequence)
			if err != nil {
				t.Fatal(err)
			}
			_, msg, _ = readInt(msg)
			_, b, err = expect(msg, TagOctets)
			if err != nil {
				t.Fatal(err)
			}
		}
		var p pdu
		if err := p.decode(b); err != nil {
			t.Errorf("%s: %v", c.id, err)
			continue
		}
		var names []string
		for _, n := range p.names {
			names = append(names, n.String())
		}
		if p.kind != c.kind || p.id != c.request || p.nonRep != c.nonRep || p.maxRep != c.maxRep || strings.Join(names, " ") != c.names {
			t.Errorf("%s: got %x %d %d %d %v", c.id, p.kind, p.id, p.nonRep, p.maxRep, names)
		}
	}
}

func TestParseOID(t *testing.T) {
	for _, s := range []string{"", "1", "1.3.x", "3.1", "1.40", "1.3.4294967296", "1..3"} {
		if o, err := ParseOID(s); err == nil {
			t.Errorf("ParseOID(%q) = %v, want an error", s, o)
		}
	}
	for _, s := range []string{"0.0", "1.3.6.1.4294967295", "2.999.1"} {
		o, err := ParseOID("." + s)
		if err != nil || o.String() != s {
			t.Errorf("ParseOID(%q) = %v, %v", s, o, err)
		}
		back, err := decodeOID(nil, appendOIDBody(nil, o))
		if err != nil || back.String() != s {
			t.Errorf("%s does not survive encoding: %v, %v", s, back, err)
		}
	}
}

// testHost is a host that answers the community public.
func testHost(tree *Tree) *Host {
	h := &Host{V1: true, V2c: true, Communities: []string{"public"}, Booted: time.Now().Add(-time.Hour)}
	h.Serve(tree)
	return h
}

// ask encodes a request.
func ask(v1 bool, community string, kind byte, id, a, b int64, names ...OID) []byte {
	var binds []byte
	for _, n := range names {
		binds = appendVarBind(binds, n, Value{Tag: TagNull})
	}
	body := appendInt(appendInt(appendInt(nil, id), a), b)
	body = appendTLV(body, tagSequence, binds)
	version := int64(wireV2c)
	if v1 {
		version = wireV1
	}
	msg := appendTLV(appendInt(nil, version), TagOctets, []byte(community))
	return appendTLV(nil, tagSequence, append(msg, appendTLV(nil, kind, body)...))
}

// reply is a decoded answer.
type reply struct {
	kind          byte
	id            int64
	status, index int64
	names         []string
	values        []Value
}

func decodeReply(t *testing.T, b []byte) reply {
	t.Helper()
	msg, rest, err := expect(b, tagSequence)
	if err != nil || len(rest) != 0 {
		t.Fatalf("answer %x is no message", b)
	}
	if _, msg, err = readInt(msg); err != nil {
		t.Fatal(err)
	}
	if _, msg, err = expect(msg, TagOctets); err != nil {
		t.Fatal(err)
	}
	return decodeReplyPDU(t, msg)
}

func decodeReplyPDU(t *testing.T, b []byte) reply {
	t.Helper()
	var p pdu
	if err := p.decode(b); err != nil {
		t.Fatalf("answer PDU %x: %v", b, err)
	}
	r := reply{kind: p.kind, id: p.id, status: p.nonRep, index: p.maxRep}
	list := p.raw
	for len(list) > 0 {
		_, rest, err := expect(list, tagSequence)
		if err != nil {
			t.Fatal(err)
		}
		_, v, err := splitVarBind(list)
		if err != nil {
			t.Fatal(err)
		}
		r.values = append(r.values, v)
		list = rest
	}
	for _, n := range p.names {
		r.names = append(r.names, n.String())
	}
	return r
}
