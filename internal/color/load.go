package color

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"printround/internal/cgats"
	"printround/internal/colorimetry"
	"printround/internal/device"
)

// Fields of CGATS.17 that are read (names from memory).
var (
	labFields  = []string{"LAB_L", "LAB_A", "LAB_B"}
	xyzFields  = []string{"XYZ_X", "XYZ_Y", "XYZ_Z"}
	rgbFields  = []string{"RGB_R", "RGB_G", "RGB_B"}
	cmykFields = []string{"CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K"}
	idFields   = []string{"SAMPLE_ID", "SAMPLEID"}
	nameFields = []string{"SAMPLE_NAME", "SAMPLENAME"}
)

// maxPatches bounds what is compared. The page has thirty, charts have some
// thousand.
const maxPatches = 20_000

// Load takes the patches out of a file; name is what to call it. Every table
// with CIELAB or XYZ values counts; a set of tables is one page.
func Load(name string, f *cgats.File) (*Set, error) {
	s := &Set{Source: Source{Kind: FromFile, Name: device.Clean(name)}}
	var used []*cgats.Table
	for i := range f.Tables {
		t := &f.Tables[i]
		if t.Has(labFields...) || t.Has(xyzFields...) {
			used = append(used, t)
		}
	}
	if len(used) == 0 {
		return nil, unusable(f)
	}
	s.Source.describe(used)
	if skipped := len(f.Tables) - len(used); skipped > 0 {
		s.notes = append(s.notes, fmt.Sprintf("%s: %s without CIELAB or XYZ left out", s.Source.Name, device.Counted(skipped, "table", "tables")))
	}
	for _, t := range used {
		if err := s.table(t); err != nil {
			return nil, err
		}
	}
	if len(s.Patches) == 0 {
		return nil, &cgats.Error{Line: used[0].Line, Message: "the table has no sets: nothing was measured"}
	}
	s.scale()
	s.Source.Patches = len(s.Patches)
	return s, nil
}

// table adds the sets of one table.
func (s *Set) table(t *cgats.Table) error {
	id, name := firstField(t, idFields), firstField(t, nameFields)
	white, err := s.white(t)
	if err != nil {
		return err
	}
	brightest := 0.0
	for i := range t.Rows {
		r := &t.Rows[i]
		if len(s.Patches) == maxPatches {
			return &cgats.Error{Line: r.Line, Message: fmt.Sprintf("more than %d patches", maxPatches)}
		}
		p := Patch{ID: cell(r, id), Name: cell(r, name)}
		if t.Has(labFields...) {
			v, err := t.Numbers(r, -128, 128, labFields...)
			if err != nil {
				return err
			}
			if v[0] < -1 || v[0] > 110 {
				return &cgats.Error{Line: r.Line, Message: fmt.Sprintf("LAB_L is %g; it must be 0 to 100", v[0])}
			}
			p.Lab = colorimetry.Lab{L: v[0], A: v[1], B: v[2]}
		} else {
			v, err := t.Numbers(r, -1, 150, xyzFields...)
			if err != nil {
				return err
			}
			brightest = max(brightest, v[1])
			x := colorimetry.XYZ{X: v[0] / 100, Y: v[1] / 100, Z: v[2] / 100}
			p.Lab = x.Adapt(white, colorimetry.D50).Lab(colorimetry.D50)
		}
		if err := p.ink(t, r); err != nil {
			return err
		}
		s.Patches = append(s.Patches, p)
	}
	if !t.Has(labFields...) && len(t.Rows) > 1 && brightest <= 1.5 {
		return &cgats.Error{Line: t.Line, Message: fmt.Sprintf("no XYZ_Y is above %g: the values seem to be 0 to 1, where CGATS.17 has 0 to 100", brightest)}
	}
	return nil
}

// white returns the white that XYZ values are relative to.
func (s *Set) white(t *cgats.Table) (colorimetry.XYZ, error) {
	switch s.Source.Conditions.Illuminant {
	case "", "D50":
		return colorimetry.D50, nil
	case "D65":
		return colorimetry.D65, nil
	}
	if t.Has(labFields...) {
		return colorimetry.D50, nil
	}
	return colorimetry.XYZ{}, &cgats.Error{Line: t.Line, Message: fmt.Sprintf("XYZ under illuminant %s: set the instrument to D50 and 2 degrees, and export again", s.Source.Conditions.Illuminant)}
}

// ink reads the device values, if there are any.
func (p *Patch) ink(t *cgats.Table, r *cgats.Row) error {
	if t.Has(rgbFields...) {
		v, err := t.Numbers(r, 0, 65535, rgbFields...)
		if err != nil {
			return err
		}
		p.RGB = &[3]float64{v[0], v[1], v[2]}
	}
	if t.Has(cmykFields...) {
		v, err := t.Numbers(r, 0, 65535, cmykFields...)
		if err != nil {
			return err
		}
		p.CMYK = &[4]float64{v[0], v[1], v[2], v[3]}
	}
	return nil
}

// scale brings device values to 0..255 and to percent. Files use 1, 100, 255 or
// 65,535 as the largest; the largest value of the file tells.
func (s *Set) scale() {
	rgb, cmyk := 0.0, 0.0
	for _, p := range s.Patches {
		if p.RGB != nil {
			rgb = max(rgb, p.RGB[0], p.RGB[1], p.RGB[2])
		}
		if p.CMYK != nil {
			cmyk = max(cmyk, p.CMYK[0], p.CMYK[1], p.CMYK[2], p.CMYK[3])
		}
	}
	for _, p := range s.Patches {
		if p.RGB != nil {
			stretch(p.RGB[:], 255/full(rgb))
		}
		if p.CMYK != nil {
			stretch(p.CMYK[:], 100/full(cmyk))
		}
	}
}

// full is the end of the scale whose largest value used is given: 100 counts
// only when it is met, since 255 is the common one of RGB.
func full(most float64) float64 {
	switch {
	case most <= 1:
		return 1
	case most <= 100 && most > 99.5:
		return 100
	case most <= 255:
		return 255
	}
	return 65535
}

func stretch(v []float64, by float64) {
	for i := range v {
		v[i] *= by
	}
}

func firstField(t *cgats.Table, names []string) int {
	for _, n := range names {
		if at := t.Field(n); at >= 0 {
			return at
		}
	}
	return -1
}

// maxName bounds what a patch is called, in bytes.
const maxName = 64

func cell(r *cgats.Row, at int) device.Text {
	if at < 0 {
		return ""
	}
	return device.CleanTo(r.Values[at], maxName)
}

// spectral are fields of reflectances: a wavelength in their name.
var spectral = regexp.MustCompile(`^(SPECTRAL|SPEC|NM|R|REFL?)?_?(NM_?|DEC_?|PCT_?)?[3-9]\d\d(\.\d+)?_?(NM)?$|^SPECTRAL_`)

// unusable says what a file without colour values has instead.
func unusable(f *cgats.File) error {
	t := &f.Tables[0]
	wanted := "export CIELAB (LAB_L, LAB_A, LAB_B; D50, 2 degrees) or XYZ"
	n := 0
	for _, name := range t.Fields {
		if spectral.MatchString(name) {
			n++
		}
	}
	switch {
	case n > 0:
		return &cgats.Error{Line: t.Line, Message: fmt.Sprintf("only spectral values (%s), which are not read: %s", device.Counted(n, "field", "fields"), wanted)}
	case slices.ContainsFunc(t.Fields, func(n string) bool { return strings.HasPrefix(n, "D_") }):
		return &cgats.Error{Line: t.Line, Message: "only densities, which do not tell the colour: " + wanted}
	case t.Has(rgbFields...) || t.Has(cmykFields...):
		return &cgats.Error{Line: t.Line, Message: "only what was sent, not what was measured: " + wanted}
	}
	return &cgats.Error{Line: t.Line, Message: "no CIELAB or XYZ values: " + wanted}
}
