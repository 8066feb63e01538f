package symptom

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"printround/internal/device"
)

func TestParseInterval(t *testing.T) {
	for text, want := range map[string][]float64{
		"75.4mm": {75.4}, "2.97in": {75.438}, " 75.4 mm , 150.9mm": {75.4, 150.9}, "1in,2in": {25.4, 50.8}, "75.4MM": {75.4},
	} {
		got, err := ParseInterval(text)
		if err != nil || !slices.EqualFunc(got, want, func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }) {
			t.Errorf("%q: %v %v, want %v", text, got, err, want)
		}
	}
	for text, want := range map[string]string{
		"":                                   "empty",
		"75.4":                               "no unit",
		"75,4mm":                             "no unit",
		"0mm":                                "greater than 0",
		"-3mm":                               "greater than 0",
		"75.4mm,-1mm":                        `"-1mm"`,
		"75.4mm,2.97in":                      "different units",
		"75.4cm":                             `unit "cm" is not known`,
		"x":                                  "no distance",
		"75.4mm,,80mm":                       "empty",
		"1mm":                                "under 3 mm",
		"99in":                               "over 2000 mm",
		"NaNmm":                              "no distance",
		"Infmm":                              "no distance",
		"1e2mm":                              "no distance",
		"0x10mm":                             "no distance",
		strings.Repeat("75mm,", 60) + "75mm": "too many",
	} {
		if got, err := ParseInterval(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v %v, want an error with %q", text, got, err, want)
		}
	}
}

// Worked by hand.
//
// Positions 75, 150, 226 mm of marks 1, 2, 3 after the first, which is at 0:
// means k = 1.5, d = 112.75; sums of products: Sxy = (-1.5)(-112.75) +
// (-0.5)(-37.75) + 0.5*37.25 + 1.5*113.25 = 376.5; Sxx = 5; slope 75.3. Rests
// 0.2, -0.1, -0.4, 0.3: sum of squares 0.30; standard error of the slope
// sqrt(0.30/2/5) = 0.1732; times t(2) = 4.303: 0.745.
//
// Repeats 75.0, 75.4, 75.8 mm: mean 75.4, standard deviation 0.4, of the mean
// 0.2309, times t(2) = 4.303: 0.994.
//
// One value: half a millimetre of reading at both ends, sqrt(2)/2 = 0.707.
func TestFitByHand(t *testing.T) {
	for _, c := range []struct {
		mm                            []float64
		reading                       string
		interval, plusMinus, diameter float64
	}{
		{[]float64{75, 150, 226}, ReadPositions, 75.3, 0.75, 23.97},
		{[]float64{226, 75, 150}, ReadPositions, 75.3, 0.75, 23.97},
		{[]float64{75.0, 75.4, 75.8}, ReadRepeats, 75.4, 0.99, 24},
		{[]float64{94.25}, ReadOne, 94.25, 0.71, 30},
	} {
		r, err := Fit(c.mm)
		if err != nil {
			t.Errorf("%v: %v", c.mm, err)
			continue
		}
		if r.Reading != c.reading || r.IntervalMM != c.interval || r.PlusMinusMM != c.plusMinus || r.DiameterMM != c.diameter {
			t.Errorf("%v: %s %g +- %g, %g across; want %s %g +- %g, %g", c.mm, r.Reading, r.IntervalMM, r.PlusMinusMM, r.DiameterMM, c.reading, c.interval, c.plusMinus, c.diameter)
		}
	}
}

// The straight line is that of gonum's regression, its standard error that of
// gonum's parts, and the quantiles of Student's t those of its distribution.
func TestLineAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		n := 3 + rng.IntN(8)
		s := 20 + 280*rng.Float64()
		var x, y []float64
		for k := range n {
			x, y = append(x, float64(k)), append(y, s*float64(k)+rng.NormFloat64())
		}
		a, b, se := line(x, y)
		wantA, wantB := stat.LinearRegression(x, y, nil, false)
		if math.Abs(a-wantA) > 1e-9*s || math.Abs(b-wantB) > 1e-9*s {
			t.Fatalf("line %g %g, gonum %g %g", a, b, wantA, wantB)
		}
		rest := 0.0
		for i := range x {
			e := y[i] - wantA - wantB*x[i]
			rest += e * e
		}
		wantSE := math.Sqrt(rest / float64(n-2) / (stat.Variance(x, nil) * float64(n-1)))
		if math.Abs(se-wantSE) > 1e-9 {
			t.Fatalf("standard error %g, gonum %g", se, wantSE)
		}
	}
	for free := 1; free <= 30; free++ {
		want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(free)}.Quantile(0.975)
		if math.Abs(student(free)-want) > 0.0006 {
			t.Errorf("t(%d) = %g, gonum %g", free, student(free), want)
		}
	}
}

// A drum of 30 mm whose marks are read to half a millimetre: the interval that
// is found holds the true one about as often as it says.
func TestFitCoversTheTruth(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const runs = 2000
	truth, hits := math.Pi*30, 0
	for range runs {
		var mm []float64
		for k := 1; k <= 3; k++ {
			mm = append(mm, math.Round((truth*float64(k)+0.3*rng.NormFloat64())*2)/2)
		}
		r, err := Fit(mm)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.IntervalMM-truth) <= r.PlusMinusMM {
			hits++
		}
	}
	if share := float64(hits) / runs; share < 0.93 {
		t.Errorf("the truth is inside in %.1f %% of %d runs, want 95 %% or more", 100*share, runs)
	}
}

func TestFitRefuses(t *testing.T) {
	for _, c := range []struct {
		mm   []float64
		want []string
	}{
		{nil, []string{"no measurement"}},
		{[]float64{0}, []string{"greater than 0"}},
		{[]float64{75, -75}, []string{"-75 mm"}},
		{[]float64{math.NaN()}, []string{"greater than 0"}},
		{[]float64{75.4, 110}, []string{"110 mm is 1.46 turns", "75.4 mm"}},
		{[]float64{75.4, 150.8, 190}, []string{"190 mm is 2.52 turns"}},
		{[]float64{75, 75.2, 84}, []string{"84 mm does not fit", "75.2 mm"}},
		{[]float64{31, 106.4, 181.8}, []string{"places on the page", "75.4mm,150.8mm"}},
	} {
		r, err := Fit(c.mm)
		if err == nil {
			t.Errorf("%v: %+v, want an error", c.mm, r)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%v: %q, want %q in it", c.mm, err, w)
			}
		}
	}
}

// Rolls of an invented model.
var rollers = &device.Catalogue{Models: []device.Model{
	{Match: "Okvarna*", Rollers: []device.Roller{{Name: "any roller", DiameterMM: 10, ToleranceMM: 1, Part: "roller kit"}}},
	{Match: "Okvarna L420dn", Rollers: []device.Roller{
		{Name: "photoconductor drum", DiameterMM: 24, ToleranceMM: 1, Part: "drum unit"},
		{Name: "fuser roller", DiameterMM: 25, ToleranceMM: 1, Part: "fuser unit"},
		{Name: "charge roller", DiameterMM: 12, ToleranceMM: 0.5, Part: "drum unit"},
		{Name: "developer roller", DiameterMM: 14, ToleranceMM: 0.5, Part: "toner cartridge"},
		{Name: "registration roller", DiameterMM: 16, ToleranceMM: 0.5, Part: "feed roller kit"},
	}},
}}

func okvarna() *device.Device {
	d := printers()["laser"]
	d.MakeModel = "OKVARNA L420dn"
	d.Trays[0].Media.Name = "iso_a4_210x297mm"
	return d
}

// Each part of the table is found by the interval of its turn, and leads.
func TestMatchBySiteFile(t *testing.T) {
	for name, want := range map[string]struct {
		mm   float64
		code string
	}{
		"photoconductor drum": {math.Pi * 24, "drum"}, "fuser roller": {math.Pi * 25, "fuser"},
		"developer roller": {math.Pi * 14, "toner-cartridge"}, "registration roller": {math.Pi * 16, "feed-rollers"},
	} {
		r, err := Fit([]float64{want.mm, 2 * want.mm, 3 * want.mm})
		if err != nil {
			t.Fatal(err)
		}
		Match(r, okvarna(), rollers)
		if len(r.Matches) == 0 || r.Matches[0].Name != name || r.Matches[0].Source != siteFile || r.Matches[0].Turns != 1 {
			t.Errorf("%s: %+v", name, r.Matches)
		}
		got := Triage(RepeatingMark, okvarna(), Options{Catalogue: rollers, Interval: r})
		if got.Causes[0].Code != want.code {
			t.Errorf("%s: %s leads\n%s", name, got.Causes[0].Code, summary(got))
		}
	}
}

func TestMatchSaysWhenNothingOrMuchFits(t *testing.T) {
	notes := func(mm float64, d *device.Device, c *device.Catalogue) string {
		r, err := Fit([]float64{mm})
		if err != nil {
			t.Fatal(err)
		}
		Match(r, d, c)
		return strings.Join(r.Notes, " ")
	}
	for _, c := range []struct {
		mm   float64
		d    *device.Device
		cat  *device.Catalogue
		want string
	}{
		{200, okvarna(), rollers, "No part that the site file lists"},
		{math.Pi * 24.5, okvarna(), rollers, "More than one part fits"},
		{75.4, okvarna(), nil, "common practice"},
		{75.4, nil, nil, "common practice"},
		{310, okvarna(), rollers, "no page has two marks"},
		{90, printers()["label"], nil, "On a roll"},
	} {
		if got := notes(c.mm, c.d, c.cat); !strings.Contains(got, c.want) {
			t.Errorf("%g mm: %q, want %q in it", c.mm, got, c.want)
		}
	}
	r, _ := Fit([]float64{2 * math.Pi * 24})
	Match(r, okvarna(), rollers)
	if len(r.Matches) == 0 || r.Matches[0].Turns != 2 || r.Matches[0].Name != "photoconductor drum" {
		t.Errorf("two turns: %+v", r.Matches)
	}
}

// A4 is 297 mm long (ISO 216): by hand 297/75.4 = 3.94, 297/150 = 1.98,
// 297/300 < 1.
func TestPages(t *testing.T) {
	for _, c := range []struct {
		mm          float64
		least, most int
		shows       bool
	}{{75.4, 3, 4, true}, {148.5, 2, 3, true}, {150, 1, 2, false}, {300, 0, 1, false}} {
		r, _ := Fit([]float64{c.mm})
		Match(r, okvarna(), rollers)
		p := r.Pages[0]
		if len(r.Pages) != 1 || p.LengthMM != 297 || p.Least != c.least || p.Most != c.most || p.Shows != c.shows {
			t.Errorf("%g mm: %+v", c.mm, r.Pages)
		}
	}
	r, _ := Fit([]float64{75})
	Match(r, nil, nil)
	if len(r.Pages) != 2 || r.Pages[1].LengthMM != 279.4 { // ANSI A is 8.5 by 11 in
		t.Errorf("without a device: %+v", r.Pages)
	}
}

func TestExpected(t *testing.T) {
	if got := Expected(okvarna(), rollers); len(got) != 5 || got[0].LowMM != 74.4 || got[0].HighMM != 76.4 {
		t.Errorf("of the model: %+v", got)
	}
	if got := Expected(nil, rollers); len(got) != 6 {
		t.Errorf("of all models: %+v", got)
	}
	for kind, d := range printers() {
		for _, e := range Expected(d, rollers) {
			if e.Source != commonPractice || e.DiameterMM != nil || e.Technology == "" {
				t.Errorf("%s: %+v pretends to know", kind, e)
			}
		}
	}
	if got := Expected(printers()["inkjet"], nil); len(got) != 1 || got[0].Part != "feed roller kit" {
		t.Errorf("inkjet: %+v", got)
	}
}

func FuzzParseInterval(f *testing.F) {
	for _, s := range []string{"75.4mm", "75.4mm,150.9mm", "2.97in", "1e9mm", ",", "mm", "75.4mm,2in"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		mm, err := ParseInterval(text)
		if err != nil {
			return
		}
		for _, v := range mm {
			if !(v >= leastInterval && v <= mostInterval) {
				t.Fatalf("%q gives %v", text, mm)
			}
		}
		r, err := Fit(mm)
		if err != nil {
			return
		}
		if !(r.IntervalMM > 0) || !(r.PlusMinusMM > 0) || math.IsInf(r.PlusMinusMM, 0) {
			t.Fatalf("%q: %+v", text, r)
		}
		Match(r, nil, nil)
		Triage(RepeatingMark, nil, Options{Interval: r})
	})
}
