package forecast

import (
	"time"
)

// Where pages come from within a day: most between seven and seven, a little at
// any hour (common practice, no source).
const (
	workBegins = 7.0 / 24
	workEnds   = 19.0 / 24
	anyHour    = 0.1
)

// moment is a point of local time: a day, counted by the calendar, and the
// share of that day's work that is done.
type moment struct {
	day  int
	done float64
}

// momentOf goes by the clock on the wall: a day has its work whether it lasts
// 23, 24 or 25 hours.
func momentOf(t time.Time, zone *time.Location) moment {
	t = t.In(zone)
	h, m, s := t.Clock()
	return moment{dayNumber(t), doneAt(float64(h*3600+m*60+s) / 86400)}
}

// doneAt is the share of a day's work that is done at a share of its hours.
func doneAt(clock float64) float64 {
	work := min(max((clock-workBegins)/(workEnds-workBegins), 0), 1)
	return anyHour*clock + (1-anyHour)*work
}

// dayNumber counts calendar days; day 0 is 1 January 1970, a Thursday.
func dayNumber(t time.Time) int {
	y, m, d := t.Date()
	u := time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix()
	if u < 0 {
		u -= 86399
	}
	return int(u / 86400)
}

// dateOf returns a moment of day in the zone at a share of its working hours.
func dateOf(day int, share float64, zone *time.Location) time.Time {
	u := time.Unix(int64(day)*86400, 0).UTC()
	minutes := 24 * 60 * (workBegins + share*(workEnds-workBegins))
	return time.Date(u.Year(), u.Month(), u.Day(), 0, int(minutes), 0, 0, zone)
}

func weekday(day int) int { return ((day+int(time.Thursday))%7 + 7) % 7 }

// week is how much work each weekday has, by time.Weekday; seven days have 7
// together.
type week [7]float64

// usualWeek is that of an office (common practice, no source).
var usualWeek = week{0.06, 1.36, 1.36, 1.36, 1.36, 1.36, 0.14}

// upTo is the work from day 0 to a moment, in mean days.
func (w *week) upTo(m moment) float64 {
	n := m.day / 7 * 7
	if m.day < 0 && n > m.day {
		n -= 7
	}
	sum := float64(n)
	for d := n; d < m.day; d++ {
		sum += w[weekday(d)]
	}
	return sum + w[weekday(m.day)]*m.done
}

// between is the work from one moment to another, in mean days.
func (w *week) between(a, b moment) float64 { return w.upTo(b) - w.upTo(a) }
