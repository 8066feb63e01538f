package forecast

import (
	"math"
	"sort"
	"time"
)

// Week is how much was counted in seven days.
type Week struct {
	From   time.Time
	PerDay *float64 // in the unit of the device; nil: no counter was read
}

// mostWeeks bounds the weeks that are told.
const mostWeeks = 52

// byWeek returns the last weeks that lie within the nights, oldest first.
func (u *usage) byWeek() []Week {
	if !u.counted {
		return nil
	}
	place := func(m moment) float64 { return float64(m.day) + m.done }
	days := make([]float64, len(u.at))
	for i, m := range u.at {
		days[i] = place(m)
	}
	at := func(day float64) float64 {
		i := sort.SearchFloat64s(days, day)
		switch {
		case i == 0:
			return u.count[0]
		case i == len(days):
			return u.count[i-1]
		case days[i] == days[i-1]:
			return u.count[i]
		}
		return u.count[i-1] + (u.count[i]-u.count[i-1])*(day-days[i-1])/(days[i]-days[i-1])
	}
	var out []Week
	last := days[len(days)-1]
	for k := 1; k <= mostWeeks && last-7*float64(k) >= days[0]-0.5; k++ {
		from, to := last-7*float64(k), last-7*float64(k-1)
		w := Week{From: dateOf(int(math.Floor(from)), 0, u.zone)}
		known := false
		for i := range days {
			known = known || days[i] > from && days[i] <= to && !math.IsNaN(u.raw[i])
		}
		if known {
			v := max(at(to)-at(from), 0) / 7
			w.PerDay = &v
		}
		out = append(out, w)
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out
}
