package forecast

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
)

// tale builds the nights of one device: pages on working days and supplies that
// fall with them.
type tale struct {
	days     int
	pages    func(day int) int // of a working day; nil: 100
	counter  bool
	supplies []taleSupply
	lost     func(day int) bool
	edit     func(day int, n *device.Night)
}

type taleSupply struct {
	kind, name string
	start      float64 // percent
	per        float64 // percent of 100 pages
	step       float64 // of the gauge, rounded down; 0: one decimal
	refill     float64 // is put in full when it falls to this
	capacity   int64
	receptacle bool
}

// monday is the first day of every tale.
var monday = time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)

func (s tale) nights() []device.Night {
	var out []device.Night
	life := int64(10_000)
	left := make([]float64, len(s.supplies))
	for i := range left {
		left[i] = s.supplies[i].start
	}
	for d := range s.days {
		date := monday.AddDate(0, 0, d)
		pages := 0
		if w := date.Weekday(); w != time.Saturday && w != time.Sunday {
			pages = 100
			if s.pages != nil {
				pages = s.pages(d)
			}
		}
		life += int64(pages)
		n := device.Night{At: date.Add(19*time.Hour + 30*time.Minute)}
		if s.counter {
			count := life
			n.LifeCount, n.LifeUnit, n.LifeSource = &count, "impressions", device.SourceSNMP
		}
		for i, q := range s.supplies {
			left[i] -= q.per * float64(pages) / 100
			if left[i] <= q.refill {
				left[i] = 100
			}
			shown := math.Round(left[i]*10) / 10
			if q.step > 0 {
				shown = math.Floor(left[i]/q.step+1e-9) * q.step
			}
			r := device.SupplyReading{Index: i + 1, Name: q.name, Kind: q.kind, Role: "consumed", Unit: "percent", Percent: &shown}
			if q.receptacle {
				r.Role = "receptacle"
			}
			if q.capacity > 0 {
				c := q.capacity
				r.Capacity, r.Unit = &c, "impressions"
			}
			n.Supplies = append(n.Supplies, r)
		}
		if s.edit != nil {
			s.edit(d, &n)
		}
		if s.lost == nil || !s.lost(d) {
			out = append(out, n)
		}
	}
	return out
}

func toner(per float64) taleSupply {
	return taleSupply{kind: "toner", name: "Black toner", start: 100, per: per, step: 1}
}

// days from the last night to a quantile; -1: beyond, or nothing foreseen.
func ahead(d Device, item int, p float64) float64 {
	if item >= len(d.Items) {
		return -1
	}
	at, ok := d.Items[item].RunOut.Quantile(p)
	if !ok {
		return -1
	}
	return at.Sub(d.LastReadings).Hours() / 24
}

func one1(nights []device.Night) Device {
	return One(Series{Key: "serial:a", Nights: nights}, nil, Options{})
}

// A hundred pages on each of five days a week take one percent of toner each.
// After 50 working days half is left: 50 more days, which is ten weeks.
func TestSteadyOffice(t *testing.T) {
	for _, c := range []struct {
		name string
		tale tale
		want float64 // days to the end
		near float64
	}{
		{"one percent a day", tale{days: 68, counter: true, supplies: []taleSupply{toner(1)}}, 70, 7},
		{"without a counter", tale{days: 68, supplies: []taleSupply{toner(1)}}, 70, 8},
		{"steps of 10 %", tale{days: 68, counter: true, supplies: []taleSupply{{kind: "toner", start: 100, per: 1, step: 10}}}, 70, 14},
		{"steps of 20 %", tale{days: 68, counter: true, supplies: []taleSupply{{kind: "toner", start: 100, per: 1, step: 20}}}, 70, 16},
		{"every second night lost", tale{days: 68, counter: true, supplies: []taleSupply{toner(1)}, lost: func(d int) bool { return d%2 == 0 }}, 70, 8},
		{"space in a receptacle", tale{days: 68, counter: true, supplies: []taleSupply{{kind: "wasteToner", start: 100, per: 1, step: 1, receptacle: true}}}, 70, 7},
		{"a third life begun", tale{days: 40, counter: true, supplies: []taleSupply{{kind: "toner", start: 60, per: 5, step: 1, refill: 0.5}}}, 4, 2},
		{"a counter set back", tale{days: 68, counter: true, supplies: []taleSupply{toner(1)}, edit: func(d int, n *device.Night) {
			if d >= 40 {
				*n.LifeCount -= 12_800
			}
		}}, 70, 8},
		{"wrong readings", tale{days: 68, counter: true, supplies: []taleSupply{toner(1)}, edit: func(d int, n *device.Night) {
			zero, full := 0.0, 100.0
			switch d {
			case 20, 45:
				n.Supplies[0].Percent = &zero
			case 30, 67:
				n.Supplies[0].Percent = &full
			case 33:
				*n.LifeCount = 0
			case 50:
				*n.LifeCount *= 10
			}
		}}, 70, 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := one1(c.tale.nights())
			if len(d.Items) != 1 {
				t.Fatalf("%d items", len(d.Items))
			}
			lo, mid, hi := ahead(d, 0, 0.1), ahead(d, 0, 0.5), ahead(d, 0, 0.9)
			if math.Abs(mid-c.want) > c.near {
				t.Errorf("ends in %.1f days (%.1f to %.1f), want %.0f; %s", mid, lo, hi, c.want, d.Items[0].Reason)
			}
			if !(lo < c.want && c.want < hi) {
				t.Errorf("%v days are outside of %.1f to %.1f", c.want, lo, hi)
			}
			if c.tale.counter && (d.PagesPerDay == nil || math.Abs(*d.PagesPerDay-500.0/7) > 8) {
				t.Errorf("pages a day %v, want about 71", d.PagesPerDay)
			}
			if !c.tale.counter && (d.PagesPerDay != nil || d.Unit != "") {
				t.Errorf("pages without a counter: %v %q", d.PagesPerDay, d.Unit)
			}
		})
	}
}

func TestHonestReasons(t *testing.T) {
	unknown := func(reason string, from int) func(int, *device.Night) {
		return func(d int, n *device.Night) {
			if d >= from {
				n.Supplies[0].Percent, n.Supplies[0].Reason = nil, reason
			}
		}
	}
	for _, c := range []struct {
		name string
		tale tale
		want string
	}{
		{"three nights", tale{days: 3, counter: true, supplies: []taleSupply{toner(1)}}, "not enough nights yet: 3 nights in 2 days; a date needs 7 days"},
		{"one night", tale{days: 1, counter: true, supplies: []taleSupply{toner(1)}}, "not enough nights yet: 1 night in 0 days; a date needs 7 days"},
		{"never reported", tale{days: 30, counter: true, supplies: []taleSupply{toner(1)}, edit: unknown("unknown", 0)}, "the device does not report the level"},
		{"only that some is left", tale{days: 30, counter: true, supplies: []taleSupply{toner(1)}, edit: unknown("some-left", 0)}, "the device says only that some is left"},
		{"no level for long", tale{days: 60, counter: true, supplies: []taleSupply{toner(1)}, edit: unknown("unknown", 30)}, "no level was read since 2026-02-03"},
		{"not moved", tale{days: 30, counter: true, supplies: []taleSupply{toner(0.001)}}, "not enough nights yet: the level "},
		{"nothing printed", tale{days: 30, counter: true, pages: func(int) int { return 0 }, supplies: []taleSupply{toner(1)}}, "nothing was printed in the nights that were kept"},
	} {
		d := one1(c.tale.nights())
		if len(d.Items) != 1 || d.Items[0].RunOut != nil || !strings.HasPrefix(d.Items[0].Reason, c.want) {
			t.Errorf("%s: %+v, want %q", c.name, d.Items, c.want)
		}
	}
	if d := one1(nil); d.NotYet == "" || d.Items != nil {
		t.Errorf("no night at all: %+v", d)
	}
	nights := tale{days: 60, counter: true, supplies: []taleSupply{toner(1)}}.nights()
	late := One(Series{Key: "a", Nights: nights}, nil, Options{Now: monday.AddDate(0, 0, 100)})
	if late.NotYet != "it was not read since 2026-03-05" || late.Items[0].RunOut != nil {
		t.Errorf("a device long silent: %q %+v", late.NotYet, late.Items[0])
	}
}

// A level that is only known to be low still ends: after what was left then.
func TestSomeLeftAtTheEnd(t *testing.T) {
	d := one1(tale{days: 7 * 18, counter: true, supplies: []taleSupply{toner(1)}, edit: func(day int, n *device.Night) {
		if *n.Supplies[0].Percent < 15 {
			n.Supplies[0].Percent, n.Supplies[0].Reason = nil, "some-left"
		}
	}}.nights())
	if got := ahead(d, 0, 0.5); got < 4 || got > 22 || d.Items[0].Percent != nil {
		t.Errorf("ends in %v days, want about 14; percent %v", got, d.Items[0].Percent)
	}
}

// A supply that is gone, because another device is in its place, is no item.
func TestSupplyThatIsGone(t *testing.T) {
	nights := tale{days: 30, counter: true, supplies: []taleSupply{toner(1), {kind: "opc", name: "Drum", start: 90, per: 0.5, step: 1}}, edit: func(d int, n *device.Night) {
		if d > 20 {
			n.Supplies = n.Supplies[:1]
		}
	}}.nights()
	if d := one1(nights); len(d.Items) != 1 || d.Items[0].Type != "toner" {
		t.Errorf("items %+v", d.Items)
	}
}

// A young supply learns from those before it and from other devices.
func TestPeersTeach(t *testing.T) {
	young := tale{days: 8, counter: true, supplies: []taleSupply{toner(0.15)}}.nights()
	alone := One(Series{Key: "serial:b", MakeModel: "Okvarna L420dn", Nights: young}, nil, Options{})
	if alone.Items[0].RunOut != nil {
		t.Fatalf("by itself it has a date already: %v days", ahead(alone, 0, 0.5))
	}
	var peers []Series
	for i := range 4 {
		peers = append(peers, Series{Key: fmt.Sprintf("serial:p%d", i), MakeModel: "OKVARNA L420dn", Nights: tale{days: 200, counter: true, supplies: []taleSupply{toner(1)}}.nights()})
	}
	s := Series{Key: "serial:b", MakeModel: "Okvarna L420dn", Nights: young}
	with := One(s, peers, Options{})
	if got := ahead(with, 0, 0.5); got < 90 || got > 220 {
		t.Errorf("with peers it ends in %v days, want about 135: %s", got, with.Items[0].Reason)
	}
	// One and Fleet agree, whatever else is in the fleet.
	fleet := Fleet(append([]Series{s, {Key: "serial:z", MakeModel: "Brindlecote B30", Nights: young}}, peers...), Options{})
	if a, b := ahead(fleet[0], 0, 0.5), ahead(with, 0, 0.5); a != b {
		t.Errorf("Fleet says %v days, One %v", a, b)
	}
	if fleet[1].Items[0].RunOut != nil {
		t.Error("a device of another model was taught")
	}
}

func TestServices(t *testing.T) {
	c := &device.Catalogue{Models: []device.Model{{Match: "okvarna*", PagesPerMonth: 4000, Services: []device.ServiceInterval{
		{Part: "feed roller kit", Pages: 20_000}, {Part: "fuser", Pages: 15_000}, {Part: "maintenance kit", Pages: 11_000}, {Part: "drum", Pages: 30_000},
	}}}}
	nights := tale{days: 68, counter: true, supplies: []taleSupply{{kind: "opc", name: "Drum", start: 90, per: 0.5, step: 1}}}.nights()
	d := One(Series{Key: "a", MakeModel: "Okvarna L420dn", Nights: nights}, nil, Options{Catalogue: c})
	// 10,000 pages before, 50 working days of 100: 15,000; 5,000 left are 50 days.
	byName := map[string]Item{}
	for _, it := range d.Items {
		byName[it.Name] = it
	}
	if _, twice := byName["drum"]; twice {
		t.Error("the drum is counted down by the device and is listed as a part too")
	}
	rollers := byName["feed roller kit"]
	at, _ := rollers.RunOut.Quantile(0.5)
	if days := at.Sub(d.LastReadings).Hours() / 24; rollers.Kind != Service || math.Abs(days-70) > 6 || *rollers.Percent != 25 {
		t.Errorf("feed rollers in %v days, %v %%, want 70 days and 25 %%", days, rollers.Percent)
	}
	if it := byName["maintenance kit"]; it.RunOut != nil || !strings.Contains(it.Reason, "when it was last replaced is not known") {
		t.Errorf("a kit past its interval: %+v", it)
	}
	if d.LoadShare == nil || math.Abs(*d.LoadShare-0.53) > 0.07 {
		t.Errorf("load share %v, want about 0.53", d.LoadShare)
	}
}

func TestStepOf(t *testing.T) {
	for _, c := range []struct {
		levels []float64
		want   float64
	}{
		{[]float64{100, 80, 60, 40, 20, 0}, 20}, {[]float64{100, 90, 80, 50}, 10}, {[]float64{100, 95, 90, 85}, 5},
		{[]float64{100, 99, 98, 97}, 1}, {[]float64{99.9, 98.6, 97.2}, 0.1}, {[]float64{100}, 1}, {[]float64{87.4}, 0.1},
		{[]float64{100, 75, 50, 25}, 25}, {nil, 1},
	} {
		seen := map[float64]int{}
		for _, l := range c.levels {
			seen[l] = 10
		}
		if got := stepOf(seen); got != c.want {
			t.Errorf("steps of %v: %v, want %v", c.levels, got, c.want)
		}
	}
}

// readingsOf makes readings a day apart, of 100 counts each.
func readingsOf(levels ...float64) []reading {
	var out []reading
	for i, l := range levels {
		out = append(out, reading{night: i, percent: l, count: 100 * float64(i)})
	}
	return out
}

func TestLives(t *testing.T) {
	for _, c := range []struct {
		name   string
		levels []float64
		step   float64
		want   []int // readings of each life
		fresh  []bool
	}{
		{"one", []float64{50, 49, 48, 47}, 1, []int{4}, []bool{false}},
		{"replaced when empty", []float64{3, 2, 1, 100, 99, 98}, 1, []int{3, 3}, []bool{false, true}},
		{"swapped early", []float64{62, 61, 60, 100, 99, 98}, 1, []int{3, 3}, []bool{false, true}},
		{"a part-used one", []float64{3, 2, 1, 60, 59, 58}, 1, []int{3, 3}, []bool{false, false}},
		{"one step up to full", []float64{80, 80, 80, 100, 100, 100}, 20, []int{3, 3}, []bool{false, true}},
		{"between two steps", []float64{60, 40, 60, 40, 40}, 20, []int{4}, []bool{false}},
		{"one wrong empty, one step down", []float64{20, 20, 0, 20, 20}, 20, []int{4}, []bool{false}},
		{"one wrong full", []float64{50, 49, 100, 48, 47}, 1, []int{4}, []bool{false}},
		{"one wrong empty", []float64{50, 49, 0, 48, 47}, 1, []int{4}, []bool{false}},
		{"full on the last night waits", []float64{50, 49, 48, 47, 100}, 1, []int{4}, []bool{false}},
		{"but not when it was nearly empty", []float64{5, 4, 3, 2, 100}, 1, []int{4, 1}, []bool{false, true}},
	} {
		p := &place{step: c.step, readings: readingsOf(c.levels...)}
		p.split()
		var got []int
		var fresh []bool
		for _, l := range p.lives {
			got, fresh = append(got, len(l.readings)), append(fresh, l.fresh)
		}
		if fmt.Sprint(got, fresh) != fmt.Sprint(c.want, c.fresh) {
			t.Errorf("%s: lives %v fresh %v, want %v %v", c.name, got, fresh, c.want, c.fresh)
		}
	}
}

func TestDistribution(t *testing.T) {
	at := func(d int) time.Time { return monday.AddDate(0, 0, d) }
	d := &Distribution{At: []time.Time{at(1), at(2), at(3), {}}}
	for p, want := range map[float64]time.Time{0.1: at(1), 0.25: at(1), 0.5: at(2), 0.75: at(3)} {
		if got, ok := d.Quantile(p); !ok || !got.Equal(want) {
			t.Errorf("quantile %v: %v %v, want %v", p, got, ok, want)
		}
	}
	if _, ok := d.Quantile(0.9); ok {
		t.Error("a quantile beyond what is foreseen")
	}
	if got := d.ChanceBefore(at(2)); got != 0.5 {
		t.Errorf("chance before the second: %v", got)
	}
	var none *Distribution
	if _, ok := none.Quantile(0.5); ok || none.ChanceBefore(at(9)) != 0 {
		t.Error("no distribution says something")
	}
}
