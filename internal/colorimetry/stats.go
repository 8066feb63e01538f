package colorimetry

import (
	"math"
	"slices"
)

// Stats sums up colour differences.
type Stats struct {
	Count int
	Mean  float64
	P95   float64 // 95 in 100 are at most this
	Max   float64
	Worst int // index of the largest
}

// Summarize returns the statistics of differences; ok is false when there are
// none.
func Summarize(differences []float64) (s Stats, ok bool) {
	if len(differences) == 0 {
		return Stats{}, false
	}
	s = Stats{Count: len(differences), P95: Quantile(differences, 0.95), Max: math.Inf(-1)}
	for i, d := range differences {
		s.Mean += d / float64(len(differences))
		if d > s.Max {
			s.Max, s.Worst = d, i
		}
	}
	return s, true
}

// Quantile returns the smallest of the values that at least the share p of them
// does not exceed (the inverse of the empirical distribution): always one of
// the values, with fewer than twenty of them the 95th percentile is the
// largest. p is 0 to 1; there is at least one value.
func Quantile(values []float64, p float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	rank := int(math.Ceil(p * float64(len(sorted))))
	return sorted[min(max(rank, 1), len(sorted))-1]
}

// Correlation is how well two lists follow each other on a straight line, -1 to
// 1 (Pearson). ok is false when one of them does not vary.
func Correlation(a, b []float64) (r float64, ok bool) {
	n := float64(min(len(a), len(b)))
	var ma, mb float64
	for i := range int(n) {
		ma, mb = ma+a[i]/n, mb+b[i]/n
	}
	var aa, bb, ab float64
	for i := range int(n) {
		x, y := a[i]-ma, b[i]-mb
		aa, bb, ab = aa+x*x, bb+y*y, ab+x*y
	}
	if aa == 0 || bb == 0 {
		return 0, false
	}
	return ab / math.Sqrt(aa*bb), true
}
