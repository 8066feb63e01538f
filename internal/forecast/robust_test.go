package forecast

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Published examples, the data and the results from memory.
func TestTheilSenPublished(t *testing.T) {
	for _, c := range []struct {
		name string
		x, y []float64
		want float64
		to   float64 // the result is published to this precision
	}{
		// Sen, Estimates of the regression coefficient based on Kendall's tau,
		// Journal of the American Statistical Association 63 (1968), section 6.
		{"Sen 1968", []float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}, 4, 1e-12},
		// Hollander and Wolfe, Nonparametric Statistical Methods, example 9.1:
		// double ratios of a cloud seeding experiment over five years.
		{"Hollander and Wolfe 9.1", []float64{1, 2, 3, 4, 5}, []float64{1.26, 1.27, 1.12, 1.16, 1.03}, -0.056, 0.0005},
	} {
		got, ok := theilSen(c.x, c.y)
		if !ok || math.Abs(got-c.want) > c.to {
			t.Errorf("%s: %v, %v, want %v", c.name, got, ok, c.want)
		}
	}
}

// The median of all slopes, by gonum's quantile of them.
func TestTheilSenAgainstGonum(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		n := 2 + r.IntN(40)
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(i)+r.Float64()*0.5, r.NormFloat64()
		}
		var slopes []float64
		for i := range x {
			for j := range i {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
		slices.Sort(slopes)
		low := stat.Quantile(0.5, stat.Empirical, slopes, nil)
		want := low
		if len(slopes)%2 == 0 {
			want = (low + slopes[len(slopes)/2]) / 2
		}
		if got, _ := theilSen(x, y); math.Abs(got-want) > 1e-12 {
			t.Fatalf("%d points: %v, want %v", n, got, want)
		}
	}
	if _, ok := theilSen([]float64{3, 3, 3}, []float64{1, 2, 3}); ok {
		t.Error("a slope of points with one x")
	}
	// 29 % of wild points do not move it far; more than mostPoints are thinned out.
	x, y := make([]float64, 300), make([]float64, 300)
	for i := range x {
		x[i], y[i] = float64(i), 7-2*float64(i)
		if i%4 == 0 {
			y[i] = 1e6 * r.NormFloat64()
		}
	}
	if got, _ := theilSen(x, y); math.Abs(got+2) > 0.2 {
		t.Errorf("with a quarter of wild points %v, want -2", got)
	}
}

func TestQuantilesAgainstGonum(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		n := 1 + r.IntN(30)
		values, weights := make([]float64, n), make([]float64, n)
		for i := range values {
			values[i], weights[i] = r.NormFloat64(), 1+math.Floor(4*r.Float64())
		}
		list := make([]weighted, n)
		for i := range list {
			list[i] = weighted{values[i], weights[i]}
		}
		stat.SortWeighted(values, weights)
		for _, p := range []float64{0.1, 0.25, 0.5, 0.9, 1} {
			if got, want := quantile(list, p), stat.Quantile(p, stat.Empirical, values, weights); got != want {
				t.Fatalf("quantile %v of %v: %v, gonum %v", p, list, got, want)
			}
		}
	}
	if !math.IsNaN(quantile(nil, 0.5)) || !math.IsNaN(median(nil)) {
		t.Error("a quantile of nothing")
	}
}

func TestNormalAgainstGonum(t *testing.T) {
	n := distuv.Normal{Mu: 0, Sigma: 1}
	for z := -6.0; z <= 6; z += 0.25 {
		if d := math.Abs(phi(z) - n.CDF(z)); d > 1e-12 {
			t.Errorf("phi(%v) is off by %v", z, d)
		}
		if d := math.Abs(density(z) - n.Prob(z)); d > 1e-12 {
			t.Errorf("density(%v) is off by %v", z, d)
		}
	}
}

// The mean and variance of a cut normal number, by gonum's quadrature.
func TestWithinAgainstQuadrature(t *testing.T) {
	for _, c := range []struct{ mean, sd, low, high float64 }{
		{50, 10, 0, 100}, {5, 4, 0, 10}, {-3, 4, 0, 10}, {18, 4, 0, 10}, {40, 2, 30, 50}, {0.1, 0.5, 0, 1},
	} {
		n := distuv.Normal{Mu: c.mean, Sigma: c.sd}
		moment := func(k int) float64 {
			return quad.Fixed(func(x float64) float64 { return math.Pow(x, float64(k)) * n.Prob(x) }, c.low, c.high, 200, nil, 0)
		}
		mass := moment(0)
		mean := moment(1) / mass
		variance := moment(2)/mass - mean*mean
		m, v, q := within(c.mean, c.sd*c.sd, c.low, c.high)
		if math.Abs(m-mean) > 1e-6 || math.Abs(v-variance) > 1e-5 || math.Abs(q-mass) > 1e-9 {
			t.Errorf("%v: %v %v %v, want %v %v %v", c, m, v, q, mean, variance, mass)
		}
	}
	// So far away that nothing of it is left: near the closer bound, never outside.
	for _, mean := range []float64{-1000, 1000} {
		if m, v, _ := within(mean, 1, 0, 10); m < 0 || m > 10 || v < 0 || (m > 5) != (mean > 0) {
			t.Errorf("from %v: %v %v", mean, m, v)
		}
	}
}

func TestPinball(t *testing.T) {
	// By its definition (Koenker and Bassett, Regression quantiles, Econometrica
	// 46, 1978): p times what is missing, 1-p times what is too much.
	for _, c := range []struct{ p, said, truth, want float64 }{
		{0.9, 10, 20, 9}, {0.9, 20, 10, 1}, {0.5, 3, 7, 2}, {0.1, 5, 5, 0},
	} {
		if got := pinball(c.p, c.said, c.truth); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%v: %v", c, got)
		}
	}
}
