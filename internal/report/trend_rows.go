package report

import (
	"io"
	"math"
	"strconv"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
)

// trendRow is one supply or part, or a device without any.
type trendRow struct {
	v    *Trend
	d    *TrendDevice
	item *forecast.Item // nil: the device has none
}

func (r trendRow) quantile(p float64) string {
	if r.item == nil {
		return ""
	}
	t, ok := r.item.RunOut.Quantile(p)
	if !ok {
		return ""
	}
	return timeCell(t)
}

func (r trendRow) text(f func(*forecast.Item) string) string {
	if r.item == nil {
		return ""
	}
	return f(r.item)
}

// trendColumns are the columns of an outlook in CSV, one row for each supply
// and part.
var trendColumns = []column[trendRow]{
	{"as_of", "the last night", func(r trendRow) string { return timeCell(r.v.AsOf) }},
	{"site", "site", func(r trendRow) string { return string(r.d.Device.Site) }},
	{"key", "key of the device", func(r trendRow) string { return r.d.Device.Key }},
	{"name", "what people call it", func(r trendRow) string { return string(r.d.Device.Name) }},
	{"location", "location", func(r trendRow) string { return string(r.d.Device.Location) }},
	{"make_model", "make and model", func(r trendRow) string { return string(r.d.Device.MakeModel) }},
	{"nights", "nights that were kept", func(r trendRow) string { return strconv.Itoa(r.d.Forecast.NightsKnown) }},
	{"unit", "what the device counts (PrtMarkerCounterUnitTC)", func(r trendRow) string { return r.d.Forecast.Unit }},
	{"per_day", "counts a day; empty: not known", func(r trendRow) string { return decimal(r.d.Forecast.PagesPerDay, 1) }},
	{"next_30_days", "counts in the next 30 days", func(r trendRow) string { return decimal(r.d.Forecast.PagesMonth, 0) }},
	{"load_share", "of the recommended load, 1 is all of it; empty: not stated", func(r trendRow) string { return decimal(r.d.Forecast.LoadShare, 3) }},
	{"what", "supply or service", func(r trendRow) string { return r.text(func(it *forecast.Item) string { return string(it.Kind) }) }},
	{"index", "of the supply", func(r trendRow) string {
		return r.text(func(it *forecast.Item) string {
			if it.Kind != forecast.Supply {
				return ""
			}
			return strconv.Itoa(it.Index)
		})
	}},
	{"supply", "the device's own name of it, or the class of part", func(r trendRow) string { return r.text(func(it *forecast.Item) string { return it.Name }) }},
	{"kind", "PrtMarkerSuppliesTypeTC label, or the class of part", func(r trendRow) string { return r.text(func(it *forecast.Item) string { return it.Type }) }},
	{"color", "colour", func(r trendRow) string { return r.text(func(it *forecast.Item) string { return it.Colorant }) }},
	{"percent", "left at the last night; empty: not known", func(r trendRow) string {
		return r.text(func(it *forecast.Item) string { return floatCell(it.Percent) })
	}},
	{"run_out_p10", "ends before with a chance of 10 %", func(r trendRow) string { return r.quantile(0.1) }},
	{"run_out_p50", "ends as likely before as after; empty with no reason: beyond two years", func(r trendRow) string { return r.quantile(0.5) }},
	{"run_out_p90", "ends before with a chance of 90 %", func(r trendRow) string { return r.quantile(0.9) }},
	{"chance_before_next_visit", "0 to 1", func(r trendRow) string {
		return r.text(func(it *forecast.Item) string { return decimal(chanceOf(it, r.v), 2) })
	}},
	{"reason", "why there is no date", func(r trendRow) string {
		if r.item == nil {
			return r.d.why()
		}
		return r.item.Reason
	}},
}

// TrendColumns returns the columns of an outlook in CSV in the order of the
// file.
func TrendColumns() []Column { return documented(trendColumns) }

func chanceOf(it *forecast.Item, v *Trend) *float64 {
	if it.RunOut == nil {
		return nil
	}
	c := it.RunOut.ChanceBefore(v.visit())
	return &c
}

// roundTo rounds to a number of decimals.
func roundTo(v float64, decimals int) float64 {
	e := math.Pow10(decimals)
	return math.Round(v*e) / e
}

func decimal(v *float64, decimals int) string {
	if v == nil {
		return ""
	}
	return number(roundTo(*v, decimals))
}

func writeTrendCSV(w io.Writer, v *Trend, o Options) error {
	var rows []trendRow
	for i := range v.Devices {
		d := &v.Devices[i]
		if len(d.Forecast.Items) == 0 {
			rows = append(rows, trendRow{v: v, d: d})
		}
		for k := range d.Forecast.Items {
			rows = append(rows, trendRow{v, d, &d.Forecast.Items[k]})
		}
	}
	return writeRows(w, trendColumns, rows, o)
}

// The JSON form of an outlook.
type trendJSON struct {
	Schema      string            `json:"schema"`
	AsOf        time.Time         `json:"as_of"`
	HorizonDays int               `json:"horizon_days"`
	Devices     []trendDeviceJSON `json:"devices"`
}

type trendDeviceJSON struct {
	Key         string       `json:"key"`
	Name        device.Text  `json:"name"`
	Site        device.Text  `json:"site"`
	Location    device.Text  `json:"location"`
	MakeModel   device.Text  `json:"make_model"`
	Nights      int          `json:"nights"`
	Unit        device.Text  `json:"unit"`
	PagesPerDay *float64     `json:"pages_per_day"`
	PagesMonth  *float64     `json:"pages_next_30_days"`
	LoadShare   *float64     `json:"load_share"`
	Reason      device.Text  `json:"reason"`
	Weeks       []trendWeek  `json:"weeks"`
	Supplies    []trendThing `json:"supplies"`
	Parts       []trendThing `json:"parts"`
}

type trendWeek struct {
	From   time.Time `json:"from"`
	PerDay *float64  `json:"per_day"`
}

type trendThing struct {
	Index    *int        `json:"index,omitempty"`
	Name     device.Text `json:"name"`
	Kind     device.Text `json:"kind"`
	Colorant device.Text `json:"colorant"`
	Percent  *float64    `json:"percent"`
	RunOut   *trendEnd   `json:"run_out"`
	Reason   device.Text `json:"reason"`
	Chance   *float64    `json:"chance_before_next_visit"`
}

// trendEnd holds moments; a nil one is beyond what is foreseen.
type trendEnd struct {
	P10 *time.Time `json:"p10"`
	P50 *time.Time `json:"p50"`
	P90 *time.Time `json:"p90"`
}

func writeTrendJSON(w io.Writer, v *Trend) error {
	doc := trendJSON{Schema: TrendSchema, AsOf: v.AsOf, HorizonDays: v.HorizonDays}
	for i := range v.Devices {
		d, f := &v.Devices[i].Device, &v.Devices[i].Forecast
		out := trendDeviceJSON{
			Key: d.Key, Name: d.Name, Site: d.Site, Location: d.Location, MakeModel: d.MakeModel, Nights: f.NightsKnown,
			Unit: device.Text(f.Unit), PagesPerDay: short(f.PagesPerDay, 1), PagesMonth: short(f.PagesMonth, 0), LoadShare: short(f.LoadShare, 3),
			Reason: device.Text(f.NotYet),
		}
		for _, week := range f.Weeks {
			out.Weeks = append(out.Weeks, trendWeek{week.From, short(week.PerDay, 1)})
		}
		for k := range f.Items {
			it := &f.Items[k]
			t := trendThing{
				Name: device.Text(it.Name), Kind: device.Text(it.Type), Colorant: device.Text(it.Colorant), Percent: it.Percent,
				RunOut: endOf(it), Reason: device.Text(it.Reason), Chance: short(chanceOf(it, v), 2),
			}
			if it.Kind == forecast.Supply {
				index := it.Index
				t.Index = &index
				out.Supplies = append(out.Supplies, t)
				continue
			}
			out.Parts = append(out.Parts, t)
		}
		doc.Devices = append(doc.Devices, out)
	}
	return writeJSON(w, doc)
}

func short(v *float64, decimals int) *float64 {
	if v == nil {
		return nil
	}
	r := roundTo(*v, decimals)
	return &r
}

func endOf(it *forecast.Item) *trendEnd {
	if it.RunOut == nil {
		return nil
	}
	at := func(p float64) *time.Time {
		t, ok := it.RunOut.Quantile(p)
		if !ok {
			return nil
		}
		return &t
	}
	return &trendEnd{at(0.1), at(0.5), at(0.9)}
}
