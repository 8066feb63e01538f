package forecast

import "math"

// Settings of rates. Variances are of logarithms.
const (
	lifeSpread   = 0.10 // between supplies in one place of one device
	deviceSpread = 0.30 // between devices of a model, before peers show it
	usualGrain   = 0.50 // of what one percent of a supply takes, against its mean, before lives show it
	lasting      = 0.10 // of what is printed on the pages, from one time to another
	gaugeNoise   = 0.5  // percent by which a gauge is off its curve
	endsWeight   = 0.5  // of the line from end to end beside the median of slopes
	leastFall    = 2.0  // percent that a level must have fallen to speak for itself
	mostDoubt    = 0.45 // standard deviation of a rate's logarithm above which no date is given
)

// exact is the factor on the spreads of parts whose life a device counts in
// pages: they differ little, and their gauges are straight.
const exact = 0.3

// counted reports such parts: those whose life goes by sheets and not by what
// is on them (common practice, no source).
func counted(kind string) bool {
	switch kind {
	case "fuser", "transferUnit", "cleanerUnit", "fuserCleaningPad", "fuserOilWiper":
		return true
	}
	return false
}

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
func (l *life) learn(step, lift, grain float64, c *curve, scale float64) {
	l.rate = nothing
	x, y := l.way(step, lift, c)
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
	slope = slope + endsWeight*(whole-slope)
	fall := y[0] - y[n-1]
	if slope >= 0 || fall < leastFall {
		return
	}
	err := 2*gaugeNoise*gaugeNoise + step*step/24
	if len(l.points) > 0 {
		h := l.points[len(l.points)-1].half * slope
		err += h * h / 3
	}
	v := err/(fall*fall) + grain*grain/fall + lasting*lasting*0.5
	l.rate = estimate{math.Log(-slope * scale), v}
}

// way returns the boundaries that a life passed: counts and what was left.
func (l *life) way(step, lift float64, c *curve) (x, y []float64) {
	if l.fresh {
		x, y = append(x, l.from), append(y, 100)
	}
	for _, p := range l.points {
		x, y = append(x, p.count), append(y, c.straight(p.percent-lift*step))
	}
	return x, y
}

// unevenness sums, over stretches of a life in which the level fell by a few
// percent, the squares by which the fall differs from what the pages let
// expect, and the falls.
func (l *life) unevenness(step, lift float64, c *curve) (squares, falls, n float64) {
	x, y := l.way(step, lift, c)
	k := len(x) - 1
	if k < 3 || x[k] <= x[0] || y[0]-y[k] < 15 {
		return 0, 0, 0
	}
	rate := (y[0] - y[k]) / (x[k] - x[0])
	from := 0
	for i := 1; i <= k; i++ {
		fall := y[from] - y[i]
		if fall < max(6, 1.5*step) {
			continue
		}
		d := fall - rate*(x[i]-x[from])
		squares += max(min(d*d, fall*fall)-step*step/12-2*gaugeNoise*gaugeNoise, 0)
		falls += fall
		n++
		from = i
	}
	if n < 2 {
		return 0, 0, 0
	}
	return squares * n / (n - 1), falls, n // the rate was taken from the same stretches
}
