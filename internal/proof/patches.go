package proof

import (
	"fmt"
	"slices"
)

// Patch is one colour to be measured or looked at.
type Patch struct {
	ID    string // such as C40: the name that measurements are matched by
	Name  string
	Color Color
}

// Full tones that printers with process colours reach on white office paper
// (common practice, no source): within their gamut, so that a difference from
// the nominal value means something. The bands and solids of the page are sent
// as the corners of sRGB instead, which devices print with one colorant.
var (
	processCyan    = Color{R: 0, G: 160, B: 220}
	processMagenta = Color{R: 215, G: 20, B: 125}
	processYellow  = Color{R: 250, G: 230, B: 40}
	processRed     = Color{R: 215, G: 45, B: 40}
	processGreen   = Color{R: 20, G: 150, B: 75}
	processBlue    = Color{R: 50, G: 60, B: 145}
	dark           = Color{R: 35, G: 35, B: 35}
)

// patchColumns is how many patches stand in one row: five steps of a tone and
// one more.
const patchColumns = 6

// Patches are the colour patches of the page, row by row: tone curves of cyan,
// magenta, yellow and black in steps of 20 %, greys mixed from colours, and
// red, green, blue and paper at the ends of the rows.
func Patches() []Patch {
	var out []Patch
	ramp := func(letter, name string, full Color, end Patch) {
		for _, percent := range []int{20, 40, 60, 80, 100} {
			out = append(out, Patch{fmt.Sprintf("%s%d", letter, percent), fmt.Sprintf("%s %d %%", name, percent), tint(full, percent)})
		}
		out = append(out, end)
	}
	ramp("C", "cyan", processCyan, Patch{"R", "red", processRed})
	ramp("M", "magenta", processMagenta, Patch{"G", "green", processGreen})
	ramp("Y", "yellow", processYellow, Patch{"B", "blue", processBlue})
	ramp("K", "black", dark, Patch{"W", "paper", white})
	for i, v := range []uint8{224, 192, 160, 128, 96, 64} {
		// One less of blue: equal values are printed with black alone by many
		// devices, and no balance could be seen.
		out = append(out, Patch{fmt.Sprintf("N%d", i+1), fmt.Sprintf("grey %d", v), Color{R: v, G: v, B: v - 1}})
	}
	return out
}

// tint mixes a colour with paper, in the values sent.
func tint(c Color, percent int) Color {
	mix := func(v uint8) uint8 { return uint8((int(v)*percent + 255*(100-percent) + 50) / 100) }
	return Color{R: mix(c.R), G: mix(c.G), B: mix(c.B)}
}

// solid is one colour of the bands and solids.
type solid struct {
	name  string
	color Color
}

// primaries and secondaries are the corners of sRGB.
var (
	primaries   = []solid{{"cyan", Color{G: 255, B: 255}}, {"magenta", Color{R: 255, B: 255}}, {"yellow", Color{R: 255, G: 255}}}
	secondaries = []solid{{"red", Color{R: 255}}, {"green", Color{G: 255}}, {"blue", Color{B: 255}}}
)

// solids are all of them, and black and grey.
func solids() []solid {
	return slices.Concat(primaries, secondaries, []solid{{"black", black}, {"grey", gray(50)}})
}
