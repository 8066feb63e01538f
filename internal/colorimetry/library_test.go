package colorimetry

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// Differences and conversions equal those of a colour library that others
// wrote; the file says which. Its profiles hold numbers of 16 bits, so the
// conversions agree to some hundredths.
func TestAgreesWithALibrary(t *testing.T) {
	f, err := os.Open("testdata/library.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	pairs, conversions := 0, 0
	for s := bufio.NewScanner(f); s.Scan(); {
		if strings.HasPrefix(s.Text(), "#") {
			continue
		}
		var v []float64
		for _, w := range strings.Fields(s.Text()) {
			x, err := strconv.ParseFloat(w, 64)
			if err != nil {
				t.Fatal(err)
			}
			v = append(v, x)
		}
		switch len(v) {
		case 8:
			pairs++
			a, b := Lab{v[0], v[1], v[2]}, Lab{v[3], v[4], v[5]}
			if d := DeltaE(a, b); math.Abs(d-v[6]) > 1e-5 {
				t.Errorf("ΔE*ab of %v %v: %.6f, library %.6f", a, b, d, v[6])
			}
			if d := DeltaE2000(a, b); math.Abs(d-v[7]) > 1e-5 {
				t.Errorf("ΔE00 of %v %v: %.6f, library %.6f", a, b, d, v[7])
			}
		case 6:
			conversions++
			c, want := SRGB{uint8(v[0]), uint8(v[1]), uint8(v[2])}, Lab{v[3], v[4], v[5]}
			if got := c.Lab(); !near(got, want, 0.1) {
				t.Errorf("%v is %.3f, library %.3f", c, got, want)
			}
		default:
			t.Fatalf("%q", s.Text())
		}
	}
	if pairs != 150 || conversions != 60 {
		t.Errorf("%d pairs, %d conversions", pairs, conversions)
	}
}
