package forecast

import (
	"math"
	"testing"
)

// Days on which nothing is printed are closures where they are rare, and a part
// of how little is printed where they are not. The pages of a mean day to come
// are five sevenths of those of a working day, less what closures usually take.
func TestDaysWithoutPages(t *testing.T) {
	none := func(days ...int) func(int) int {
		return func(day int) int {
			for _, d := range days {
				if d == day {
					return 0
				}
			}
			return 100
		}
	}
	for name, c := range map[string]struct {
		pages func(day int) int
		want  float64 // a working day
	}{
		"always open":                    {none(), 100},
		"two holidays of late":           {none(81, 82), 100},
		"a week's closure of late":       {none(77, 78, 79, 80, 81), 100},
		"every second day, one customer": {func(day int) int { return 4 * (day % 2) }, 2},
		"one day in three": {func(day int) int {
			if day%3 == 0 {
				return 30
			}
			return 0
		}, 10},
		// A closure of two weeks in thirteen is not taken for the last one.
		"little used, and a closure": {func(day int) int {
			if day >= 42 && day < 56 {
				return 0
			}
			return 4 * (day % 2)
		}, 1.8},
	} {
		t.Run(name, func(t *testing.T) {
			d := one1(tale{days: 90, counter: true, pages: c.pages}.nights())
			if d.PagesPerDay == nil {
				t.Fatal("no volume")
			}
			if got := *d.PagesPerDay * 7 / 5 / c.want; math.Abs(got-1) > 0.06 {
				t.Errorf("%.2f of what is printed on a working day", got)
			}
		})
	}
}
