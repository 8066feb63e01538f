package colorimetry

import "math"

// SRGB is a colour as it is sent to a printer, 0..255 each (IEC 61966-2-1,
// 8-bit encoding).
type SRGB struct{ R, G, B uint8 }

// XYZ is a tristimulus value relative to white: Y is 1 for it.
type XYZ struct{ X, Y, Z float64 }

// Lab is a CIELAB value (ISO/CIE 11664-4). L is 0..100.
type Lab struct{ L, A, B float64 }

// D50 is the white that CIELAB values of print are relative to: ICC profile
// connection space (ISO 15076-1), and what measuring instruments give for
// graphic arts (ISO 13655). D65 is the white of sRGB.
var (
	D50 = XYZ{0.9642, 1, 0.8249}
	D65 = XYZ{0.9505, 1, 1.0890} // IEC 61966-2-1, x 0.3127, y 0.3290, rounded as there
)

// srgbToXYZ is the matrix of IEC 61966-2-1 from linear sRGB to XYZ under D65.
var srgbToXYZ = [3][3]float64{
	{0.4124, 0.3576, 0.1805},
	{0.2126, 0.7152, 0.0722},
	{0.0193, 0.1192, 0.9505},
}

// bradford turns XYZ into the cone responses of the linear Bradford transform
// (ISO 15076-1 annex E), in which the change from one white to another is a
// factor for each cone.
var bradford = [3][3]float64{
	{0.8951, 0.2664, -0.1614},
	{-0.7502, 1.7135, 0.0367},
	{0.0389, -0.0685, 1.0296},
}

// bradfordBack is the inverse of bradford.
var bradfordBack = inverse(bradford)

// Linear undoes the transfer function of one sRGB value (IEC 61966-2-1
// section 5.2); the result is 0..1.
func Linear(v uint8) float64 {
	c := float64(v) / 255
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

// XYZ returns the tristimulus value under D65, the white of sRGB.
func (c SRGB) XYZ() XYZ {
	return times(srgbToXYZ, XYZ{Linear(c.R), Linear(c.G), Linear(c.B)})
}

// Lab returns the CIELAB value relative to D50, adapted from D65 by the linear
// Bradford transform, as it is compared with measurements of print.
func (c SRGB) Lab() Lab { return c.XYZ().Adapt(D65, D50).Lab(D50) }

// Adapt returns what looks the same under white to as x does under white from.
func (x XYZ) Adapt(from, to XYZ) XYZ {
	a, b, cone := times(bradford, from), times(bradford, to), times(bradford, x)
	return times(bradfordBack, XYZ{cone.X * b.X / a.X, cone.Y * b.Y / a.Y, cone.Z * b.Z / a.Z})
}

// Lab returns the CIELAB value relative to a white (ISO/CIE 11664-4).
func (x XYZ) Lab(white XYZ) Lab {
	fx, fy, fz := labCurve(x.X/white.X), labCurve(x.Y/white.Y), labCurve(x.Z/white.Z)
	return Lab{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
}

// labCurve is the cube root of CIELAB with its straight part below (6/29)³.
func labCurve(t float64) float64 {
	if t > 216.0/24389 {
		return math.Cbrt(t)
	}
	return t*841/108 + 4.0/29
}

func times(m [3][3]float64, v XYZ) XYZ {
	return XYZ{
		m[0][0]*v.X + m[0][1]*v.Y + m[0][2]*v.Z,
		m[1][0]*v.X + m[1][1]*v.Y + m[1][2]*v.Z,
		m[2][0]*v.X + m[2][1]*v.Y + m[2][2]*v.Z,
	}
}

// inverse is the adjugate over the determinant.
func inverse(m [3][3]float64) (out [3][3]float64) {
	minor := func(r, c int) float64 {
		a, b := (r+1)%3, (r+2)%3
		x, y := (c+1)%3, (c+2)%3
		return m[a][x]*m[b][y] - m[a][y]*m[b][x]
	}
	det := m[0][0]*minor(0, 0) + m[0][1]*minor(0, 1) + m[0][2]*minor(0, 2)
	for r := range 3 {
		for c := range 3 {
			out[c][r] = minor(r, c) / det
		}
	}
	return out
}
