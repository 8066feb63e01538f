package lab

import (
	"math"
	"math/rand/v2"
	"time"
)

// use is how the people around one device print.
type use struct {
	r       *rand.Rand
	mean    float64    // pages of a usual working day
	week    [7]float64 // by time.Weekday
	jobMean float64    // pages of a usual job
	mail    float64    // chance that a job is a mass mailing
	summer  float64    // factor in July and August
	term    bool       // quiet in school holidays
	trend   float64    // factor a year
	slow    float64    // logarithm of what drifts from week to week
	regime  float64    // factor since people moved in or out
	coverIn [4]float64 // percent of the page, by black, cyan, magenta, yellow
	coverW  [4]float64 // logarithm of what drifts of it
	color   float64    // share of jobs with colour
	closed  map[int]bool
}

// batch is what one stretch of printing does to the device.
type batch struct {
	at    time.Time
	pages float64
	jobs  float64
	cover [4]float64 // percent of the page
}

// newUse draws the habits around a device. speed is that of the device per
// minute: fast devices stand where much is printed.
func newUse(r *rand.Rand, m *model, volume float64) *use {
	u := &use{r: r, regime: 1, closed: map[int]bool{}}
	u.mean = float64(m.Speed) * 2.2 * normal(r, 0.55) * volume
	for d := range u.week {
		u.week[d] = normal(r, 0.15)
	}
	u.week[time.Saturday] = 0.03 * normal(r, 1)
	u.week[time.Sunday] = 0.01 * normal(r, 1)
	switch x := r.Float64(); {
	case x < 0.10: // open on Saturdays
		u.week[time.Saturday] = 0.6 * normal(r, 0.2)
	case x < 0.15: // never closed
		u.week[time.Saturday], u.week[time.Sunday] = 0.8, 0.7
	}
	u.jobMean = 2.5 + 4*r.Float64()
	u.mail = 0.01 * r.Float64()
	u.summer = 0.7 + 0.3*r.Float64()
	u.term = r.Float64() < 0.1
	u.trend = normal(r, 0.2)
	for i := range u.coverIn {
		u.coverIn[i] = 4.5 * normal(r, 0.3)
	}
	u.color = 0.2 + 0.5*r.Float64()
	return u
}

// day returns the work of one day, in order of time. n counts days; date is
// its midnight.
func (u *use) day(n int, date time.Time) []batch {
	if date.Weekday() == time.Monday {
		u.slow = 0.8*u.slow + 0.1*u.r.NormFloat64()
		for i := range u.coverW {
			u.coverW[i] = 0.9*u.coverW[i] + 0.05*u.r.NormFloat64()
		}
	}
	if u.r.Float64() < 1.0/500 { // people moved in or out
		u.regime *= normal(u.r, 0.4)
		u.regime = min(max(u.regime, 0.3), 3)
	}
	if u.r.Float64() < 1.0/120 { // stocktaking, an excursion, works
		for i := range 1 + u.r.IntN(3) {
			u.closed[n+i] = true
		}
	}
	mean := u.mean * u.week[date.Weekday()] * u.season(date) * u.regime *
		math.Exp(u.slow) * math.Pow(u.trend, float64(n)/365)
	if u.closed[n] || holiday(date) {
		mean *= 0.02
	}
	mean *= u.unevenness()
	jobs := poisson(u.r, mean/u.jobMean)
	return u.batches(date, jobs)
}

// unevenness is one day's factor: the mean of four exponential numbers.
func (u *use) unevenness() float64 {
	return (u.r.ExpFloat64() + u.r.ExpFloat64() + u.r.ExpFloat64() + u.r.ExpFloat64()) / 4
}

// mostBatches bounds the stretches of one day; busy devices print several jobs
// in each.
const mostBatches = 16

func (u *use) batches(date time.Time, jobs int) []batch {
	n := min(jobs, mostBatches)
	var out []batch
	for i := range n {
		b := batch{jobs: float64(jobs) / float64(n)}
		whole := int(math.Round(b.jobs))
		for range max(whole, 1) {
			pages := math.Ceil(u.r.ExpFloat64() * u.jobMean)
			if u.r.Float64() < u.mail {
				pages *= 10 + 20*u.r.Float64()
			}
			b.pages += pages
		}
		b.pages = math.Ceil(b.pages * b.jobs / float64(max(whole, 1)))
		inColor := u.r.Float64() < u.color
		spread := 0.6 / math.Sqrt(b.jobs)
		for c := range b.cover {
			if c == 0 || inColor {
				b.cover[c] = u.coverIn[c] * math.Exp(u.coverW[c]) * normal(u.r, spread)
			}
		}
		// Work begins at eight and ends at six; most is printed in between.
		minute := 8*60 + int(600*(float64(i)+u.r.Float64())/float64(n))
		b.at = time.Date(date.Year(), date.Month(), date.Day(), 0, minute, 0, 0, date.Location())
		out = append(out, b)
	}
	return out
}

// season is the factor of the time of year.
func (u *use) season(date time.Time) float64 {
	f := 1 + 0.06*math.Sin(2*math.Pi*float64(date.YearDay()-60)/365)
	if m := date.Month(); m == time.July || m == time.August {
		f *= u.summer
	}
	if u.term && schoolHoliday(date) {
		f *= 0.25
	}
	return f
}

// schoolHoliday: invented terms, in the manner of the season.
func schoolHoliday(date time.Time) bool {
	d := date.YearDay()
	e := easter(date.Year()).YearDay()
	return d <= 5 || d >= 354 || d >= 205 && d <= 245 || d >= e-7 && d <= e+7 || d >= 297 && d <= 303 || d >= 46 && d <= 50
}

// holiday reports days on which the organisation is closed: the days around
// the turn of the year, Easter, and three Mondays.
func holiday(date time.Time) bool {
	d := date.Day()
	switch date.Month() {
	case time.January:
		return d == 1
	case time.December:
		return d >= 24
	case time.May:
		if date.Weekday() == time.Monday && (d <= 7 || d >= 25) {
			return true
		}
	case time.August:
		if date.Weekday() == time.Monday && d >= 25 {
			return true
		}
	}
	e := easter(date.Year()).YearDay()
	return date.YearDay() == e-2 || date.YearDay() == e+1
}

// easter is Easter Sunday of the Gregorian calendar (the anonymous algorithm,
// Nature, 20 April 1876).
func easter(year int) time.Time {
	a, b, c := year%19, year/100, year%100
	d, e := b/4, b%4
	f := (b + 8) / 25
	g := (b - f + 1) / 3
	h := (19*a + b - d - g + 15) % 30
	i, k := c/4, c%4
	l := (32 + 2*e + 2*i - h - k) % 7
	m := (a + 11*h + 22*l) / 451
	month := (h + l - 7*m + 114) / 31
	day := (h+l-7*m+114)%31 + 1
	return time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
}

// poisson draws a Poisson number; from 50 on by its normal approximation.
func poisson(r *rand.Rand, mean float64) int {
	if mean <= 0 {
		return 0
	}
	if mean > 50 {
		return max(int(math.Round(mean+math.Sqrt(mean)*r.NormFloat64())), 0)
	}
	limit, p, n := math.Exp(-mean), 1.0, 0
	for {
		if p *= r.Float64(); p <= limit {
			return n
		}
		n++
	}
}
