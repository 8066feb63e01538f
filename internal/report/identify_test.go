package report_test

import (
	"bytes"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/report"
	"printround/internal/term"
)

func TestLookFor(t *testing.T) {
	d := worn()
	d.Serial, d.State.Console = "OK00471", []string{"  Ready  ", "", "Tray\x1b[2J 1"}
	d.Finishers = []device.Finisher{{Kind: "stitcher"}, {Kind: "puncher", Present: "notPresent"}}
	for _, width := range []int{30, 60, 120} {
		var b bytes.Buffer
		if err := report.WriteLookFor(&b, d, "it does not offer Identify-Printer", report.Options{Width: width}); err != nil {
			t.Fatal(err)
		}
		for _, l := range strings.Split(b.String(), "\n") {
			if term.DisplayWidth(l) > width || strings.ContainsRune(l, '\x1b') {
				t.Errorf("at %d: %q", width, l)
			}
		}
		if width == 120 {
			for _, want := range []string{"OK00471", "Front desk", "“Ready” / “Tray\\x1b[2J 1”", "1 tray, stitcher", "Not reported"} {
				if !strings.Contains(b.String(), want) {
					t.Errorf("lacks %q:\n%s", want, b.String())
				}
			}
		}
	}
}
