package survey

import (
	"fmt"
	"testing"

	"github.com/OpenPrinting/goipp"
	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
)

func supplyLine(s device.Supply) string {
	low, capacity, other := "-", "-", ""
	if s.LowAt != nil {
		low = fmt.Sprint(*s.LowAt)
	}
	if s.Capacity != nil {
		capacity = fmt.Sprint(*s.Capacity)
	}
	if s.Other != nil {
		other = fmt.Sprintf(" other %s %s", s.Other.Level, s.Other.Object)
	}
	return fmt.Sprintf("%d %q %s %s %q %s/%s %s %s low %s %s%s",
		s.Index, s.Name, s.Kind, s.Role, s.Colorant, capacity, s.Unit, s.Level, s.Level.Measures(), low, s.Object, other)
}

func TestIPPSupplies(t *testing.T) {
	tests := []struct {
		name string
		in   []goipp.Attribute
		want []string
	}{
		{
			// CUPS Implementation of IPP: marker-levels is percent, waste counts fullness.
			name: "marker attributes",
			in: []goipp.Attribute{
				ippAttr("marker-names", goipp.TagName, "Cyan Toner", "Waste Box", "Drum"),
				ippWords("marker-types", "toner-cartridge", "waste-toner", "opc"),
				ippAttr("marker-colors", goipp.TagName, "#00FFFF", "none", "#000000"),
				ippInts("marker-levels", 42, 90, 7), ippInts("marker-low-levels", 16, 0, 10), ippInts("marker-high-levels", 100, 85, 100),
			},
			want: []string{
				`1 "Cyan Toner" tonerCartridge consumed "cyan" -/percent 42% remaining low 16 marker-levels[1]`,
				`2 "Waste Box" wasteToner receptacle "" -/percent 10% space-left low 15 marker-levels[2]`,
				`3 "Drum" opc consumed "black" -/percent 7% remaining low 10 marker-levels[3]`,
			},
		},
		{
			// -1, -2, -3: CUPS Implementation of IPP; RFC 3805 section 6 for the words.
			name: "special levels",
			in: []goipp.Attribute{
				ippWords("marker-types", "toner", "waste-toner", "ink-cartridge", "ink", "ink"),
				ippInts("marker-levels", -2, -1, -3, 101, -9),
			},
			want: []string{
				`1 "" toner consumed "" -/percent unknown remaining low - marker-levels[1]`,
				`2 "" wasteToner receptacle "" -/percent unlimited space-left low - marker-levels[2]`,
				`3 "" inkCartridge consumed "" -/percent some-left remaining low - marker-levels[3]`,
				`4 "" ink consumed "" -/percent contradictory remaining low - marker-levels[4]`,
				`5 "" ink consumed "" -/percent contradictory remaining low - marker-levels[5]`,
			},
		},
		{
			name: "lists of unequal length, a value that is none, a single value",
			in: []goipp.Attribute{
				ippAttr("marker-names", goipp.TagName, "BK", "C", "M"),
				ippWords("marker-types", "inkCartridge"), ippInts("marker-levels", 10, nil),
			},
			want: []string{
				`1 "BK" inkCartridge consumed "black" -/percent 10% remaining low - marker-levels[1]`,
				`2 "C"   "cyan" -/percent not-reported  low - marker-levels[2]`,
				`3 "M"   "magenta" -/percent not-reported  low - marker-levels[3]`,
			},
		},
		{
			name: "names with quotation marks and commas",
			in: []goipp.Attribute{
				ippAttr("marker-names", goipp.TagName, `"Black Toner, Part 1, 2; S/N 3"`, `12" roll, "long"`, "'x'"), ippInts("marker-levels", 1, 2, 3),
			},
			want: []string{
				`1 "Black Toner, Part 1, 2; S/N 3"   "black" -/percent 1% remaining low - marker-levels[1]`,
				`2 "12\" roll, \"long\""   "" -/percent 2% remaining low - marker-levels[2]`,
				`3 "x"   "" -/percent 3% remaining low - marker-levels[3]`,
			},
		},
		{
			// Limits: low 0 for what fills up, high 100 for what is used up (CUPS Implementation of IPP).
			name: "limits tell the direction when the type does not",
			in: []goipp.Attribute{
				ippWords("marker-types", "other", "other", "my-own-part"), ippInts("marker-levels", 80, 80, 80),
				ippInts("marker-low-levels", 0, 10, 5), ippInts("marker-high-levels", 90, 100, 100),
			},
			want: []string{
				`1 "" other receptacle "" -/percent 20% space-left low 10 marker-levels[1]`,
				`2 "" other consumed "" -/percent 80% remaining low 10 marker-levels[2]`,
				`3 "" myOwnPart consumed "" -/percent 80% remaining low 5 marker-levels[3]`,
			},
		},
		{
			// The example sent to the IPP list of the PWG, 2020-05-07, and the
			// receptacle of RFC 3805 section 6: the level is the room left.
			name: "printer-supply",
			in: []goipp.Attribute{
				ippOctets("printer-supply",
					"type=toner;maxcapacity=100;level=75;index=1;markerindex=1;class=supplyThatIsConsumed;unit=percent;colorantindex=1;colorantrole=process;colorantname=black;coloranttonality=256;",
					"index=2;class=receptacleThatIsFilled;type=wasteToner;unit=percent;maxcapacity=100;level=25;colorantname=unknown;",
					"index=3;class=supplyThatIsConsumed;type=fuser;unit=impressions;maxcapacity=150000;level=9000;colorantname=none;",
					"index=4;type=ink;maxcapacity=-2;level=300;unit=15;colorantname=cyan"),
				ippTexts("printer-supply-description", "Black", "Waste", "Fuser", "Ink"),
			},
			want: []string{
				`1 "Black" toner consumed "black" 100/percent 75% remaining low - printer-supply[1]`,
				`2 "Waste" wasteToner receptacle "" 100/percent 25% space-left low - printer-supply[2]`,
				`3 "Fuser" fuser consumed "" 150000/impressions 6% remaining low - printer-supply[3]`,
				`4 "Ink" ink consumed "cyan" -/tenthsOfMilliliters unknown remaining low - printer-supply[4]`,
			},
		},
		{
			name: "both in one order: real units, the marker's name and limit",
			in: []goipp.Attribute{
				ippOctets("printer-supply",
					"index=3;type=toner;class=supplyThatIsConsumed;unit=impressions;maxcapacity=6000;level=1800;colorantname=black;",
					"index=7;type=toner;class=supplyThatIsConsumed;unit=percent;maxcapacity=100;level=-3;colorantname=cyan;"),
				ippTexts("printer-supply-description", "long black name", "long cyan name"),
				ippAttr("marker-names", goipp.TagName, "Black", "Cyan"), ippWords("marker-types", "toner-cartridge", "toner-cartridge"),
				ippInts("marker-levels", 30, 40), ippInts("marker-low-levels", 10, 12), ippAttr("marker-colors", goipp.TagName, "#000000", "#00FFFF"),
			},
			want: []string{
				`3 "Black" toner consumed "black" 6000/impressions 30% remaining low 10 printer-supply[1]`,
				`7 "Cyan" toner consumed "cyan" -/percent 40% remaining low 12 marker-levels[2]`,
			},
		},
		{
			name: "both in different order and number",
			in: []goipp.Attribute{
				ippOctets("printer-supply",
					"type=inkCartridge;class=supplyThatIsConsumed;unit=percent;maxcapacity=100;level=50;colorantname=yellow;",
					"type=inkCartridge;class=supplyThatIsConsumed;unit=percent;maxcapacity=100;level=70;colorantname=black;",
					"type=wasteInk;class=receptacleThatIsFilled;unit=percent;maxcapacity=100;level=60;colorantname=none;"),
				ippAttr("marker-names", goipp.TagName, "black ink", "yellow ink"), ippWords("marker-types", "ink-cartridge", "ink-cartridge"),
				ippAttr("marker-colors", goipp.TagName, "#000000", "#FFFF00"), ippInts("marker-levels", 71, 49),
			},
			want: []string{
				`1 "yellow ink" inkCartridge consumed "yellow" 100/percent 50% remaining low - printer-supply[1]`,
				`2 "black ink" inkCartridge consumed "black" 100/percent 70% remaining low - printer-supply[2]`,
				`3 "" wasteInk receptacle "" 100/percent 60% space-left low - printer-supply[3]`,
			},
		},
		{
			name: "a marker that fits no row stays a supply of its own",
			in: []goipp.Attribute{
				ippOctets("printer-supply", "index=1;type=toner;maxcapacity=100;level=50;colorantname=black;"),
				ippAttr("marker-names", goipp.TagName, "Fuser Unit"), ippWords("marker-types", "fuser"), ippInts("marker-levels", 9),
			},
			want: []string{
				`1 "" toner consumed "black" 100/ 50% remaining low - printer-supply[1]`,
				`2 "Fuser Unit" fuser consumed "" -/percent 9% remaining low - marker-levels[1]`,
			},
		},
		{
			name: "a receptacle whose two numbers count in different directions is not believed",
			in: []goipp.Attribute{
				ippOctets("printer-supply", "class=receptacleThatIsFilled;type=wasteToner;unit=percent;maxcapacity=100;level=20;"),
				ippWords("marker-types", "waste-toner"), ippInts("marker-levels", 20),
			},
			want: []string{`1 "" wasteToner receptacle "" 100/percent contradictory space-left low - printer-supply[1] other 80% marker-levels[1]`},
		},
		{
			name: "two numbers of one supply that differ are both kept",
			in: []goipp.Attribute{
				ippOctets("printer-supply", "class=supplyThatIsConsumed;type=toner;unit=percent;maxcapacity=100;level=20;"),
				ippWords("marker-types", "toner"), ippInts("marker-levels", 80),
			},
			want: []string{`1 "" toner consumed "" 100/percent 20% remaining low - printer-supply[1] other 80% marker-levels[1]`},
		},
		{
			name: "rows that are no pairs, the same index twice, level above capacity",
			in:   []goipp.Attribute{ippOctets("printer-supply", "garbage", "", "index=1;type=toner;maxcapacity=10;level=11;", "index=1;type=toner;level=5;")},
			want: []string{
				`1 "" toner consumed "" 10/ contradictory remaining low - printer-supply[3]`,
				`2 "" toner consumed "" -/ unknown remaining low - printer-supply[4]`,
			},
		},
		{name: "nothing", want: nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got []string
			for _, s := range ippSupplies(ippDecoded(t, tt.in...)) {
				got = append(got, supplyLine(s))
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestColorant(t *testing.T) {
	tests := []struct {
		value, hex, name string
		kind, want       device.Text
	}{
		{"black", "", "", "toner", "black"},
		{"Cyan", "#000000", "", "toner", "cyan"},
		{"", "#000000", "", "ink", "black"},
		{"", "#00ffff", "", "ink", "cyan"},
		{"", "#F200FF", "", "ink", "magenta"}, // screen colours of inks, as printers send them
		{"", "#FFDA00", "", "ink", "yellow"},
		{"", "#00CFFF", "", "ink", "cyan"},
		{"", "#101010", "light black ink", "ink", "light black"},
		{"", "#000000", "Photo Black ink", "ink", "photo black"},
		{"", "#808080", "Gray", "ink", "gray"},
		{"", "#FFFFFF", "Black Toner", "toner", "black"}, // white stands for black on some
		{"", "#FFFFFF", "Toner", "toner", ""},
		{"", "#00FFFF#FF00FF#FFFF00", "Tri-color", "ink", "cyan+magenta+yellow"},
		{"", "none", "Waste toner, black", "wasteToner", ""},
		{"", "#000000", "Fuser", "fuser", ""},
		{"", "none", "Maintenance Kit", "maintenanceKit", ""},
		{"", "", "PBK", "ink", "photo black"},
		{"", "", "K", "ink", "black"},
		{"", "", "K 12", "", "black"},
		{"", "", "red and blue", "ink", ""},
		{"", "#12345", "", "ink", ""},
		{"", "#GGGGGG", "", "ink", ""},
		{"unknown", "", "", "toner", ""},
		{"clear coat", "", "", "toner", "clear coat"},
	}
	for _, tt := range tests {
		if got := colorant(tt.value, tt.hex, tt.name, tt.kind); got != tt.want {
			t.Errorf("%q %q %q %s: got %q, want %q", tt.value, tt.hex, tt.name, tt.kind, got, tt.want)
		}
	}
}

// marker-types in keyword form (CUPS Implementation of IPP) and as labels.
func TestSuppliesKind(t *testing.T) {
	for word, want := range map[string]device.Text{
		"toner": "toner", "waste-toner": "wasteToner", "ink-cartridge": "inkCartridge", "inkCartridge": "inkCartridge",
		"toner-cartridge": "tonerCartridge", "INKRIBBON": "inkRibbon", "opc": "opc", "corona-wire": "coronaWire",
		"fuser-oil-wick": "fuserOilWick", "maintenanceKit": "maintenanceKit", "maintenance-kit": "maintenanceKit", "4": "wasteToner",
		"my\x1b[1mpart": "mypart", "": "", "Drum Unit": "Drum Unit",
	} {
		if got := suppliesKind(word); got != want {
			t.Errorf("%q: got %q, want %q", word, got, want)
		}
	}
}
