package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"printround/internal/cgats"
	"printround/internal/color"
	"printround/internal/device"
	"printround/internal/proof"
	"printround/internal/report"
)

const colorHelp = `Compares the colour patches of a page, measured with any instrument, with what
they should be, and says which channel is off and by how much, and whether the
device's calibration, a supply, the paper or a setting is the likelier cause.
Nothing is asked of a device.

--measured takes CGATS.17 text, the open exchange format that the programs of
instruments export: CIELAB (LAB_L, LAB_A, LAB_B) or XYZ (0 to 100), under D50 and
for 2 degrees. Spectra alone and densities are not read. Patches are found by
SAMPLE_NAME or SAMPLE_ID, else by RGB or CMYK values, else, when there are as
many readings as patches and they have numbers only, by their order.

Without --reference the page is that of 'printround proof', row by row:
  C20 C40 C60 C80 C100 R
  M20 M40 M60 M80 M100 G
  Y20 Y40 Y60 Y80 Y100 B
  K20 K40 K60 K80 K100 W     (W is the bare paper)
  N1 N2 N3 N4 N5 N6
and what its values mean by sRGB is taken as right. Printers handle sRGB in their
own ways, so those tolerances are wide, and differences count relative to the
paper. A file measured on the same printer and paper when it was good, given as
--reference, tells much more; a chart of your own works the same way.

Shown are ΔE00 (CIEDE2000) and ΔE*ab (CIE 1976) of each patch, their mean, 95th
percentile and largest; the strength and hue of each solid; the tones on the way
to it; the balance of the greys; the paper; and what the readings do not tell.
Tolerances and rules are common practice: --explain shows them. --format csv has
one row for each patch.

Exit status:
  0  within tolerance
  1  failed, or too few patches to judge by: what there is, is shown
  2  usage
  3  beyond tolerance
`

func newColor(a *app) *cobra.Command {
	var show showFlags
	var measured, reference string
	cmd := &cobra.Command{
		Use:   "color",
		Short: "Measured colour patches against what they should be: which channel is off, and why",
		Long:  colorHelp,
		Example: `  printround proof 10.1.2.17                                  (print the page, then measure its patches)
  printround color --measured readings.txt
  printround color --measured today.txt --reference when-it-was-good.txt
  printround color --measured readings.txt --format csv --out patches.csv`,
		Args: arguments(0, 0, "no arguments: the readings are given by --measured"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if measured == "" {
				return &usageError{message: "which readings? --measured names their file", hint: "printround color --measured readings.txt"}
			}
			o, err := show.options(a, cmd)
			if err != nil {
				return err
			}
			for _, in := range []string{measured, reference} {
				if sameFile(in, show.out) {
					return usagef("--out %s would overwrite the readings: give another name", show.out)
				}
			}
			c, err := compareColor(measured, reference)
			if err != nil {
				return err
			}
			if err := a.write(show.out, func(w io.Writer) error { return report.WriteColor(w, c, o) }); err != nil {
				return err
			}
			return end(colorStatus(c.Verdict))
		},
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.StringVar(&measured, "measured", "", "`FILE` of the readings, CGATS.17 text")
	fl.StringVar(&reference, "reference", "", "`FILE` of what they should be, CGATS.17 text; default: the proof page")
	show.addDocument(cmd, "a colour comparison")
	fl.BoolVar(&show.explain, "explain", false, "show the rules that held, their weights, and the tolerances")
	return cmd
}

func colorStatus(v color.Verdict) int {
	switch v {
	case color.Within:
		return exitDone
	case color.Beyond:
		return exitAttention
	}
	return exitFailed
}

// compareColor reads both sides and compares them; without a reference the page
// is taken as it was sent.
func compareColor(measured, reference string) (*color.Comparison, error) {
	m, err := loadPatches(measured)
	if err != nil {
		return nil, err
	}
	if reference == "" {
		return color.Compare(m, proofPatches())
	}
	r, err := loadPatches(reference)
	if err != nil {
		return nil, err
	}
	return color.Compare(m, r)
}

func loadPatches(path string) (*color.Set, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	file, err := cgats.Read(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	s, err := color.Load(filepath.Base(path), file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return s, nil
}

// proofPatches are the patches of the page as they are sent.
func proofPatches() *color.Set {
	var out []color.Patch
	for _, p := range proof.Patches() {
		rgb := [3]float64{float64(p.Color.R), float64(p.Color.G), float64(p.Color.B)}
		out = append(out, color.Patch{ID: device.Text(p.ID), Name: device.Text(p.Name), RGB: &rgb})
	}
	return color.Nominal("the proof page", out)
}

// sameFile reports whether two paths name one file that is there.
func sameFile(a, b string) bool {
	if a == "" || b == "" {
		return false
	}
	x, err := os.Stat(a)
	if err != nil {
		return false
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y)
}
