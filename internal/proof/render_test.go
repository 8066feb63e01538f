package proof

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"printround/internal/needtest"
	"strings"
	"testing"
	"time"
)

// run returns what a program prints.
func run(t *testing.T, env []string, name string, args ...string) []byte {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Env = append(os.Environ(), env...)
	var problems bytes.Buffer
	cmd.Stderr = &problems
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s%s", name, err, problems.Bytes(), out)
	}
	return out
}

// written puts a page into a file.
func written(t *testing.T, f Format, s Spec, r Raster) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, f, s, r); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "page."+string(f))
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// readPPM reads one picture of the portable pixmap format (P6) and returns the
// rest.
func readPPM(t *testing.T, b []byte) (*image.RGBA, []byte) {
	t.Helper()
	var fields [3]int
	at, n := 2, 0
	if !bytes.HasPrefix(b, []byte("P6")) {
		t.Fatalf("no P6 picture: %.20q", b)
	}
	for n < 3 {
		for b[at] == ' ' || b[at] == '\n' {
			at++
		}
		if b[at] == '#' {
			at += bytes.IndexByte(b[at:], '\n')
			continue
		}
		for b[at] >= '0' && b[at] <= '9' {
			fields[n] = fields[n]*10 + int(b[at]-'0')
			at++
		}
		n++
	}
	at++
	w, h := fields[0], fields[1]
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for i := range w * h {
		m.SetRGBA(i%w, i/w, color.RGBA{b[at+3*i], b[at+3*i+1], b[at+3*i+2], 255})
	}
	return m, b[at+3*w*h:]
}

// pictures reads all of several P6 pictures one behind the other.
func pictures(t *testing.T, b []byte) []*image.RGBA {
	t.Helper()
	var out []*image.RGBA
	for len(b) > 0 {
		var m *image.RGBA
		m, b = readPPM(t, b)
		out = append(out, m)
	}
	return out
}

const dpi = 200

// renderers draw a page by programs that others wrote.
var renderers = map[string]func(t *testing.T, s Spec) []*image.RGBA{
	"PDF": func(t *testing.T, s Spec) []*image.RGBA {
		tool := needtest.Program(t, "pdftoppm")
		return pictures(t, run(t, nil, tool, "-r", fmt.Sprint(dpi), written(t, PDF, s, Raster{})))
	},
	"PostScript": func(t *testing.T, s Spec) []*image.RGBA {
		return ghostscript(t, written(t, PostScript, s, Raster{}))
	},
	// The raster is read by the library behind the sample IPP printer, which makes
	// PostScript of it.
	"PWG raster": func(t *testing.T, s Spec) []*image.RGBA {
		tool := needtest.Program(t, "ippeveps")
		in := written(t, PWGRaster, s, Raster{Resolution: dpi, Media: "iso_a4_210x297mm"})
		out := run(t, []string{"CONTENT_TYPE=image/pwg-raster"}, tool, in)
		name := filepath.Join(t.TempDir(), "raster.ps")
		if err := os.WriteFile(name, out, 0o600); err != nil {
			t.Fatal(err)
		}
		return ghostscript(t, name, fmt.Sprintf("-dDEVICEWIDTHPOINTS=%.3f", s.Width/point), fmt.Sprintf("-dDEVICEHEIGHTPOINTS=%.3f", s.Length/point))
	},
	"PWG raster, the reader of this test": func(t *testing.T, s Spec) []*image.RGBA {
		var out []*image.RGBA
		for _, p := range decoded(t, s, Raster{Resolution: dpi}) {
			out = append(out, p.image)
		}
		return out
	},
}

func ghostscript(t *testing.T, file string, options ...string) []*image.RGBA {
	t.Helper()
	tool := needtest.Program(t, "gs")
	out := filepath.Join(t.TempDir(), "page-%d.ppm")
	args := append([]string{"-q", "-dSAFER", "-dBATCH", "-dNOPAUSE", "-sDEVICE=ppmraw", "-dTextAlphaBits=4", "-dGraphicsAlphaBits=4", fmt.Sprintf("-r%d", dpi), "-o", out}, options...)
	run(t, nil, tool, append(args, file)...)
	var all []*image.RGBA
	for i := 1; ; i++ {
		b, err := os.ReadFile(fmt.Sprintf(out, i))
		if err != nil {
			return all
		}
		all = append(all, pictures(t, b)...)
	}
}

// darkRuns returns the middles of the dark runs of a row or column of a picture,
// in mm.
func darkRuns(m *image.RGBA, along bool, at float64) []float64 {
	fixed := int(at / 25.4 * dpi)
	n := m.Bounds().Dx()
	if !along {
		n = m.Bounds().Dy()
	}
	var out []float64
	start := -1
	for i := 0; i <= n; i++ {
		is := false
		if i < n {
			c := m.RGBAAt(i, fixed)
			if !along {
				c = m.RGBAAt(fixed, i)
			}
			is = c.R < 128
		}
		switch {
		case is && start < 0:
			start = i
		case !is && start >= 0:
			out = append(out, float64(start+i)/2*25.4/dpi)
			start = -1
		}
	}
	return out
}

// nearest is the value of the list that is nearest to x.
func nearest(list []float64, x float64) float64 {
	best := math.Inf(1)
	for _, v := range list {
		if math.Abs(v-x) < math.Abs(best-x) {
			best = v
		}
	}
	return best
}

// The rulers, measured on the picture that each renderer makes: every tenth
// millimetre, on A4 and Letter, on both sides, stands where its number says,
// within 0.2 mm, and so do the sides of the frame.
func TestRulersMeasured(t *testing.T) {
	for name, render := range renderers {
		for _, sheet := range sheets[:2] {
			t.Run(name+" "+sheet.name, func(t *testing.T) {
				pages := render(t, spec(sheet.width, sheet.length, false))
				if len(pages) != 2 {
					t.Fatalf("%d pages, want 2", len(pages))
				}
				for side, m := range pages {
					size := m.Bounds().Size()
					if w, h := float64(size.X)*25.4/dpi, float64(size.Y)*25.4/dpi; math.Abs(w-sheet.width) > 0.2 || math.Abs(h-sheet.length) > 0.2 {
						t.Fatalf("the picture is %.2f x %.2f mm", w, h)
					}
					// 13.2 mm from an edge only the frame and every tenth mark of the other ruler are.
					across, down := darkRuns(m, true, 13.2), darkRuns(m, false, 13.2)
					worst := 0.0
					check := func(list []float64, want float64) {
						off := math.Abs(nearest(list, want) - want)
						worst = max(worst, off)
						if off > 0.2 {
							t.Errorf("side %d: the mark of %g mm is %.2f mm off", side+1, want, off)
						}
					}
					for mm := 20.0; mm < sheet.width-frameAt; mm += 10 {
						check(across, mm)
					}
					for mm := 20.0; mm <= 220; mm += 10 {
						check(down, mm)
					}
					check(across, frameAt)
					check(across, sheet.width-frameAt)
					check(down, sheet.length-frameAt)
					check(darkRuns(m, false, math.Floor(sheet.width)-14.5), frameAt) // between two marks
					t.Logf("side %d: worst %.3f mm", side+1, worst)
				}
			})
		}
	}
}

// The colours that arrive are those that were sent: each patch in the middle.
func TestPatchesMeasured(t *testing.T) {
	s := spec(210, 297, true)
	s.Sides = "one-sided"
	pages, err := Layout(s)
	if err != nil {
		t.Fatal(err)
	}
	var boxes []Box
	for _, m := range pages[0].Marks {
		if b, ok := m.(Box); ok && b.W == 11.5 {
			boxes = append(boxes, b)
		}
	}
	if len(boxes) != len(Patches()) {
		t.Fatalf("%d patches on the page, want %d", len(boxes), len(Patches()))
	}
	for name, render := range renderers {
		t.Run(name, func(t *testing.T) {
			m := render(t, s)[0]
			for i, b := range boxes {
				c := m.RGBAAt(int((b.X+b.W/2)/25.4*dpi), int((b.Y+b.H/2)/25.4*dpi))
				want := b.Color
				off := func(a, b uint8) bool { return max(a, b)-min(a, b) > 1 }
				if off(c.R, want.R) || off(c.G, want.G) || off(c.B, want.B) {
					t.Errorf("%s is %v, sent %v", Patches()[i].ID, c, want)
				}
			}
		})
	}
}

// The pictures of one page are the same but for the edges of marks, which each
// renderer rounds in its own way: looked at in squares of a millimetre, they
// agree.
func TestLanguagesAgree(t *testing.T) {
	s := spec(215.9, 279.4, true)
	s.Sides = "one-sided"
	const square = dpi / 25
	want := renderers["PWG raster, the reader of this test"](t, s)[0]
	for _, name := range []string{"PDF", "PostScript"} {
		t.Run(name, func(t *testing.T) {
			got := renderers[name](t, s)[0]
			b := want.Bounds().Intersect(got.Bounds())
			differ, all := 0, 0
			for y := 0; y+square <= b.Dy(); y += square {
				for x := 0; x+square <= b.Dx(); x += square {
					all++
					for _, d := range mean(want, x, y, square).less(mean(got, x, y, square)) {
						if math.Abs(d) > 70 {
							differ++
							break
						}
					}
				}
			}
			t.Logf("%d of %d squares differ", differ, all)
			if differ*200 > all {
				t.Errorf("%d of %d squares differ", differ, all)
			}
		})
	}
}

// rgb is a mean of colours.
type rgb [3]float64

func (a rgb) less(b rgb) rgb { return rgb{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func mean(m *image.RGBA, x, y, n int) (out rgb) {
	for i := range n * n {
		c := m.RGBAAt(x+i%n, y+i/n)
		for k, v := range []uint8{c.R, c.G, c.B} {
			out[k] += float64(v) / float64(n*n)
		}
	}
	return out
}

// The form of the PDF, by a program that checks it.
func TestPDFForm(t *testing.T) {
	tool := needtest.Program(t, "qpdf")
	for _, sheet := range sheets {
		out := string(run(t, nil, tool, "--check", written(t, PDF, spec(sheet.width, sheet.length, true), Raster{})))
		if !strings.Contains(out, "No syntax or stream encoding errors") {
			t.Errorf("%s: %s", sheet.name, out)
		}
	}
	t.Run("text can be found", func(t *testing.T) {
		out := string(run(t, nil, needtest.Program(t, "pdftotext"), written(t, PDF, spec(210, 297, true), Raster{}), "-"))
		for _, want := range []string{"OA12345", "lengthwise-line", "4 pt Quay 8B"} {
			if !strings.Contains(out, want) {
				t.Errorf("%q cannot be found", want)
			}
		}
	})
}
