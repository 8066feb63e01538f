package survey

import (
	"fmt"
	"strings"
	"testing"

	"github.com/OpenPrinting/goipp"
	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
)

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

func ippCol(source, kind string, x, y int) goipp.Collection {
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
	heavy := ippCol("tray-2", "cardstock", 29700, 42000)
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
			in: []goipp.Attribute{ippOctets("printer-input-tray",
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
				ippOctets("printer-input-tray",
					"type=other;maxcapacity=-2;level=-2;status=0;name=Automatic",
					"type=sheetFeedAutoRemovableTray;mediafeed=0;mediaxfeed=0;maxcapacity=500;level=250;name=Cassette 1",
					"type=sheetFeedAutoRemovableTray;mediafeed=0;mediaxfeed=0;maxcapacity=500;level=500;name=Cassette 2"),
				ippWords("media-source-supported", "auto", "tray-1", "tray-2"),
				ippCols("media-col-ready", heavy, ippCol("tray-1", "stationery", 21000, 29700), ippCol("tray-1", "other", 10000, 10000)),
				ippWords("media-ready", "iso_a3_297x420mm", "iso_a4_210x297mm"),
			},
			want: []string{
				`1 "Cassette 1" sheetFeedAutoRemovableTray 50% iso_a4_210x297mm 210x297 stationery  [] printer-input-tray[2]`,
				`2 "Cassette 2" sheetFeedAutoRemovableTray 100% iso_a3_297x420mm 297x420 cardstock white 160g [] printer-input-tray[3]`,
			},
		},
		{
			name: "joined by the tray's name, by the device's index",
			in: []goipp.Attribute{
				ippOctets("printer-input-tray", "index=10;type=sheetFeedManual;name=tray-1;level=1;maxcapacity=2", "index=20;type=3;name=x;level=1;maxcapacity=2"),
				ippCols("media-col-ready", ippCol("tray-1", "labels", 21590, 27940)),
			},
			want: []string{
				`10 "tray-1" sheetFeedManual 50% na_letter_8.5x11in 215.9x279.4 labels  [] printer-input-tray[1]`,
				`20 "x" sheetFeedAutoRemovableTray 50%  -x-   [] printer-input-tray[2]`,
			},
		},
		{
			name: "by position when nothing ready tells its source",
			in: []goipp.Attribute{
				ippOctets("printer-input-tray", "name=a;level=0;maxcapacity=9", "name=b;level=9;maxcapacity=9"),
				ippCols("media-col-ready", ippCol("", "stationery", 21000, 29700), ippCol("", "labels", 21000, 29700)),
			},
			want: []string{
				`1 "a"  0% iso_a4_210x297mm 210x297 stationery  [] printer-input-tray[1]`,
				`2 "b"  100% iso_a4_210x297mm 210x297 labels  [] printer-input-tray[2]`,
			},
		},
		{
			// The unit is not stated: 11690 x 8270 thousandths would be no sheet, 1/100 mm is A4.
			name: "sizes without a unit, with a unit as a number, by name, of a roll",
			in: []goipp.Attribute{ippOctets("printer-input-tray",
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
			in:   []goipp.Attribute{ippCols("media-col-ready", ippCol("main", "stationery", 21000, 29700), ippCol("auto", "", 21000, 29700), open, ippCol("roll", "", 6200, 0))},
			want: []string{
				`1 "main"  not-reported iso_a4_210x297mm 210x297 stationery  [] media-col-ready[1]`,
				`2 ""  not-reported  -x-   [] media-col-ready[3]`,
				`3 "roll"  not-reported  62x-   [] media-col-ready[4]`,
			},
		},
		{
			name: "only media-ready",
			in:   []goipp.Attribute{ippWords("media-ready", "iso_a4_210x297mm", "photo paper")},
			want: []string{
				`1 ""  not-reported iso_a4_210x297mm 210x297   [] media-ready[1]`,
				`2 ""  not-reported photo paper -x-   [] media-ready[2]`,
			},
		},
		{
			name: "values that are no pairs, a type that is no label, the attribute's own name in front",
			in: []goipp.Attribute{ippOctets("printer-input-tray", "", "nothing",
				"printer-input-tray[0] =type=sheetFeedAutoNonRemovable;dimunit=micrometers;mediafeed=279400;mediaxfeed=215900;level=300;maxcapacity=250;status=999;name=Rear;\x00")},
			want: []string{`1 "Rear" sheetFeedAutoNonRemovable contradictory na_letter_8.5x11in 215.9x279.4   [] printer-input-tray[3]`},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got []string
			for _, x := range ippTrays(ippDecoded(t, tt.in...)) {
				got = append(got, trayLine(x))
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestIPPOutputs(t *testing.T) {
	got := ippOutputs(ippDecoded(t, ippOctets("printer-output-tray",
		"type=unRemovableBin;maxcapacity=125;remaining=-3;status=0;name=face-down;stackingorder=firstToLast;pagedelivery=faceDown;",
		"type=mailBox;unit=sheets;maxcapacity=100;remaining=5;status=8;", "junk"),
		ippWords("output-bin-supported", "face-down", "mailbox-1", "x")))
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
