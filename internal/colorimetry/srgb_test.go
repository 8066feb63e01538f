package colorimetry

import (
	"math"
	"testing"
)

// The transfer function at its ends and on both sides of its knee: values by
// IEC 61966-2-1, section 5.2.
func TestLinear(t *testing.T) {
	for v, want := range map[uint8]float64{0: 0, 255: 1, 10: 10.0 / 255 / 12.92, 11: math.Pow((11.0/255+0.055)/1.055, 2.4)} {
		if got := Linear(v); math.Abs(got-want) > 1e-12 {
			t.Errorf("Linear(%d) = %v, want %v", v, got, want)
		}
	}
	for v := 1; v < 256; v++ {
		if Linear(uint8(v)) <= Linear(uint8(v-1)) {
			t.Errorf("not rising at %d", v)
		}
	}
}

// The primaries of IEC 61966-2-1 (table 1: chromaticities of ITU-R BT.709):
// red 0.640, 0.330; green 0.300, 0.600; blue 0.150, 0.060; white 0.3127, 0.3290.
func TestPrimariesHaveTheChromaticitiesOfTheStandard(t *testing.T) {
	for _, c := range []struct {
		name string
		c    SRGB
		x, y float64
	}{
		{"red", SRGB{255, 0, 0}, 0.640, 0.330},
		{"green", SRGB{0, 255, 0}, 0.300, 0.600},
		{"blue", SRGB{0, 0, 255}, 0.150, 0.060},
		{"white", SRGB{255, 255, 255}, 0.3127, 0.3290},
	} {
		v := c.c.XYZ()
		sum := v.X + v.Y + v.Z
		if x, y := v.X/sum, v.Y/sum; math.Abs(x-c.x) > 5e-4 || math.Abs(y-c.y) > 5e-4 {
			t.Errorf("%s: x %.4f y %.4f, want %.4f %.4f", c.name, x, y, c.x, c.y)
		}
	}
}

// CIELAB under D50 of the corners of sRGB, as ICC-based software gives them
// (values from memory, to one decimal).
func TestLabOfTheCorners(t *testing.T) {
	for _, c := range []struct {
		c    SRGB
		want Lab
	}{
		{SRGB{255, 255, 255}, Lab{100, 0, 0}},
		{SRGB{0, 0, 0}, Lab{0, 0, 0}},
		{SRGB{255, 0, 0}, Lab{54.3, 80.8, 69.9}},
		{SRGB{0, 255, 0}, Lab{87.8, -79.3, 81.0}},
		{SRGB{0, 0, 255}, Lab{29.6, 68.3, -112.0}},
		{SRGB{128, 128, 128}, Lab{53.6, 0, 0}},
	} {
		got := c.c.Lab()
		if math.Abs(got.L-c.want.L) > 0.15 || math.Abs(got.A-c.want.A) > 0.15 || math.Abs(got.B-c.want.B) > 0.15 {
			t.Errorf("%v: got %.2f, want %v", c.c, got, c.want)
		}
	}
}

// Equal values are neutral: the white of one standard becomes the white of the
// other.
func TestGreysAreNeutral(t *testing.T) {
	for v := range 256 {
		g := SRGB{uint8(v), uint8(v), uint8(v)}.Lab()
		if math.Abs(g.A) > 0.02 || math.Abs(g.B) > 0.02 {
			t.Errorf("grey %d is %.3f", v, g)
		}
	}
}

func TestAdaptThereAndBack(t *testing.T) {
	x := XYZ{0.3, 0.4, 0.2}
	back := x.Adapt(D65, D50).Adapt(D50, D65)
	if math.Abs(back.X-x.X)+math.Abs(back.Y-x.Y)+math.Abs(back.Z-x.Z) > 1e-12 {
		t.Errorf("%v became %v", x, back)
	}
}
