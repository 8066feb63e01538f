package site

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
)

func TestNorms(t *testing.T) {
	f, err := Parse("f.toml", []byte(`[thresholds]
clock_off_minutes = 3
certificate_days = 60
[[site]]
name = "A"
targets = ["192.0.2.1"]
  [[site.norm]]
  sides = "Two-Sided-Long-Edge"
  languages = ["langPS", "application/pdf"]
  [[site.norm]]
  model = "Okvarna L420*"
  media = "iso_a4_210x297mm"
  ready_media = ["iso_a4_210x297mm", "iso_a3_297x420mm"]
  orientation = "portrait"
  color_mode = "monochrome"
  resolution_dpi = 1200
  output_bin = "face-down"
  finishings = ["none"]
  punch = ["twoHoleDIN"]
    [[site.norm.tray]]
    name = "Tray 1"
    media = "A4"
    type = "stationery"
    weight_gsm = 80
    [[site.norm.tray]]
    index = 2
    type = "stationery-letterhead"
`))
	if err != nil {
		t.Fatal(err)
	}
	want := []device.Norm{
		{Sides: "two-sided-long-edge", Languages: []string{"langPS", "application/pdf"}},
		{Model: "Okvarna L420*", Media: "iso_a4_210x297mm", Ready: []string{"iso_a4_210x297mm", "iso_a3_297x420mm"}, Orientation: "portrait",
			ColorMode: "monochrome", Resolution: 1200, OutputBin: "face-down", Finishings: []string{"none"}, Punch: []string{"twoHoleDIN"},
			Trays: []device.TrayNorm{{Tray: "Tray 1", Media: "A4", Type: "stationery", Weight: 80}, {Tray: "2", Type: "stationery-letterhead"}}},
	}
	if diff := cmp.Diff(want, f.Sites[0].Norms); diff != "" {
		t.Errorf("norms differ (-want +got):\n%s", diff)
	}
	if *f.Thresholds.ClockOffMin != 3 || *f.Thresholds.CertificateDays != 60 {
		t.Errorf("thresholds %+v", f.Thresholds)
	}
}
