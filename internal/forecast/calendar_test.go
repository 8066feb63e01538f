package forecast

import (
	"math"
	"testing"
	"time"
	_ "time/tzdata" // the zones of this test, whatever the system has
)

// Days on which clocks change, by law: the last Sundays of March and October
// (Summer Time Order 2002), the second Sunday of March and the first of
// November (Energy Policy Act of 2005, section 110).
var clockChanges = map[string][]string{
	"Europe/London":    {"2025-03-30", "2025-10-26", "2026-03-29", "2026-10-25"},
	"America/New_York": {"2025-03-09", "2025-11-02", "2026-03-08", "2026-11-01"},
}

func TestDaysAcrossClockChanges(t *testing.T) {
	for name, changes := range clockChanges {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		hours := map[int]int{} // day number -> hours it had
		before := moment{day: math.MinInt}
		for at := time.Date(2025, 1, 1, 0, 0, 0, 0, zone); at.Before(time.Date(2027, 1, 1, 0, 0, 0, 0, zone)); at = at.Add(time.Hour) {
			m := momentOf(at, zone)
			hours[m.day]++
			// The calendar's own date of the day, without a zone.
			if got := time.Unix(int64(m.day)*86400, 0).UTC().Format("2006-01-02"); got != at.Format("2006-01-02") {
				t.Fatalf("%s: %v is day %d, %s", name, at, m.day, got)
			}
			if time.Weekday(weekday(m.day)) != at.Weekday() {
				t.Fatalf("%s: %v is no %v", name, at, time.Weekday(weekday(m.day)))
			}
			back := m.day == before.day && m.done < before.done // the hour that comes twice
			if m.day < before.day || back && hours[m.day] > 3 {
				t.Fatalf("%s: %v goes back to %v from %v", name, at, m, before)
			}
			before = m
		}
		for day, n := range hours {
			date := time.Unix(int64(day)*86400, 0).UTC().Format("2006-01-02")
			want := 24
			for i, c := range changes {
				if date == c {
					want = 23 + 2*(i%2) // spring, autumn
				}
			}
			if n != want {
				t.Errorf("%s: %s has %d hours, want %d", name, date, n, want)
			}
			// A day has its work whether it is long or short.
			w := usualWeek
			a := momentOf(time.Date(1970, 1, 1+day, 19, 30, 0, 0, zone), zone)
			b := momentOf(time.Date(1970, 1, 2+day, 19, 30, 0, 0, zone), zone)
			got := w.between(a, b)
			late := 1 - a.done
			if want := w[weekday(day)]*late + w[weekday(day+1)]*(1-late); math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: work from %s to the next evening %v, want %v", name, date, got, want)
			}
			for _, share := range []float64{0, 0.5, 1} {
				if at := dateOf(day, share, zone); at.Format("2006-01-02") != date || at.Location() != zone {
					t.Errorf("%s: moment of %s is %v", name, date, at)
				}
			}
		}
	}
}

func TestWeekAddsUp(t *testing.T) {
	w := week{0, 1, 2, 3, 0.5, 0.25, 0.25}
	for day := -30; day < 30; day++ {
		sum := 0.0
		for d := day; d < day+10; d++ {
			sum += w[weekday(d)]
		}
		if got := w.between(moment{day, 0}, moment{day + 10, 0}); math.Abs(got-sum) > 1e-9 {
			t.Errorf("ten days from %d: %v, want %v", day, got, sum)
		}
	}
	if got := dayNumber(time.Date(1969, 12, 31, 23, 59, 0, 0, time.UTC)); got != -1 {
		t.Errorf("the day before the first: %d", got)
	}
	// A working day is done at seven in the evening, but for a little.
	for clock, want := range map[float64]float64{0: 0, 7.0 / 24: 0.1 * 7 / 24, 13.0 / 24: 0.1*13/24 + 0.45, 1: 1} {
		if got := doneAt(clock); math.Abs(got-want) > 1e-9 {
			t.Errorf("at %v of the day %v is done, want %v", clock, got, want)
		}
	}
}
