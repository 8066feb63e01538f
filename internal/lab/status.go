package lab

import "slices"

// overall returns hrDeviceStatus and hrPrinterStatus as RFC 3805 section
// 2.2.13.2 prescribes for the states of a printer.
func (d *machine) overall() (device, printer string) {
	busy := "idle"
	if d.printing {
		busy = "printing"
	}
	switch {
	case d.stopped(): // Critical Alert Active; Off-line
		return "down", "other"
	case d.standby:
		return "running", "other"
	case d.warned(): // Non Critical Alert Active
		return "warning", busy
	}
	return "running", busy // Idle; Busy/Active
}

// warned reports whether a non-critical alert asks for anything.
func (d *machine) warned() bool {
	return slices.ContainsFunc(d.alerts, func(a alert) bool {
		return !a.gone && (a.severity == "warning" || a.severity == "warningBinaryChangeEvent")
	})
}

// errorBits is hrPrinterDetectedErrorState: bit 0 is the most significant bit
// of the first octet (RFC 2790 section 4).
func (d *machine) errorBits() []byte {
	b := make([]byte, 2)
	for _, a := range d.alerts {
		if a.gone || a.bit == "" {
			continue
		}
		n := hrPrinterErrorBits.of(a.bit)
		b[n/8] |= 0x80 >> (n % 8)
	}
	return b
}

// Parts of PrtSubUnitStatusTC (RFC 3805 section 2.2.13.2.2).
const (
	availableIdle      = 0
	onRequest          = 1
	availableStandby   = 2
	broken             = 3
	availableActive    = 4
	nonCriticalAlerts  = 8
	criticalAlerts     = 16
	subunitOffline     = 32
	broughtToAttention = onRequest + nonCriticalAlerts
)

// subunit is PrtSubUnitStatusTC of one subunit.
func (d *machine) subunit(group string, index int) int {
	status := availableIdle
	switch {
	case d.standby:
		status = availableStandby
	case d.printing && (group == "mediaPath" || group == "marker"):
		status = availableActive
	}
	availability, flags := status, 0
	for _, a := range d.alerts {
		if a.gone || a.severity == "other" || !a.touches(group, index) {
			continue
		}
		switch {
		case a.critical():
			flags |= criticalAlerts
			availability = broken
			if a.request {
				availability = onRequest
			}
		default:
			flags |= nonCriticalAlerts
			if a.request && availability != broken {
				availability = onRequest
			}
		}
		if a.code == "subunitOffline" {
			flags |= subunitOffline
		}
	}
	return availability + flags
}

// touches reports whether the alert is about the subunit. A supply has no
// status of its own: its alerts show at the marker, as a finisher supply's do
// at the finisher.
func (a *alert) touches(group string, index int) bool {
	switch {
	case a.group == group && a.index == index:
		return true
	case a.group == "markerSupplies" && group == "marker":
		return index == 1
	case a.group == "generalPrinter":
		return group == "marker" || group == "mediaPath"
	}
	return false
}

// reasons are the values of printer-state-reasons: the keyword with the suffix
// that the severity asks for (RFC 8011 section 5.4.12).
func (d *machine) reasons() []string {
	var out []string
	put := func(r reason) {
		if s := r.keyword + r.suffix; r.keyword != "" && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	for _, a := range d.alerts {
		switch {
		case a.gone:
		case a.critical():
			put(reason{a.keyword, "-error"})
		case a.severity == "other":
			put(reason{a.keyword, "-report"})
		default:
			put(reason{a.keyword, "-warning"})
		}
	}
	for _, r := range d.onlyReasons {
		put(r)
	}
	if len(out) == 0 {
		return []string{"none"}
	}
	return out
}

// Values of printer-state (RFC 8011 section 5.4.11).
const (
	stateIdle       = 3
	stateProcessing = 4
	stateStopped    = 5
)

func (d *machine) state() int {
	switch {
	case d.stopped():
		return stateStopped
	case d.printing:
		return stateProcessing
	}
	return stateIdle
}

// panel is what the display shows, one entry a line.
func (d *machine) panel() []string {
	lines := d.console
	if len(lines) == 0 {
		lines = []string{"Ready"}
		if d.Language == "de" {
			lines = []string{"Bereit"}
		}
		if w := d.worst(); w != nil && w.severity != "other" {
			lines = []string{w.text}
		}
	}
	out := make([]string, d.Lines)
	for i := range out {
		if i < len(lines) {
			out[i] = cut(lines[i], d.Chars)
		}
	}
	return out
}

func cut(s string, runes int) string {
	r := []rune(s)
	return string(r[:min(len(r), runes)])
}
