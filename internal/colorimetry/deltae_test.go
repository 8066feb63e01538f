package colorimetry

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The test data that Sharma, Wu and Dalal published with "The CIEDE2000
// color-difference formula: implementation notes, supplementary test data, and
// mathematical observations", Color Research and Application 30 (2005), table 1:
// all 34 pairs, from memory. They exercise each border of the hue circle.
var sharma = []struct {
	one, two Lab
	want     float64
}{
	{Lab{50, 2.6772, -79.7751}, Lab{50, 0, -82.7485}, 2.0425},
	{Lab{50, 3.1571, -77.2803}, Lab{50, 0, -82.7485}, 2.8615},
	{Lab{50, 2.8361, -74.0200}, Lab{50, 0, -82.7485}, 3.4412},
	{Lab{50, -1.3802, -84.2814}, Lab{50, 0, -82.7485}, 1.0000},
	{Lab{50, -1.1848, -84.8006}, Lab{50, 0, -82.7485}, 1.0000},
	{Lab{50, -0.9009, -85.5211}, Lab{50, 0, -82.7485}, 1.0000},
	{Lab{50, 0, 0}, Lab{50, -1, 2}, 2.3669},
	{Lab{50, -1, 2}, Lab{50, 0, 0}, 2.3669},
	{Lab{50, 2.4900, -0.0010}, Lab{50, -2.4900, 0.0009}, 7.1792},
	{Lab{50, 2.4900, -0.0010}, Lab{50, -2.4900, 0.0010}, 7.1792},
	{Lab{50, 2.4900, -0.0010}, Lab{50, -2.4900, 0.0011}, 7.2195},
	{Lab{50, 2.4900, -0.0010}, Lab{50, -2.4900, 0.0012}, 7.2195},
	{Lab{50, -0.0010, 2.4900}, Lab{50, 0.0009, -2.4900}, 4.8045},
	{Lab{50, -0.0010, 2.4900}, Lab{50, 0.0010, -2.4900}, 4.8045},
	{Lab{50, -0.0010, 2.4900}, Lab{50, 0.0011, -2.4900}, 4.7461},
	{Lab{50, 2.5, 0}, Lab{50, 0, -2.5}, 4.3065},
	{Lab{50, 2.5, 0}, Lab{73, 25, -18}, 27.1492},
	{Lab{50, 2.5, 0}, Lab{61, -5, 29}, 22.8977},
	{Lab{50, 2.5, 0}, Lab{56, -27, -3}, 31.9030},
	{Lab{50, 2.5, 0}, Lab{58, 24, 15}, 19.4535},
	{Lab{50, 2.5, 0}, Lab{50, 3.1736, 0.5854}, 1.0000},
	{Lab{50, 2.5, 0}, Lab{50, 3.2972, 0}, 1.0000},
	{Lab{50, 2.5, 0}, Lab{50, 1.8634, 0.5757}, 1.0000},
	{Lab{50, 2.5, 0}, Lab{50, 3.2592, 0.3350}, 1.0000},
	{Lab{60.2574, -34.0099, 36.2677}, Lab{60.4626, -34.1751, 39.4387}, 1.2644},
	{Lab{63.0109, -31.0961, -5.8663}, Lab{62.8187, -29.7946, -4.0864}, 1.2630},
	{Lab{61.2901, 3.7196, -5.3901}, Lab{61.4292, 2.2480, -4.9620}, 1.8731},
	{Lab{35.0831, -44.1164, 3.7933}, Lab{35.0232, -40.0716, 1.5901}, 1.8645},
	{Lab{22.7233, 20.0904, -46.6940}, Lab{23.0331, 14.9730, -42.5619}, 2.0373},
	{Lab{36.4612, 47.8580, 18.3852}, Lab{36.2715, 50.5065, 21.2231}, 1.4146},
	{Lab{90.8027, -2.0831, 1.4410}, Lab{91.1528, -1.6435, 0.0447}, 1.4441},
	{Lab{90.9257, -0.5406, -0.9208}, Lab{88.6381, -0.8985, -0.7239}, 1.5381},
	{Lab{6.7747, -0.2908, -2.4247}, Lab{5.8714, -0.0985, -2.2286}, 0.6377},
	{Lab{2.0776, 0.0795, -1.1350}, Lab{0.9033, -0.0636, -0.5514}, 0.9082},
}

func TestPublishedPairs(t *testing.T) {
	if len(sharma) != 34 {
		t.Fatalf("%d pairs, the table has 34", len(sharma))
	}
	for i, p := range sharma {
		for _, got := range []float64{DeltaE2000(p.one, p.two), DeltaE2000(p.two, p.one)} {
			if math.Abs(got-p.want) > 5e-5 {
				t.Errorf("pair %d: %.6f, published %.4f", i+1, got, p.want)
			}
		}
	}
}

// byVectors is CIEDE2000 without hue angles of the single colours: the mean hue
// is the direction of the sum of two unit vectors, the hue difference is what
// the plane's distance leaves beside the chroma difference, its sign that of
// the cross product, and the cosines of multiples are powers of one complex
// number.
func byVectors(one, two Lab) float64 {
	cab := (math.Sqrt(one.A*one.A+one.B*one.B) + math.Sqrt(two.A*two.A+two.B*two.B)) / 2
	g := 0.5 * (1 - 1/math.Sqrt(1+math.Pow(25/cab, 7)))
	p, q := complex((1+g)*one.A, one.B), complex((1+g)*two.A, two.B)
	abs := func(z complex128) float64 { return math.Sqrt(real(z)*real(z) + imag(z)*imag(z)) }
	cp, cq := abs(p), abs(q)
	dC := cq - cp
	dH := math.Sqrt(max(0, abs(q-p)*abs(q-p)-dC*dC))
	if real(p)*imag(q)-imag(p)*real(q) < 0 {
		dH = -dH
	}
	u := p/complex(cp, 0) + q/complex(cq, 0)
	u /= complex(abs(u), 0)
	turned := func(z complex128, deg float64) float64 { // real part of z turned back
		s, c := math.Sincos(deg * math.Pi / 180)
		return real(z)*c + imag(z)*s
	}
	t := 1 - 0.17*turned(u, 30) + 0.24*real(u*u) + 0.32*turned(u*u*u, -6) - 0.20*turned(u*u*u*u, 63)
	mean := math.Mod(math.Atan2(imag(u), real(u))*180/math.Pi+360, 360)
	l, c := (one.L+two.L)/2-50, (cp+cq)/2
	x := (two.L - one.L) / (1 + 0.015*l*l/math.Sqrt(20+l*l))
	y := dC / (1 + 0.045*c)
	z := dH / (1 + 0.015*c*t)
	rc := 2 / math.Sqrt(1+math.Pow(25/c, 7))
	rt := -rc * math.Sin(math.Pi/180*60*math.Exp(-(mean-275)*(mean-275)/625))
	return math.Sqrt(x*x + y*y + z*z + rt*y*z)
}

func TestAgreesWithAnotherFormulation(t *testing.T) {
	r := rand.New(rand.NewPCG(2005, 34))
	for range 20000 {
		a := Lab{100 * r.Float64(), 240*r.Float64() - 120, 240*r.Float64() - 120}
		b := Lab{100 * r.Float64(), 240*r.Float64() - 120, 240*r.Float64() - 120}
		if got, want := DeltaE2000(a, b), byVectors(a, b); math.Abs(got-want) > 1e-9*(1+want) {
			t.Fatalf("%v %v: %.12f, by vectors %.12f", a, b, got, want)
		}
	}
	for i, p := range sharma { // but where a colour has no hue, or the hues are opposite
		if p.one.Chroma()*p.two.Chroma() == 0 || i >= 8 && i <= 14 {
			continue
		}
		if got := byVectors(p.one, p.two); math.Abs(got-p.want) > 5e-5 {
			t.Errorf("pair %d by vectors: %.6f, published %.4f", i+1, got, p.want)
		}
	}
}

// What follows from the formula whatever its constants: it is symmetric, 0 for
// the same colour and only then; for greys only lightness counts, at L* 50 as
// it is; and for small differences the same direction twice as far is twice the
// difference.
func TestIdentities(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	random := func() Lab { return Lab{100 * r.Float64(), 200*r.Float64() - 100, 200*r.Float64() - 100} }
	for range 5000 {
		a, b := random(), random()
		for name, f := range map[string]func(Lab, Lab) float64{"ΔE*ab": DeltaE, "ΔE00": DeltaE2000} {
			if d, back := f(a, b), f(b, a); math.Abs(d-back) > 1e-9 || d <= 0 || math.IsNaN(d) {
				t.Fatalf("%s of %v %v is %g, back %g", name, a, b, d, back)
			}
			if d := f(a, a); d != 0 {
				t.Fatalf("%s of %v and itself is %g", name, a, d)
			}
		}
		step := Lab{1e-4 * r.Float64(), 1e-4 * r.Float64(), 1e-4 * r.Float64()}
		once := DeltaE2000(a, Lab{a.L + step.L, a.A + step.A, a.B + step.B})
		twice := DeltaE2000(a, Lab{a.L + 2*step.L, a.A + 2*step.A, a.B + 2*step.B})
		if math.Abs(twice/once-2) > 1e-2 {
			t.Fatalf("at %v the step %v is %g, twice as far %g", a, step, once, twice)
		}
	}
	if d := DeltaE2000(Lab{49.5, 0, 0}, Lab{50.5, 0, 0}); math.Abs(d-1) > 1e-12 {
		t.Errorf("one step of lightness around 50 is %g", d)
	}
	if d := DeltaE2000(Lab{0, 0, 0}, Lab{100, 0, 0}); math.Abs(d-100) > 1e-12 {
		t.Errorf("black to white is %g", d)
	}
	if d := DeltaE(Lab{50, 3, 0}, Lab{50, 0, 4}); d != 5 {
		t.Errorf("ΔE*ab of a right triangle 3, 4 is %g", d)
	}
}
