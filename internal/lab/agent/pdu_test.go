package agent

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// netToMedia is the table of the worked examples of RFC 3416 sections 4.2.2.1
// and 4.2.3.1: ipNetToMediaPhysAddress and ipNetToMediaType, and what follows.
func netToMedia() *Tree {
	var b Builder
	phys, kind := MustOID("1.3.6.1.2.1.4.22.1.2"), MustOID("1.3.6.1.2.1.4.22.1.4")
	address := MustOID("1.3.6.1.2.1.4.22.1.3")
	rows := []struct {
		index []uint32
		mac   string
		kind  int
	}{
		{[]uint32{1, 9, 2, 3, 4}, "\x00\x00\x10\x54\x32\x10", 3},
		{[]uint32{1, 10, 0, 0, 51}, "\x00\x00\x10\x01\x23\x45", 4},
		{[]uint32{2, 10, 0, 0, 15}, "\x00\x00\x10\x98\x76\x54", 3},
	}
	for _, r := range rows {
		b.Put(phys, Text(r.mac), r.index...)
		b.Put(kind, Integer(r.kind), r.index...)
	}
	b.Put(address, Integer(0), 1, 9, 2, 3, 4)
	b.Put(MustOID("1.3.6.1.2.1.1.3"), TimeTicks(123456), 0)
	b.Put(MustOID("1.3.6.1.2.1.4.23"), Integer(0), 0) // ipRoutingDiscards
	return b.Build()
}

// TestTableWalk follows the worked examples of RFC 3416 sections 4.2.2.1
// (GetNext) and 4.2.3.1 (GetBulk).
func TestTableWalk(t *testing.T) {
	h := testHost(netToMedia())
	up, phys, kind := MustOID("1.3.6.1.2.1.1.3"), MustOID("1.3.6.1.2.1.4.22.1.2"), MustOID("1.3.6.1.2.1.4.22.1.4")
	var r Responder
	next := decodeReply(t, r.Respond(h, ask(false, "public", pduGetNext, 9, 0, 0, up, phys, kind), time.Now(), nil))
	want := []string{"1.3.6.1.2.1.1.3.0", "1.3.6.1.2.1.4.22.1.2.1.9.2.3.4", "1.3.6.1.2.1.4.22.1.4.1.9.2.3.4"}
	if !slices.Equal(next.names, want) {
		t.Errorf("GetNext: got %v, want %v", next.names, want)
	}

	bulk := decodeReply(t, r.Respond(h, ask(false, "public", pduGetBulk, 10, 1, 2, up, phys, kind), time.Now(), nil))
	want = []string{
		"1.3.6.1.2.1.1.3.0",
		"1.3.6.1.2.1.4.22.1.2.1.9.2.3.4", "1.3.6.1.2.1.4.22.1.4.1.9.2.3.4",
		"1.3.6.1.2.1.4.22.1.2.1.10.0.0.51", "1.3.6.1.2.1.4.22.1.4.1.10.0.0.51",
	}
	if !slices.Equal(bulk.names, want) {
		t.Errorf("first GetBulk: got %v, want %v", bulk.names, want)
	}

	bulk = decodeReply(t, r.Respond(h, ask(false, "public", pduGetBulk, 11, 1, 2, up,
		phys.With(1, 10, 0, 0, 51), kind.With(1, 10, 0, 0, 51)), time.Now(), nil))
	want = []string{
		"1.3.6.1.2.1.1.3.0",
		"1.3.6.1.2.1.4.22.1.2.2.10.0.0.15", "1.3.6.1.2.1.4.22.1.4.2.10.0.0.15",
		"1.3.6.1.2.1.4.22.1.3.1.9.2.3.4", "1.3.6.1.2.1.4.23.0",
	}
	if !slices.Equal(bulk.names, want) {
		t.Errorf("second GetBulk: got %v, want %v", bulk.names, want)
	}
}

// wide has 200 values of 40 octets and nothing behind.
func wide() *Tree {
	var b Builder
	for i := range 200 {
		b.Put(MustOID("1.3.6.1.2.1.43.11.1.1.6"), Text(strings.Repeat("x", 40)), 1, uint32(i+1))
	}
	return b.Build()
}

// TestLimits covers what does not fit and what goes beyond the end (RFC 3416
// sections 4.2.1 to 4.2.3, RFC 1157 section 4.1.2).
func TestLimits(t *testing.T) {
	h := testHost(wide())
	column := MustOID("1.3.6.1.2.1.43.11.1.1.6")
	var all []OID
	for i := range 60 {
		all = append(all, column.With(1, uint32(i+1)))
	}
	var r Responder
	t.Run("GetBulk is cut to the message size", func(t *testing.T) {
		b := r.Respond(h, ask(false, "public", pduGetBulk, 1, 0, 1000, column), time.Now(), nil)
		got := decodeReply(t, b)
		if len(b) > MaxMessage || len(b) < MaxMessage-80 || got.status != noError || len(got.names) < 15 {
			t.Errorf("%d octets, %d bindings, status %d", len(b), len(got.names), got.status)
		}
	})
	t.Run("Get is tooBig without bindings in v2c", func(t *testing.T) {
		got := decodeReply(t, r.Respond(h, ask(false, "public", pduGet, 1, 0, 0, all...), time.Now(), nil))
		if got.status != errTooBig || got.index != 0 || len(got.names) != 0 {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("Get is tooBig with the request's bindings in v1", func(t *testing.T) {
		got := decodeReply(t, r.Respond(h, ask(true, "public", pduGet, 1, 0, 0, all...), time.Now(), nil))
		if got.status != errTooBig || got.index != 0 || len(got.names) != len(all) {
			t.Errorf("status %d index %d, %d bindings", got.status, got.index, len(got.names))
		}
	})
	t.Run("GetBulk ends with one round of endOfMibView", func(t *testing.T) {
		last := column.With(1, 199)
		got := decodeReply(t, r.Respond(h, ask(false, "public", pduGetBulk, 1, 0, 10, last), time.Now(), nil))
		if len(got.names) != 2 || got.values[1].Tag != tagEndOfMibView || got.names[1] != column.With(1, 200).String() {
			t.Errorf("got %v %v", got.names, got.values)
		}
	})
	t.Run("GetNext past the end names what does not exist in v1", func(t *testing.T) {
		got := decodeReply(t, r.Respond(h, ask(true, "public", pduGetNext, 5, 0, 0, column, MustOID("1.3.7")), time.Now(), nil))
		if got.status != errNoSuchName || got.index != 2 || got.names[0] != column.String() {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("negative counts of GetBulk are zero", func(t *testing.T) {
		got := decodeReply(t, r.Respond(h, ask(false, "public", pduGetBulk, 5, -3, -1, column), time.Now(), nil))
		if got.status != noError || len(got.names) != 0 {
			t.Errorf("got %+v", got)
		}
	})
}

// TestMissing tells the two exceptions apart (RFC 3416 section 4.2.1).
func TestMissing(t *testing.T) {
	h := testHost(wide())
	for name, want := range map[string]byte{
		"1.3.6.1.2.1.43.11.1.1.6.1.999": tagNoSuchInstance,
		"1.3.6.1.2.1.43.11.1.1.6.0.1":   tagNoSuchInstance,
		"1.3.6.1.2.1.43.11.1.1.7.1.1":   tagNoSuchObject,
		"1.3.6.1.2.1.43.11.1.1":         tagNoSuchObject,
		"1.3.6.1.9":                     tagNoSuchObject,
	} {
		var r Responder
		got := decodeReply(t, r.Respond(h, ask(false, "public", pduGet, 1, 0, 0, MustOID(name)), time.Now(), nil))
		if len(got.values) != 1 || got.values[0].Tag != want {
			t.Errorf("%s: got %v, want tag %x", name, got.values, want)
		}
	}
}

// TestNoAnswer lists what an agent must be silent about: another community
// (RFC 1157 section 4.1, RFC 2576), a version that is not spoken, PDUs that are
// no requests, and what cannot be decoded.
func TestNoAnswer(t *testing.T) {
	h := testHost(wide())
	h.V1 = false
	good := ask(false, "public", pduGet, 1, 0, 0, MustOID("1.3.6.1"))
	for name, b := range map[string][]byte{
		"another community": ask(false, "wrong", pduGet, 1, 0, 0, MustOID("1.3.6.1")),
		"another version":   ask(true, "public", pduGet, 1, 0, 0, MustOID("1.3.6.1")),
		"a response":        ask(false, "public", pduResponse, 1, 0, 0, MustOID("1.3.6.1")),
		"a report":          ask(false, "public", pduReport, 1, 0, 0, MustOID("1.3.6.1")),
		"an inform":         ask(false, "public", pduInform, 1, 0, 0, MustOID("1.3.6.1")),
		"octets behind":     append(slices.Clone(good), 0),
		"nothing":           nil,
	} {
		var r Responder
		if got := r.Respond(h, b, time.Now(), nil); got != nil {
			t.Errorf("%s: got %x", name, got)
		}
	}
	for n := range good {
		var r Responder
		if got := r.Respond(h, good[:n], time.Now(), nil); got != nil {
			t.Errorf("the first %d octets of a request: got %x", n, got)
		}
	}
}

// TestSetIsRefused: notWritable in v2c (RFC 3416 section 4.2.5), noSuchName in
// v1 (RFC 1157 section 4.1.5), and the owner hears of it.
func TestSetIsRefused(t *testing.T) {
	for v1, want := range map[bool]int64{true: errNoSuchName, false: errNotWritable} {
		h := testHost(wide())
		var heard []string
		h.Refused = func(what string) { heard = append(heard, what) }
		before := recording(t, h)
		var r Responder
		got := decodeReply(t, r.Respond(h, ask(v1, "public", pduSet, 1, 0, 0, MustOID("1.3.6.1.2.1.43.11.1.1.6.1.1")), time.Now(), nil))
		if got.status != want || got.index != 1 || len(heard) != 1 || !strings.Contains(heard[0], "1.3.6.1.2.1.43.11.1.1.6.1.1") {
			t.Errorf("v1 %v: status %d index %d, heard %q", v1, got.status, got.index, heard)
		}
		if recording(t, h) != before {
			t.Error("the tree changed")
		}
	}
}

func recording(t *testing.T, h *Host) string {
	t.Helper()
	var b strings.Builder
	if err := h.Tree().WriteRecording(&b, h, time.Unix(0, 0)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestRecording(t *testing.T) {
	const text = "1.3.6.1.2.1.1.2.0|6|1.3.6.1.4.1.32473.1\n1.3.6.1.2.1.1.3.0|67|12345\n1.3.6.1.2.1.1.5.0|4|a|b\n" +
		"1.3.6.1.2.1.4.20.1.1.1|64|127.0.0.1\n1.3.6.1.2.1.25.3.5.1.2.1|4x|4004\n1.3.6.1.2.1.43.11.1.1.9.1.1|2|-3\n" +
		"1.3.6.1.2.1.43.11.1.1.9.1.2|2|2147483647\n1.3.6.1.2.1.43.18.1.1.9.1.1|65|4294967295\n"
	tree, err := ReadRecording(strings.NewReader("# a comment\n\n" + text))
	if err != nil {
		t.Fatal(err)
	}
	if got := recording(t, testHost(tree)); got != text {
		t.Errorf("got\n%s\nwant\n%s", got, text)
	}
	for _, bad := range []string{"1.3.6.1|2", "1.x|2|1", "1.3.6.1.1|2|x", "1.3.6.1.1|99|1", "1.3.6.1.1|4x|zz", "1.3.6.1.1|64|::1"} {
		if _, err := ReadRecording(strings.NewReader("1.3.6.1.2.1.1.5.0|4|ok\n" + bad)); err == nil || !strings.Contains(err.Error(), "line 2") {
			t.Errorf("%q: error %v, want one that names line 2", bad, err)
		}
	}
}

func FuzzRespond(f *testing.F) {
	tree := netToMedia()
	f.Add(ask(false, "public", pduGetBulk, 1, 1, 9, MustOID("1.3.6.1"), MustOID("1.3.6.1.2.1.4")))
	f.Add(ask(true, "public", pduGetNext, 1, 0, 0, MustOID("1.3.6.1")))
	u, err := NewUser("reader", []byte("engine-id"), "SHA256", "slack-water", "AES", "two-bells-and")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(v3Get(f, []byte("engine-id"), u, 3, 3600, MustOID("1.3.6.1.2.1.1.3.0")))
	f.Add(v3Discovery())
	f.Fuzz(func(t *testing.T, b []byte) {
		h := testHost(tree)
		h.EngineID, h.EngineBoots, h.Users = []byte("engine-id"), 3, []*User{u}
		var r Responder
		if got := r.Respond(h, b, h.Booted.Add(time.Hour), nil); len(got) > MaxMessage {
			t.Errorf("an answer of %d octets", len(got))
		}
	})
}

func BenchmarkBulk(b *testing.B) {
	h := testHost(wide())
	request := ask(false, "public", pduGetBulk, 1, 0, 20, MustOID("1.3.6.1.2.1.43"))
	var r Responder
	var out []byte
	now := time.Now()
	for b.Loop() {
		out = r.Respond(h, request, now, out[:0])
	}
	if len(out) == 0 {
		b.Fatal(fmt.Errorf("no answer"))
	}
}
