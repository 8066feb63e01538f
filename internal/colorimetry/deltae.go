package colorimetry

import "math"

// DeltaE is the colour difference of CIE 1976, ΔE*ab: the distance in CIELAB
// (ISO/CIE 11664-4).
func DeltaE(a, b Lab) float64 {
	return math.Sqrt(square(a.L-b.L) + square(a.A-b.A) + square(a.B-b.B))
}

// DeltaE2000 is the colour difference CIEDE2000, ΔE00, with weights of 1
// (ISO/CIE 11664-6), as written down by Sharma, Wu and Dalal (Color Research
// and Application 30, 2005), which says what to do at the borders of the hue
// circle.
func DeltaE2000(one, two Lab) float64 {
	g := stretch((one.Chroma() + two.Chroma()) / 2)
	a1, a2 := one.A*(1+g), two.A*(1+g)
	c1, c2 := math.Hypot(a1, one.B), math.Hypot(a2, two.B)
	h1, h2 := degrees(math.Atan2(one.B, a1)), degrees(math.Atan2(two.B, a2))

	turn, hue := hues(c1, c2, h1, h2)
	dL, dC := two.L-one.L, c2-c1
	dH := 2 * math.Sqrt(c1*c2) * math.Sin(radians(turn/2))
	l, c := (one.L+two.L)/2, (c1+c2)/2

	t := 1 - 0.17*cosine(hue-30) + 0.24*cosine(2*hue) + 0.32*cosine(3*hue+6) - 0.20*cosine(4*hue-63)
	sL := 1 + 0.015*square(l-50)/math.Sqrt(20+square(l-50))
	sC := 1 + 0.045*c
	sH := 1 + 0.015*c*t
	rotation := 60 * math.Exp(-square((hue-275)/25)) // twice Δθ, degrees
	rT := -2 * saturation(c) * math.Sin(radians(rotation))

	dL, dC, dH = dL/sL, dC/sC, dH/sH
	return math.Sqrt(square(dL) + square(dC) + square(dH) + rT*dC*dH)
}

// hues returns the turn from the first hue to the second by the shorter way,
// -180 to 180, and their mean, all in degrees. A grey has no hue: the turn is 0
// then and the mean is the other's.
func hues(c1, c2, h1, h2 float64) (turn, mean float64) {
	if c1*c2 == 0 {
		return 0, h1 + h2
	}
	turn, mean = h2-h1, (h1+h2)/2
	switch {
	case turn > 180:
		turn -= 360
	case turn < -180:
		turn += 360
	default:
		return turn, mean
	}
	if mean < 180 {
		return turn, mean + 180
	}
	return turn, mean - 180
}

// stretch is G, by which a* grows near the grey axis.
func stretch(chroma float64) float64 { return (1 - saturation(chroma)) / 2 }

// saturation is √(C⁷ / (C⁷ + 25⁷)).
func saturation(chroma float64) float64 {
	c7 := math.Pow(chroma, 7)
	return math.Sqrt(c7 / (c7 + 25*25*25*25*25*25*25))
}

func square(v float64) float64 { return v * v }

func radians(d float64) float64 { return d * math.Pi / 180 }

func cosine(d float64) float64 { return math.Cos(radians(d)) }

// degrees returns an angle in degrees, 0 up to 360.
func degrees(r float64) float64 {
	d := r * 180 / math.Pi
	if d < 0 {
		d += 360
	}
	return d
}
