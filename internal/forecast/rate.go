package forecast

import "math"

// Settings of rates. Variances are of logarithms.
const (
	lifeSpread   = 0.10 // between supplies in one place of one device
	deviceSpread = 0.30 // between devices of a model, before peers show it
	grain        = 0.22 // of what one percent of a supply takes, against its mean
	lasting      = 0.07 // of what is printed on the pages, from one time to another
	gaugeError   = 1.5  // percent by which a gauge is off its own curve
	leastFall    = 3.0  // percent that a level must have fallen to speak for itself
	mostDoubt    = 0.45 // standard deviation of a rate's logarithm above which no date is given
)

// rule is how a gauge rounds: what a level v means when it moves in steps s.
type rule int

const (
	nearest rule = iota // v - s/2 to v + s/2
	floor               // v to v + s: it shows what is left at least
	ceiling             // v - s to v: it shows what is left at most
	rules
)

// usualRules is how often gauges round so, before one is known better.
var usualRules = [rules]float64{0.4, 0.4, 0.2}

// lift is how far below the level shown before the gauge falls to the next one,
// in steps: a gauge that shows what is left at least falls at once.
func (r rule) lift() float64 { return [rules]float64{0.5, 0, 1}[r] }

// point is a count at which the level passed a boundary between two steps.
type point struct {
	count, half float64 // middle and half width of what the count may be
	percent     float64 // the boundary, for a gauge that shows what is left at least
}

// crossings lists where the level of a life passed from one step to another. A
// fall by one step puts the boundary between two nights; a fall by several, the
// new level at the second night.
func (l *life) crossings(step float64) {
	rs := l.readings
	l.points = l.points[:0]
	low := math.Inf(1)
	for i, r := range rs {
		if i == 0 {
			low = r.percent
			continue
		}
		if r.percent >= low-0.05 {
			continue // not lower than ever
		}
		before := rs[i-1]
		if low-r.percent <= 1.2*step {
			l.points = append(l.points, point{(before.count + r.count) / 2, (r.count - before.count) / 2, r.percent + step})
		} else {
			// It passed the upper boundary of the new step before this night.
			l.points = append(l.points, point{r.count, step / 4 / max(low-r.percent, step) * (r.count - before.count), r.percent + step/2})
		}
		low = r.percent
	}
	first, last := rs[0].percent, low
	l.fall = max(first-last, 0)
	if l.fresh {
		l.fall = max(100-last, 0)
	}
}

// learn estimates the rate of a life by itself. The curve straightens the
// gauge, lift moves the boundaries by the rule that the gauge rounds by, scale
// turns percent into what all supplies of this place share.
func (l *life) learn(step, lift float64, c *curve, scale float64) {
	l.rate = nothing
	var x, y []float64
	if l.fresh {
		x, y = append(x, l.from), append(y, 100)
	}
	for _, p := range l.points {
		x, y = append(x, p.count), append(y, c.straight(p.percent-lift*step))
	}
	n := len(x)
	if n < 2 || x[n-1] <= x[0] {
		return
	}
	slope, ok := theilSen(x, y)
	whole := (y[n-1] - y[0]) / (x[n-1] - x[0])
	if n < 4 || !ok {
		slope = whole
	}
	// The ends weigh in: on a walk without wild points they know the drift best.
	slope = (slope + whole) / 2
	fall := y[0] - y[n-1]
	if slope >= 0 || fall < leastFall {
		return
	}
	err := gaugeError*gaugeError*2 + step*step/24
	if len(l.points) > 0 {
		h := l.points[len(l.points)-1].half * slope
		err += h * h / 3
	}
	v := err/(fall*fall) + grain*grain/fall + lasting*lasting*0.5
	l.rate = estimate{math.Log(-slope * scale), v}
}

// curve is what a gauge shows against what is left: straight[i] is what is
// really left at 20·i percent shown.
type curve struct{ at [6]float64 }

var straightCurve = curve{[6]float64{0, 20, 40, 60, 80, 100}}

// straight returns what is left at a level shown, in percent.
func (c *curve) straight(shown float64) float64 {
	x := min(max(shown/20, 0), 5)
	i := min(int(x), 4)
	return c.at[i] + (c.at[i+1]-c.at[i])*(x-float64(i))
}

// bends is what finished lives say about a curve.
type bends struct {
	off [6]float64
	n   [6]float64
}

// add compares a finished life with a straight line from full to empty.
func (b *bends) add(l *life, step, lift float64) {
	if !l.fresh || !l.over || len(l.points) == 0 {
		return
	}
	end := l.readings[len(l.readings)-1]
	left := max(end.percent-lift*step+step/2, 0) // about what was left when it was taken out
	if end.percent < 0.5*step {
		left *= 0.3 // most are used up before they are taken out
	}
	span := end.count - l.from
	if span <= 0 {
		return
	}
	empty := l.from + span*100/(100-min(left, 30))
	for k := 1; k < 5; k++ {
		count, ok := l.passes(float64(20*k)+lift*step, step)
		if !ok {
			continue
		}
		b.off[k] += 100*(empty-count)/(empty-l.from) - float64(20*k)
		b.n[k]++
	}
}

// passes returns the count at which the level shown passed a boundary, between
// the points around it.
func (l *life) passes(percent, step float64) (float64, bool) {
	x0, y0 := l.from, 100+step*0.5
	for _, p := range l.points {
		if p.percent <= percent {
			if y0 <= p.percent {
				return p.count, true
			}
			return x0 + (p.count-x0)*(y0-percent)/(y0-p.percent), true
		}
		x0, y0 = p.count, p.percent
	}
	return 0, false
}

// curvePrior is how many finished lives a straight gauge counts for.
const curvePrior = 1.5

// curve returns the curve, straight where no life speaks.
func (b *bends) curve() curve {
	c := straightCurve
	for k := 1; k < 5; k++ {
		c.at[k] += b.off[k] / (b.n[k] + curvePrior)
		c.at[k] = max(c.at[k], c.at[k-1]+2)
	}
	for k := 4; k > 0; k-- {
		c.at[k] = min(c.at[k], c.at[k+1]-2)
	}
	return c
}
