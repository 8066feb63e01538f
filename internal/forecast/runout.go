package forecast

import (
	"fmt"
	"math"
	"time"
)

// Limits of what is foreseen.
const (
	Horizon   = 730  // days beyond which no moment is given
	fineDays  = 60   // days ahead that are looked at one by one, later ones by the week
	quantiles = 100  // moments of a distribution
	surprise  = 1.12 // factor on all variances, for what none of the parts knows of
	staleDays = 21   // without a level for longer, none is foreseen
)

// outlook foresees what is in a place now, or says why it cannot.
func (p *place) outlook(l *lore, prior estimate, k *known) (*Distribution, string) {
	u := k.usage
	if why := p.silent(k); why != "" {
		return nil, why
	}
	f := &p.lives[len(p.lives)-1]
	habit := p.habit(prior, len(p.lives)-1, l.among)
	rate := habit.loosened(l.among * l.among).with(f.rate).loosened(l.calm * l.calm * lasting * lasting)
	if math.Sqrt(rate.variance) > mostDoubt {
		return nil, p.tooLittle(f, k)
	}
	perCount := math.Exp(rate.mean) / p.scale(l, f)
	var ends []ending
	for r, w := range l.rules {
		if w > 0.01 {
			ends = append(ends, p.ending(rule(r), w, f, l, perCount, rate.variance, u))
		}
	}
	return spread(ends, perCount, rate.variance, l.grain, u), ""
}

// silent says why nothing can be said of the level, empty when it can.
func (p *place) silent(k *known) string {
	if len(p.lives) == 0 {
		switch p.reason {
		case "some-left":
			return "the device says only that some is left"
		case "":
			return "no level was read yet"
		}
		return "the device does not report the level"
	}
	rs := p.lives[len(p.lives)-1].readings
	at := k.nights[rs[len(rs)-1].night].At
	if now := k.nights[len(k.nights)-1].At; now.Sub(at) > staleDays*24*time.Hour {
		return fmt.Sprintf("no level was read since %s", date(at, k.usage.zone))
	}
	return ""
}

// tooLittle says what is missing for a date.
func (p *place) tooLittle(f *life, k *known) string {
	since := date(k.nights[f.readings[0].night].At, k.usage.zone)
	need := max(leastFall, 1.5*p.step)
	if f.fall < 0.05 {
		return fmt.Sprintf("not enough nights yet: the level has not moved since %s; a date needs a fall of about %.0f %%", since, need)
	}
	return fmt.Sprintf("not enough nights yet: the level fell by %.0f %% since %s; a date needs about %.0f %%", f.fall, since, max(need, math.Ceil(f.fall)+1))
}

func date(t time.Time, zone *time.Location) string { return t.In(zone).Format("2006-01-02") }

// ending is what is left if the gauge rounds by one rule.
type ending struct {
	weight   float64
	left     float64 // percent, at the last night
	variance float64 // of left
}

// least is what is taken to be left at least, percent: a logarithm wants
// something.
const least = 0.2

// ending works out what is left now: from the last boundary that the level
// passed, by the rate; within what the level shown allows. A rule that the
// readings speak against loses weight.
func (p *place) ending(r rule, weight float64, f *life, l *lore, rate float64, doubt float64, u *usage) ending {
	lift := r.lift() * p.step
	last := f.readings[len(f.readings)-1]
	high := l.curve.straight(min(max(last.percent+p.step-lift, 0), 100))
	low := l.curve.straight(min(max(last.percent-lift, 0), 100))
	high = max(high, low+least)
	left, since, v := (high+low)/2, last.count, (high-low)*(high-low)
	switch {
	case len(f.points) > 0:
		q := f.points[len(f.points)-1]
		left, since = l.curve.straight(min(max(q.percent-lift, 0), 100)), q.count
		v = rate * rate * q.half * q.half / 3
	case f.fresh:
		left, since = 100, f.from
		v = rate * rate * f.fromSure * f.fromSure / 3
	}
	walk := func(counts float64) {
		used := max(rate*counts, 0)
		left -= used
		v += l.grain*l.grain*used + doubt*used*used
	}
	walk(last.count - since)
	left, v, mass := within(left, v+gaugeNoise*gaugeNoise, low, high)
	if now := u.count[len(u.count)-1]; now > last.count {
		// No level since: it is below the last one, and not empty, or somebody would have come.
		walk(now - last.count)
		left, v, _ = within(left, v, 0, high)
	}
	return ending{weight * (mass + 0.01), max(left, least), v + l.calm*l.calm*l.curve.doubt(left)}
}

// within is a normal number that is known to lie between two bounds: its mean
// and variance, and how likely that was.
func within(mean, variance, low, high float64) (m, v, mass float64) {
	sd := math.Sqrt(variance)
	a, b := (low-mean)/sd, (high-mean)/sd
	mass = phi(b) - phi(a)
	if mass < 1e-6 {
		m = low + 0.1*(high-low)
		if mean > high {
			m = high - 0.1*(high-low)
		}
		return m, (high - low) * (high - low) / 50, mass
	}
	da, db := density(a), density(b)
	shift := (da - db) / mass
	m = mean + sd*shift
	v = variance * (1 + (a*da-b*db)/mass - shift*shift)
	return m, max(v, 0), mass
}

// density is that of the standard normal distribution.
func density(z float64) float64 {
	if math.Abs(z) > 38 {
		return 0
	}
	return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
}

// spread turns what is left and the pages to come into a distribution of the
// moment at which nothing is left.
func spread(ends []ending, perCount, rateVariance, grain float64, u *usage) *Distribution {
	start := u.at[len(u.at)-1]
	grid := make([]float64, 0, fineDays+(Horizon-fineDays)/7+2)
	days := make([]int, 0, cap(grid))
	top, total := 0.0, 0.0
	for _, e := range ends {
		total += e.weight
	}
	for d := 0; d <= Horizon; d++ {
		if d > fineDays && (d-fineDays)%7 != 0 {
			continue
		}
		used := perCount * u.ahead(moment{start.day + d, 1})
		doubt := rateVariance + u.doubt(float64(d)+1)
		p := 0.0
		for _, e := range ends {
			if used > 0 {
				v := doubt + grain*grain/max(e.left, 1) + e.variance/(e.left*e.left)
				p += e.weight * phi(math.Log(used/e.left)/math.Sqrt(min(v*surprise, 1.5)))
			}
		}
		top = max(top, p/total)
		grid, days = append(grid, top), append(days, d)
	}
	return &Distribution{At: invert(grid, days, start, u.zone)}
}

// invert returns the moments at which the probability passes 1/n … n/n.
func invert(grid []float64, days []int, start moment, zone *time.Location) []time.Time {
	out := make([]time.Time, quantiles)
	k := 0
	begin := dateOf(start.day, 0, zone)
	for i := range out {
		want := float64(i+1) / quantiles
		for k < len(grid) && grid[k] < want {
			k++
		}
		if k == len(grid) {
			break // this and all later ones are beyond
		}
		day, share := float64(days[k]), 0.5
		if k > 0 {
			share = (want - grid[k-1]) / (grid[k] - grid[k-1])
			gap := float64(days[k] - days[k-1])
			day = float64(days[k-1]) + 1 + share*gap
			whole := math.Floor(day)
			day, share = whole, day-whole
			if d := float64(days[k]); day > d {
				day, share = d, 1
			}
		}
		out[i] = dateOf(start.day+int(day), share, zone)
		if out[i].Before(begin) {
			out[i] = begin
		}
	}
	return out
}
