package history

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"printround/internal/device"
)

// Groups of slots.
const (
	groupSupply  = "supply"   // charted; the others are detail
	groupTray    = "tray"     // input subunits
	groupOutput  = "output"   // output bins: the room left
	groupFinish  = "finisher" // supplies of finishers, such as staples
	groupInsert  = "insert"   // media that finishers add
	groupCounter = "counter"
	groupStorage = "storage" // octets in use
)

// slot says what one element of a list of levels is of. Its texts and numbers
// change seldom, so they are kept once for many nights.
type slot struct {
	Group    string `json:"group,omitempty"` // empty: supply
	Parent   int    `json:"parent,omitempty"`
	Index    int    `json:"index,omitempty"`
	Name     string `json:"name,omitempty"`
	Kind     string `json:"kind,omitempty"`
	Role     string `json:"role,omitempty"`
	Colorant string `json:"colorant,omitempty"`
	Unit     string `json:"unit,omitempty"`
	Capacity *int64 `json:"capacity,omitempty"`
	Source   string `json:"source,omitempty"`
}

// row collects the slots and levels of one device and night.
type row struct {
	slots  []slot
	levels []byte // the inside of the JSON array
}

func (r *row) add(s slot, level func([]byte) []byte) {
	if len(r.slots) > 0 {
		r.levels = append(r.levels, ',')
	}
	r.slots = append(r.slots, s)
	r.levels = level(r.levels)
}

// array returns the levels as JSON.
func (r *row) array() string { return "[" + string(r.levels) + "]" }

// encoded returns the slots as JSON.
func (r *row) encoded() (string, error) {
	if len(r.slots) == 0 {
		return "[]", nil
	}
	b, err := json.Marshal(r.slots)
	return string(b), err
}

// of appends a level as the schema describes it.
func (s *slot) of(l device.Level) func([]byte) []byte {
	return func(b []byte) []byte {
		v, hasValue := l.Value()
		c, known := l.Capacity()
		switch {
		case known && c == s.whole():
			return strconv.AppendInt(b, v, 10)
		case known:
			b = strconv.AppendInt(append(b, '['), v, 10)
			return append(strconv.AppendInt(append(b, ','), c, 10), ']')
		case hasValue:
			b = strconv.AppendInt(append(b, '['), v, 10)
			return append(append(append(b, `,"`...), l.Reason()...), `"]`...)
		}
		return append(append(append(b, '"'), l.Reason()...), '"')
	}
}

// whole is what a level of the slot is a part of when nothing else is said.
func (s *slot) whole() int64 {
	if s.Capacity != nil {
		return *s.Capacity
	}
	return 100
}

// count appends a plain number that may be unknown.
func count(v *int64) func([]byte) []byte {
	return func(b []byte) []byte {
		if v == nil {
			return append(append(append(b, '"'), device.LevelNotReported...), '"')
		}
		return strconv.AppendInt(b, *v, 10)
	}
}

// supplies lists what is charted of a device.
func supplies(d *device.Device) *row {
	var r row
	for i := range d.Supplies {
		r.supply("", 0, &d.Supplies[i])
	}
	return &r
}

func (r *row) supply(group string, parent int, p *device.Supply) {
	s := slot{Group: group, Parent: parent, Index: p.Index, Name: string(p.Name), Kind: string(p.Kind), Role: string(p.Role),
		Colorant: string(p.Colorant), Unit: string(p.Unit), Capacity: p.Capacity, Source: string(p.Source)}
	r.add(s, s.of(p.Level))
}

func (r *row) tray(group string, parent int, p *device.Tray) {
	s := slot{Group: group, Parent: parent, Index: p.Index, Name: string(p.Name), Kind: string(p.Media.Name),
		Unit: string(p.Unit), Capacity: p.Capacity, Source: string(p.Source)}
	r.add(s, s.of(p.Level))
}

// details lists what is kept beside that.
func details(d *device.Device) *row {
	var r row
	for i := range d.Trays {
		r.tray(groupTray, 0, &d.Trays[i])
	}
	for i := range d.Outputs {
		p := &d.Outputs[i]
		s := slot{Group: groupOutput, Index: p.Index, Name: string(p.Name), Kind: string(p.Kind),
			Unit: string(p.Unit), Capacity: p.Capacity, Source: string(p.Source)}
		r.add(s, s.of(p.Level))
	}
	for i := range d.Finishers {
		f := &d.Finishers[i]
		for k := range f.Supplies {
			r.supply(groupFinish, f.Index, &f.Supplies[k])
		}
		for k := range f.Inputs {
			r.tray(groupInsert, f.Index, &f.Inputs[k])
		}
	}
	for _, c := range []struct {
		name string
		*device.Count
	}{
		{"since power on", &d.Counters.SincePowerOn}, {"color", &d.Counters.Color}, {"monochrome", &d.Counters.Monochrome},
	} {
		if c.Value != nil {
			r.add(slot{Group: groupCounter, Name: c.name, Unit: string(c.Unit), Source: string(c.Source)}, count(c.Value))
		}
	}
	for i := range d.Storage {
		p := &d.Storage[i]
		r.add(slot{Group: groupStorage, Index: i + 1, Name: string(p.Name), Kind: string(p.Kind), Unit: "octets", Capacity: p.Size,
			Source: string(device.SourceSNMP)}, count(p.Used))
	}
	return &r
}

// decodeSlots reads what encoded wrote.
func decodeSlots(text string) ([]slot, error) {
	var out []slot
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		return nil, fmt.Errorf("%w: a layout: %w", ErrDamaged, err)
	}
	return out, nil
}

// read puts a night's levels into readings of the slots.
func read(slots []slot, levels string) ([]device.SupplyReading, error) {
	if len(slots) == 0 && levels == "[]" {
		return nil, nil
	}
	out := make([]device.SupplyReading, len(slots))
	numbers := make([]float64, len(slots)) // one allocation for all percentages
	values := make([]int64, len(slots))
	rest, ok := strings.CutPrefix(levels, "[")
	for i := range slots {
		s := &slots[i]
		var e element
		if !ok {
			break
		}
		if e, rest, ok = next(rest); !ok {
			break
		}
		r := &out[i]
		*r = device.SupplyReading{Index: s.Index, Name: s.Name, Kind: s.Kind, Role: s.Role, Colorant: s.Colorant,
			Unit: s.Unit, Capacity: s.Capacity, Source: device.Source(s.Source), Reason: e.reason}
		if e.hasValue {
			values[i] = e.value
			r.Value = &values[i]
		}
		if e.reason == "" {
			whole := s.whole()
			if e.whole != 0 {
				whole = e.whole
			}
			if s.Group == groupCounter || whole <= 0 {
				continue
			}
			numbers[i] = math.Round(float64(e.value)/float64(whole)*1000) / 10 // as device.Level.Percent
			r.Percent = &numbers[i]
		}
	}
	if !ok || rest != "" {
		return nil, fmt.Errorf("%w: levels %.80q of %d slots", ErrDamaged, levels, len(slots))
	}
	return out, nil
}

// element is one element of a list of levels.
type element struct {
	value    int64
	hasValue bool
	whole    int64
	reason   string
}

// next reads an element and the comma or bracket behind it. The elements are
// few and plain, and a year of nights has a million of them, so no general
// JSON decoder is used.
func next(s string) (e element, rest string, ok bool) {
	if s, ok = strings.CutPrefix(s, "["); ok {
		if e.value, s, ok = number(s); !ok {
			return e, s, false
		}
		e.hasValue = true
		if s, ok = strings.CutPrefix(s, ","); !ok {
			return e, s, false
		}
		if strings.HasPrefix(s, `"`) {
			e.reason, s, ok = word(s)
		} else {
			e.whole, s, ok = number(s)
			ok = ok && e.whole > 0
		}
		if !ok {
			return e, s, false
		}
		if s, ok = strings.CutPrefix(s, "]"); !ok {
			return e, s, false
		}
	} else if strings.HasPrefix(s, `"`) {
		if e.reason, s, ok = word(s); !ok {
			return e, s, false
		}
	} else {
		if e.value, s, ok = number(s); !ok {
			return e, s, false
		}
		e.hasValue = true
	}
	if s == "]" {
		return e, "", true
	}
	rest, ok = strings.CutPrefix(s, ",")
	return e, rest, ok
}

func number(s string) (int64, string, bool) {
	n := 0
	for n < len(s) && (s[n] >= '0' && s[n] <= '9' || n == 0 && s[n] == '-') {
		n++
	}
	v, err := strconv.ParseInt(s[:n], 10, 64)
	return v, s[n:], err == nil
}

// word reads a reason. Those of this version share their memory.
func word(s string) (string, string, bool) {
	text, rest, ok := strings.Cut(s[1:], `"`)
	for _, r := range reasons {
		if string(r) == text {
			return string(r), rest, ok
		}
	}
	return strings.Clone(text), rest, ok && text != ""
}

var reasons = []device.LevelReason{
	device.LevelUnknown, device.LevelSomeLeft, device.LevelUnlimited, device.LevelNotReported, device.LevelContradictory,
}
