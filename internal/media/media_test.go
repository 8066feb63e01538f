package media

import (
	"math"
	"os"
	"printround/internal/needtest"
	"strconv"
	"strings"
	"testing"
)

// TestRegistry compares every row of the registry's media sizes (PWG 5101.1
// and later registrations; RFC 3805 Appendix B names) with this package. The
// dimensions are taken from the column in 1/100 mm, not from the one that the
// table of this package was made from.
func TestRegistry(t *testing.T) {
	data, err := os.ReadFile(needtest.Shared(t, "standards", "media-sizes.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for _, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		f := strings.Split(line, "\t")
		if strings.HasPrefix(line, "#") || f[0] == "pwg_name" {
			continue
		}
		rows++
		w, _ := strconv.ParseFloat(f[5], 64)
		l, _ := strconv.ParseFloat(f[6], 64)
		names := []string{f[0], strings.ToUpper(f[0])}
		if f[9] != "" {
			names = append(names, f[9], f[9]+"-white")
		}
		for _, name := range names {
			got, ok := ByName(name)
			if !ok || got.Name != f[0] || math.Abs(got.Width*100-w) > 1 || math.Abs(got.Length*100-l) > 1 {
				t.Errorf("ByName(%q) = %+v, %v; want %s %v x %v 1/100 mm", name, got, ok, f[0], w, l)
			}
		}
		for _, d := range [][2]float64{{w, l}, {l, w}, {w + 40, l - 40}} {
			got, ok := BySize(d[0]/100, d[1]/100)
			if !ok {
				t.Errorf("BySize(%v): nothing, want %s or a size within 0.5 mm of it", d, f[0])
				continue
			}
			off := min(max(math.Abs(got.Width*100-d[0]), math.Abs(got.Length*100-d[1])),
				max(math.Abs(got.Width*100-d[1]), math.Abs(got.Length*100-d[0])))
			if off > 50 {
				t.Errorf("BySize(%v) = %+v, %v 1/100 mm away", d, got, off)
			}
		}
		if f[9] != "" {
			if got, _ := BySize(w/100, l/100); got.Name != f[0] {
				t.Errorf("BySize(%v, %v) = %s, want %s", w/100, l/100, got.Name, f[0])
			}
		}
	}
	if rows != len(sizes) {
		t.Errorf("registry has %d sizes, the table %d", rows, len(sizes))
	}
}

// Dimensions of these sizes are those of the names themselves (PWG 5101.1).
func TestBySize(t *testing.T) {
	tests := []struct {
		name string
		a, b float64
		want string
	}{
		{"A4 short edge first", 210, 297, "iso_a4_210x297mm"},
		{"A4 long edge first", 297, 210, "iso_a4_210x297mm"},
		{"A4 from whole points, 595 x 842", 595 * 25.4 / 72, 842 * 25.4 / 72, "iso_a4_210x297mm"},
		{"Letter in tenThousandthsOfInches", 85000 * 0.00254, 110000 * 0.00254, "na_letter_8.5x11in"},
		{"JIS B5 is not ISO B5", 182, 257, "jis_b5_182x257mm"},
		{"ISO B5", 176, 250, "iso_b5_176x250mm"},
		{"DL, not its long-flap twin", 220, 110, "iso_dl_110x220mm"},
		{"0.5 mm off", 210.5, 297, "iso_a4_210x297mm"},
		{"0.6 mm off", 210.6, 297, ""},
		{"a roll without length", 62, 0, ""},
		{"negative", -2, -2, ""},
		{"not a number", math.NaN(), 297, ""},
		{"endless", math.Inf(1), 297, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, ok := BySize(tt.a, tt.b)
			if got.Name != tt.want || ok != (tt.want != "") {
				t.Errorf("BySize(%v, %v) = %+v, %v; want %q", tt.a, tt.b, got, ok, tt.want)
			}
		})
	}
}

func TestByName(t *testing.T) {
	tests := []struct {
		in, want string
		w, l     float64
	}{
		{"iso-a4-white", "iso_a4_210x297mm", 210, 297},
		{" A4 ", "iso_a4_210x297mm", 210, 297},
		{"na-letter-transparent", "na_letter_8.5x11in", 215.9, 279.4},
		{"custom_label_100x50mm", "custom_label_100x50mm", 100, 50},
		{"custom_max_8.5x14in", "custom_max_8.5x14in", 215.9, 355.6},
	}
	for _, tt := range tests {
		got, ok := ByName(tt.in)
		if !ok || got.Name != tt.want || math.Abs(got.Width-tt.w) > 0.001 || math.Abs(got.Length-tt.l) > 0.001 {
			t.Errorf("ByName(%q) = %+v, %v; want %s %v x %v", tt.in, got, ok, tt.want, tt.w, tt.l)
		}
	}
	for _, in := range []string{"", "-white", "Plain Paper", "custom_x_0x10mm", "custom_x_-1x10mm", "custom_x_1e9x10mm",
		"custom__10x10mm", "custom_x_10x10", "custom_x_10mm", "custom_x_10x10x10mm", "C5 Envelope"} {
		if got, ok := ByName(in); ok {
			t.Errorf("ByName(%q) = %+v, want nothing", in, got)
		}
	}
}

func FuzzByName(f *testing.F) {
	for _, s := range []string{"iso_a4_210x297mm", "iso-a4-white", "custom_a_1x1in", "A4", "_", "x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := ByName(s)
		if ok && !(got.Width > 0 && got.Length > 0 && got.Name != "") {
			t.Errorf("ByName(%q) = %+v", s, got)
		}
	})
}
