package color

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"printround/internal/colorimetry"
	"printround/internal/device"
	"printround/internal/proof"
)

// page is the proof page as it should be.
func page() *Set {
	var out []Patch
	for _, p := range proof.Patches() {
		rgb := [3]float64{float64(p.Color.R), float64(p.Color.G), float64(p.Color.B)}
		out = append(out, Patch{ID: device.Text(p.ID), Name: device.Text(p.Name), RGB: &rgb})
	}
	return Nominal("the proof page", out)
}

// printer is a simple physical printer: its colorants are filters whose densities
// in red, green and blue light add up (Beer-Lambert law), and it knows how much
// of each makes the colour that is sent. It knows nothing of tone values, hues
// or rules.
type printer struct {
	density [4]float64      // of each colorant, 1 is right
	curve   [4]float64      // exponent on the amount below the solid: above 1 prints tints lighter
	paper   colorimetry.Lab // 100, 0, 0 is none
	mono    bool
	noise   float64       // CIELAB, one standard deviation of the instrument
	filter  [3][3]float64 // of cyan, magenta, yellow in red, green, blue light
	r       *rand.Rand
}

// good is a printer whose colorants are a little other than those of the page,
// so that its cyan is made with some magenta, and so on.
func good(seed uint64) *printer {
	d := &printer{
		density: [4]float64{1, 1, 1, 1}, curve: [4]float64{1, 1, 1, 1}, paper: colorimetry.Lab{L: 94, A: 1.2, B: -4.5},
		noise: 0.3, r: rand.New(rand.NewPCG(seed/1000, 50)),
	}
	solids := [3]int{4, 10, 16} // C100, M100, Y100
	var pure [3][3]float64
	for i, at := range solids {
		for k := range 3 {
			pure[i][k] = densityOf(page().Patches[at].RGB[k])
		}
	}
	for i := range 3 {
		for k := range 3 {
			d.filter[i][k] = pure[i][k]
			for n := range 3 {
				if n != i {
					d.filter[i][k] += 0.12 * (2*d.r.Float64() - 1) * pure[n][k]
				}
			}
		}
	}
	d.r = rand.New(rand.NewPCG(seed, 51)) // another day of the same printer
	return d
}

// deepest is the density of a full colorant in the light that it takes.
const deepest = 1.5

func (d *printer) print(rgb [3]float64) colorimetry.Lab {
	want := [3]float64{densityOf(rgb[0]), densityOf(rgb[1]), densityOf(rgb[2])}
	light := [3]float64{}
	if rgb[0] == rgb[1] && rgb[1] == rgb[2] {
		for k := range light {
			light[k] = d.lay(3, want[0]/deepest) * deepest
		}
	} else {
		for i, amount := range amounts(d.filter, want) {
			for k := range light {
				light[k] += d.lay(i, amount) * d.filter[i][k]
			}
		}
	}
	for k := range light {
		light[k] = math.Pow(10, -light[k])
	}
	x := linearXYZ(light).Adapt(colorimetry.D65, colorimetry.D50)
	if d.mono {
		x = colorimetry.XYZ{X: colorimetry.D50.X * x.Y, Y: x.Y, Z: colorimetry.D50.Z * x.Y}
	}
	p := d.paper.XYZ(colorimetry.D50)
	c := colorimetry.XYZ{X: x.X * p.X / colorimetry.D50.X, Y: x.Y * p.Y, Z: x.Z * p.Z / colorimetry.D50.Z}.Lab(colorimetry.D50)
	return colorimetry.Lab{L: c.L + d.noise*d.r.NormFloat64(), A: c.A + d.noise*d.r.NormFloat64(), B: c.B + d.noise*d.r.NormFloat64()}
}

// lay is how much of a colorant comes onto the paper.
func (d *printer) lay(i int, amount float64) float64 {
	return d.density[i] * math.Copysign(math.Pow(math.Abs(amount), d.curve[i]), amount)
}

func densityOf(v float64) float64 {
	return min(deepest, -math.Log10(max(colorimetry.Linear(uint8(v)), 1e-9)))
}

// amounts solves for the amounts of three filters by Cramer's rule.
func amounts(f [3][3]float64, want [3]float64) (out [3]float64) {
	det := func(m [3][3]float64) float64 {
		return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	}
	for i := range out {
		m := f
		m[i] = want
		out[i] = det(m) / det(f)
	}
	return out
}

// linearXYZ mixes the primaries of sRGB, by their tristimulus values.
func linearXYZ(v [3]float64) (out colorimetry.XYZ) {
	for i, c := range []colorimetry.SRGB{{R: 255}, {G: 255}, {B: 255}} {
		x := c.XYZ()
		out.X += v[i] * x.X
		out.Y += v[i] * x.Y
		out.Z += v[i] * x.Z
	}
	return out
}

// measure prints the page and reads it, patch names in place of numbers.
func (d *printer) measure() *Set {
	s := &Set{Source: Source{Kind: FromFile, Name: "readings.txt", Conditions: Conditions{Illuminant: "D50", Observer: "2", Mode: "M1"}}}
	for _, p := range page().Patches {
		s.Patches = append(s.Patches, Patch{ID: p.ID, Lab: d.print(*p.RGB)})
	}
	s.Source.Patches = len(s.Patches)
	return s
}

func compare(t *testing.T, measured, reference *Set) *Comparison {
	t.Helper()
	c, err := Compare(measured, reference)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// first is the likeliest cause as one word.
func first(c *Comparison) string {
	if len(c.Causes) == 0 {
		return ""
	}
	out := string(c.Causes[0].Kind)
	if ch := c.Causes[0].Channel; ch != nil {
		out += " of " + *ch
	}
	return out
}

// faults are what a printer can have, and where to look first. Each is tried
// against the page as it should be and against the same printer when it was
// good.
var faults = []struct {
	name  string
	spoil func(d *printer)
	want  string
}{
	{"nothing", func(*printer) {}, ""},
	{"cyan runs out", func(d *printer) { d.density[0] = 0.45 }, "supply of cyan"},
	{"magenta runs out", func(d *printer) { d.density[1] = 0.45 }, "supply of magenta"},
	{"yellow runs out", func(d *printer) { d.density[2] = 0.35 }, "supply of yellow"},
	{"black runs out", func(d *printer) { d.density[3] = 0.45 }, "supply of black"},
	{"no magenta", func(d *printer) { d.density[1] = 0.02 }, "supply of magenta"},
	{"all light", func(d *printer) { d.density = [4]float64{0.5, 0.5, 0.45, 0.5} }, "calibration"},
	{"all dark", func(d *printer) { d.density = [4]float64{2, 2, 2.4, 1.8}; d.curve = [4]float64{1, 1, 1, 1} }, "calibration"},
	{"tints of all too light", func(d *printer) { d.curve = [4]float64{1.6, 1.6, 1.6, 1.6} }, "calibration"},
	{"tints of all too dark", func(d *printer) { d.curve = [4]float64{0.6, 0.6, 0.6, 0.6} }, "calibration"},
	{"greys lean", func(d *printer) { d.curve[0] = 1.35 }, "calibration"},
	{"kraft paper", func(d *printer) { d.paper = colorimetry.Lab{L: 75, A: 5, B: 20} }, "media"},
	{"black and white", func(d *printer) { d.mono = true }, "settings"},
}

func TestFaultsOfASimulatedPrinter(t *testing.T) {
	for _, f := range faults {
		for _, against := range []string{"the page", "itself when it was good"} {
			t.Run(f.name+" against "+against, func(t *testing.T) {
				for seed := uint64(0); seed < 20000; seed += 1000 { // twenty printers
					reference := page()
					if against != "the page" {
						reference = good(seed + 500).measure()
					}
					d := good(seed)
					for i := range 4 { // no two days are the same
						d.density[i] *= 1 + 0.02*d.r.NormFloat64()
						d.curve[i] *= 1 + 0.01*d.r.NormFloat64()
					}
					f.spoil(d)
					c := compare(t, d.measure(), reference)
					if got := first(c); got != f.want || (c.Verdict == Within) != (f.want == "") {
						t.Fatalf("seed %d: %s, first %q, want %q\nbeyond %q\n%s", seed, c.Verdict, got, f.want, c.Beyond, causesOf(c))
					}
				}
			})
		}
	}
}

func causesOf(c *Comparison) (out string) {
	for _, x := range c.Causes {
		ch := ""
		if x.Channel != nil {
			ch = *x.Channel
		}
		out += fmt.Sprintf("%d %s %s\n", x.Weight, x.Kind, ch)
		for _, r := range x.Because {
			out += fmt.Sprintf("   %d %s: %s\n", r.Weight, r.Rule, r.Words)
		}
	}
	return out
}
