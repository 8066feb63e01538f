package forecast

import (
	"math"
	"slices"
	"time"

	"printround/internal/device"
)

// BacktestOptions say how a back-test goes.
type BacktestOptions struct {
	Options
	Every int // nights between two looks; 0: 7
}

// Backtest is what forecasts made in the past were worth. Each supply life
// counts as one, however many forecasts were made of it.
type Backtest struct {
	Looks       int // nights from which was looked ahead
	First, Last time.Time
	Kinds       []Score // by kind of supply, then all of them
	Ahead       []Score // all kinds, by how far away the end was said to be
	All         Score
}

// Score is the worth of the forecasts of one kind.
type Score struct {
	Name      string
	Lives     int     // supply lives with at least one forecast that is judged
	Forecasts int     // forecasts of them that are judged
	Coverage  float64 // share of true moments inside the interval from p10 to p90
	Below     float64 // share before p10
	Width     float64 // median days from p10 to p90
	Relative  float64 // median of the width by the days to p50
	Compared  int     // forecasts where both simple rules gave a date too
	Ours      Error
	LastTwo   Error // line through the last two readings that differ
	Straight  Error // line from the first reading since the replacement
}

// Error is how far a method was off, on the forecasts that all methods gave.
type Error struct {
	Median  float64 // median absolute error in days
	Pinball float64 // mean pinball loss of p10, p50 and p90 in days
	Given   float64 // share of the supplies in use for which it gave a date
}

// look is one forecast that is judged.
type look struct {
	life           *TrueLife
	kind           string
	truth          float64 // days ahead, as all that follow
	p10, p50, p90  float64
	lastTwo, whole float64 // NaN: no date
	given          bool
}

func days(from, to time.Time) float64 { return to.Sub(from).Hours() / 24 }

// mostSimple bounds the days that a simple rule says: a hundred years are as
// good as more.
const mostSimple = 36500

// simpleRise: a level that rose by more than this, percent, is another supply, for
// the simple rules.
const simpleRise = 10

// simpleRules gives the days to the end by the two rules that anybody would
// try first; NaN where a rule gives none.
func simpleRules(nights []device.Night, it Item) (lastTwo, whole float64) {
	type at struct{ days, percent float64 }
	var rs []at
	for i := range nights {
		for _, s := range nights[i].Supplies {
			if s.Index != it.Index || s.Kind != it.Type || s.Percent == nil {
				continue
			}
			if n := len(rs); n > 0 && *s.Percent > rs[n-1].percent+simpleRise {
				rs = rs[:0]
			}
			rs = append(rs, at{days(nights[0].At, nights[i].At), *s.Percent})
		}
	}
	lastTwo, whole = math.NaN(), math.NaN()
	if len(rs) < 2 {
		return lastTwo, whole
	}
	now := days(nights[0].At, nights[len(nights)-1].At)
	end := rs[len(rs)-1]
	line := func(from at) float64 {
		if from.percent <= end.percent || end.days <= from.days {
			return math.NaN()
		}
		d := end.days + end.percent*(end.days-from.days)/(from.percent-end.percent) - now
		return min(max(d, 0), mostSimple)
	}
	for i := len(rs) - 2; i >= 0 && math.IsNaN(lastTwo); i-- {
		if rs[i].percent != end.percent {
			lastTwo = line(rs[i])
			break
		}
	}
	return lastTwo, line(rs[0])
}

// distances are how far away the end was said to be, in days.
var distances = []struct {
	name string
	to   float64
}{{"within 14 days", 14}, {"15 to 45 days", 45}, {"46 to 120 days", 120}, {"later", math.Inf(1)}}

func (b *Backtest) score(looks []look) {
	kinds := map[string][]look{}
	ahead := make([][]look, len(distances))
	for _, l := range looks {
		kinds[l.kind] = append(kinds[l.kind], l)
		if !l.given {
			continue
		}
		for i, band := range distances {
			if l.p50 <= band.to {
				ahead[i] = append(ahead[i], l)
				break
			}
		}
	}
	names := make([]string, 0, len(kinds))
	for k := range kinds {
		names = append(names, k)
	}
	slices.Sort(names)
	for _, k := range names {
		b.Kinds = append(b.Kinds, scoreOf(k, kinds[k]))
	}
	for i, band := range distances {
		b.Ahead = append(b.Ahead, scoreOf(band.name, ahead[i]))
	}
	b.All = scoreOf("all", looks)
}

// scoreOf judges forecasts. Each life weighs 1, shared by its forecasts.
func scoreOf(name string, looks []look) Score {
	s := Score{Name: name}
	judged, compared := map[*TrueLife]float64{}, map[*TrueLife]float64{}
	var given [3]float64
	for _, l := range looks {
		given[0] += one(l.given)
		given[1] += one(!math.IsNaN(l.lastTwo))
		given[2] += one(!math.IsNaN(l.whole))
		if l.given {
			judged[l.life]++
			if l.all() {
				compared[l.life]++
			}
		}
	}
	s.Lives = len(judged)
	var widths, relative []weighted
	var errors [3][]weighted
	var pinballs [3]float64
	for _, l := range looks {
		if !l.given {
			continue
		}
		s.Forecasts++
		w := 1 / judged[l.life]
		s.Coverage += w * one(l.truth >= l.p10 && l.truth <= l.p90)
		s.Below += w * one(l.truth < l.p10)
		widths = append(widths, weighted{l.p90 - l.p10, w})
		relative = append(relative, weighted{(l.p90 - l.p10) / max(l.p50, 0.5), w})
		if !l.all() {
			continue
		}
		s.Compared++
		w = 1 / compared[l.life]
		for i, q := range [3][3]float64{{l.p10, l.p50, l.p90}, {l.lastTwo, l.lastTwo, l.lastTwo}, {l.whole, l.whole, l.whole}} {
			errors[i] = append(errors[i], weighted{math.Abs(q[1] - l.truth), w})
			pinballs[i] += w * (pinball(0.1, q[0], l.truth) + pinball(0.5, q[1], l.truth) + pinball(0.9, q[2], l.truth)) / 3
		}
	}
	n, m := float64(max(len(judged), 1)), float64(max(len(compared), 1))
	s.Coverage /= n
	s.Below /= n
	s.Width, s.Relative = quantile(widths, 0.5), quantile(relative, 0.5)
	for i, e := range []*Error{&s.Ours, &s.LastTwo, &s.Straight} {
		*e = Error{Median: quantile(errors[i], 0.5), Pinball: pinballs[i] / m, Given: given[i] / float64(max(len(looks), 1))}
	}
	return s
}

// all reports whether every method gave a date.
func (l look) all() bool { return l.given && !math.IsNaN(l.lastTwo) && !math.IsNaN(l.whole) }

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// pinball is the loss of saying q for the quantile p when the truth is t
// (Koenker and Bassett, 1978).
func pinball(p, q, t float64) float64 {
	if t >= q {
		return p * (t - q)
	}
	return (1 - p) * (q - t)
}
