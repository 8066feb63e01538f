package color

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"printround/internal/cgats"
	"printround/internal/colorimetry"
	"printround/internal/device"
)

func load(t *testing.T, src string) *Set {
	t.Helper()
	s, err := loadText(src)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func loadText(src string) (*Set, error) {
	f, err := cgats.Parse([]byte(src))
	if err != nil {
		return nil, err
	}
	return Load("readings.txt", f)
}

// text writes a file with the fields given and one row for each line.
func text(head, fields string, rows ...string) string {
	return "CGATS.17\n" + head + "BEGIN_DATA_FORMAT\n" + fields + "\nEND_DATA_FORMAT\nBEGIN_DATA\n" + strings.Join(rows, "\n") + "\nEND_DATA\n"
}

func near(a, b colorimetry.Lab) bool { return colorimetry.DeltaE(a, b) < 0.05 }

func TestLoad(t *testing.T) {
	// The white of D50 and half of its light: L* 76.07 by ISO/CIE 11664-4.
	s := load(t, text("", "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", "1 96.42 100 82.49", "2 48.21 50 41.245"))
	if !near(s.Patches[0].Lab, colorimetry.Lab{L: 100}) || !near(s.Patches[1].Lab, colorimetry.Lab{L: 76.07}) {
		t.Errorf("XYZ: %+v", s.Patches)
	}
	// The same light under D65, with the white of D65.
	s = load(t, text("WEIGHTING_FUNCTION \"ILLUMINANT, D65\"\n", "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", "1 47.525 50 54.45"))
	if !near(s.Patches[0].Lab, colorimetry.Lab{L: 76.07}) {
		t.Errorf("XYZ under D65: %+v", s.Patches)
	}
	// Both: CIELAB is taken, spectra beside it are no harm.
	s = load(t, text("", "SAMPLE_ID SAMPLE_NAME XYZ_X XYZ_Y XYZ_Z LAB_L LAB_A LAB_B NM_400 NM_410", `7 "C 100" 1 1 1 55 -37 -50 .1 .2`))
	if p := s.Patches[0]; p.Lab != (colorimetry.Lab{L: 55, A: -37, B: -50}) || p.ID != "7" || p.Name != "C 100" {
		t.Errorf("both: %+v", p)
	}
	// What was sent, in any scale.
	for _, c := range []struct {
		fields, white, row string
		rgb                [3]float64
	}{
		{"RGB_R RGB_G RGB_B", "255 255 255", "0 160 220", [3]float64{0, 160, 220}},
		{"RGB_R RGB_G RGB_B", "100 100 100", "0 50 100", [3]float64{0, 127.5, 255}},
		{"RGB_R RGB_G RGB_B", "1 1 1", "0 .5 1", [3]float64{0, 127.5, 255}},
		{"RGB_R RGB_G RGB_B", "65535 65535 65535", "0 0 65535", [3]float64{0, 0, 255}},
	} {
		s = load(t, text("", "SAMPLE_ID "+c.fields+" LAB_L LAB_A LAB_B", "1 "+c.white+" 95 0 -3", "2 "+c.row+" 60 -20 -40"))
		if got := *s.Patches[1].RGB; !sameInk(&Patch{RGB: &got}, &Patch{RGB: &c.rgb}) || math.Abs(got[1]-c.rgb[1]) > 1e-9 {
			t.Errorf("%s of %s: %v", c.row, c.white, got)
		}
	}
	// Several tables are one page; one without colours is left out and told.
	s = load(t, text("", "SAMPLE_ID LAB_L LAB_A LAB_B", "C100 55 -37 -50")+text("", "SAMPLE_ID LAB_L LAB_A LAB_B", "M100 47 74 -3")+text("", "SAMPLE_ID D_RED", "C100 1.4"))
	if len(s.Patches) != 2 || s.Source.Patches != 2 || !slices.Equal(s.notes, []string{"readings.txt: 1 table without CIELAB or XYZ left out"}) {
		t.Errorf("tables: %+v", s)
	}
	// Names are foreign text.
	s = load(t, text("", "SAMPLE_ID LAB_L LAB_A LAB_B", "\"\x1b[31mC\u202e100\" 55 -37 -50"))
	if s.Patches[0].ID != "C100" {
		t.Errorf("name %q", s.Patches[0].ID)
	}
}

func TestLoadRefuses(t *testing.T) {
	for _, c := range []struct{ name, src, says string }{
		{"spectra", text("", "SAMPLE_ID NM_380 NM_390", "1 .1 .1"), "line 5: only spectral values (2 fields), which are not read: export CIELAB"},
		{"spectra by other names", text("", "SAMPLE_ID SPECTRAL_NM380 R_390 SPECTRAL_DEC", "1 .1 .1 .1"), "only spectral values (3 fields)"},
		{"densities", text("", "SAMPLE_ID D_RED D_GREEN", "1 .1 .1"), "only densities"},
		{"device values", text("", "SAMPLE_ID RGB_R RGB_G RGB_B", "1 0 0 0"), "only what was sent"},
		{"nothing", text("", "SAMPLE_ID HEIGHT", "1 2"), "no CIELAB or XYZ values"},
		{"half of it", text("", "SAMPLE_ID LAB_L LAB_A", "1 2 3"), "no CIELAB or XYZ values"},
		{"no sets", text("", "SAMPLE_ID LAB_L LAB_A LAB_B"), "line 5: the table has no sets"},
		{"too light", text("", "LAB_L LAB_A LAB_B", "120 0 0"), "line 6: LAB_L is 120"},
		{"too strong", text("", "LAB_L LAB_A LAB_B", "50 0 -900"), "line 6: LAB_B is -900; it must be -128 to 128"},
		{"no number", text("", "LAB_L LAB_A LAB_B", "50 - 3"), `line 6: LAB_A is "-", which is no number`},
		{"XYZ from 0 to 1", text("", "XYZ_X XYZ_Y XYZ_Z", ".9 .95 .8", ".2 .2 .1"), "no XYZ_Y is above 0.95"},
		{"lamp light", text("ILLUMINATION_NAME \"A\"\n", "XYZ_X XYZ_Y XYZ_Z", "9 9 8"), "XYZ under illuminant A"},
		{"ink below 0", text("", "LAB_L LAB_A LAB_B CMYK_C CMYK_M CMYK_Y CMYK_K", "50 0 0 -1 0 0 0"), "CMYK_C is -1"},
	} {
		if _, err := loadText(c.src); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
}

func TestConditions(t *testing.T) {
	for head, want := range map[string]Conditions{
		"": {},
		"MEASUREMENT_SOURCE \"Illumination=D50\tObserverAngle=2\tWhiteBase=Abs\tFilter=No\"\n":                {Illuminant: "D50", Observer: "2", WhiteBase: "absolute"},
		"MEASUREMENT_SOURCE \"MeasurementCondition=M1 Illumination=D50 Observer=2\"\n":                        {Illuminant: "D50", Observer: "2", Mode: "M1"},
		"WEIGHTING_FUNCTION \"ILLUMINANT, D65\"\nWEIGHTING_FUNCTION \"OBSERVER, 10 degree\"\nFILTER \"M2\"\n": {Illuminant: "D65", Observer: "10", Mode: "M2", Filter: "M2"},
		"ILLUMINATION_NAME \"F11\"\nOBSERVER_ANGLE \"10\"\nSAMPLE_BACKING \"black\"\n":                        {Illuminant: "F11", Observer: "10", Backing: "black"},
		"MEASUREMENT_SOURCE \"WhiteBase=Paper Filter=Polarized\"\n":                                           {WhiteBase: "paper", Filter: "Polarized"},
		"DESCRIPTOR \"shot under D65 in room M3\"\n":                                                          {},
	} {
		s := load(t, text(head, "LAB_L LAB_A LAB_B", "50 0 0"))
		if s.Source.Conditions != want {
			t.Errorf("%q: %+v, want %+v", head, s.Source.Conditions, want)
		}
	}
	a, b := Source{Kind: FromFile}, Source{Kind: FromFile}
	a.Conditions = Conditions{Illuminant: "D50", Mode: "M0", Backing: "Black"}
	b.Conditions = Conditions{Illuminant: "D50", Mode: "M1", Backing: "black"}
	if got := conditionNotes(&a, &b); len(got) != 1 || !strings.Contains(got[0], "measurement condition (M0 and M1)") {
		t.Errorf("%q", got)
	}
	a.Conditions = Conditions{Illuminant: "D65", Observer: "10", WhiteBase: "paper"}
	b.Kind = FromPage
	if got := conditionNotes(&a, &b); len(got) != 3 {
		t.Errorf("%q", got)
	}
}

// Each patch of the page has a role of its own.
func TestRolesOfThePage(t *testing.T) {
	p := page()
	count := map[string]int{}
	for i, r := range p.roles() {
		switch r.kind {
		case tone:
			count[channels[r.channel]]++
			if want := fmt.Sprintf("%s%g", map[string]string{"cyan": "C", "magenta": "M", "yellow": "Y", "black": "K"}[channels[r.channel]], r.percent); string(p.Patches[i].ID) != want {
				t.Errorf("%s is %s", p.Patches[i].ID, want)
			}
		case grey:
			count["grey"]++
		case paper:
			count["paper"]++
		default:
			count["other"]++
		}
	}
	want := map[string]int{"cyan": 5, "magenta": 5, "yellow": 5, "black": 5, "grey": 6, "paper": 1, "other": 3}
	if fmt.Sprint(count) != fmt.Sprint(want) {
		t.Errorf("%v, want %v", count, want)
	}
}

func TestRolesOfCharts(t *testing.T) {
	rgb := func(r, g, b float64) Patch { return Patch{RGB: &[3]float64{r, g, b}} }
	cmyk := func(c, m, y, k, l, b float64) Patch {
		return Patch{CMYK: &[4]float64{c, m, y, k}, Lab: colorimetry.Lab{L: l, B: b}}
	}
	for _, c := range []struct {
		p    Patch
		want role
	}{
		{rgb(255, 255, 255), role{kind: paper}},
		{rgb(0, 255, 255), role{tone, 0, 100}},
		{rgb(255, 204, 255), role{tone, 1, 20}},
		{rgb(255, 255, 127.5), role{tone, 2, 50}},
		{rgb(128, 128, 127), role{kind: grey}},
		{rgb(200, 100, 50), role{}},
		{cmyk(0, 0, 0, 0, 95, -3), role{kind: paper}},
		{cmyk(0, 40, 0, 0, 70, 0), role{tone, 1, 40}},
		{cmyk(0, 0, 0, 100, 16, 0), role{tone, 3, 100}},
		{cmyk(50, 40, 40, 0, 57, 2), role{kind: grey}},
		{cmyk(80, 80, 80, 0, 25, 9), role{}},
		{cmyk(50, 40, 40, 10, 50, 2), role{}},
		{Patch{}, role{}},
		{Patch{Name: "Cyan 40 %"}, role{tone, 0, 40}},
		{Patch{Name: "k20"}, role{tone, 3, 20}},
		{Patch{Name: "Black-100"}, role{tone, 3, 100}},
		{Patch{Name: "paper white"}, role{kind: paper}},
		{Patch{Name: "Gray 3"}, role{kind: grey}},
		{Patch{ID: "C101"}, role{}},
		{Patch{ID: "cyanide 20"}, role{}},
	} {
		s := &Set{Patches: []Patch{c.p}}
		if got := s.roles()[0]; got != c.want {
			t.Errorf("%+v: %+v, want %+v", c.p, got, c.want)
		}
	}
	// A chart whose fields are numbered like a map: the ink tells.
	s := &Set{Patches: []Patch{{ID: "A1", CMYK: &[4]float64{0, 0, 0, 0}}, {ID: "C20", CMYK: &[4]float64{0, 100, 0, 0}}}}
	s.Patches = append(s.Patches, Patch{ID: "W"})
	if s.roles()[2].kind != paper {
		t.Error("the paper is not the paper there")
	}
	if got := s.roles()[1]; got != (role{tone, 1, 100}) {
		t.Errorf("C20 of a map: %+v", got)
	}
}

// rename gives the readings of a printer other names.
func rename(s *Set, f func(i int, p Patch) Patch) *Set {
	out := *s
	out.Patches = nil
	for i, p := range s.Patches {
		out.Patches = append(out.Patches, f(i, p))
	}
	return &out
}

func TestMatching(t *testing.T) {
	sent := page().Patches
	for _, c := range []struct {
		name, by string
		of       func(i int, p Patch) Patch
	}{
		{"identifiers", ByName, func(i int, p Patch) Patch { return p }},
		{"names beside numbers", ByName, func(i int, p Patch) Patch { return Patch{ID: number(i), Name: p.ID, Lab: p.Lab} }},
		{"long names", ByName, func(i int, p Patch) Patch { return Patch{Name: sent[i].Name, Lab: p.Lab} }},
		{"written otherwise", ByName, func(i int, p Patch) Patch {
			return Patch{ID: device.Text(strings.ToLower(string(p.ID)) + "_"), Lab: p.Lab}
		}},
		{"device values", ByInk, func(i int, p Patch) Patch { return Patch{ID: "x" + number(i), RGB: sent[i].RGB, Lab: p.Lab} }},
		{"order", ByOrder, func(i int, p Patch) Patch { return Patch{ID: number(i), Lab: p.Lab} }},
		{"no names", ByOrder, func(i int, p Patch) Patch { return Patch{Lab: p.Lab} }},
		{"leading zeros", ByOrder, func(i int, p Patch) Patch { return Patch{ID: device.Text(fmt.Sprintf("%03d", i+1)), Lab: p.Lab} }},
	} {
		r := compare(t, rename(good(1).measure(), c.of), page())
		if r.MatchedBy != c.by || len(r.Patches) != len(sent) || len(r.Missing)+len(r.Extra) > 0 || r.Verdict != Within {
			t.Errorf("%s: by %s, %d patches, missing %v, extra %v, %s %v", c.name, r.MatchedBy, len(r.Patches), r.Missing, r.Extra, r.Verdict, r.Beyond)
		}
	}
	// Not even the number of patches fits.
	short := rename(good(1).measure(), func(i int, p Patch) Patch { return Patch{ID: number(i), Lab: p.Lab} })
	short.Patches = short.Patches[:12]
	if _, err := Compare(short, page()); err == nil || err.Error() != "no patch of readings.txt (12 patches) is one of the proof page: it has 1 2 3 4 5 6 …; wanted are C20 C40 C60 C80 C100 R …" {
		t.Errorf("%v", err)
	}
	// The name says one thing, what was sent another.
	wrong := good(1).measure()
	wrong.Patches[3].RGB = sent[4].RGB
	if r := compare(t, wrong, page()); !slices.Equal(r.Missing, []string{"C80"}) || !slices.Equal(r.Extra, []string{"C80"}) {
		t.Errorf("missing %v, extra %v", r.Missing, r.Extra)
	}
}

func number(i int) device.Text { return device.Text(fmt.Sprint(i + 1)) }

// The numbers of one patch, by hand: ΔE*ab is the distance; the statistics are
// those of the list.
func TestNumbers(t *testing.T) {
	at := func(id string, l, a, b float64) Patch {
		return Patch{ID: device.Text(id), Lab: colorimetry.Lab{L: l, A: a, B: b}}
	}
	reference := &Set{Source: Source{Kind: FromFile, Name: "good.txt"}, Patches: []Patch{at("x1", 50, 0, 0), at("x2", 60, 10, 10), at("x3", 70, 0, 0), at("x4", 40, 0, 0), at("x5", 30, 0, 0), at("x6", 20, 0, 0)}}
	measured := &Set{Source: Source{Kind: FromFile, Name: "now.txt"}, Patches: []Patch{at("x1", 50, 3, 4), at("x2", 60, 10, 10), at("x3", 72, 0, 0), at("x4", 40, 0, 0), at("x5", 30, 0, 0), at("x6", 20, 0, 0), at("x6", 22, 0, 0)}}
	c := compare(t, measured, reference)
	ab := c.Overall(MetricAB, AsMeasured)
	if ab.Count != 6 || ab.Mean != 1.33 || ab.P95 != 5 || ab.Max != 5 || ab.Worst != "x1" {
		t.Errorf("%+v", ab)
	}
	if p := c.Patches[5]; p.Readings != 2 || p.Measured != (Lab{L: 21}) || p.DeltaEAB != 1 {
		t.Errorf("read twice: %+v", p)
	}
	if c.Overall(MetricAB, OnPaper) != nil || c.Paper != nil || c.Basis != AsMeasured || c.Patches[0].PaperAB != nil {
		t.Error("there is no paper")
	}
	if want := round(colorimetry.DeltaE2000(colorimetry.Lab{L: 50}, colorimetry.Lab{L: 50, A: 3, B: 4})); c.Patches[0].DeltaE00 != want {
		t.Errorf("ΔE00 %g, want %g", c.Patches[0].DeltaE00, want)
	}
}

// What is missing is said, and nothing is made of it.
func TestWhatCannotBeTold(t *testing.T) {
	only := func(keep string) *Set {
		s := good(3).measure()
		s.Patches = slices.DeleteFunc(s.Patches, func(p Patch) bool { return !slices.Contains(strings.Fields(keep), string(p.ID)) })
		return s
	}
	for _, c := range []struct {
		keep    string
		verdict Verdict
		says    string
	}{
		{"C20 C40 C60 C80 C100 K20 K100 N1 N2", Within, "The paper (W) was not measured"},
		{"C20 C40 C60 C80 C100 K20 K100 N1 N2", Within, "Grey balance: without the paper"},
		{"W C20 C40 C60 C80 C100", Within, "Magenta: no patch of it alone was measured."},
		{"W C20 C40 C60 C80 C100", Within, "Grey balance: no grey patch was measured."},
		{"W C20 C40 C60 C80 M100 Y100", Within, "Cyan: its solid was not measured"},
		{"W C20 C100 M100 Y100 K100", Within, "Cyan: 1 step beside the solid: too few for a tone curve."},
		{"W C100 M100 Y100 K100 N1", Within, "Grey balance: one grey is too few to judge it by."},
		{"W C100 M100 Y100 K100 N1", Within, "With 5 patches the 95th percentile is the largest of them."},
		{"W C100 M100", Undecided, "3 patches: too few to judge a page by; 6 are the least."},
	} {
		got := compare(t, only(c.keep), page())
		if got.Verdict != c.verdict || !slices.ContainsFunc(got.NotTold, func(s string) bool { return strings.HasPrefix(s, c.says) }) {
			t.Errorf("%s: %s, beyond %q, not told %q; wanted %s, %q", c.keep, got.Verdict, got.Beyond, got.NotTold, c.verdict, c.says)
		}
		if len(got.Missing)+len(got.Patches) != len(page().Patches) {
			t.Errorf("%s: %d missing, %d there", c.keep, len(got.Missing), len(got.Patches))
		}
	}
	if all := compare(t, good(3).measure(), page()); len(all.NotTold) > 0 {
		t.Errorf("nothing is missing: %q", all.NotTold)
	}
}

func TestReadingsThatAreMixedUp(t *testing.T) {
	n := len(page().Patches)
	for name, from := range map[string]func(i int) int{
		"one further":  func(i int) int { return min(i+1, n-1) },
		"one earlier":  func(i int) int { return max(i-1, 0) },
		"backwards":    func(i int) int { return n - 1 - i },
		"column first": func(i int) int { return i%5*6 + i/5 },
	} {
		s := good(2).measure()
		moved := rename(s, func(i int, p Patch) Patch { return Patch{ID: p.ID, Lab: s.Patches[from(i)].Lab} })
		c := compare(t, moved, page())
		if first(c) != "readings" || len(c.Causes) != 1 {
			t.Errorf("%s: %s\n%s", name, c.Verdict, causesOf(c))
		}
	}
}

// A slip with one patch is no fault of the printer.
func TestOnePatch(t *testing.T) {
	s := good(2).measure()
	s.Patches[5].Lab = colorimetry.Lab{L: 90} // the red one
	c := compare(t, s, page())
	if c.Verdict != Beyond || first(c) != "readings" || !strings.Contains(c.Causes[0].Because[0].Words, "only R is far off") {
		t.Errorf("%s %q\n%s", c.Verdict, c.Beyond, causesOf(c))
	}
	s = good(2).measure()
	s.Patches = append(s.Patches, Patch{ID: "C40", Lab: colorimetry.Lab{L: 60, A: -10, B: -20}})
	c = compare(t, s, page())
	if !slices.ContainsFunc(c.Notes, func(n string) bool { return strings.HasPrefix(n, "C40 was read 2 times, up to") }) {
		t.Errorf("%q", c.Notes)
	}
}

// By how much: a solid laid on with less density is as weak as colorimetry says.
func TestStrengthIsThatOfTheSolid(t *testing.T) {
	reference, d := good(7), good(7)
	reference.noise, d.noise = 0, 0
	d.density[3] = 0.6
	c := compare(t, d.measure(), reference.measure())
	var k *Channel
	for i := range c.Channels {
		if c.Channels[i].Channel == "black" {
			k = &c.Channels[i]
		}
	}
	// Greys on white paper: the share of the way in L*, from the luminances.
	lightness := func(density float64) float64 {
		return colorimetry.XYZ{Y: math.Pow(10, -density)}.Lab(colorimetry.XYZ{X: 1, Y: 1, Z: 1}).L
	}
	full := densityOf(35)
	want := 100 * (100 - lightness(0.6*full)) / (100 - lightness(full))
	if math.Abs(*k.Solid.Strength-want) > 0.2 {
		t.Errorf("strength %g, by lightness %g", *k.Solid.Strength, want)
	}
}

func TestHueNames(t *testing.T) {
	// Hue angles of the colorants and their mixtures on paper (characterisation
	// data of offset printing, from memory, about).
	for name, lab := range map[string]colorimetry.Lab{
		"cyan": {A: -37, B: -50}, "magenta": {A: 74, B: -3}, "yellow": {A: -5, B: 93}, "red": {A: 68, B: 48}, "green": {A: -65, B: 27}, "blue": {A: 17, B: -46},
	} {
		if got := hueName(lab.Hue()); got != name {
			t.Errorf("%s is called %s (%.0f)", name, got, lab.Hue())
		}
	}
	if len(lean) != 6 {
		t.Error("each of the six leans somewhere")
	}
}

func TestEveryCauseIsAdvised(t *testing.T) {
	for _, k := range []CauseKind{Calibration, Supply, Media, Settings, Readings} {
		x := Cause{Kind: k}
		x.advise()
		if len(x.Try) == 0 || (x.Symptom == nil) != (k == Readings) || (x.Caution != nil) != (k == Supply) {
			t.Errorf("%s: %+v", k, x)
		}
	}
}

// Whatever a file holds, comparing it ends, and every number is one.
func FuzzCompare(f *testing.F) {
	f.Add([]byte(text("", "SAMPLE_ID LAB_L LAB_A LAB_B", "W 95 0 -3", "C100 55 -37 -50", "C40 0 0 0", "N1 0 0 0", "N2 100 128 -128", "K100 -1 0 0", "M100 1 1 1")))
	f.Add([]byte(text("", "SAMPLE_ID XYZ_X XYZ_Y XYZ_Z RGB_R RGB_G RGB_B", "1 0 0 0 255 255 255", "2 90 95 80 0 160 220")))
	f.Fuzz(func(t *testing.T, src []byte) {
		file, err := cgats.Parse(src)
		if err != nil {
			return
		}
		s, err := Load("x", file)
		if err != nil || len(s.Patches) > 500 {
			return
		}
		for _, reference := range []*Set{page(), s} {
			c, err := Compare(s, reference)
			if err != nil {
				continue
			}
			for _, p := range c.Patches {
				for _, v := range []float64{p.DeltaE00, p.DeltaEAB, p.Measured.L, p.Measured.A, p.Measured.B} {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("%+v", p)
					}
				}
				if p.Paper00 != nil && (math.IsNaN(*p.Paper00) || math.IsInf(*p.Paper00, 0)) {
					t.Fatalf("%+v", p)
				}
			}
			if reference == s && c.Verdict == Beyond && len(c.Extra) == 0 && len(c.Patches) == len(s.Patches) {
				t.Fatalf("not like itself: %q", c.Beyond)
			}
		}
	})
}
