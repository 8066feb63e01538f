package forecast

import (
	"math"
	"slices"
)

// mostPoints bounds the points of a slope: the pairs of more would take long
// and tell no more.
const mostPoints = 60

// theilSen returns the median of the slopes of all pairs of points with
// different x (Theil 1950, Sen 1968), which up to 29 % of wild points do not
// move far. ok is false when there is no such pair. More than mostPoints points
// are thinned out evenly.
func theilSen(x, y []float64) (slope float64, ok bool) {
	x, y = thin(x), thin(y)
	slopes := make([]float64, 0, len(x)*(len(x)-1)/2)
	for i := range x {
		for j := range i {
			if d := x[i] - x[j]; d != 0 {
				slopes = append(slopes, (y[i]-y[j])/d)
			}
		}
	}
	if len(slopes) == 0 {
		return 0, false
	}
	return median(slopes), true
}

func thin(v []float64) []float64 {
	if len(v) <= mostPoints {
		return v
	}
	out := make([]float64, mostPoints)
	for i := range out {
		out[i] = v[i*(len(v)-1)/(mostPoints-1)]
	}
	return out
}

// median returns the middle value, of an even number the mean of both; NaN of
// none. It sorts v.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	n := len(v) / 2
	if len(v)%2 == 1 {
		return v[n]
	}
	return (v[n-1] + v[n]) / 2
}

// weighted is a value that counts as much as its weight.
type weighted struct{ value, weight float64 }

// quantile returns the smallest value at which the weights up to it reach the
// share p of all: the inverse of the empirical distribution (definition 1 of
// Hyndman and Fan, 1996). NaN of none. It sorts v.
func quantile(v []weighted, p float64) float64 {
	slices.SortFunc(v, func(a, b weighted) int {
		switch {
		case a.value < b.value:
			return -1
		case a.value > b.value:
			return 1
		}
		return 0
	})
	total := 0.0
	for _, w := range v {
		total += w.weight
	}
	at := 0.0
	for _, w := range v {
		if at += w.weight; at >= p*total*(1-1e-12) {
			return w.value
		}
	}
	return math.NaN()
}

// phi is the standard normal distribution.
func phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// estimate is a number that is known with an error: its mean and variance. A
// variance of +Inf says nothing.
type estimate struct{ mean, variance float64 }

var nothing = estimate{0, math.Inf(1)}

// with joins two independent estimates of one number by their precision.
func (e estimate) with(o estimate) estimate {
	switch {
	case math.IsInf(o.variance, 1):
		return e
	case math.IsInf(e.variance, 1):
		return o
	}
	a, b := 1/e.variance, 1/o.variance
	return estimate{(e.mean*a + o.mean*b) / (a + b), 1 / (a + b)}
}

// loosened is the estimate of a number that differs from the estimated one by
// a further random part.
func (e estimate) loosened(variance float64) estimate {
	return estimate{e.mean, e.variance + variance}
}
