package device

import (
	"slices"
	"testing"
)

func TestNormFor(t *testing.T) {
	norms := []Norm{
		{Model: "Okvarna L420dn", Resolution: 1200, Trays: []TrayNorm{{Tray: "tray 2", Type: "letterhead"}}},
		{Sides: "two-sided-long-edge", ColorMode: "monochrome", Languages: []string{"langPS"}, Trays: []TrayNorm{{Tray: "Tray 1", Type: "stationery"}, {Tray: "Tray 2", Type: "stationery", Weight: 80}}},
		{Model: "Okvarna*", ColorMode: "auto", OutputBin: "face-down"},
		{Model: "Okvarna L420*", ColorMode: "color"},
		{Model: "Thellmark*", Sides: "one-sided"},
	}
	n := NormFor(norms, "okvarna  L420dn")
	if n.Sides != "two-sided-long-edge" || n.ColorMode != "color" || n.OutputBin != "face-down" || n.Resolution != 1200 || !slices.Equal(n.Languages, []string{"langPS"}) {
		t.Errorf("got %+v", n)
	}
	if want := []TrayNorm{{Tray: "Tray 1", Type: "stationery"}, {Tray: "tray 2", Type: "letterhead"}}; !slices.Equal(n.Trays, want) {
		t.Errorf("trays %+v, want %+v", n.Trays, want)
	}
	if n := NormFor(norms, "Thellmark MX550"); n.Sides != "one-sided" || n.ColorMode != "monochrome" || n.Resolution != 0 {
		t.Errorf("another maker: %+v", n)
	}
	if n := NormFor(norms, ""); n.Sides != "two-sided-long-edge" || n.OutputBin != "" {
		t.Errorf("an unknown model: %+v", n)
	}
	if n := NormFor(nil, "x"); n.Sides != "" || len(n.Trays) > 0 {
		t.Errorf("no norms: %+v", n)
	}
	if norms[1].Trays[1].Type != "stationery" {
		t.Error("the norms themselves were changed")
	}
}
