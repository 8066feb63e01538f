package colorimetry

import "math"

// XYZ returns the tristimulus value of a CIELAB value relative to a white: the
// inverse of XYZ.Lab (ISO/CIE 11664-4).
func (c Lab) XYZ(white XYZ) XYZ {
	fy := (c.L + 16) / 116
	return XYZ{
		X: white.X * labCurveBack(fy+c.A/500),
		Y: white.Y * labCurveBack(fy),
		Z: white.Z * labCurveBack(fy-c.B/200),
	}
}

// labCurveBack is the inverse of labCurve.
func labCurveBack(f float64) float64 {
	if f > 6.0/29 {
		return f * f * f
	}
	return (f - 4.0/29) * 108 / 841
}

// Chroma is the distance from the grey axis, C*ab.
func (c Lab) Chroma() float64 { return math.Hypot(c.A, c.B) }

// Hue is the hue angle h_ab in degrees, 0 up to 360. A grey has none: for a
// chroma of 0 it is 0.
func (c Lab) Hue() float64 { return degrees(math.Atan2(c.B, c.A)) }

// OnPaper returns the value as it is seen by an eye that takes the paper for
// white: each tristimulus value divided by that of the paper (media-relative
// colorimetry of ISO 15076-1). The paper itself becomes 100, 0, 0. Both values
// are relative to D50.
func (c Lab) OnPaper(paper Lab) Lab {
	x, p := c.XYZ(D50), paper.XYZ(D50)
	return XYZ{D50.X * x.X / p.X, D50.Y * x.Y / p.Y, D50.Z * x.Z / p.Z}.Lab(D50)
}

// ToneValue is how far a tint lies on the way from paper to solid, 0 to 100 and
// more: the colour tone value of ISO 20654 (formula from memory), which is as
// even to the eye as CIELAB lightness for every colour. ok is false when paper
// and solid are the same.
func ToneValue(paper, solid, tint Lab) (value float64, ok bool) {
	whole := opticalDistance(paper, solid)
	if whole < 1 {
		return 0, false
	}
	return 100 * opticalDistance(paper, tint) / whole, true
}

// Strength is how far a solid lies from its paper compared with another from
// its own: 1 is as far, less is lighter. Both papers are 100, 0, 0 when the
// values were taken by OnPaper. ok is false when the other is as its paper.
func Strength(paper, solid, otherPaper, otherSolid Lab) (ratio float64, ok bool) {
	whole := opticalDistance(otherPaper, otherSolid)
	if whole < 1 {
		return 0, false
	}
	return opticalDistance(paper, solid) / whole, true
}

// opticalDistance is that of ISO 20654: in each of X, Y and Z after the
// lightness function of CIELAB.
func opticalDistance(a, b Lab) float64 {
	va, vb := optical(a), optical(b)
	x, y, z := va.X-vb.X, va.Y-vb.Y, va.Z-vb.Z
	return math.Sqrt(x*x + y*y + z*z)
}

func optical(c Lab) XYZ {
	fy := (c.L + 16) / 116
	return XYZ{116*(fy+c.A/500) - 16, 116*fy - 16, 116*(fy-c.B/200) - 16}
}
