package symptom

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"printround/internal/device"
)

// RepeatingMark is the symptom that an interval belongs to.
const RepeatingMark = "repeating-mark"

// How measurements were read.
const (
	ReadOne       = "one"       // one distance
	ReadPositions = "positions" // distances from the first mark to each next one
	ReadRepeats   = "repeats"   // one distance, measured several times
)

// Bounds of what is taken for an interval, in millimetres (common practice, no
// source): no part that touches the sheet is thinner or thicker.
const (
	leastInterval = 3
	mostInterval  = 2000
	mostValues    = 50
)

// A ruler is read to half a millimetre at both ends of a distance (common
// practice, no source).
const readingMM = 0.5 * math.Sqrt2

const mmPerInch = 25.4 // exact

// ParseInterval reads measurements such as 75.4mm,150.9mm or 2.97in. Every value
// has its unit, and all have the same.
func ParseInterval(text string) ([]float64, error) {
	if strings.TrimSpace(text) == "" {
		return nil, errors.New("the interval is empty: give a distance such as 75.4mm or 2.97in")
	}
	fields := strings.Split(text, ",")
	if len(fields) > mostValues {
		return nil, fmt.Errorf("%d measurements are too many: give at most %d", len(fields), mostValues)
	}
	var out []float64
	var unit, unitOf string
	for _, f := range fields {
		f = strings.TrimSpace(f)
		mm, u, err := length(f)
		switch {
		case err != nil:
			return nil, err
		case unit != "" && u != unit:
			return nil, fmt.Errorf("%s and %s have different units: give all in mm or all in in", unitOf, f)
		}
		unit, unitOf = u, f
		out = append(out, mm)
	}
	return out, nil
}

// length reads one distance and returns it in millimetres.
func length(f string) (mm float64, unit string, err error) {
	number := strings.TrimRight(f, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ\"' ")
	unit = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(f, number)))
	v, bad := strconv.ParseFloat(number, 64)
	scale := 1.0
	switch {
	case f == "":
		return 0, "", errors.New("a measurement between the commas is empty")
	case bad != nil || strings.ContainsAny(number, "xXeEpP_"):
		return 0, "", fmt.Errorf("%q is no distance: wanted a number and a unit, such as 75.4mm or 2.97in", f)
	case unit == "":
		return 0, "", fmt.Errorf("%q has no unit: write %[1]smm or %[1]sin, and decimals with a point", f)
	case unit == "in":
		scale = mmPerInch
	case unit != "mm":
		return 0, "", fmt.Errorf("%q: the unit %q is not known, wanted mm or in", f, unit)
	}
	mm = v * scale
	switch {
	case math.IsNaN(mm) || mm <= 0:
		return 0, "", fmt.Errorf("%q: a distance between two marks is greater than 0", f)
	case mm < leastInterval:
		return 0, "", fmt.Errorf("%q is under %d mm: no part turns in so short a distance; measure from one mark to the next", f, leastInterval)
	case mm > mostInterval:
		return 0, "", fmt.Errorf("%q is over %d mm: longer than any part's turn", f, mostInterval)
	}
	return mm, unit, nil
}

// Fit finds the interval behind measurements in millimetres. Several values
// near one another are repeats of one distance, and their mean counts. Others
// are distances from the first mark to later ones: each is taken as the whole
// number of turns nearest to it, and a straight line through them and the first
// mark, by least squares, gives the interval as its slope. What fits neither is
// an error that names the value.
func Fit(mm []float64) (*device.Repeat, error) {
	if len(mm) == 0 {
		return nil, errors.New("no measurement")
	}
	for _, v := range mm {
		if !(v > 0 && v <= mostInterval) {
			return nil, fmt.Errorf("%s mm: a distance between two marks is greater than 0 and at most %d mm", two(v), mostInterval)
		}
	}
	r := &device.Repeat{Matches: []device.RollerMatch{}, Pages: []device.RepeatPage{}, Notes: []string{}}
	var err error
	low, high := slices.Min(mm), slices.Max(mm)
	switch {
	case len(mm) == 1:
		r.Reading, r.IntervalMM, r.PlusMinusMM = ReadOne, mm[0], readingMM
		r.Notes = append(r.Notes, "One measurement: its uncertainty is that of reading a ruler. Distances from the first mark to the second, third and fourth say more.")
	case high < 1.3*low:
		r.Reading = ReadRepeats
		r.IntervalMM, r.PlusMinusMM, err = mean(mm)
	default:
		r.Reading = ReadPositions
		r.IntervalMM, r.PlusMinusMM, err = slope(mm)
	}
	if err != nil {
		return nil, err
	}
	r.IntervalMM, r.PlusMinusMM = round2(r.IntervalMM), math.Max(round2(r.PlusMinusMM), 0.01)
	r.DiameterMM = round2(r.IntervalMM / math.Pi)
	return r, nil
}

// apart is how far a measurement may lie from what the others say: 2 mm, or a
// twentieth of the interval when that is more (common practice, no source).
func apart(interval float64) float64 { return math.Max(2, interval/20) }

func mean(mm []float64) (m, plusMinus float64, err error) {
	middle := median(mm)
	for _, v := range mm {
		if off := math.Abs(v - middle); off > apart(middle) {
			return 0, 0, fmt.Errorf("%s mm does not fit the others: their middle is %s mm, %s mm away; measure that one again", two(v), two(middle), two(off))
		}
	}
	n := float64(len(mm))
	for _, v := range mm {
		m += v / n
	}
	ss := 0.0
	for _, v := range mm {
		ss += (v - m) * (v - m)
	}
	se := math.Sqrt(ss / (n - 1) / n)
	return m, math.Max(student(len(mm)-1)*se, readingMM/math.Sqrt(n)), nil
}

// slope fits d = a + s*k through the first mark, which is k = 0 at d = 0, and
// the measurements.
func slope(mm []float64) (s, plusMinus float64, err error) {
	shortest := slices.Min(mm)
	x, y := []float64{0}, []float64{0}
	for _, d := range mm {
		turns := d / shortest
		k := math.Round(turns)
		if math.Abs(d-k*shortest) > apart(shortest)*math.Sqrt(k) {
			return 0, 0, fmt.Errorf("%s mm is %s turns of the shortest, %s mm: distances from the first mark to the next ones are whole turns%s",
				two(d), two(turns), two(shortest), evenHint(mm))
		}
		x, y = append(x, k), append(y, d)
	}
	_, s, se := line(x, y)
	free := len(x) - 2
	return s, math.Max(student(free)*se, readingMM/slices.Max(x)), nil
}

// evenHint helps those who gave places on the page instead of distances from
// the first mark.
func evenHint(mm []float64) string {
	sorted := slices.Clone(mm)
	slices.Sort(sorted)
	if len(sorted) < 3 {
		return "; measure again"
	}
	var steps []float64
	for i := 1; i < len(sorted); i++ {
		steps = append(steps, sorted[i]-sorted[i-1])
	}
	middle := median(steps)
	for _, d := range steps {
		if math.Abs(d-middle) > apart(middle) {
			return "; measure again"
		}
	}
	var want []string
	for _, v := range sorted[1:] {
		want = append(want, two(v-sorted[0])+"mm")
	}
	return "; if these are places on the page, take the first one off the others: " + strings.Join(want, ",")
}

// line is the straight line y = a + b*x of least squares, with the standard
// error of b.
func line(x, y []float64) (a, b, se float64) {
	n := float64(len(x))
	var mx, my float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	b = sxy / sxx
	a = my - b*mx
	var rest float64
	for i := range x {
		e := y[i] - a - b*x[i]
		rest += e * e
	}
	return a, b, math.Sqrt(rest / (n - 2) / sxx)
}

// students holds the quantiles of Student's t for a two-sided 95 % interval and
// 1 to 30 degrees of freedom (NIST/SEMATECH e-Handbook of Statistical Methods,
// section 1.3.6.7.2).
var students = [...]float64{
	12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228,
	2.201, 2.179, 2.160, 2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086,
	2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
}

func student(free int) float64 {
	switch {
	case free < 1:
		return 0
	case free > len(students):
		return 2.042
	}
	return students[free-1]
}

func median(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}

func round2(v float64) float64 { return math.Round(v*100) / 100 }

// two writes a length with at most two decimals.
func two(v float64) string { return strconv.FormatFloat(round2(v), 'f', -1, 64) }
