package ipp

import (
	"errors"
	"strings"
	"testing"
)

func TestParsePairs(t *testing.T) {
	tests := []struct {
		name, in string
		want     string // key=value in order, joined by a bar
		bad      int
	}{
		{
			// Example sent to the IPP list of the Printer Working Group, 2020-05-07, for PWG 5100.13.
			"printer-supply", "type=toner;maxcapacity=100;level=75;index=1;markerindex=1;class=supplyThatIsConsumed;unit=percent;colorantindex=1;colorantrole=process;colorantname=black;coloranttonality=256;",
			"type=toner|maxcapacity=100|level=75|index=1|markerindex=1|class=supplyThatIsConsumed|unit=percent|colorantindex=1|colorantrole=process|colorantname=black|coloranttonality=256", 0,
		},
		{
			// The grammar of PWG 5100.13 without the last semicolon.
			"printer-input-tray", "type=sheetFeedAutoRemovableTray;mediafeed=0;mediaxfeed=0;maxcapacity=250;level=100;status=0;name=main",
			"type=sheetFeedAutoRemovableTray|mediafeed=0|mediaxfeed=0|maxcapacity=250|level=100|status=0|name=main", 0,
		},
		{"space in a value", "level=0;status=19;name=MP Tray;", "level=0|status=19|name=MP Tray", 0},
		{"negative numbers", "mediafeed=-2;level=-3", "mediafeed=-2|level=-3", 0},
		{"keys in any case, white space", " Type = toner ; LEVEL=5 ", "type=toner|level=5", 0},
		{"further equals signs belong to the value", "name=a=b;level=1", "name=a=b|level=1", 0},
		{"empty value", "name=;level=1", "name=|level=1", 0},
		{"first of a repeated key", "level=1;level=2", "level=1", 1},
		{"parts that are no pair", "other;level=1;=5;bad key=2", "level=1", 3},
		{"NUL at the end", "level=1;name=Front;\x00", "level=1|name=Front", 0},
		{"own name in front", "printer-alert[0] = code=jam;index=22", "code=jam|index=22", 0},
		{"own name in front, no space", "printer-input-tray[0] =type=other;level=-2;", "type=other|level=-2", 0},
		{"a key that begins like an attribute", "printer-name=x;level=1", "printer-name=x|level=1", 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, err := ParsePairs(tt.in)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, k := range p.Keys() {
				got = append(got, k+"="+p.Text(k))
			}
			if s := strings.Join(got, "|"); s != tt.want || p.Bad() != tt.bad {
				t.Errorf("got %s, %d bad; want %s, %d bad", s, p.Bad(), tt.want, tt.bad)
			}
		})
	}
}

func TestParsePairsNothing(t *testing.T) {
	for _, in := range []string{"", ";;;", "other", "none", "\x00", "=x", "printer-alert[0] ="} {
		if p, err := ParsePairs(in); !errors.Is(err, ErrPairs) {
			t.Errorf("%q: %v, %v", in, p.Keys(), err)
		}
	}
}

func TestPairsInt(t *testing.T) {
	p, _ := ParsePairs("a=12;b=-3;c=;d=1x;e=99999999999999999999")
	for key, want := range map[string]int64{"a": 12, "b": -3} {
		if n, ok := p.Int(key); !ok || n != want {
			t.Errorf("%s: %d %v", key, n, ok)
		}
	}
	for _, key := range []string{"c", "d", "e", "f"} {
		if n, ok := p.Int(key); ok {
			t.Errorf("%s reads as %d", key, n)
		}
	}
}

func TestParsePairsBounds(t *testing.T) {
	var many strings.Builder
	for i := range 500 {
		many.WriteString("k" + strings.Repeat("x", i%7) + string(rune('a'+i%26)) + "=1;")
	}
	if p, err := ParsePairs(many.String()); err != nil || len(p.Keys()) > maxPairs {
		t.Errorf("%d keys, %v", len(p.Keys()), err)
	}
	if p, err := ParsePairs("a=" + strings.Repeat("x", 1<<16)); err != nil || len(p.Text("a")) > maxPairsText {
		t.Errorf("value of %d octets, %v", len(p.Text("a")), err)
	}
}

func FuzzParsePairs(f *testing.F) {
	f.Add("type=toner;level=5;")
	f.Add("printer-alert[0] = code=jam")
	f.Add("code=unknown;severity=otherother")
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePairs(s)
		if (err == nil) != (len(p.Keys()) > 0) {
			t.Fatalf("%d keys, error %v", len(p.Keys()), err)
		}
		for _, k := range p.Keys() {
			p.Int(k)
		}
	})
}

func TestParseDeviceID(t *testing.T) {
	tests := []struct {
		name, in                    string
		maker, model, serial, codes string
	}{
		{
			// The example of the public descriptions of IEEE 1284.
			name:  "long keys",
			in:    "MANUFACTURER:ACME Manufacturing;COMMAND SET:PCL,MPL;MODEL:LaserBeam ?;COMMENT:Anything you like;ACTIVE COMMAND SET:PCL;",
			maker: "ACME Manufacturing", model: "LaserBeam ?", codes: "PCL|MPL",
		},
		{name: "short keys", in: "MFG:Acme;MDL:L 1;CMD: PCL , PS ;CLS:PRINTER;SN:X12;", maker: "Acme", model: "L 1", serial: "X12", codes: "PCL|PS"},
		{name: "other serial key, no last semicolon", in: "MFG:Acme;MDL:L 1;SERN:0042", maker: "Acme", model: "L 1", serial: "0042"},
		{name: "colon in a value", in: "MFG:Acme;MDL:L:1;", maker: "Acme", model: "L:1"},
		{name: "length octets of a cable in front", in: "\x00\x12MFG:Acme;MDL:L 1", maker: "Acme", model: "L 1"},
		{name: "keys differ by case", in: "mfg:acme;MFG:Acme;MFG:Other;", maker: "Acme"},
		{name: "parts without a colon", in: "junk;;MFG:Acme;:x;", maker: "Acme"},
		{name: "nothing", in: ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := ParseDeviceID(tt.in)
			if d.Maker() != tt.maker || d.Model() != tt.model || d.Serial() != tt.serial || strings.Join(d.Commands(), "|") != tt.codes {
				t.Errorf("got %q %q %q %q", d.Maker(), d.Model(), d.Serial(), d.Commands())
			}
		})
	}
}

func FuzzParseDeviceID(f *testing.F) {
	f.Add("MFG:Acme;MDL:L 1;CMD:PCL;")
	f.Add("\x00\x12MFG:Acme;MDL:L 1")
	f.Fuzz(func(t *testing.T, s string) {
		d := ParseDeviceID(s)
		for _, c := range d.Commands() {
			if c == "" || len(c) > maxDeviceID {
				t.Fatalf("command set %q", c)
			}
		}
	})
}
