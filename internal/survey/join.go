package survey

import (
	"fmt"
	"math"
	"net/netip"
	"slices"
	"strings"

	"printround/internal/device"
)

// levelTolerance is how far two protocols' percentages of one supply may lie
// apart before they count as disagreeing: gauges in steps of ten percent are
// common, and IPP rounds (common practice, no source).
const levelTolerance = 15.0

// wasteDoubt is the space left, in percent, above which a receptacle that the
// device itself calls full or nearly full is not believed.
const wasteDoubt = 25.0

// lead puts the unit of a group that has the most facts first; the others add
// their addresses and what the leader lacks.
func lead(group []*unit) {
	slices.SortStableFunc(group, func(a, b *unit) int { return b.facts() - a.facts() })
}

// leaders returns the views that the device of a group is made of.
func leaders(group []*unit) (snmp, ipp *sketch) {
	for _, u := range group {
		if snmp == nil {
			snmp = u.snmp
		}
		if ipp == nil {
			ipp = u.ipp
		}
	}
	return snmp, ipp
}

// groupAddresses returns all addresses of a group, sorted.
func groupAddresses(group []*unit) []netip.Addr {
	list := unitAddresses(group)
	slices.SortFunc(list, netip.Addr.Compare)
	return list
}

// groupErrors returns what went wrong while reading the device of a group.
func groupErrors(group []*unit) []device.Problem {
	var list []device.Problem
	snmp, ipp := leaders(group)
	for _, v := range []*sketch{snmp, ipp} {
		if v != nil {
			list = append(list, v.errors...)
		}
	}
	for _, u := range group {
		list = append(list, u.host.problems...)
	}
	return list
}

func (u *unit) facts() int {
	n := 0
	for _, v := range u.views() {
		n += v.facts
	}
	return n
}

// joinViews joins the two views of one device; either may be nil. Each fact
// comes from the protocol that says it better:
//
//	make and model, name      IPP, then SNMP
//	serial, MAC, location     SNMP, then IPP
//	UUID                      IPP
//	supply and tray levels    the one with real units or finer steps
//	alerts, state             both
//	counters, languages       SNMP, then what only IPP has
//	queue, defaults           IPP, then SNMP
//	covers, paths, channels, storage, finishers   SNMP, then IPP
func joinViews(snmp, ipp *device.Device) device.Device {
	switch {
	case snmp == nil && ipp == nil:
		return device.Device{Role: device.RolePrinter}
	case ipp == nil:
		return *snmp
	case snmp == nil:
		return *ipp
	}
	d := *snmp
	d.Reached.IPP = ipp.Reached.IPP
	d.Role = ipp.Role
	d.Name = first(ipp.Name, snmp.Name)
	d.MakeModel = first(ipp.MakeModel, snmp.MakeModel)
	d.Serial = first(snmp.Serial, ipp.Serial)
	d.Location = first(snmp.Location, ipp.Location)
	d.Contact = first(snmp.Contact, ipp.Contact)
	d.Firmware = first(snmp.Firmware, ipp.Firmware)
	d.Hostname = first(snmp.Hostname, ipp.Hostname)
	d.UUID = first(ipp.UUID, snmp.UUID)
	d.MAC = first(snmp.MAC, ipp.MAC)
	d.Technology = first(snmp.Technology, ipp.Technology)
	if ipp.ObservedAt.After(d.ObservedAt) {
		d.ObservedAt = ipp.ObservedAt
	}
	d.State = joinState(snmp.State, ipp.State)
	d.Alerts = slices.Concat(snmp.Alerts, ipp.Alerts)
	var odd []device.Disagreement
	d.Supplies, odd = joinSupplies(snmp.Supplies, ipp.Supplies)
	d.Disagreements = slices.Concat(snmp.Disagreements, ipp.Disagreements, odd, identityOdds(snmp, ipp), stateOdds(snmp, ipp))
	d.Trays = joinTrays(snmp.Trays, ipp.Trays)
	d.Outputs = orElse(snmp.Outputs, ipp.Outputs)
	d.Covers = orElse(snmp.Covers, ipp.Covers)
	d.Finishers = orElse(snmp.Finishers, ipp.Finishers)
	d.Paths = orElse(snmp.Paths, ipp.Paths)
	d.Channels = orElse(snmp.Channels, ipp.Channels)
	d.Storage = orElse(snmp.Storage, ipp.Storage)
	d.Languages = joinLanguages(snmp.Languages, ipp.Languages)
	d.Counters = device.Counters{
		Life:         count(snmp.Counters.Life, ipp.Counters.Life),
		SincePowerOn: count(snmp.Counters.SincePowerOn, ipp.Counters.SincePowerOn),
		Color:        count(snmp.Counters.Color, ipp.Counters.Color),
		Monochrome:   count(snmp.Counters.Monochrome, ipp.Counters.Monochrome),
	}
	d.Queue = ipp.Queue
	d.Defaults = joinDefaults(snmp.Defaults, ipp.Defaults)
	return d
}

func first(texts ...device.Text) device.Text {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}

func orElse[T any](a, b []T) []T {
	if len(a) > 0 {
		return a
	}
	return b
}

func count(a, b device.Count) device.Count {
	if a.Value == nil && b.Value != nil {
		return b
	}
	if a.Source == "" && a.Reason == "" {
		return b
	}
	return a
}

func joinState(a, b device.State) device.State {
	s := a
	s.PrinterState = b.PrinterState
	s.Message = first(a.Message, b.Message)
	s.ClockOffS = b.ClockOffS
	s.Reasons = slices.Concat(a.Reasons, b.Reasons)
	s.Console = orElse(a.Console, b.Console)
	if s.UptimeS == nil {
		s.UptimeS = b.UptimeS
	}
	return s
}

// identityOdds reports a serial that both protocols know and word differently.
func identityOdds(snmp, ipp *device.Device) []device.Disagreement {
	a, b := usableSerial(string(snmp.Serial)), usableSerial(string(ipp.Serial))
	if a == "" || b == "" || strings.EqualFold(a, b) {
		return nil
	}
	return []device.Disagreement{{Fact: "serial", SNMP: a, IPP: b, Kept: device.SourceSNMP}}
}

// stateOdds reports a device that one protocol calls stopped and the other
// ready: the worse one counts, and the reader is told.
func stateOdds(snmp, ipp *device.Device) []device.Disagreement {
	down := snmp.State.Device == "down"
	stopped := ipp.State.PrinterState == "stopped"
	if snmp.State.Device == "" || ipp.State.PrinterState == "" || down == stopped {
		return nil
	}
	kept := device.SourceSNMP
	if stopped {
		kept = device.SourceIPP
	}
	return []device.Disagreement{{
		Fact: "state", SNMP: string(snmp.State.Device), IPP: string(ipp.State.PrinterState), Kept: kept,
	}}
}

// joinSupplies pairs supplies of both views and keeps the better level.
func joinSupplies(a, b []device.Supply) ([]device.Supply, []device.Disagreement) {
	if len(a) == 0 {
		return b, nil
	}
	out := slices.Clone(a)
	used := make([]bool, len(out))
	var odd []device.Disagreement
	for _, s := range b {
		i := matchSupply(out, used, s)
		if i < 0 {
			if len(b) > len(a) {
				out, used = append(out, s), append(used, true)
			}
			continue
		}
		used[i] = true
		merged, clash := joinSupply(out[i], s)
		out[i] = merged
		if clash {
			odd = append(odd, device.Disagreement{
				Fact: fmt.Sprintf("supply[%d].level", merged.Index),
				SNMP: a[i].Level.String(), IPP: s.Level.String(), Kept: merged.Source,
			})
		}
	}
	return out, odd
}

// matchSupply finds the supply that an IPP marker describes: same name, else
// the only one free with the same colorant and role, else the same index with
// nothing against it.
func matchSupply(list []device.Supply, used []bool, s device.Supply) int {
	for i, c := range list {
		if !used[i] && s.Name != "" && strings.EqualFold(string(c.Name), string(s.Name)) {
			return i
		}
	}
	found, n := -1, 0
	for i, c := range list {
		if !used[i] && compatible(c, s) && c.Colorant != "" && c.Colorant == s.Colorant && sameKind(c.Kind, s.Kind) {
			found, n = i, n+1
		}
	}
	if n == 1 {
		return found
	}
	for i, c := range list {
		if !used[i] && c.Index == s.Index && compatible(c, s) {
			return i
		}
	}
	return -1
}

func compatible(a, b device.Supply) bool {
	return (a.Role == "" || b.Role == "" || a.Role == b.Role) &&
		(a.Colorant == "" || b.Colorant == "" || a.Colorant == b.Colorant)
}

// sameKind takes a cartridge and what is in it as one kind: devices use the
// two labels of PrtMarkerSuppliesTypeTC for the same thing.
func sameKind(a, b device.Text) bool {
	bare := func(t device.Text) string { return strings.TrimSuffix(string(t), "Cartridge") }
	return a == "" || b == "" || bare(a) == bare(b) || a == "other" || b == "other"
}

func joinSupply(a, b device.Supply) (device.Supply, bool) {
	s := a
	s.Name = first(a.Name, b.Name)
	s.Kind = first(known(a.Kind), b.Kind, a.Kind)
	s.Colorant = first(a.Colorant, b.Colorant)
	if s.Role == "" {
		s.Role = b.Role
	}
	if s.LowAt == nil {
		s.LowAt = b.LowAt
	}
	pa, okA := a.Level.Percent()
	pb, okB := b.Level.Percent()
	if okA || !okB {
		if b.Level.Reason() != device.LevelNotReported || okB {
			s.Other = &device.Reading{Source: b.Source, Object: b.Object, Level: b.Level}
		}
	} else {
		s.Level, s.Source, s.Object = b.Level, b.Source, b.Object
		s.Unit, s.Capacity = b.Unit, b.Capacity
		s.Other = &device.Reading{Source: a.Source, Object: a.Object, Level: a.Level}
	}
	return s, okA && okB && math.Abs(pa-pb) > levelTolerance
}

func known(t device.Text) device.Text {
	if t == "other" || t == "unknown" {
		return ""
	}
	return t
}

// joinTrays adds to the MIB's trays what IPP knows of them, matched by name,
// else by place when both list the same number.
func joinTrays(a, b []device.Tray) []device.Tray {
	if len(a) == 0 {
		return b
	}
	out := slices.Clone(a)
	for i := range out {
		t := &out[i]
		j := slices.IndexFunc(b, func(c device.Tray) bool {
			return c.Name != "" && strings.EqualFold(string(c.Name), string(t.Name))
		})
		if j < 0 && len(a) == len(b) {
			j = i
		}
		if j < 0 {
			continue
		}
		o := b[j]
		t.Media.Name = first(t.Media.Name, o.Media.Name)
		t.Media.Type = first(t.Media.Type, o.Media.Type)
		t.Media.Color = first(t.Media.Color, o.Media.Color)
		if t.Media.WidthMM == nil && o.Media.WidthMM != nil {
			t.Media.WidthMM, t.Media.LengthMM = o.Media.WidthMM, o.Media.LengthMM
		}
		if t.Media.WeightG == nil {
			t.Media.WeightG = o.Media.WeightG
		}
		if !t.Level.Known() && o.Level.Known() {
			t.Level, t.Capacity, t.Unit, t.Source, t.Object = o.Level, o.Capacity, o.Unit, o.Source, o.Object
		}
		if !t.Status.Reported() {
			t.Status = o.Status
		}
	}
	return out
}

func joinLanguages(a, b []device.Language) []device.Language {
	out := slices.Clone(a)
	for _, l := range b {
		if !slices.ContainsFunc(out, func(o device.Language) bool { return o.Family == l.Family }) {
			out = append(out, l)
		}
	}
	return out
}

func joinDefaults(snmp, ipp device.Defaults) device.Defaults {
	d := ipp
	if d.Source == "" {
		d.Source = snmp.Source
	}
	d.Media = first(ipp.Media, snmp.Media)
	d.Orientation = first(ipp.Orientation, snmp.Orientation)
	d.Sides = first(ipp.Sides, snmp.Sides)
	d.ColorMode = first(ipp.ColorMode, snmp.ColorMode)
	d.Finishings = orElse(ipp.Finishings, snmp.Finishings)
	d.Ready = orElse(ipp.Ready, snmp.Ready)
	d.Resolution, d.OutputBin = first(ipp.Resolution, snmp.Resolution), first(ipp.OutputBin, snmp.OutputBin)
	d.CanFinish = orElse(ipp.CanFinish, snmp.CanFinish)
	return d
}

// distrustWaste marks the level of a waste receptacle contradictory when the
// device itself says that it is full or nearly full and the number says that
// there is plenty of room: makers disagree about which way the number runs
// (RFC 3805 section 6, prtMarkerSuppliesLevel, counts the room left).
func distrustWaste(d *device.Device) {
	if !saysWasteFull(d) {
		return
	}
	d.Supplies = slices.Clone(d.Supplies) // the reading stays as it was
	for i := range d.Supplies {
		s := &d.Supplies[i]
		if p, ok := s.Level.Percent(); ok && s.Role == device.Receptacle && p > wasteDoubt {
			s.Level = s.Level.Contradicted()
		}
	}
}

func saysWasteFull(d *device.Device) bool {
	for _, r := range d.State.Reasons {
		if strings.Contains(r, "waste") && strings.Contains(r, "full") {
			return true
		}
	}
	for _, a := range d.Alerts {
		code := strings.ToLower(a.Code)
		active := a.Severity == "critical" || a.Severity == "warningBinaryChangeEvent"
		if active && strings.Contains(code, "waste") && strings.Contains(code, "full") {
			return true
		}
	}
	return false
}
