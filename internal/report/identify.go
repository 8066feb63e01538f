package report

import (
	"io"
	"strings"

	"printround/internal/device"
)

// WriteLookFor says by what a device is recognised that cannot show itself; why
// says why it cannot.
func WriteLookFor(w io.Writer, d *device.Device, why string, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.painted(sgrBold, "What to look for ("+p.text(why)+")")
	p.facts2(
		"Location", string(d.Location),
		"Model", string(d.MakeModel),
		"Serial number", string(d.Serial),
		"Name", string(d.Name),
		"Addresses", addressesCell(d.Addresses),
		"MAC", string(d.MAC),
		"Panel shows now", strings.Join(p.quotedAll(d.State.Console), " / "),
		"Looks like", looksLike(d),
	)
	p.wrapped("  ", "", "The serial number is on the plate at the back or inside the front cover of most devices, and the address in the network page of the panel's menu (common practice).")
	return p.err
}

func (p *page) quotedAll(lines []string) []string {
	var out []string
	for _, l := range lines {
		if l = strings.TrimSpace(l); l != "" {
			out = append(out, p.quoted(l))
		}
	}
	return out
}

// looksLike says what can be seen from outside: trays, finishers and bins.
func looksLike(d *device.Device) string {
	var parts []string
	trays := 0
	for _, t := range d.Trays {
		if t.Kind != "sheetFeedManual" {
			trays++
		}
	}
	if trays > 0 {
		parts = append(parts, device.Counted(trays, "tray", "trays"))
	}
	if n := len(d.Outputs); n > 0 {
		parts = append(parts, device.Counted(n, "output bin", "output bins"))
	}
	for i := range d.Finishers {
		if f := &d.Finishers[i]; f.Kind != "" && f.Present != "notPresent" {
			parts = append(parts, string(f.Kind))
		}
	}
	return strings.Join(parts, ", ")
}
