package forecast

import "math"

// bands is how many equal parts of a gauge are compared.
const bands = 5

const bandWidth = 100.0 / bands

// curve is what is really left at each border between bands of a gauge, and how
// well that is known.
type curve struct {
	at    [bands + 1]float64
	lives float64 // finished bands that speak for it, on average
}

func straightCurve() curve {
	var c curve
	for i := range c.at {
		c.at[i] = bandWidth * float64(i)
	}
	return c
}

// straight returns what is left at a level shown, both in percent.
func (c *curve) straight(shown float64) float64 {
	x := min(max(shown/bandWidth, 0), bands)
	i := min(int(x), bands-1)
	return c.at[i] + (c.at[i+1]-c.at[i])*(x-float64(i))
}

// Settings of curves.
const (
	curveBend  = 4.5 // percent by which half-way gauges are bent, before lives show it
	curvePrior = 1.0 // lives that a straight gauge counts for
)

// doubt is the variance of what is left because of the curve, in percent.
func (c *curve) doubt(left float64) float64 {
	x := min(max(left/100, 0), 1)
	sd := curveBend * 4 * x * (1 - x)
	return sd * sd * curvePrior / (curvePrior + c.lives)
}

// stretch is how many counts a life took from one border to another.
type stretch struct {
	counts [bands]float64 // 0: not seen whole
}

// stretches measures the bands that a life passed whole.
func (l *life) stretches(step, lift float64) (s stretch, any bool) {
	plain := straightCurve()
	x, y := l.way(step, lift, &plain)
	if l.over {
		end := l.readings[len(l.readings)-1]
		left := max(end.percent-lift*step+step/2, 0) // about what was left when it was taken out
		if end.percent < 0.5*step {
			left = 0 // most are used up before they are taken out
		}
		if n := len(y); n > 0 && left < y[n-1] {
			x, y = append(x, end.count), append(y, left)
		}
	}
	at := func(level float64) float64 {
		for i := 1; i < len(y); i++ {
			if y[i-1] >= level-0.01 && y[i] <= level+0.01 && y[i] < y[i-1] {
				return x[i-1] + (x[i]-x[i-1])*(y[i-1]-level)/(y[i-1]-y[i])
			}
		}
		return math.NaN()
	}
	n := 0
	for b := range s.counts {
		if d := at(bandWidth*float64(b)) - at(bandWidth*float64(b+1)); d > 0 {
			s.counts[b] = d
			n++
		}
	}
	return s, n >= 2
}

// bend works out the curve that makes lives straight: each band takes its share
// of a life, the same in every life; what a whole life takes differs.
func bend(list []stretch) curve {
	var share, seen [bands]float64
	for b := range share {
		share[b] = 1
	}
	for range 6 {
		var sum [bands]float64
		seen = [bands]float64{}
		for _, s := range list {
			counts, shares := 0.0, 0.0
			for b, c := range s.counts {
				if c > 0 {
					counts, shares = counts+c, shares+share[b]
				}
			}
			for b, c := range s.counts {
				if c > 0 {
					sum[b] += min(max(c/(counts/shares), 0.3), 3)
					seen[b]++
				}
			}
		}
		total := 0.0
		for b := range share {
			share[b] = (sum[b] + curvePrior) / (seen[b] + curvePrior)
			total += share[b]
		}
		for b := range share {
			share[b] *= bands / total
		}
	}
	var c curve
	least := math.Inf(1)
	for b := range share {
		c.at[b+1] = c.at[b] + bandWidth*share[b]
		least = min(least, seen[b])
	}
	c.at[bands], c.lives = 100, least
	return c
}
