package survey

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/ipp"
)

// one makes an attribute; the values may be string, int, bool, nil (no-value) or
// goipp.Value.
func one(name string, tag goipp.Tag, values ...any) goipp.Attribute {
	a := goipp.Attribute{Name: name}
	for _, v := range values {
		switch v := v.(type) {
		case nil:
			a.Values.Add(goipp.TagNoValue, goipp.Void{})
		case string:
			if tag == goipp.TagString {
				a.Values.Add(tag, goipp.Binary(v))
			} else {
				a.Values.Add(tag, goipp.String(v))
			}
		case int:
			a.Values.Add(tag, goipp.Integer(v))
		case bool:
			a.Values.Add(tag, goipp.Boolean(v))
		case goipp.Value:
			a.Values.Add(tag, v)
		}
	}
	return a
}

func words(name string, values ...any) goipp.Attribute { return one(name, goipp.TagKeyword, values...) }
func texts(name string, values ...any) goipp.Attribute { return one(name, goipp.TagText, values...) }
func ints(name string, values ...any) goipp.Attribute {
	return one(name, goipp.TagInteger, values...)
}
func octets(name string, values ...any) goipp.Attribute {
	return one(name, goipp.TagString, values...)
}

// collections makes an attribute of collections.
func collections(name string, cols ...goipp.Collection) goipp.Attribute {
	a := goipp.Attribute{Name: name}
	for _, c := range cols {
		a.Values.Add(goipp.TagBeginCollection, c)
	}
	return a
}

func encoded(t testing.TB, groups ...goipp.Group) []byte {
	t.Helper()
	m := goipp.NewMessageWithGroups(goipp.DefaultVersion, 0, 1, groups)
	b, err := m.EncodeBytes()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func decoded(t testing.TB, attrs ...goipp.Attribute) ipp.Attributes {
	t.Helper()
	m, err := ipp.Decode(encoded(t, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: attrs}))
	if err != nil {
		t.Fatal(err)
	}
	return m.First(ipp.PrinterGroup)
}

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
				one("marker-names", goipp.TagName, "Cyan Toner", "Waste Box", "Drum"),
				words("marker-types", "toner-cartridge", "waste-toner", "opc"),
				one("marker-colors", goipp.TagName, "#00FFFF", "none", "#000000"),
				ints("marker-levels", 42, 90, 7), ints("marker-low-levels", 16, 0, 10), ints("marker-high-levels", 100, 85, 100),
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
				words("marker-types", "toner", "waste-toner", "ink-cartridge", "ink", "ink"),
				ints("marker-levels", -2, -1, -3, 101, -9),
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
				one("marker-names", goipp.TagName, "BK", "C", "M"),
				words("marker-types", "inkCartridge"), ints("marker-levels", 10, nil),
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
				one("marker-names", goipp.TagName, `"Black Toner, Part 1, 2; S/N 3"`, `12" roll, "long"`, "'x'"), ints("marker-levels", 1, 2, 3),
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
				words("marker-types", "other", "other", "my-own-part"), ints("marker-levels", 80, 80, 80),
				ints("marker-low-levels", 0, 10, 5), ints("marker-high-levels", 90, 100, 100),
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
				octets("printer-supply",
					"type=toner;maxcapacity=100;level=75;index=1;markerindex=1;class=supplyThatIsConsumed;unit=percent;colorantindex=1;colorantrole=process;colorantname=black;coloranttonality=256;",
					"index=2;class=receptacleThatIsFilled;type=wasteToner;unit=percent;maxcapacity=100;level=25;colorantname=unknown;",
					"index=3;class=supplyThatIsConsumed;type=fuser;unit=impressions;maxcapacity=150000;level=9000;colorantname=none;",
					"index=4;type=ink;maxcapacity=-2;level=300;unit=15;colorantname=cyan"),
				texts("printer-supply-description", "Black", "Waste", "Fuser", "Ink"),
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
				octets("printer-supply",
					"index=3;type=toner;class=supplyThatIsConsumed;unit=impressions;maxcapacity=6000;level=1800;colorantname=black;",
					"index=7;type=toner;class=supplyThatIsConsumed;unit=percent;maxcapacity=100;level=-3;colorantname=cyan;"),
				texts("printer-supply-description", "long black name", "long cyan name"),
				one("marker-names", goipp.TagName, "Black", "Cyan"), words("marker-types", "toner-cartridge", "toner-cartridge"),
				ints("marker-levels", 30, 40), ints("marker-low-levels", 10, 12), one("marker-colors", goipp.TagName, "#000000", "#00FFFF"),
			},
			want: []string{
				`3 "Black" toner consumed "black" 6000/impressions 30% remaining low 10 printer-supply[1]`,
				`7 "Cyan" toner consumed "cyan" -/percent 40% remaining low 12 marker-levels[2]`,
			},
		},
		{
			name: "both in different order and number",
			in: []goipp.Attribute{
				octets("printer-supply",
					"type=inkCartridge;class=supplyThatIsConsumed;unit=percent;maxcapacity=100;level=50;colorantname=yellow;",
					"type=inkCartridge;class=supplyThatIsConsumed;unit=percent;maxcapacity=100;level=70;colorantname=black;",
					"type=wasteInk;class=receptacleThatIsFilled;unit=percent;maxcapacity=100;level=60;colorantname=none;"),
				one("marker-names", goipp.TagName, "black ink", "yellow ink"), words("marker-types", "ink-cartridge", "ink-cartridge"),
				one("marker-colors", goipp.TagName, "#000000", "#FFFF00"), ints("marker-levels", 71, 49),
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
				octets("printer-supply", "index=1;type=toner;maxcapacity=100;level=50;colorantname=black;"),
				one("marker-names", goipp.TagName, "Fuser Unit"), words("marker-types", "fuser"), ints("marker-levels", 9),
			},
			want: []string{
				`1 "" toner consumed "black" 100/ 50% remaining low - printer-supply[1]`,
				`2 "Fuser Unit" fuser consumed "" -/percent 9% remaining low - marker-levels[1]`,
			},
		},
		{
			name: "a receptacle whose two numbers count in different directions is not believed",
			in: []goipp.Attribute{
				octets("printer-supply", "class=receptacleThatIsFilled;type=wasteToner;unit=percent;maxcapacity=100;level=20;"),
				words("marker-types", "waste-toner"), ints("marker-levels", 20),
			},
			want: []string{`1 "" wasteToner receptacle "" 100/percent contradictory space-left low - printer-supply[1] other 80% marker-levels[1]`},
		},
		{
			name: "two numbers of one supply that differ are both kept",
			in: []goipp.Attribute{
				octets("printer-supply", "class=supplyThatIsConsumed;type=toner;unit=percent;maxcapacity=100;level=20;"),
				words("marker-types", "toner"), ints("marker-levels", 80),
			},
			want: []string{`1 "" toner consumed "" 100/percent 20% remaining low - printer-supply[1] other 80% marker-levels[1]`},
		},
		{
			name: "rows that are no pairs, the same index twice, level above capacity",
			in:   []goipp.Attribute{octets("printer-supply", "garbage", "", "index=1;type=toner;maxcapacity=10;level=11;", "index=1;type=toner;level=5;")},
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
			for _, s := range ippSupplies(decoded(t, tt.in...)) {
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

func trayLine(x device.Tray) string {
	size := func(f *float64) string {
		if f == nil {
			return "-"
		}
		return fmt.Sprintf("%.4g", *f)
	}
	weight := ""
	if x.Media.WeightG != nil {
		weight = fmt.Sprintf(" %gg", *x.Media.WeightG)
	}
	return strings.TrimSpace(fmt.Sprintf("%d %q %s %s %s %sx%s %s %s%s %v %s",
		x.Index, x.Name, x.Kind, x.Level, x.Media.Name, size(x.Media.WidthMM), size(x.Media.LengthMM), x.Media.Type, x.Media.Color, weight, x.Status.Words(), x.Object))
}

func col(source, kind string, x, y int) goipp.Collection {
	size := goipp.Collection{goipp.MakeAttribute("x-dimension", goipp.TagInteger, goipp.Integer(x)), goipp.MakeAttribute("y-dimension", goipp.TagInteger, goipp.Integer(y))}
	c := goipp.Collection{goipp.MakeAttribute("media-size", goipp.TagBeginCollection, size)}
	if source != "" {
		c.Add(goipp.MakeAttribute("media-source", goipp.TagKeyword, goipp.String(source)))
	}
	if kind != "" {
		c.Add(goipp.MakeAttribute("media-type", goipp.TagKeyword, goipp.String(kind)))
	}
	return c
}

func TestIPPTrays(t *testing.T) {
	heavy := col("tray-2", "cardstock", 29700, 42000)
	heavy.Add(goipp.MakeAttribute("media-weight-metric", goipp.TagInteger, goipp.Integer(160)))
	heavy.Add(goipp.MakeAttribute("media-color", goipp.TagKeyword, goipp.String("white")))
	open := goipp.Collection{goipp.MakeAttribute("media-size", goipp.TagBeginCollection, goipp.Collection{
		goipp.MakeAttribute("x-dimension", goipp.TagRange, goipp.Range{Lower: 7620, Upper: 21590}),
		goipp.MakeAttribute("y-dimension", goipp.TagRange, goipp.Range{Lower: 12700, Upper: 35560}),
	})}
	tests := []struct {
		name string
		in   []goipp.Attribute
		want []string
	}{
		{
			// The trays of ipp-octetstrings (PWG 5100.13): levels, sentinels, status 19 = broken and critical (RFC 3805 page 20).
			name: "levels and status",
			in: []goipp.Attribute{octets("printer-input-tray",
				"type=sheetFeedAutoRemovableTray;mediafeed=0;mediaxfeed=0;maxcapacity=250;level=100;status=0;name=main",
				"type=sheetFeedAutoNonRemovableTray;mediafeed=116929;mediaxfeed=82677;maxcapacity=100;level=0;status=19;name=MP Tray;",
				"type=other;dimunit=micrometers;mediafeed=-2;mediaxfeed=-2;maxcapacity=-2;level=-2;unit=percent;status=0;name=rear",
				"type=sheetFeedManual;dimunit=micrometers;mediafeed=297000;mediaxfeed=210000;maxcapacity=50;level=-3;status=8;name=manual")},
			want: []string{
				`1 "main" sheetFeedAutoRemovableTray 40%  -x-   [idle] printer-input-tray[1]`,
				`2 "MP Tray" sheetFeedAutoNonRemovableTray 0% iso_a4_210x297mm 210x297   [broken critical-alert] printer-input-tray[2]`,
				`3 "rear" other unknown  -x-   [idle] printer-input-tray[3]`,
				`4 "manual" sheetFeedManual some-left iso_a4_210x297mm 210x297   [idle non-critical-alert] printer-input-tray[4]`,
			},
		},
		{
			name: "joined with what is ready by source keyword; automatic selection is no tray",
			in: []goipp.Attribute{
				octets("printer-input-tray",
					"type=other;maxcapacity=-2;level=-2;status=0;name=Automatic",
					"type=sheetFeedAutoRemovableTray;mediafeed=0;mediaxfeed=0;maxcapacity=500;level=250;name=Cassette 1",
					"type=sheetFeedAutoRemovableTray;mediafeed=0;mediaxfeed=0;maxcapacity=500;level=500;name=Cassette 2"),
				words("media-source-supported", "auto", "tray-1", "tray-2"),
				collections("media-col-ready", heavy, col("tray-1", "stationery", 21000, 29700), col("tray-1", "other", 10000, 10000)),
				words("media-ready", "iso_a3_297x420mm", "iso_a4_210x297mm"),
			},
			want: []string{
				`1 "Cassette 1" sheetFeedAutoRemovableTray 50% iso_a4_210x297mm 210x297 stationery  [] printer-input-tray[2]`,
				`2 "Cassette 2" sheetFeedAutoRemovableTray 100% iso_a3_297x420mm 297x420 cardstock white 160g [] printer-input-tray[3]`,
			},
		},
		{
			name: "joined by the tray's name, by the device's index",
			in: []goipp.Attribute{
				octets("printer-input-tray", "index=10;type=sheetFeedManual;name=tray-1;level=1;maxcapacity=2", "index=20;type=3;name=x;level=1;maxcapacity=2"),
				collections("media-col-ready", col("tray-1", "labels", 21590, 27940)),
			},
			want: []string{
				`10 "tray-1" sheetFeedManual 50% na_letter_8.5x11in 215.9x279.4 labels  [] printer-input-tray[1]`,
				`20 "x" sheetFeedAutoRemovableTray 50%  -x-   [] printer-input-tray[2]`,
			},
		},
		{
			name: "by position when nothing ready tells its source",
			in: []goipp.Attribute{
				octets("printer-input-tray", "name=a;level=0;maxcapacity=9", "name=b;level=9;maxcapacity=9"),
				collections("media-col-ready", col("", "stationery", 21000, 29700), col("", "labels", 21000, 29700)),
			},
			want: []string{
				`1 "a"  0% iso_a4_210x297mm 210x297 stationery  [] printer-input-tray[1]`,
				`2 "b"  100% iso_a4_210x297mm 210x297 labels  [] printer-input-tray[2]`,
			},
		},
		{
			// The unit is not stated: 11690 x 8270 thousandths would be no sheet, 1/100 mm is A4.
			name: "sizes without a unit, with a unit as a number, by name, of a roll",
			in: []goipp.Attribute{octets("printer-input-tray",
				"mediafeed=29700;mediaxfeed=21000;name=a",
				"mediafeed=116900;mediaxfeed=82700;dimunit=3;unit=8;medianame=A4;mediaweight=-2;mediatype=Plain;mediacolor=white;name=b",
				"mediafeed=12345;mediaxfeed=6789;name=c",
				"mediafeed=0;mediaxfeed=62000;dimunit=micrometers;type=continuousRoll;name=d",
				"medianame=iso-a4-white;mediafeed=-2;mediaxfeed=-2;name=e",
				"mediafeed=100000;mediaxfeed=77000;dimunit=micrometers;name=f;mediaweight=80")},
			want: []string{
				`1 "a"  not-reported iso_a4_210x297mm 210x297   [] printer-input-tray[1]`,
				`2 "b"  not-reported iso_a4_210x297mm 210x297 Plain white [] printer-input-tray[2]`,
				`3 "c"  not-reported  -x-   [] printer-input-tray[3]`,
				`4 "d" continuousRoll not-reported  62x-   [] printer-input-tray[4]`,
				`5 "e"  not-reported iso_a4_210x297mm 210x297   [] printer-input-tray[5]`,
				`6 "f"  not-reported  77x100   80g [] printer-input-tray[6]`,
			},
		},
		{
			name: "only media-col-ready, one of it of open size",
			in:   []goipp.Attribute{collections("media-col-ready", col("main", "stationery", 21000, 29700), col("auto", "", 21000, 29700), open, col("roll", "", 6200, 0))},
			want: []string{
				`1 "main"  not-reported iso_a4_210x297mm 210x297 stationery  [] media-col-ready[1]`,
				`2 ""  not-reported  -x-   [] media-col-ready[3]`,
				`3 "roll"  not-reported  62x-   [] media-col-ready[4]`,
			},
		},
		{
			name: "only media-ready",
			in:   []goipp.Attribute{words("media-ready", "iso_a4_210x297mm", "photo paper")},
			want: []string{
				`1 ""  not-reported iso_a4_210x297mm 210x297   [] media-ready[1]`,
				`2 ""  not-reported photo paper -x-   [] media-ready[2]`,
			},
		},
		{
			name: "values that are no pairs, a type that is no label, the attribute's own name in front",
			in: []goipp.Attribute{octets("printer-input-tray", "", "nothing",
				"printer-input-tray[0] =type=sheetFeedAutoNonRemovable;dimunit=micrometers;mediafeed=279400;mediaxfeed=215900;level=300;maxcapacity=250;status=999;name=Rear;\x00")},
			want: []string{`1 "Rear" sheetFeedAutoNonRemovable contradictory na_letter_8.5x11in 215.9x279.4   [] printer-input-tray[3]`},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got []string
			for _, x := range ippTrays(decoded(t, tt.in...)) {
				got = append(got, trayLine(x))
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestIPPOutputs(t *testing.T) {
	got := ippOutputs(decoded(t, octets("printer-output-tray",
		"type=unRemovableBin;maxcapacity=125;remaining=-3;status=0;name=face-down;stackingorder=firstToLast;pagedelivery=faceDown;",
		"type=mailBox;unit=sheets;maxcapacity=100;remaining=5;status=8;", "junk"),
		words("output-bin-supported", "face-down", "mailbox-1", "x")))
	if len(got) != 2 {
		t.Fatalf("%d bins", len(got))
	}
	if b := got[0]; b.Name != "face-down" || b.Level.String() != "some-left" || b.Kind != "unRemovableBin" || b.Object != "printer-output-tray[1]" {
		t.Errorf("first bin %+v", b)
	}
	if b := got[1]; b.Name != "mailbox-1" || b.Level.String() != "5%" || b.Level.Measures() != device.SpaceLeft || !b.Status.NonCritical() || *b.Capacity != 100 {
		t.Errorf("second bin %+v", b)
	}
}

func TestIPPAlerts(t *testing.T) {
	got := ippAlerts(decoded(t,
		octets("printer-alert",
			"code=jam;index=22;severity=critical;training=trained;group=mediaPath;groupindex=4;location=6",                                       // PWG 5100.9 section 5.2
			"printer-alert[0] = code=markerTonerEmpty;index=1;severity=critical;group=markerSupplies;groupindex=-1;location=9200;time=188491075", // as found
			"code=unknown;severity=otherother", // as found, truncated
			"other",                            // as found: no grammar
			"code=unknown;severity=other;group=other",       // as found: no alert
			"code=unknown;severity=other;group=other",       // the same with a text
			"code=unknown;severity=other;group=other",       // and again
			"code=notACode;severity=critical;group=input",   // no code of PrtAlertCodeTC
			"code=COVEROPEN;severity=Critical;group=cover;", // case
			"code=8;severity=3;group=13;groupindex=99999999999",
			"severity=critical", ""),
		texts("printer-alert-description", "Paper jam", "printer-alert-description[1] = '09-200 Toner is empty.'", "", "", "", "ready", "ready", "x", "Cover\x1b[31m open")))
	var lines []string
	for _, a := range got {
		lines = append(lines, fmt.Sprintf("%d %s %s %s %s %d %d %q %s", a.Index, a.Code, a.Severity, a.Training, a.Group, a.GroupIndex, a.Location, a.Description, a.Object))
		if a.AgeS != nil || a.AgeReason == "" {
			t.Errorf("%s has an age", a.Object)
		}
	}
	want := []string{
		`22 jam critical trained mediaPath 4 6 "Paper jam" printer-alert[1]`,
		`1 markerTonerEmpty critical  markerSupplies -1 9200 "09-200 Toner is empty." printer-alert[2]`,
		`6 unknown other  other -1 -2 "ready" printer-alert[6]`,
		`9 coverOpen critical  cover -1 -2 "Cover open" printer-alert[9]`,
		`10 jam critical  mediaPath -1 -2 "" printer-alert[10]`,
	}
	if d := cmp.Diff(want, lines); d != "" {
		t.Error(d)
	}
}

func TestIPPFinishersAndCovers(t *testing.T) {
	a := decoded(t,
		// Keys: ABNF of PWG 5100.1; the supplies' keys are from memory.
		octets("printer-finisher", "type=stitcher;unit=sheets;maxcapacity=50;index=3;presentonoff=on;status=19", "type=puncher;index=4;presentonoff=notPresent;status=0", ""),
		texts("printer-finisher-description", "Stapler", "Punch"),
		octets("printer-finisher-supplies", "class=supplyThatIsConsumed;type=staples;unit=items;max=5000;level=0;color=none;index=1;deviceindex=3",
			"class=receptacleThatIsFilled;type=wastePaper;unit=percent;maxcapacity=100;level=40;index=2;deviceindex=4", "type=staples;deviceindex=77"),
		texts("printer-finisher-supplies-description", "Staple cartridge"),
		octets("printer-cover", "index=1;name=Front;status=coverOpen", "index=2;status=4", "status=ajar"),
		texts("printer-cover-description", "", "Rear door"))
	f := ippFinishers(a)
	if len(f) != 2 || f[0].Kind != "stitcher" || f[0].Index != 3 || f[0].Present != "on" || !f[0].Status.Critical() || f[1].Present != "notPresent" {
		t.Fatalf("finishers %+v", f)
	}
	if s := f[0].Supplies; len(s) != 1 || supplyLine(s[0]) != `1 "Staple cartridge" staples consumed "" 5000/items 0% remaining low - printer-finisher-supplies[1]` {
		t.Errorf("stapler's supplies %+v", s)
	}
	if s := f[1].Supplies; len(s) != 1 || s[0].Level.String() != "40%" || s[0].Level.Measures() != device.SpaceLeft {
		t.Errorf("punch's supplies %+v", s)
	}
	c := ippCovers(a)
	if len(c) != 2 || c[0].Name != "Front" || c[0].Status != "coverOpen" || c[1].Name != "Rear door" || c[1].Status != "coverClosed" {
		t.Errorf("covers %+v", c)
	}
}

// The labels found by word or number equal the registry.
func TestLabels(t *testing.T) {
	dir := sharedDir(t)
	f, err := os.Open(filepath.Join(dir, "standards", "enums.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	tables := map[string]labels{
		"PrtMarkerSuppliesTypeTC": suppliesTypes(), "PrtMarkerSuppliesSupplyUnitTC": suppliesUnits(), "PrtCapacityUnitTC": capacityUnits(),
		"PrtInputTypeTC": inputTypes(), "PrtOutputTypeTC": outputTypes(), "PrtCoverStatusTC": coverStatuses(), "FinDeviceTypeTC": finisherTypes(),
		"PresentOnOff": presence(), "PrtAlertCodeTC": alertCodes(), "PrtAlertSeverityLevelTC": alertSeverities(),
		"PrtAlertTrainingLevelTC": alertTrainings(), "PrtAlertGroupTC": alertGroups(), "PrtInterpreterLangFamilyTC": languages(),
	}
	counts := map[string]int{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		c := strings.Split(lines.Text(), "\t")
		table, ok := tables[c[0]]
		if !ok {
			continue
		}
		counts[c[0]]++
		for _, word := range []string{c[1], c[2], strings.ToUpper(c[2])} {
			if got, _ := table.find(word); got != c[2] {
				t.Errorf("%s %s: got %q, want %q", c[0], word, got, c[2])
			}
		}
	}
	for name, table := range tables {
		if len(table) != 2*counts[name] {
			t.Errorf("%s: %d words, want twice %d", name, len(table), counts[name])
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

// Ages of jobs: job-printer-up-time minus time-at-creation, seconds
// (RFC 8011 section 5.3.14.4).
func TestJobAge(t *testing.T) {
	at := func(h, m int) goipp.Value { return goipp.Time{Time: time.Date(2026, 11, 25, h, m, 0, 0, time.UTC)} }
	tests := []struct {
		name  string
		clock ippClock
		in    []goipp.Attribute
		want  string
	}{
		{"by the job's clock", ippClock{up: 5}, []goipp.Attribute{ints("job-printer-up-time", 3700), ints("time-at-creation", 100)}, "3600"},
		{"by the printer's clock", ippClock{up: 700}, []goipp.Attribute{ints("time-at-creation", 100)}, "600"},
		{"a clock that counts from 1970", ippClock{}, []goipp.Attribute{ints("job-printer-up-time", 1494026948), ints("time-at-creation", 1494020000)}, "6948"},
		{"before the last restart", ippClock{up: 700}, []goipp.Attribute{ints("time-at-creation", 0)}, "-"},
		{"negative: before the last restart", ippClock{up: 700}, []goipp.Attribute{ints("time-at-creation", -50)}, "-"},
		{"after now", ippClock{up: 700}, []goipp.Attribute{ints("time-at-creation", 701)}, "-"},
		{"clocks that do not belong together", ippClock{up: 1494026948}, []goipp.Attribute{ints("time-at-creation", 100)}, "-"},
		{"nothing", ippClock{}, nil, "-"},
		{
			"wall clock after a restart", ippClock{up: 700, now: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)},
			[]goipp.Attribute{ints("time-at-creation", -50), one("date-time-at-creation", goipp.TagDateTime, at(11, 30))}, "1800",
		},
		{
			"wall clock of the job alone", ippClock{up: 700},
			[]goipp.Attribute{one("date-time-at-creation", goipp.TagDateTime, at(11, 30))}, "-",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := "-"
			if age := jobAge(decoded(t, tt.in...), tt.clock); age != nil {
				got = fmt.Sprint(*age)
			}
			if got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

func TestIPPCounters(t *testing.T) {
	part := func(names []string, values ...int) goipp.Collection {
		var c goipp.Collection
		for i, n := range names {
			c.Add(goipp.MakeAttribute(n, goipp.TagInteger, goipp.Integer(values[i])))
		}
		return c
	}
	four := []string{"full-color", "monochrome", "full-color-two-sided", "monochrome-two-sided"}
	tests := []struct {
		name  string
		in    []goipp.Attribute
		wants [3]string // life, color, monochrome
	}{
		{"total alone", []goipp.Attribute{ints("printer-impressions-completed", 1234)}, [3]string{"1234 impressions", "-", "-"}},
		{"sheets when there are no impressions", []goipp.Attribute{ints("printer-media-sheets-completed", 7)}, [3]string{"7 sheets", "-", "-"}},
		{"zero is a number", []goipp.Attribute{ints("printer-impressions-completed", 0)}, [3]string{"0 impressions", "-", "-"}},
		{"nothing", nil, [3]string{"-", "-", "-"}},
		{"split", []goipp.Attribute{ints("printer-impressions-completed", 10), collections("printer-impressions-completed-col", part(four[:2], 4, 6))},
			[3]string{"10 impressions", "4 impressions", "6 impressions"}},
		{"two-sided inside", []goipp.Attribute{ints("printer-impressions-completed", 10), collections("printer-impressions-completed-col", part(four, 4, 6, 2, 3))},
			[3]string{"10 impressions", "4 impressions", "6 impressions"}},
		{"two-sided beside", []goipp.Attribute{ints("printer-impressions-completed", 15), collections("printer-impressions-completed-col", part(four, 4, 6, 2, 3))},
			[3]string{"15 impressions", "6 impressions", "9 impressions"}},
		{"parts that do not add up", []goipp.Attribute{ints("printer-impressions-completed", 11), collections("printer-impressions-completed-col", part(four, 4, 6, 2, 3))},
			[3]string{"11 impressions", "the parts do not add up to the total", "the parts do not add up to the total"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := ippCounters(decoded(t, tt.in...))
			for i, count := range []device.Count{c.Life, c.Color, c.Monochrome} {
				got := "-"
				if count.Value != nil {
					got = fmt.Sprintf("%d %s", *count.Value, count.Unit)
				} else if count.Reason != "" {
					got = string(count.Reason)
				}
				if got != tt.wants[i] {
					t.Errorf("count %d: got %s, want %s", i, got, tt.wants[i])
				}
			}
		})
	}
}

func TestIPPIdentityAndState(t *testing.T) {
	d, queue := ippDevice(decoded(t,
		one("printer-name", goipp.TagName, "ipp/print"), one("printer-dns-sd-name", goipp.TagName, "Front\x1b[31m Desk"),
		texts("printer-info", "x"), texts("printer-location", "  Room  1 "),
		texts("printer-device-id", "MFG:Acme;MDL:Acme L1;SN:0042;CMD:PCL,PJL,Nonsense;"),
		one("printer-uuid", goipp.TagURI, "urn:uuid:123E4567-e89b-12d3-a456-426614174000"),
		one("printer-firmware-name", goipp.TagName, "Main", "Net", "X"), texts("printer-firmware-string-version", "1.2", "3.4", ""),
		one("printer-state", goipp.TagEnum, 5), texts("printer-state-message", "stopped\nnow"),
		words("printer-state-reasons", "media-jam-error", "none", "media-jam-error", "toner-low-report"),
		ints("printer-up-time", 4000), one("printer-is-accepting-jobs", goipp.TagBoolean, false), ints("queued-job-count", 3),
		one("orientation-requested-default", goipp.TagEnum, 5), words("sides-default", "two-sided-long-edge"),
		one("finishings-default", goipp.TagEnum, 3, 20, 999), words("print-color-mode-default", "auto"), words("media-default", "iso_a4_210x297mm"),
		words("media-ready", "iso_a4_210x297mm", "iso_a4_210x297mm"),
	), "ipp://192.0.2.1:631/ipp/print")
	if queue != "" || d.Role != device.RolePrinter {
		t.Errorf("role %s by %q", d.Role, queue)
	}
	up, accepting, queued := int64(4000), false, 3
	want := device.Device{
		Role: device.RolePrinter, Name: "Front Desk", MakeModel: "Acme L1", Serial: "0042", Location: "Room 1",
		UUID: "123e4567-e89b-12d3-a456-426614174000", Firmware: "Main 1.2, Net 3.4",
		State:     device.State{PrinterState: "stopped", Message: "stopped now", Reasons: []string{"media-jam-error", "toner-low-report"}, UptimeS: &up},
		Queue:     device.Queue{Accepting: &accepting, Queued: &queued},
		Languages: []device.Language{{Family: "langPCL"}, {Family: "langPJL"}},
		Defaults: device.Defaults{
			Media: "iso_a4_210x297mm", Orientation: "reverse-landscape", Sides: "two-sided-long-edge",
			Finishings: []string{"none", "staple-top-left", "999"}, ColorMode: "auto",
			Ready: []string{"iso_a4_210x297mm", "iso_a4_210x297mm"}, Source: device.SourceIPP,
		},
	}
	d.Trays = nil // TestIPPTrays
	if diff := cmp.Diff(want, d, cmp.AllowUnexported(device.Level{}, device.Status{})); diff != "" {
		t.Error(diff)
	}
}

func TestIPPUUID(t *testing.T) {
	for in, want := range map[string]device.Text{
		"urn:uuid:123e4567-e89b-12d3-a456-426614174000": "123e4567-e89b-12d3-a456-426614174000",
		"123E4567-E89B-12D3-A456-426614174000":          "123e4567-e89b-12d3-a456-426614174000",
		"urn:uuid:00000000-0000-0000-0000-000000000000": "", // RFC 9562 section 5.9
		"urn:uuid:ffffffff-ffff-ffff-ffff-ffffffffffff": "", // RFC 9562 section 5.10
		"urn:uuid:123e4567e89b12d3a456426614174000":     "",
		"urn:uuid:123e4567-e89b-12d3-a456-42661417400z": "",
		"urn:uuid:123e4567-e89b-12d3-a456-4266141740":   "",
		"unknown": "", "": "",
	} {
		if got := ippUUID(decoded(t, one("printer-uuid", goipp.TagURI, in))); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}

// A wall clock in printer-up-time is no time of running, and numbers outside an
// enumeration are no label.
func TestIPPStateOddities(t *testing.T) {
	for up, known := range map[int]bool{1: true, 104861044: true, 0: false, -5: false, 1494026948: false} {
		if s := ippState(decoded(t, ints("printer-up-time", up))); (s.UptimeS != nil) != known {
			t.Errorf("printer-up-time %d: %v", up, s.UptimeS)
		}
	}
	for n, want := range map[int]device.Text{3: "idle", 4: "processing", 5: "stopped", 6: "", 0: ""} { // RFC 8011 section 5.4.11
		if s := ippState(decoded(t, one("printer-state", goipp.TagEnum, n))); s.PrinterState != want {
			t.Errorf("printer-state %d: %q, want %q", n, s.PrinterState, want)
		}
	}
	if s := ippState(decoded(t, words("printer-state", "idle"))); s.PrinterState != "" {
		t.Errorf("a keyword for an enum reads %q", s.PrinterState)
	}
	many := make([]any, 500)
	for i := range many {
		many[i] = fmt.Sprintf("reason-%d", i)
	}
	if s := ippState(decoded(t, words("printer-state-reasons", many...))); len(s.Reasons) != maxReasons {
		t.Errorf("%d reasons", len(s.Reasons))
	}
}

func TestServerQueueEvidence(t *testing.T) {
	name := one("printer-name", goipp.TagName, "x")
	tests := []struct {
		name string
		uri  string
		in   []goipp.Attribute
		want device.Role
	}{
		{"a printer", "ipps://192.0.2.1:631/ipp/print", []goipp.Attribute{name}, device.RolePrinter},
		{"where it sends its jobs", "ipp://192.0.2.1:631/", []goipp.Attribute{name, one("device-uri", goipp.TagURI, "socket://192.0.2.9")}, device.RoleServerQueue},
		{"its members", "ipp://192.0.2.1:631/", []goipp.Attribute{name, one("member-names", goipp.TagName, "a", "b")}, device.RoleServerQueue},
		{"the server's version", "ipp://192.0.2.1:631/", []goipp.Attribute{name, texts("cups-version", "2.4")}, device.RoleServerQueue},
		{"the server's path", "ipp://192.0.2.1:631/printers/office", []goipp.Attribute{name}, device.RoleServerQueue},
		{"a class of the server", "ipp://192.0.2.1:631/classes/all", []goipp.Attribute{name}, device.RoleServerQueue},
		{"no value", "ipp://192.0.2.1:631/", []goipp.Attribute{name, one("device-uri", goipp.TagURI, nil)}, device.RolePrinter},
	}
	for _, tt := range tests {
		d, why := ippDevice(decoded(t, tt.in...), tt.uri)
		if d.Role != tt.want || (why != "") != (tt.want == device.RoleServerQueue) {
			t.Errorf("%s: %s by %q", tt.name, d.Role, why)
		}
	}
}

func TestIPPLanguages(t *testing.T) {
	got := ippLanguages(decoded(t, one("document-format-supported", goipp.TagMimeType,
		"application/octet-stream", "application/vnd.hp-PCL", "APPLICATION/PostScript", "image/pwg-raster", "image/jpeg", "image/jpeg", "text/plain")), ipp.DeviceID{})
	var families []string
	for _, l := range got {
		families = append(families, string(l.Family))
	}
	want := []string{"langAutomatic", "langPCL", "langPS", "image/pwg-raster", "langJPEG", "text/plain"}
	if !slices.Equal(families, want) {
		t.Errorf("got %v, want %v", families, want)
	}
}

// sharedDir is the folder of check data beside the module; without it the test
// skips.
func sharedDir(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("PRINTROUND_SHARED")
	if dir == "" {
		at, err := os.Getwd()
		for err == nil && at != filepath.Dir(at) && dir == "" {
			if _, e := os.Stat(filepath.Join(at, "go.mod")); e == nil {
				dir = filepath.Join(filepath.Dir(at), "shared")
			}
			at = filepath.Dir(at)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "captures")); dir == "" || err != nil {
		if os.Getenv("PRINTROUND_CI") == "1" {
			t.Fatal("the shared check data must be there")
		}
		t.Skip("the shared check data is not there")
	}
	return dir
}

// checkClean walks over a value and fails on any text that is not clean: what
// comes out of a mapping is harmless to every renderer.
func checkClean(t *testing.T, v reflect.Value, path string) {
	t.Helper()
	switch v.Kind() {
	case reflect.String:
		if s := v.String(); string(device.Clean(s)) != s {
			t.Errorf("%s is not clean: %q", path, s)
		}
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			checkClean(t, v.Elem(), path)
		}
	case reflect.Slice:
		for i := range v.Len() {
			checkClean(t, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() && v.Type() != reflect.TypeFor[time.Time]() {
				checkClean(t, v.Field(i), path+"."+v.Type().Field(i).Name)
			}
		}
	}
}

func FuzzIPPDevice(f *testing.F) {
	f.Add(encoded(f, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: goipp.Attributes{
		words("marker-types", "toner", "waste-toner"), ints("marker-levels", 5, -3),
		octets("printer-supply", "type=toner;level=5;maxcapacity=10;"), octets("printer-alert", "code=jam;severity=critical"),
		octets("printer-input-tray", "name=x\x1b;mediafeed=116929;mediaxfeed=82677;level=1;maxcapacity=0"),
		collections("media-col-ready", col("tray-1", "stationery", 21000, 29700)),
	}}, goipp.Group{Tag: goipp.TagJobGroup, Attrs: goipp.Attributes{ints("job-id", 1), ints("time-at-creation", 5)}}))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, _ := ipp.Decode(b)
		if m == nil {
			return
		}
		o := ReadOptions{ShowJobNames: true, ShowOwners: true}
		for _, a := range m.All(ipp.PrinterGroup) {
			d, _ := ippDevice(a, "ipp://192.0.2.1:631/")
			d.Queue.Jobs = ippJobs(m, clockOf(a), o)
			checkClean(t, reflect.ValueOf(d), "device")
			for _, s := range d.Supplies {
				if p, ok := s.Level.Percent(); ok && (p < 0 || p > 100) {
					t.Errorf("supply at %g %%", p)
				}
			}
			for _, tray := range d.Trays {
				if w := tray.Media.WidthMM; w != nil && *w <= 0 {
					t.Errorf("medium %g mm wide", *w)
				}
			}
		}
	})
}
