package finding

import "printround/internal/device"

// technologyOf returns the class of marking technology: by the device's own
// label (PrtMarkerMarkTechTC), else by supplies of kinds that only one class
// has. The zero
// technology is unknown, and then no word of any class is used.
func technologyOf(d *device.Device) technology {
	if t, ok := known().tech[string(d.Technology)]; ok {
		return t
	}
	t := technology{paper: "paper"}
	if d.Technology != "" && d.Technology != "other" && d.Technology != "unknown" {
		return t // a technology without a class of its own
	}
	classes := map[string]bool{}
	for i := range d.Supplies {
		if k := known().kinds[foldKind(string(d.Supplies[i].Kind))]; k != nil && len(k.tech) == 1 {
			classes[k.tech[0]] = true
		}
	}
	for c := range classes {
		if len(classes) == 1 {
			t.class = c
		}
	}
	return t
}
