package forecast

import (
	"math"
	"time"

	"printround/internal/device"
)

// Settings of the volume.
const (
	profileHalf  = 70.0  // days after which a night counts half for the weekdays
	volumeHalf   = 28.0  // and for how much is printed in the weeks to come
	longHalf     = 180.0 // and for how much is printed in the long run
	returnDays   = 45.0  // days in which a difference between the two falls to a third
	profilePrior = 1.5   // weeks that the usual week counts beside the observed ones
	leastSpan    = 6.0   // days of counted pages that a volume needs
	leastSteps   = 4     // counted intervals that it needs
	weekSpread   = 0.22  // of the logarithm of a week's pages, before any is seen
	weekPrior    = 4.0   // weeks that this counts
	drift        = 0.05  // of the logarithm of the volume, a week
	mostDrift    = 0.5
	closedShare  = 0.08 // a working day with less of what is usual was none
	closedUsual  = 0.03 // share of work that closures take, before any is seen
	closedPrior  = 60.0 // days of work that this counts
	closedOften  = 0.1  // share of working days without a page above which one alone is no closure
	closedChance = 5e-3 // but as many in a row are as come so seldom by chance
)

// usage is how much a device prints.
type usage struct {
	zone  *time.Location
	at    []moment  // of each night
	count []float64 // pages since the first night, by night; without a counter the mean days of work
	raw   []float64 // repaired counter by night, NaN where it is not known

	counted bool // there is a counter that says how much is printed
	span    float64
	steps   int
	week    week
	perDay  float64 // pages on a mean day of late
	longRun float64 // and over a longer time
	spread  float64 // of the logarithm of a week's pages around that
	weeks   float64 // that perDay rests on
}

// newUsage reads the counter of the nights.
func newUsage(nights []device.Night, zone *time.Location) *usage {
	u := &usage{zone: zone, week: usualWeek, spread: weekSpread}
	for i := range nights {
		u.at = append(u.at, momentOf(nights[i].At, zone))
	}
	u.raw = repaired(nights)
	steps := u.intervals()
	u.steps = len(steps)
	for _, s := range steps {
		u.span += u.days(s)
	}
	u.counted = u.span >= leastSpan && u.steps >= leastSteps
	if u.counted {
		u.learnWeek(steps)
		u.learnVolume(steps)
	}
	u.fill()
	return u
}

// step is a stretch between two nights whose counters are known.
type step struct {
	from, to int
	pages    float64
}

func (u *usage) days(s step) float64 {
	a, b := u.at[s.from], u.at[s.to]
	return float64(b.day-a.day) + b.done - a.done
}

// age is how many days before the last night a stretch ended.
func (u *usage) age(s step) float64 { return float64(u.at[len(u.at)-1].day - u.at[s.to].day) }

func (u *usage) work(s step) float64 { return u.week.between(u.at[s.from], u.at[s.to]) }

// intervals returns the stretches between known counters.
func (u *usage) intervals() []step {
	var out []step
	last := -1
	for i, v := range u.raw {
		if math.IsNaN(v) {
			continue
		}
		if last >= 0 && u.days(step{from: last, to: i}) > 0 {
			out = append(out, step{last, i, v - u.raw[last]})
		}
		last = i
	}
	return out
}

// learnWeek learns the weekday profile from stretches of about a day.
func (u *usage) learnWeek(steps []step) {
	var pages, weight [7]float64
	total, all := 0.0, 0.0
	for _, s := range steps {
		d := u.days(s)
		if d > 1.7 {
			continue
		}
		day := u.at[s.to].day
		if into := u.at[s.to].done; u.at[s.from].day < day && 1-u.at[s.from].done > into {
			day-- // read in the small hours
		}
		w := math.Exp2(-u.age(s) / profileHalf)
		pages[weekday(day)] += w * s.pages
		weight[weekday(day)] += w * d
		total += w * s.pages
		all += w * u.week.between(u.at[s.from], u.at[s.to])
	}
	if total <= 0 || all <= 0 {
		return
	}
	mean := total / all
	sum := 0.0
	for d := range u.week {
		u.week[d] = (pages[d]/mean + profilePrior*usualWeek[d]) / (weight[d] + profilePrior)
		sum += u.week[d]
	}
	for d := range u.week {
		u.week[d] *= 7 / sum
	}
}

// learnVolume learns how much is printed on a mean day, and how much that
// differs from week to week.
func (u *usage) learnVolume(steps []step) {
	pages, work := u.recent(steps, nil, volumeHalf)
	if work <= 0 {
		return
	}
	u.perDay = pages / work
	closed := u.closures(steps)
	open := 1 - u.closedPart(steps, closed)
	if p, w := u.recent(steps, closed, volumeHalf); w > 0 {
		pages, work = p, w
		u.perDay = pages / work * open
	}
	u.longRun = u.perDay
	if p, w := u.recent(steps, closed, longHalf); w > 0 {
		u.longRun = p / w * open
	}
	u.weeks = work / 7
	u.learnSpread(steps, closed)
}

// recent sums pages and work, the older the less.
func (u *usage) recent(steps []step, without map[int]bool, half float64) (pages, work float64) {
	for i, s := range steps {
		if !without[i] {
			w := math.Exp2(-u.age(s) / half)
			pages += w * s.pages
			work += w * u.work(s)
		}
	}
	return pages, work
}

// closures returns the stretches of working days on which next to nothing was
// printed, which do not come every month: holidays, works, no paper. Where little
// is printed such days are usual, and only more in a row than chance brings are a
// closure.
func (u *usage) closures(steps []step) map[int]bool {
	days := make([]int, len(steps)) // of work in each
	empty := make([]bool, len(steps))
	all, without := 0, 0
	for i, s := range steps {
		work := u.work(s)
		if work > 0.4 {
			days[i] = max(int(math.Round(work)), 1)
		}
		empty[i] = s.pages < closedShare*work*u.perDay
		all += days[i]
		if empty[i] {
			without += days[i]
		}
	}
	least := 1
	if share := float64(without) / float64(max(all, 1)); share > closedOften {
		least = int(math.Ceil(math.Log(closedChance) / math.Log(min(share, 0.99))))
	}
	closed := map[int]bool{}
	for i := 0; i < len(steps); i++ {
		from, working := i, 0
		for ; i < len(steps) && (empty[i] || days[i] == 0); i++ { // days off do not end a run
			working += days[i]
		}
		for k := from; k < i && working >= least; k++ {
			if empty[k] {
				closed[k] = true
			}
		}
	}
	return closed
}

// closedPart is the share of work that closures take in the long run.
func (u *usage) closedPart(steps []step, closed map[int]bool) float64 {
	all, part := closedPrior, closedPrior*closedUsual
	for i, s := range steps {
		w := u.work(s)
		all += w
		if closed[i] {
			part += w
		}
	}
	return part / all
}

// learnSpread compares whole weeks with what the profile expects of them.
func (u *usage) learnSpread(steps []step, without map[int]bool) {
	sum, n := weekPrior*weekSpread*weekSpread, weekPrior
	var pages, work float64
	for i := len(steps) - 1; i >= 0 && n < weekPrior+16; i-- {
		if without[i] {
			continue
		}
		pages += steps[i].pages
		work += u.work(steps[i])
		if work >= 6.5 {
			// A week without a page is an odd week, not an infinitely odd one.
			l := math.Log(max(pages/(work*u.perDay), 0.2))
			if math.Abs(l) > 1.2 {
				l = math.Copysign(1.2, l)
			}
			sum += l * l
			n++
			pages, work = 0, 0
		}
	}
	u.spread = math.Sqrt(sum / n)
}

// fill gives every night a count: between two known ones by the work, beyond
// them by the volume. Without a counter the count is the work itself.
func (u *usage) fill() {
	u.count = make([]float64, len(u.at))
	if len(u.at) == 0 {
		return
	}
	start := u.week.upTo(u.at[0])
	work := make([]float64, len(u.at))
	for i := range u.at {
		work[i] = u.week.upTo(u.at[i]) - start
	}
	if !u.counted {
		copy(u.count, work)
		return
	}
	last := -1
	for i, v := range u.raw {
		if math.IsNaN(v) {
			continue
		}
		u.count[i] = v
		for j := last + 1; j < i; j++ {
			if last < 0 {
				u.count[j] = v - u.perDay*(work[i]-work[j])
				continue
			}
			share := 0.5
			if work[i] > work[last] {
				share = (work[j] - work[last]) / (work[i] - work[last])
			}
			u.count[j] = u.count[last] + share*(v-u.count[last])
		}
		last = i
	}
	for j := last + 1; j < len(u.at); j++ {
		u.count[j] = u.count[last] + u.perDay*(work[j]-work[last])
	}
}

// ahead is how many counts are expected from the last night to a moment.
func (u *usage) ahead(to moment) float64 {
	work := max(u.week.between(u.at[len(u.at)-1], to), 0)
	if !u.counted {
		return work
	}
	days := float64(to.day-u.at[len(u.at)-1].day) / returnDays
	if days <= 0 {
		return work * u.perDay
	}
	late := -math.Expm1(-days) / days // mean of what is left of the difference
	return work * (u.longRun + (u.perDay-u.longRun)*late)
}

// doubt is the variance of the logarithm of what is printed within some days
// from the last night, against what is expected.
func (u *usage) doubt(days float64) float64 {
	days = max(days, 0.5)
	v := u.spread * u.spread
	known := v / (u.weeks + 0.5)
	return known + v*min(7/days, 4) + min(drift*drift*(days/7/3+volumeHalf/7/2), mostDrift*mostDrift)
}
