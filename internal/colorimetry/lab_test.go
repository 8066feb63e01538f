package colorimetry

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

func near(a, b Lab, by float64) bool { return DeltaE(a, b) <= by }

func TestLabThereAndBack(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		c := Lab{100 * r.Float64(), 160*r.Float64() - 80, 160*r.Float64() - 80}
		if back := c.XYZ(D50).Lab(D50); !near(back, c, 1e-9) {
			t.Fatalf("%v became %v", c, back)
		}
	}
	if x := (Lab{100, 0, 0}).XYZ(D50); x != D50 {
		t.Errorf("white is %v", x)
	}
	// ISO/CIE 11664-4: L* 8 is where the curve becomes straight, at Y 216/24389.
	if y := (Lab{8, 0, 0}).XYZ(D50).Y; math.Abs(y-216.0/24389) > 1e-12 {
		t.Errorf("L* 8 is Y %g", y)
	}
}

func TestChromaAndHue(t *testing.T) {
	for _, c := range []struct {
		lab         Lab
		chroma, hue float64
	}{
		{Lab{50, 3, 4}, 5, 53.130102354155980},
		{Lab{50, 0, 10}, 10, 90},
		{Lab{50, -7, 0}, 7, 180},
		{Lab{50, 0, -2}, 2, 270},
		{Lab{50, 1, -1}, math.Sqrt2, 315},
		{Lab{50, 0, 0}, 0, 0},
	} {
		if got := c.lab.Chroma(); math.Abs(got-c.chroma) > 1e-12 {
			t.Errorf("chroma of %v: %g", c.lab, got)
		}
		if got := c.lab.Hue(); math.Abs(got-c.hue) > 1e-9 {
			t.Errorf("hue of %v: %g", c.lab, got)
		}
	}
}

// Media-relative colorimetry makes the paper white, keeps black, and takes a
// filter of the paper away again: for ink on paper XYZ is about that of the ink
// times that of the paper.
func TestOnPaper(t *testing.T) {
	paper := Lab{91, 1.5, -6}
	if got := paper.OnPaper(paper); !near(got, Lab{100, 0, 0}, 1e-9) {
		t.Errorf("the paper is %v on itself", got)
	}
	white := Lab{100, 0, 0}
	for _, ink := range []Lab{{55, -37, -50}, {48, 74, -3}, {89, -5, 93}, {16, 0, 0}, {60, 0, 0}} {
		if got := ink.OnPaper(white); !near(got, ink, 1e-9) {
			t.Errorf("%v on white is %v", ink, got)
		}
		x, p := ink.XYZ(D50), paper.XYZ(D50)
		printed := XYZ{x.X * p.X / D50.X, x.Y * p.Y / D50.Y, x.Z * p.Z / D50.Z}.Lab(D50)
		if got := printed.OnPaper(paper); !near(got, ink, 1e-9) {
			t.Errorf("%v printed on %v is seen as %v", ink, paper, got)
		}
	}
}

// For greys the tone value is the share of the way in lightness, by the
// definition of both (ISO 20654).
func TestToneValue(t *testing.T) {
	white := Lab{100, 0, 0}
	for _, c := range []struct {
		solid, tint Lab
		want        float64
	}{
		{Lab{20, 0, 0}, Lab{60, 0, 0}, 50},
		{Lab{20, 0, 0}, Lab{84, 0, 0}, 20},
		{Lab{20, 0, 0}, Lab{12, 0, 0}, 110},
		{Lab{55, -37, -50}, Lab{55, -37, -50}, 100},
		{Lab{55, -37, -50}, white, 0},
	} {
		got, ok := ToneValue(white, c.solid, c.tint)
		if !ok || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v of %v: %g", c.tint, c.solid, got)
		}
	}
	if _, ok := ToneValue(white, Lab{99.8, 0, 0}, Lab{99.9, 0, 0}); ok {
		t.Error("a solid like its paper has tone values")
	}
	if s, ok := Strength(white, Lab{40, 0, 0}, Lab{90, 0, 0}, Lab{10, 0, 0}); !ok || math.Abs(s-0.75) > 1e-9 {
		t.Errorf("60 of 80 is %g", s)
	}
	if _, ok := Strength(white, Lab{40, 0, 0}, white, white); ok {
		t.Error("there is a strength against nothing")
	}
}

// Quantiles are those of gonum's empirical distribution.
func TestQuantiles(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for n := 1; n < 70; n++ {
		v := make([]float64, n)
		for i := range v {
			v[i] = math.Round(20*r.Float64()) / 2 // with ties
		}
		s, ok := Summarize(v)
		if !ok || s.Count != n {
			t.Fatalf("%d values: %+v", n, s)
		}
		sorted := append([]float64(nil), v...)
		stat.SortWeighted(sorted, nil)
		for _, p := range []float64{0, 0.05, 0.5, 0.9, 0.95, 1} {
			if got, want := Quantile(v, p), stat.Quantile(p, stat.Empirical, sorted, nil); got != want {
				t.Errorf("%d values at %g: %g, gonum %g", n, p, got, want)
			}
		}
		if math.Abs(s.Mean-stat.Mean(v, nil)) > 1e-12 || s.Max != sorted[n-1] || v[s.Worst] != s.Max {
			t.Errorf("%d values: %+v", n, s)
		}
	}
	if _, ok := Summarize(nil); ok {
		t.Error("nothing has statistics")
	}
}

func TestCorrelation(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	for n := 2; n < 40; n++ {
		a, b := make([]float64, n), make([]float64, n)
		for i := range a {
			a[i] = 100 * r.Float64()
			b[i] = a[i] + 50*r.NormFloat64()
		}
		if got, ok := Correlation(a, b); !ok || math.Abs(got-stat.Correlation(a, b, nil)) > 1e-12 {
			t.Errorf("%d values: %g, gonum %g", n, got, stat.Correlation(a, b, nil))
		}
	}
	if _, ok := Correlation([]float64{1, 1, 1}, []float64{1, 2, 3}); ok {
		t.Error("a constant correlates")
	}
}
