package report

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
)

// evening is the last night of the sample.
var evening = time.Date(2026, 3, 2, 19, 30, 0, 0, time.UTC)

// endsIn makes a distribution whose moments lie evenly between two numbers of
// days after the last night; those beyond the horizon are not foreseen.
func endsIn(from, to float64) *forecast.Distribution {
	d := &forecast.Distribution{}
	for i := range 100 {
		days := from + (to-from)*float64(i+1)/100
		if days > forecast.Horizon {
			d.At = append(d.At, time.Time{})
			continue
		}
		d.At = append(d.At, evening.Add(time.Duration(days*24)*time.Hour))
	}
	return d
}

// trendNights are 100 nights in which each supply falls steadily.
func trendNights(names ...string) []device.Night {
	var out []device.Night
	for i := range 100 {
		n := device.Night{At: evening.AddDate(0, 0, i-99)}
		life := int64(5000 + 90*i)
		n.LifeCount, n.LifeUnit = &life, "impressions"
		for k, name := range names {
			p := float64(100 - (i*(k+1))%101)
			r := device.SupplyReading{Index: k + 1, Name: name, Kind: "toner", Percent: &p}
			if i > 40 && i < 50 {
				r.Percent = nil
			}
			n.Supplies = append(n.Supplies, r)
		}
		out = append(out, n)
	}
	return out
}

func sampleTrend() *Trend {
	weeks := func(perDay ...float64) []forecast.Week {
		var out []forecast.Week
		for i, v := range perDay {
			w := forecast.Week{From: evening.AddDate(0, 0, 7*(i-len(perDay))), PerDay: &v}
			if v < 0 {
				w.PerDay = nil
			}
			out = append(out, w)
		}
		return out
	}
	full := TrendDevice{
		Device: device.Device{Key: "serial:front", Name: "Front desk", Site: "North quay", Location: "Ground floor, front desk", MakeModel: "Thellmark C310"},
		Nights: trendNights("Black toner TK-310K", "Cyan toner TK-310C"),
		Forecast: forecast.Device{Key: "serial:front", PagesPerDay: ptr(212.4), PagesMonth: ptr(6372.), LoadShare: ptr(0.62), NightsKnown: 100, Unit: "impressions", LastReadings: evening,
			Weeks: weeks(180, 210, 250, -1, 190, 60, 220, 240, 205, 200, 214, 230),
			Items: []forecast.Item{
				{Kind: forecast.Supply, Index: 1, Name: "Black toner TK-310K", Type: "toner", Colorant: "black", Percent: ptr(41.), RunOut: endsIn(20, 60)},
				{Kind: forecast.Supply, Index: 2, Name: "Cyan toner TK-310C", Type: "toner", Colorant: "cyan", Percent: ptr(3.), RunOut: endsIn(1, 9)},
				{Kind: forecast.Supply, Index: 3, Name: "Waste toner box", Type: "wasteToner", Reason: "the device does not report the level"},
				{Kind: forecast.Supply, Index: 4, Name: "Fuser TF-310", Type: "fuser", Percent: ptr(88.), RunOut: endsIn(500, 1200)},
				{Kind: forecast.Supply, Index: 5, Name: "Drum kit TD-310", Type: "opc", Percent: ptr(99.), RunOut: endsIn(900, 1900)},
				{Kind: forecast.Service, Name: "feed roller kit", Type: "feed roller kit", Percent: ptr(22.5), RunOut: endsIn(40, 80)},
			}},
	}
	young := TrendDevice{
		Device: device.Device{Key: "serial:new", Name: "Purser", Site: "Harbour office", Location: "Purser's office", MakeModel: "Okvarna L420dn"},
		Nights: trendNights("Toner")[97:],
		Forecast: forecast.Device{Key: "serial:new", NightsKnown: 3, Unit: "impressions", NotYet: "not enough nights yet: 3 nights in 2 days; a date needs 7 days", LastReadings: evening,
			Items: []forecast.Item{{Kind: forecast.Supply, Index: 1, Name: "Toner", Type: "toner", Percent: ptr(90.), Reason: "not enough nights yet: 3 nights in 2 days; a date needs 7 days"}}},
	}
	bare := TrendDevice{
		Device: device.Device{Key: "serial:tickets", Name: "Tickets", Site: "Harbour office", MakeModel: "Printabell R8 ticket printer"},
		Nights: trendNights(), Forecast: forecast.Device{Key: "serial:tickets", NightsKnown: 100, PagesPerDay: ptr(7.25), Unit: "feet", LastReadings: evening},
	}
	other := TrendDevice{
		Device: device.Device{Key: "serial:copy", Name: "Copy room 1", Site: "North quay", Location: "Floor 1, copy room", MakeModel: "Thellmark MX550"},
		Nights: trendNights("Toner"), Forecast: forecast.Device{Key: "serial:copy", NightsKnown: 100, PagesPerDay: ptr(390.), Unit: "impressions", LastReadings: evening,
			Items: []forecast.Item{{Kind: forecast.Supply, Index: 1, Name: "Toner black TN55K", Type: "toner", Percent: ptr(60.), RunOut: endsIn(5, 25)}}},
	}
	return &Trend{AsOf: evening, HorizonDays: 14, Devices: []TrendDevice{full, young, bare, other}}
}

func renderTrend(t *testing.T, v *Trend, o Options) []byte {
	t.Helper()
	return Rendered(t, WriteTrend, v, o)
}

// alone is one device of the sample.
func alone(i int) *Trend {
	v := sampleTrend()
	v.Devices = v.Devices[i : i+1]
	return v
}

func TestTrendGolden(t *testing.T) {
	for name, c := range map[string]struct {
		v *Trend
		o Options
	}{
		"trend-page.txt": {sampleTrend(), Options{}}, "trend-40.txt": {sampleTrend(), Options{Width: 40}},
		"trend-device-page.txt": {alone(0), Options{}}, "trend-device-40.txt": {alone(0), Options{Width: 40}},
		"trend-device-plain.txt": {alone(0), Options{Width: 80, Plain: true}}, "trend-young.txt": {alone(1), Options{Width: 80}},
		"trend-bare.txt": {alone(2), Options{Width: 80}}, "trend.csv": {sampleTrend(), Options{Format: CSV}},
		"trend.json": {sampleTrend(), Options{Format: JSON}},
	} {
		golden(t, name, renderTrend(t, c.v, c.o))
	}
}

// No line is wider than the terminal, whatever the width; plain is ASCII; and
// device text cannot act on the terminal.
func TestTrendFitsAndIsSafe(t *testing.T) {
	bad := "Toner \x1b[31mred\u202e" + strings.Repeat("漢字", 30)
	for width := 40; width <= 200; width += 8 {
		for _, plain := range []bool{false, true} {
			for i := range 5 {
				v := sampleTrend()
				if i < 4 {
					v = alone(i)
				}
				v.Devices[0].Device.Name, v.Devices[0].Device.Location = device.Text(bad), device.Text(bad)
				for k := range v.Devices[0].Forecast.Items {
					v.Devices[0].Forecast.Items[k].Name = bad
				}
				o := Options{Width: width, Plain: plain}
				checkText(t, string(renderTrend(t, v, o)), o)
			}
		}
	}
}

func TestTrendCSV(t *testing.T) {
	v := sampleTrend()
	v.Devices[0].Forecast.Items[0].Name = "=cmd()"
	all := records(t, renderTrend(t, v, Options{Format: CSV}))
	want := 1
	for _, d := range v.Devices {
		want += max(len(d.Forecast.Items), 1)
	}
	if len(all) != want {
		t.Errorf("%d records, want %d", len(all), want)
	}
	checkCells(t, all, TrendColumns())
}

func TestTrendFollowsSchema(t *testing.T) {
	schema := compiled(t, TrendSchema)
	for _, v := range []*Trend{sampleTrend(), alone(2), {AsOf: evening, HorizonDays: 14}} {
		if err := validate(t, schema, renderTrend(t, v, Options{Format: JSON})); err != nil {
			t.Error(err)
		}
	}
	good := renderTrend(t, sampleTrend(), Options{Format: JSON})
	noticesDrift(t, schema, good, func(doc map[string]any) map[string]any {
		return doc["devices"].([]any)[0].(map[string]any)["supplies"].([]any)[0].(map[string]any)
	}, map[string]func(doc, supply map[string]any){
		"unknown field":   func(doc, _ map[string]any) { doc["extra"] = 1 },
		"no index":        func(_, supply map[string]any) { delete(supply, "index") },
		"above certainty": func(_, supply map[string]any) { supply["chance_before_next_visit"] = 1.2 },
		"local time": func(_, supply map[string]any) {
			supply["run_out"].(map[string]any)["p50"] = "2026-03-02T19:30:00+01:00"
		},
		"no horizon": func(doc, _ map[string]any) { doc["horizon_days"] = 0 },
	})
}

func TestBacktestTable(t *testing.T) {
	score := forecast.Score{Name: "toner", Lives: 40, Forecasts: 300, Coverage: 0.79, Below: 0.1, Width: 20, Relative: 0.8, Compared: 280,
		Ours: forecast.Error{Median: 5, Pinball: 3, Given: 0.9}, LastTwo: forecast.Error{Median: 12, Pinball: 9, Given: 0.8}, Straight: forecast.Error{Median: 8, Pinball: 6, Given: 0.85}}
	all := score
	all.Name = "all"
	b := &forecast.Backtest{Looks: 12, First: evening, Last: evening.AddDate(0, 0, 77), Kinds: []forecast.Score{score}, Ahead: []forecast.Score{score}, All: all}
	for _, width := range []int{40, 80, 120, 200} {
		var out bytes.Buffer
		o := Options{Width: width}
		if err := WriteBacktest(&out, b, true, o); err != nil {
			t.Fatal(err)
		}
		checkText(t, out.String(), o)
		if width == 120 {
			golden(t, "trend-backtest.txt", out.Bytes())
		}
	}
	var out bytes.Buffer
	if err := WriteBacktest(&out, &forecast.Backtest{}, true, Options{}); err != nil || !strings.Contains(out.String(), "not enough nights yet") {
		t.Errorf("without looks: %v %s", err, out.String())
	}
	if fmt.Sprint(TrendFormats()) != "[table csv json]" {
		t.Errorf("formats %v", TrendFormats())
	}
}
