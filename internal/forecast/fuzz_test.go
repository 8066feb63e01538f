package forecast

import (
	"math"
	"testing"
	"time"

	"printround/internal/device"
)

// nightsOf makes nights of any bytes: times that go back, counters and levels
// of any kind, units that change.
func nightsOf(b []byte) []device.Night {
	var out []device.Night
	at := monday
	life := int64(1000)
	for len(b) >= 6 && len(out) < 400 {
		at = at.Add(time.Duration(int(b[0])-20) * 37 * time.Minute * 12)
		n := device.Night{At: at, LifeUnit: []string{"impressions", "", "feet"}[b[5]%3]}
		switch b[1] % 8 {
		case 0:
		case 1:
			v := int64(int8(b[2])) << (b[3] % 60)
			n.LifeCount = &v
		default:
			life += int64(b[2]) * int64(b[1])
			v := life
			n.LifeCount = &v
		}
		for i := range int(b[5] % 4) {
			r := device.SupplyReading{Index: i, Kind: "toner", Unit: []string{"percent", "impressions"}[b[4]%2], Reason: "unknown"}
			p := float64(b[3]+byte(i)*b[4]) / 2.5
			switch b[4] % 16 {
			case 0:
				p = math.NaN()
			case 1:
				p = math.Inf(1)
			case 2:
				p = -p
			}
			if b[4]%16 != 3 {
				r.Percent = &p
			}
			capacity := int64(int8(b[2])) * 1000
			r.Capacity = &capacity
			n.Supplies = append(n.Supplies, r)
		}
		out = append(out, n)
		b = b[6:]
	}
	return out
}

func FuzzForecast(f *testing.F) {
	f.Add([]byte{}, []byte{})
	f.Add([]byte("\x58\x03\x10\xf0\x04\x01\x58\x03\x10\xe0\x04\x01\x58\x03\x10\xd0\x04\x01\x58\x03\x10\xc0\x04\x01\x58\x03\x10\xb0\x04\x01\x58\x03\x10\xa0\x04\x01\x58\x03\x10\x90\x04\x01"), []byte("\x00"))
	f.Add([]byte("\xff\x01\x80\xff\x00\x03\x00\x01\x7f\x3b\x00\x03\x20\x01\x7f\x3b\x05\x03"), []byte("\x58\x03\x10\xf0\x04\x01"))
	catalogue := &device.Catalogue{Models: []device.Model{{Match: "*", PagesPerMonth: 1, Services: []device.ServiceInterval{{Part: "fuser", Pages: 1}, {Part: "roller", Pages: math.MaxInt32}}}}}
	f.Fuzz(func(t *testing.T, a, b []byte) {
		list := []Series{{Key: "a", MakeModel: "m", Nights: nightsOf(a)}, {Key: "b", MakeModel: "m", Nights: nightsOf(b)}, {Key: "c", Nights: nightsOf(a)}}
		for _, d := range Fleet(list, Options{Catalogue: catalogue, Now: monday.AddDate(1, 0, 0)}) {
			check(t, d)
		}
		for _, d := range Fleet(list, Options{}) {
			check(t, d)
		}
		past := Past{Models: [][]string{{"a", "b"}, {"c"}}, Read: func(key string) (Series, error) { return list[key[0]-'a'], nil }}
		if _, err := RunBacktest(past, nil, BacktestOptions{Every: 30}); err != nil {
			t.Fatal(err)
		}
	})
}

// check holds what is true of every outlook.
func check(t *testing.T, d Device) {
	t.Helper()
	for _, v := range []*float64{d.PagesPerDay, d.PagesMonth, d.LoadShare} {
		if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0) || *v < 0) {
			t.Fatalf("a number that is none: %v", *v)
		}
	}
	for _, it := range d.Items {
		if (it.RunOut == nil) == (it.Reason == "") {
			t.Fatalf("%s: run-out %v and reason %q", it.Name, it.RunOut, it.Reason)
		}
		if it.RunOut == nil {
			continue
		}
		if len(it.RunOut.At) != quantiles {
			t.Fatalf("%d moments", len(it.RunOut.At))
		}
		for i, at := range it.RunOut.At[1:] {
			before := it.RunOut.At[i]
			if before.IsZero() && !at.IsZero() || !at.IsZero() && at.Before(before) {
				t.Fatalf("moments out of order: %v then %v", before, at)
			}
		}
	}
}
