package survey

import (
	"fmt"
	"math"
	"strings"

	"printround/internal/device"
	"printround/internal/ipp"
)

// maxSubunits bounds the supplies, trays, bins, finishers and alerts that are
// kept of one device; the largest real devices have a dozen or two.
const maxSubunits = 128

// ippSupplies maps the supplies of a printer from two places that may both be
// there: the marker-… attributes, whose lists belong together by position and
// whose levels are percentages (CUPS Implementation of IPP), and printer-supply
// with one row of prtMarkerSuppliesTable each (PWG 5100.13).
//
//	Name      marker-names, printer-supply-description
//	Kind      printer-supply type, marker-types
//	Level     printer-supply if it is a number, marker-levels
//	LowAt     marker-low-levels; marker-high-levels for what fills up
//	Colorant  printer-supply colorantname, marker-colors, marker-names
func ippSupplies(a ipp.Attributes) []device.Supply {
	rows, markers := supplyRows(a), markerRows(a)
	free := make([]bool, len(rows))
	for i := range free {
		free[i] = true
	}
	inOrder := sameOrder(rows, markers)
	out := rows
	for i, m := range markers {
		at := i
		if !inOrder {
			at = rowFor(rows, free, m)
		}
		if at < 0 {
			out = append(out, m)
			continue
		}
		free[at] = false
		out[at] = oneSupply(rows[at], m)
	}
	numberSupplies(out)
	return out
}

// numberSupplies keeps the indices the device gave if they tell the supplies
// apart, else numbers all in order.
func numberSupplies(list []device.Supply) {
	seen := map[int]bool{}
	for _, s := range list {
		if s.Index <= 0 || seen[s.Index] {
			for i := range list {
				list[i].Index = i + 1
			}
			return
		}
		seen[s.Index] = true
	}
}

// markerRows reads the marker-… lists. They should have the same length; where
// one is shorter, the rest of its values are not reported.
func markerRows(a ipp.Attributes) []device.Supply {
	names, types, colors := a.Get("marker-names"), a.Get("marker-types"), a.Get("marker-colors")
	levels, lows, highs := a.Get("marker-levels"), a.Get("marker-low-levels"), a.Get("marker-high-levels")
	n := min(max(len(names), len(types), len(levels)), maxSubunits)
	var out []device.Supply
	for i := range n {
		s := device.Supply{
			Index: i + 1, Unit: "percent", Source: device.SourceIPP, Object: fmt.Sprintf("marker-levels[%d]", i+1),
			Name: device.Clean(unquote(textAt(names, i))), Kind: suppliesKind(textAt(types, i)),
		}
		low, hasLow := intAt(lows, i)
		high, hasHigh := intAt(highs, i)
		s.Role = roleOf("", s.Kind)
		if s.Role == "" {
			// Limits of 0 and below 100 mark what fills up, limits above 0 what is used up.
			switch {
			case hasLow && low > 0:
				s.Role = device.Consumed
			case hasLow && low == 0 && hasHigh && high > 0 && high < 100:
				s.Role = device.Receptacle
			}
		}
		if level, ok := intAt(levels, i); ok {
			s.Level = markerLevel(level, s.Role)
		}
		switch {
		case s.Role == device.Receptacle && hasHigh && high > 0 && high < 100:
			s.LowAt = percent(100 - high)
		case s.Role != device.Receptacle && hasLow && low > 0 && low <= 100:
			s.LowAt = percent(low)
		}
		s.Colorant = colorant("", textAt(colors, i), string(s.Name), s.Kind)
		out = append(out, s)
	}
	return out
}

// markerLevel reads one value of marker-levels: percent that is left of a
// supply, but percent that is full of a receptacle, which is turned round so
// that a small number always means that somebody has to act.
func markerLevel(level int64, role device.SupplyRole) device.Level {
	if role != device.Receptacle {
		return device.LevelFrom(level, 100, "percent", device.Remaining)
	}
	if level >= 0 && level <= 100 {
		level = 100 - level
	}
	return device.LevelFrom(level, 100, "percent", device.SpaceLeft)
}

func percent(n int64) *float64 {
	f := float64(n)
	return &f
}

// supplyRows reads printer-supply. The level counts as prtMarkerSuppliesLevel
// does (RFC 3805 section 6): what is left, or the room left in a receptacle.
func supplyRows(a ipp.Attributes) []device.Supply {
	names := a.Get("printer-supply-description")
	var out []device.Supply
	for i, v := range a.Get("printer-supply") {
		p, ok := pairsOf(v)
		if !ok || len(out) >= maxSubunits {
			continue
		}
		s := device.Supply{
			Source: device.SourceIPP, Object: fmt.Sprintf("printer-supply[%d]", i+1),
			Name: device.Clean(textAt(names, i)), Kind: suppliesKind(p.Text("type")), Unit: suppliesUnit(p.Text("unit")),
		}
		if n, ok := p.Int("index"); ok && n > 0 && n <= math.MaxInt32 {
			s.Index = int(n)
		}
		s.Role = roleOf(p.Text("class"), s.Kind)
		s.Capacity, s.Level = capacityAndLevel(p, "maxcapacity", "level", string(s.Unit), measures(s.Role))
		s.Colorant = colorant(p.Text("colorantname"), "", string(s.Name), s.Kind)
		out = append(out, s)
	}
	return out
}

// capacityAndLevel reads the numbers of a subunit, which are those of the
// Printer MIB.
func capacityAndLevel(p ipp.Pairs, capacityKey, levelKey, unit string, m device.Measures) (*int64, device.Level) {
	capacity, ok := p.Int(capacityKey)
	if !ok {
		capacity = -2
	}
	var stated *int64
	if capacity > 0 {
		stated = &capacity
	}
	level, ok := p.Int(levelKey)
	if !ok {
		return stated, device.NoLevel(device.LevelNotReported)
	}
	return stated, device.LevelFrom(level, capacity, unit, m)
}

func measures(r device.SupplyRole) device.Measures {
	if r == device.Receptacle {
		return device.SpaceLeft
	}
	return device.Remaining
}

// roleOf reads PrtMarkerSuppliesClassTC, else concludes from the kind: only the
// waste kinds of PrtMarkerSuppliesTypeTC are filled.
func roleOf(class string, kind device.Text) device.SupplyRole {
	switch {
	case strings.EqualFold(class, "receptacleThatIsFilled"):
		return device.Receptacle
	case strings.EqualFold(class, "supplyThatIsConsumed"):
		return device.Consumed
	case strings.HasPrefix(string(kind), "waste"):
		return device.Receptacle
	case kind == "" || kind == "other" || kind == "unknown":
		return ""
	}
	return device.Consumed
}

// sameOrder reports whether the two lists name the same supplies in the same
// order.
func sameOrder(rows, markers []device.Supply) bool {
	if len(rows) != len(markers) {
		return false
	}
	for i := range rows {
		if !sameSupply(rows[i], markers[i]) {
			return false
		}
	}
	return true
}

func sameSupply(row, marker device.Supply) bool {
	return compatible(row, marker) && sameKind(row.Kind, marker.Kind)
}

// rowFor finds the row that a marker describes: the one of the same name, else
// the only one free with the same kind and colorant. It returns -1 when there is
// none or the choice is open.
func rowFor(rows []device.Supply, free []bool, m device.Supply) int {
	found, n := -1, 0
	for i, row := range rows {
		switch {
		case !free[i] || !sameSupply(row, m):
		case m.Name != "" && strings.EqualFold(string(row.Name), string(m.Name)):
			return i
		default:
			found, n = i, n+1
		}
	}
	if n == 1 {
		return found
	}
	return -1
}

// oneSupply joins a row of printer-supply with its marker. Two numbers that
// differ are both kept; on a receptacle they mean that one of the attributes
// counts the wrong way round, and then neither is believed.
func oneSupply(row, marker device.Supply) device.Supply {
	s := row
	s.Name = first(marker.Name, row.Name)
	s.Kind = first(known(row.Kind), known(marker.Kind), row.Kind, marker.Kind)
	s.Colorant = first(row.Colorant, marker.Colorant)
	s.LowAt = marker.LowAt
	if s.Role == "" {
		s.Role = marker.Role
	}
	pr, okR := row.Level.Percent()
	pm, okM := marker.Level.Percent()
	switch {
	case okR && okM && math.Abs(pr-pm) > levelTolerance:
		s.Other = &device.Reading{Source: device.SourceIPP, Object: marker.Object, Level: marker.Level}
		if s.Role == device.Receptacle {
			s.Level = row.Level.Contradicted()
		}
	case !okR && (okM || row.Level.Reason() == device.LevelNotReported):
		s.Level, s.Unit, s.Capacity, s.Object = marker.Level, marker.Unit, marker.Capacity, marker.Object
	}
	return s
}

// textAt returns the text of a value of a list, empty behind its end.
func textAt(list []ipp.Value, i int) string {
	if i >= len(list) {
		return ""
	}
	s, _ := list[i].Text()
	return s
}

// intAt returns the number of a value of a list.
func intAt(list []ipp.Value, i int) (int64, bool) {
	if i >= len(list) {
		return 0, false
	}
	return list[i].Int()
}

// unquote removes one pair of quotation marks around a whole name.
func unquote(s string) string {
	s = strings.TrimSpace(s)
	for _, q := range []string{`"`, `'`} {
		if inner, ok := strings.CutPrefix(s, q); ok && len(s) > 2 {
			if inner, ok = strings.CutSuffix(inner, q); ok && !strings.Contains(inner, q) {
				return inner
			}
		}
	}
	return s
}

func pairsOf(v ipp.Value) (ipp.Pairs, bool) {
	s, ok := v.Text()
	if !ok {
		return ipp.Pairs{}, false
	}
	p, err := ipp.ParsePairs(s)
	return p, err == nil
}
