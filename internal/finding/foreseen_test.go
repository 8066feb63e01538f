package finding

import (
	"testing"

	"printround/internal/device"
)

func TestForeseen(t *testing.T) {
	d := &device.Device{Technology: "electrophotographicLaser", Supplies: []device.Supply{
		{Index: 1, Name: "Black Toner", Kind: "tonerCartridge", Role: device.Consumed, Colorant: "black"},
		{Index: 2, Name: "Drum", Kind: "opc", Role: device.Consumed},
		{Index: 3, Name: "Waste", Kind: "wasteToner", Role: device.Receptacle},
		{Index: 4, Name: "Fuser", Kind: "fuser", Role: device.Consumed},
	}}
	tests := []struct {
		index int
		code  string
		part  device.Text
	}{
		{1, RunOut, "black toner cartridge"},
		{2, ServiceDue, "drum unit"},
		{3, RunOut, "waste toner box"},
		{4, ServiceDue, "fuser unit"},
		{5, "", ""},
	}
	for _, tt := range tests {
		code, a, ok := Foreseen(d, tt.index)
		if code != tt.code || a.Part != tt.part || ok != (tt.code != "") {
			t.Errorf("supply %d: %s, part %q, %v; want %s, %q", tt.index, code, a.Part, ok, tt.code, tt.part)
		}
		if ok && (len(a.Steps) == 0 || a.Who == "" || a.Minutes == 0) {
			t.Errorf("supply %d: incomplete advice %+v", tt.index, a)
		}
	}
}
