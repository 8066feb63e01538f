package oid

import (
	"errors"
	"strings"
	"testing"
)

func TestParse(t *testing.T) {
	for _, in := range []string{"1.3.6.1", ".1.3.6.1", "0.0", "1.3.4294967295", "2.999"} {
		o, err := Parse(in)
		if err != nil || o.String() != strings.TrimPrefix(in, ".") {
			t.Errorf("Parse(%q) = %v, %v", in, o, err)
		}
	}
	for _, in := range []string{"", ".", "1..3", "1.3.", "..1", "a", "1.3.4294967296", "-1", "+1", "1.+3", "1 .3",
		strings.Repeat("1.", 128) + "1", strings.Repeat("9", 1000)} {
		o, err := Parse(in)
		if !errors.Is(err, ErrSyntax) || o != nil {
			t.Errorf("Parse(%.20q) = %v, %v; want ErrSyntax", in, o, err)
		}
		if err != nil && len(err.Error()) > 120 {
			t.Errorf("Parse(%.20q): error of %d bytes", in, len(err.Error()))
		}
	}
}

// Order of names: RFC 3416 section 2.2 and the walk of section 4.2.2.1, where
// the rows of one column come by index and the next column follows.
func TestCompare(t *testing.T) {
	sorted := []OID{
		MustParse("1.3.6.1.2.1.4.22.1.2"),
		MustParse("1.3.6.1.2.1.4.22.1.2.1.9.2.3.4"),
		MustParse("1.3.6.1.2.1.4.22.1.2.1.10.0.0.51"),
		MustParse("1.3.6.1.2.1.4.22.1.2.2.10.0.0.15"),
		MustParse("1.3.6.1.2.1.4.22.1.4.1.9.2.3.4"),
	}
	for i := range sorted {
		for j := range sorted {
			want := 0
			if i < j {
				want = -1
			} else if i > j {
				want = 1
			}
			if got := sorted[i].Compare(sorted[j]); got != want {
				t.Errorf("%v against %v: %d, want %d", sorted[i], sorted[j], got, want)
			}
		}
	}
	if !sorted[1].HasPrefix(sorted[0]) || sorted[0].HasPrefix(sorted[1]) || sorted[4].HasPrefix(sorted[0]) {
		t.Error("HasPrefix")
	}
}

func TestAppendShares(t *testing.T) {
	base := make(OID, 3, 10)
	a, b := base.Append(1), base.Append(2)
	if a[3] != 1 || b[3] != 2 {
		t.Errorf("Append shares its array: %v %v", a, b)
	}
}

// Sizes are those of encodings by the Basic Encoding Rules (X.690 sections
// 8.3, 8.7, 8.19; RFC 3416), worked out by hand: contents plus two octets.
func TestSize(t *testing.T) {
	values := []struct {
		v    Value
		want int
	}{
		{Int(-1), 3}, {Int(127), 3}, {Int(128), 4}, {Int(-128), 3}, {Int(-129), 4}, {Int(2147483647), 6}, {Int(-2147483648), 6},
		{Value{Kind: Counter32, Num: 4294967295}, 7}, {Value{Kind: Gauge32, Num: 128}, 4}, {Ticks(8640000), 6},
		{Value{Kind: Counter64, Num: -1}, 11},
		{Str(""), 2}, {Str(strings.Repeat("A", 127)), 129}, {Str(strings.Repeat("A", 200)), 203}, {Str(strings.Repeat("A", 300)), 304},
		{Value{Kind: Null}, 2}, {Value{Kind: EndOfMibView}, 2},
		{Value{Kind: ObjectID, ID: MustParse("0.0")}, 3},
		{Value{Kind: ObjectID, ID: MustParse("1.3.6.1.4.1.8072.3.2.10")}, 12},
	}
	for _, tt := range values {
		if got := tt.v.Size(); got != tt.want {
			t.Errorf("Size of %v %s = %d, want %d", tt.v.Kind, tt.v, got, tt.want)
		}
	}
	names := map[string]int{"1.3.6.1.2.1.43.11.1.1.9.1.1": 14, "1.3.6.1.2.1.43.18.1.1.7.1.2147483647": 18}
	for s, want := range names {
		if got := MustParse(s).Size(); got != want {
			t.Errorf("Size of %s = %d, want %d", s, got, want)
		}
	}
}

func TestValue(t *testing.T) {
	if !Int(0).Numeric() || Str("1").Numeric() || (Value{Kind: Counter64, Num: -1}).Numeric() {
		t.Error("Numeric")
	}
	for _, k := range []Kind{Invalid, Null, NoSuchObject, NoSuchInstance, EndOfMibView} {
		if (Value{Kind: k}).Present() {
			t.Errorf("%v is present", k)
		}
	}
	if got := (Value{Kind: OctetString, Bytes: []byte{0x40, 0x04}}).String(); got != "4004" {
		t.Errorf("octets: %q", got)
	}
	if got := (Value{Kind: Counter64, Num: -1}).String(); got != "18446744073709551615" {
		t.Errorf("Counter64: %q", got)
	}
	if got := Kind(0x99).String(); got != "Kind(0x99)" {
		t.Errorf("unknown kind: %q", got)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"1.3.6.1", ".0.0", "1..2", "4294967296", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		o, err := Parse(s)
		if err != nil {
			return
		}
		p, err := Parse(o.String())
		if err != nil || !p.Equal(o) || len(o) == 0 || len(o) > MaxLen {
			t.Errorf("%q -> %v -> %v, %v", s, o, p, err)
		}
	})
}
