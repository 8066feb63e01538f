package mib

import (
	"context"
	"strings"
	"testing"

	"printround/internal/oid"
)

func TestParseRecording(t *testing.T) {
	const record = `# comment
1.3.6.1.2.1.1.1.0|4|A printer | with a bar
1.3.6.1.2.1.1.2.0|6|1.3.6.1.4.1.99999
1.3.6.1.2.1.1.3.0|67|8923081
1.3.6.1.2.1.1.4.0|4|
1.3.6.1.2.1.1.7.0|2|-3

1.3.6.1.2.1.2.2.1.5.1|66|4294967295
1.3.6.1.2.1.2.2.1.6.1|4x|0000850a1b2c
1.3.6.1.2.1.2.2.1.10.1|65|881328396
1.3.6.1.2.1.4.20.1.1.1|64|127.0.0.1
1.3.6.1.2.1.4.20.1.1.2|64x|7f000001
1.3.6.1.2.1.31.1.1.1.6.1|70|18446744073709551615
1.3.6.1.2.1.43.5.1.1.15.1|5|
`
	// What snmpbulkwalk -On prints for the same, as of its manual page
	// snmpcmd(1); with labels, units, line breaks and quotes in the values.
	const walk = `.1.3.6.1.2.1.1.1.0 = STRING: "A printer | with a bar"
.1.3.6.1.2.1.1.2.0 = OID: .1.3.6.1.4.1.99999
.1.3.6.1.2.1.1.3.0 = Timeticks: (8923081) 1 day, 0:47:10.81
.1.3.6.1.2.1.1.4.0 = ""
.1.3.6.1.2.1.1.7.0 = INTEGER: -3
.1.3.6.1.2.1.2.2.1.5.1 = Gauge32: 4294967295
.1.3.6.1.2.1.2.2.1.6.1 = Hex-STRING: 00 00 85 0A
1B 2C 
.1.3.6.1.2.1.2.2.1.10.1 = Counter32: 881328396
.1.3.6.1.2.1.4.20.1.1.1 = IpAddress: 127.0.0.1
.1.3.6.1.2.1.4.20.1.1.2 = IpAddress: 127.0.0.1
.1.3.6.1.2.1.31.1.1.1.6.1 = Counter64: 18446744073709551615
.1.3.6.1.2.1.43.5.1.1.15.1 = NULL
.1.3.6.1.2.1.43.5.1.1.16.1 = No Such Object available on this agent at this OID
.1.3.6.1.2.1.43.5.1.1.16.1 = No more variables left in this MIB View (It is past the end of the MIB tree)
`
	want := map[string]oid.Value{
		"1.3.6.1.2.1.1.1.0":         oid.Str("A printer | with a bar"),
		"1.3.6.1.2.1.1.2.0":         {Kind: oid.ObjectID, ID: oid.MustParse("1.3.6.1.4.1.99999")},
		"1.3.6.1.2.1.1.3.0":         oid.Ticks(8923081),
		"1.3.6.1.2.1.1.4.0":         oid.Str(""),
		"1.3.6.1.2.1.1.7.0":         oid.Int(-3),
		"1.3.6.1.2.1.2.2.1.5.1":     {Kind: oid.Gauge32, Num: 4294967295},
		"1.3.6.1.2.1.2.2.1.6.1":     oid.Str("\x00\x00\x85\x0a\x1b\x2c"),
		"1.3.6.1.2.1.2.2.1.10.1":    {Kind: oid.Counter32, Num: 881328396},
		"1.3.6.1.2.1.4.20.1.1.1":    {Kind: oid.IPAddress, Bytes: []byte{127, 0, 0, 1}},
		"1.3.6.1.2.1.4.20.1.1.2":    {Kind: oid.IPAddress, Bytes: []byte{127, 0, 0, 1}},
		"1.3.6.1.2.1.31.1.1.1.6.1":  {Kind: oid.Counter64, Num: -1},
		"1.3.6.1.2.1.43.5.1.1.15.1": {Kind: oid.Null},
	}
	for name, text := range map[string]string{"records": record, "a printed walk": walk, "carriage returns": strings.ReplaceAll(record, "\n", "\r\n")} {
		t.Run(name, func(t *testing.T) {
			rec := recorded(t, text)
			if len(rec.Bindings()) != len(want) {
				t.Errorf("%d instances, want %d", len(rec.Bindings()), len(want))
			}
			for _, b := range rec.Bindings() {
				if w, ok := want[b.Name.String()]; !ok || !w.Equal(b.Value) {
					t.Errorf("%s = %v %s, want %v %s", b.Name, b.Value.Kind, b.Value, w.Kind, w)
				}
			}
		})
	}
}

func TestParseWalkText(t *testing.T) {
	rec := recorded(t,
		`.1.3.6.1.2.1.1.1.0 = STRING: "two`,
		`lines and a \"quote\" and a \\"`,
		`.1.3.6.1.2.1.2.2.1.3.1 = INTEGER: ethernetCsmacd(6)`,
		`.1.3.6.1.2.1.25.2.3.1.4.1 = INTEGER: 4096 Bytes`,
		`.1.3.6.1.2.1.25.1.1.0 = Timeticks: 123`,
		`.1.3.6.1.2.1.1.5.0 = STRING: bare`,
		`.1.3.6.1.2.1.1.6.0 = Hex-STRING: `)
	want := []string{"two\nlines and a \"quote\" and a \\", "bare", "", "6", "123", "4096"}
	for i, b := range rec.Bindings() {
		got := string(b.Value.Bytes)
		if b.Value.Numeric() {
			got = b.Value.String()
		}
		if got != want[i] {
			t.Errorf("%s = %q, want %q", b.Name, got, want[i])
		}
	}
}

func TestParseRecordingErrors(t *testing.T) {
	for _, line := range []string{
		"garbage", "1.3.6|2", "1.3.6|x|1", "1.3.6|2|one", "1.3.6|4x|0", "1.3.6|4x|zz", "1.3.x|2|1", "1.3.6|65|-1", "1.3.6|66|4294967296",
		"1.3.6|64|1.2.3", "1.3.6|64|::1", "1.3.6|6|x", "1.3.6|99|1", "1.3.6|300|1", "1.3.6 = WHAT: 1", "x = INTEGER: 1", "1.3.6 = INTEGER: x",
		"1.3.6 = 5",
	} {
		_, err := ParseRecording(strings.NewReader("1.3.6.1|2|1\n" + line))
		if err == nil || !strings.HasPrefix(err.Error(), "line 2: ") {
			t.Errorf("%q: error %v, want one that names line 2", line, err)
		}
	}
	long := strings.Repeat("1.3.6.1|2|1\n", maxRecording+2)
	if _, err := ParseRecording(strings.NewReader(long)); err == nil {
		t.Error("an endless recording was taken")
	}
}

// The walk of RFC 3416 section 4.2.2.1: the rows of one column by index, then
// the next column, then endOfMibView (section 4.2.2).
func TestRecordingOrder(t *testing.T) {
	rec := recorded(t,
		"1.3.6.1.2.1.4.22.1.4.1.9.2.3.4|2|3", "1.3.6.1.2.1.4.22.1.2.2.10.0.0.15|4x|000010987654",
		"1.3.6.1.2.1.4.22.1.2.1.10.0.0.51|4x|000010012345", "1.3.6.1.2.1.4.22.1.2.1.9.2.3.4|4x|000010543210",
		"1.3.6.1.2.1.4.22.1.2.1.9.2.3.4|4x|ffffffffffff")
	a, err := rec.Next(context.Background(), oid.Request{Columns: []oid.Ask{{Name: oid.MustParse("1.3.6.1.2.1.4.22.1.2")}}, Reps: 6})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"1.3.6.1.2.1.4.22.1.2.1.9.2.3.4", "1.3.6.1.2.1.4.22.1.2.1.10.0.0.51", "1.3.6.1.2.1.4.22.1.2.2.10.0.0.15",
		"1.3.6.1.2.1.4.22.1.4.1.9.2.3.4", "1.3.6.1.2.1.4.22.1.4.1.9.2.3.4", "1.3.6.1.2.1.4.22.1.4.1.9.2.3.4"}
	for i, b := range a.Columns[0] {
		if b.Name.String() != want[i] || (b.Value.Kind == oid.EndOfMibView) != (i > 3) {
			t.Errorf("%d: %s %v, want %s", i, b.Name, b.Value.Kind, want[i])
		}
	}
	if got := a.Columns[0][0].Value.Bytes[5]; got != 0x10 {
		t.Errorf("of equal names the last counted: %x", got)
	}
}

// FuzzParseRecording: anything is a recording or an error, and what is read
// from it obeys the caps.
func FuzzParseRecording(f *testing.F) {
	f.Add("1.3.6.1.2.1.43.11.1.1.9.1.1|2|40\n1.3.6.1.2.1.43.5.1.1.2.1|2|1\n")
	f.Add(".1.3.6.1.2.1.1.1.0 = STRING: \"a\nb\"\n.1.3.6.1 = Hex-STRING: 00 1\n")
	f.Add("1.3.6.1.2.1.43.18.1.1.2.1.7|2|3\n1.3.6.1.2.1.43.18.1.1.2|5|\n")
	f.Fuzz(func(t *testing.T, text string) {
		rec, err := ParseRecording(strings.NewReader(text))
		if err != nil {
			return
		}
		facts, err := Read(context.Background(), rec)
		if facts == nil {
			t.Fatalf("no facts, error %v", err)
		}
		for _, i := range facts.Printers() {
			if i < 0 {
				t.Errorf("printer %d", i)
			}
		}
		if len(facts.Problems) > maxProblems || rec.Exchanges > maxRounds {
			t.Errorf("%d problems, %d exchanges", len(facts.Problems), rec.Exchanges)
		}
	})
}
