package finding

import "printround/internal/device"

// technologyOf returns the class of marking technology: by the device's own
// label (PrtMarkerMarkTechTC), else by what its supplies are. The zero
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
		if c := supplyClass[foldKind(string(d.Supplies[i].Kind))]; c != "" {
			classes[c] = true
		}
	}
	for c := range classes {
		if len(classes) == 1 {
			t.class = c
		}
	}
	return t
}

// supplyClass tells the technology of a device that does not state it, by
// kinds of supplies (folded) that only one technology has.
var supplyClass = map[string]string{
	"toner": "toner", "tonercartridge": "toner", "mattetoner": "toner", "wastetoner": "toner",
	"opc": "toner", "developer": "toner", "fuser": "toner", "fuseroil": "toner", "coronawire": "toner",
	"ink": "ink", "inkcartridge": "ink", "matteink": "ink", "wasteink": "ink",
}
