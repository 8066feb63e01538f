package report_test

import (
	"bytes"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/report"
)

func TestLookFor(t *testing.T) {
	d := worn()
	d.Serial, d.State.Console = "OK00471", []string{"  Ready  ", "", "Tray\x1b[2J 1"}
	d.Finishers = []device.Finisher{{Kind: "stitcher"}, {Kind: "puncher", Present: "notPresent"}}
	for _, width := range []int{30, 60, 120} {
		var b bytes.Buffer
		o := report.Options{Width: width}
		if err := report.WriteLookFor(&b, d, "it does not offer Identify-Printer", o); err != nil {
			t.Fatal(err)
		}
		report.CheckText(t, b.String(), o)
		if width == 120 {
			for _, want := range []string{"OK00471", "Front desk", "“Ready” / “Tray\\x1b[2J 1”", "1 tray, stitcher", "Not reported"} {
				if !strings.Contains(b.String(), want) {
					t.Errorf("lacks %q:\n%s", want, b.String())
				}
			}
		}
	}
}
