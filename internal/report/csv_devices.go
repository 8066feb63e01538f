package report

import (
	"slices"
	"strconv"
	"strings"

	"printround/internal/device"
)

// noAnswer is the reason for everything unknown of a device that was silent.
const noAnswer = "no-answer"

// deviceColumns is the CSV file with one row per device. Names and order are
// published and fixed.
var deviceColumns = []column[*device.Device]{
	{"observed_at", "when the device was looked at, RFC 3339, UTC", func(d *device.Device) string { return timeCell(d.ObservedAt) }},
	{"site", "site of the site file", func(d *device.Device) string { return string(d.Site) }},
	{"key", "stable name of the device: uuid:, serial:, mac: or addr: and a value", func(d *device.Device) string { return d.Key }},
	{"name", "what people call it", func(d *device.Device) string { return string(d.Name) }},
	{"location", "where it stands", func(d *device.Device) string { return string(d.Location) }},
	{"make_model", "maker and model", func(d *device.Device) string { return string(d.MakeModel) }},
	{"serial", "serial number, as text", func(d *device.Device) string { return string(d.Serial) }},
	{"addresses", "all IP addresses, separated by spaces", func(d *device.Device) string { return addressesCell(d.Addresses) }},
	{"attention", "stopped, silent, impaired, due or clear", func(d *device.Device) string { return string(d.Attention) }},
	{"urgency", "0 to 100", func(d *device.Device) string { return strconv.Itoa(d.Urgency) }},
	{"why", "the worst finding in one line; empty when nothing asks for attention", (*device.Device).Why},
	{"next_step", "the first thing to do about it", (*device.Device).NextStep},
	{"lowest_supply", "the supply with the lowest known level, in the device's words", lowestName},
	{"lowest_percent", "its level in percent; for a waste receptacle the space left", lowestPercent},
	{"lowest_reason", "why no level is known: unknown, some-left, unlimited, not-reported, contradictory, no-answer", lowestReason},
	{"life_count", "the life counter, in the unit the device counts in", func(d *device.Device) string { return intCell(d.Counters.Life.Value) }},
	{"pages_since_last", "growth of the life counter since the night before; empty without a history", func(d *device.Device) string { return intCell(d.PagesSinceLast) }},
	{"black", "black toner, ink, wax or ribbon left in percent; the lowest of several; parts such as drums do not count", colorPercent("black")},
	{"black_reason", "why there is no percentage, or none for a further supply of that colour", colorReason("black")},
	{"cyan", "cyan left in percent, as black", colorPercent("cyan")},
	{"cyan_reason", "as black_reason", colorReason("cyan")},
	{"magenta", "magenta left in percent, as black", colorPercent("magenta")},
	{"magenta_reason", "as black_reason", colorReason("magenta")},
	{"yellow", "yellow left in percent, as black", colorPercent("yellow")},
	{"yellow_reason", "as black_reason", colorReason("yellow")},
	{"waste_left", "space left in the fullest waste receptacle, in percent", func(d *device.Device) string { return poolPercent(receptacles(d)) }},
	{"waste_reason", "as black_reason", func(d *device.Device) string { return poolReason(d, receptacles(d)) }},
	{"snmp", "ok, partial, no-answer or not-tried", snmpCell},
	{"ipp", "ok, no-answer or not-tried", ippCell},
	{"last_seen", "when it last answered, RFC 3339, UTC; without a history only for a device that answered now", lastSeen},
	{"errors", "what went wrong while reading, stage: message, separated by semicolons", func(d *device.Device) string { return problemsCell(d.Errors) }},
}

func lowestName(d *device.Device) string {
	s, ok := d.Lowest()
	if !ok {
		return ""
	}
	return supplyName(s)
}

func lowestPercent(d *device.Device) string {
	s, _ := d.Lowest()
	return percentCell(s.Level)
}

func lowestReason(d *device.Device) string {
	if _, ok := d.Lowest(); ok {
		return ""
	}
	return poolReason(d, counted(d))
}

// supplyName is the device's own word for a supply, else what it is.
func supplyName(s device.Supply) string {
	if s.Name != "" {
		return string(s.Name)
	}
	if name := strings.TrimSpace(string(s.Colorant) + " " + string(s.Kind)); name != "" {
		return name
	}
	return "supply " + strconv.Itoa(s.Index)
}

// markingMaterials are the PrtMarkerSuppliesTypeTC labels of what ends up on
// the paper (RFC 3805 section 6). Drums and developers have a colour too, but
// running low means something else for them.
var markingMaterials = []device.Text{
	"", "other", "unknown", "toner", "ink", "inkCartridge", "inkRibbon", "solidWax", "ribbonWax", "tonerCartridge",
}

func isMarking(s device.Supply) bool { return slices.Contains(markingMaterials, s.Kind) }

func colored(d *device.Device, color string) []device.Supply {
	var out []device.Supply
	for _, s := range d.Supplies {
		if s.Role == device.Consumed && strings.EqualFold(string(s.Colorant), color) && isMarking(s) {
			out = append(out, s)
		}
	}
	return out
}

func receptacles(d *device.Device) []device.Supply {
	var out []device.Supply
	for _, s := range d.Supplies {
		if s.Role == device.Receptacle {
			out = append(out, s)
		}
	}
	return out
}

// counted are the supplies that Device.Lowest looks at.
func counted(d *device.Device) []device.Supply {
	var out []device.Supply
	for _, s := range d.Supplies {
		if s.Role == device.Consumed || s.Role == device.Receptacle {
			out = append(out, s)
		}
	}
	return out
}

func colorPercent(color string) func(*device.Device) string {
	return func(d *device.Device) string { return poolPercent(colored(d, color)) }
}

func colorReason(color string) func(*device.Device) string {
	return func(d *device.Device) string { return poolReason(d, colored(d, color)) }
}

// poolPercent is the lowest known level of several supplies.
func poolPercent(supplies []device.Supply) string {
	lowest, found := 0.0, false
	for _, s := range supplies {
		if p, ok := s.Level.Percent(); ok && (!found || p < lowest) {
			lowest, found = p, true
		}
	}
	if !found {
		return ""
	}
	return number(lowest)
}

// poolReason says why levels of several supplies are not known, each reason
// once.
func poolReason(d *device.Device, supplies []device.Supply) string {
	if len(supplies) == 0 {
		if !answered(d) {
			return noAnswer
		}
		return string(device.LevelNotReported)
	}
	var reasons []string
	for _, s := range supplies {
		if r := string(s.Level.Reason()); r != "" && !slices.Contains(reasons, r) {
			reasons = append(reasons, r)
		}
	}
	slices.Sort(reasons)
	return strings.Join(reasons, " ")
}

// answered reports whether the device itself gave facts in this run. An
// announcement on the network is none: it may come from a cache.
func answered(d *device.Device) bool { return d.Reached.SNMP.OK || d.Reached.IPP.OK }

func snmpCell(d *device.Device) string {
	r := d.Reached.SNMP
	if r.OK && r.Partial {
		return "partial"
	}
	return reachCell(r.OK, r.Tried)
}

func ippCell(d *device.Device) string { return reachCell(d.Reached.IPP.OK, d.Reached.IPP.Tried) }

func reachCell(ok, tried bool) string {
	switch {
	case ok:
		return "ok"
	case tried:
		return noAnswer
	}
	return "not-tried"
}

func lastSeen(d *device.Device) string {
	switch {
	case answered(d):
		return timeCell(d.ObservedAt)
	case d.LastSeen != nil:
		return timeCell(*d.LastSeen)
	}
	return ""
}
