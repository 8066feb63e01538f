package device

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
)

// Measures says what a level counts. Both kinds run towards zero, and a small
// percentage always means that somebody has to act.
type Measures string

// What a level counts (RFC 3805 section 6, prtMarkerSuppliesLevel and
// prtOutputRemainingCapacity).
const (
	Remaining Measures = "remaining"  // what is left of a supply, or the sheets in a tray
	SpaceLeft Measures = "space-left" // the room left in a receptacle or an output bin
)

// LevelReason says why a level has no percentage.
type LevelReason string

// Reasons for a level without a percentage. The first three are the special
// values of RFC 3805 section 6; the other two are ours.
const (
	LevelUnknown       LevelReason = "unknown"       // -2, or a capacity nobody stated
	LevelSomeLeft      LevelReason = "some-left"     // -3: at least one unit left, or room for one
	LevelUnlimited     LevelReason = "unlimited"     // -1: other, no restriction
	LevelNotReported   LevelReason = "not-reported"  // the device has no such object
	LevelContradictory LevelReason = "contradictory" // above capacity, negative, capacity 0, or at odds with the device's own condition
)

// Special values of level and capacity objects (RFC 3805 section 6,
// prtMarkerSuppliesLevel; marker-levels of IPP uses the same).
const (
	mibOther    = -1
	mibUnknown  = -2
	mibSomeLeft = -3
)

// Level is how much is left. It is a sum type: either known, with a value, a
// capacity and a percentage, or unknown with a reason. The zero Level is
// unknown because nothing was reported.
type Level struct {
	known    bool
	value    int64
	capacity int64
	hasValue bool
	measures Measures
	reason   LevelReason
}

// KnownLevel returns the level value out of capacity, in the unit of the
// supply or tray; measures says which way it counts. A capacity of 0 or less,
// a negative value, or a value above the capacity gives an unknown level whose
// reason is LevelContradictory: such numbers are never turned into a guess.
func KnownLevel(value, capacity int64, m Measures) Level {
	if capacity <= 0 || value < 0 || value > capacity {
		return Level{reason: LevelContradictory, value: value, hasValue: value >= 0, capacity: capacity, measures: m}
	}
	return Level{known: true, value: value, hasValue: true, capacity: capacity, measures: m}
}

// NoLevel returns an unknown level for the given reason.
func NoLevel(r LevelReason) Level { return Level{reason: r} }

// LevelFrom reads a level and a capacity as the Printer MIB codes them
// (RFC 3805 section 6): -1 no restriction, -2 unknown, -3 at least one unit.
// unit is the label of the capacity's unit; when the unit is percent and the
// capacity is not stated, a level of 0 to 100 is the percentage itself.
func LevelFrom(level, capacity int64, unit string, m Measures) Level {
	switch {
	case level == mibOther:
		return Level{reason: LevelUnlimited, measures: m}
	case level == mibUnknown:
		return Level{reason: LevelUnknown, measures: m}
	case level == mibSomeLeft:
		return Level{reason: LevelSomeLeft, measures: m}
	case level < 0:
		return Level{reason: LevelContradictory, measures: m}
	case capacity == mibOther || capacity == mibUnknown:
		if unit == "percent" && level <= 100 {
			return KnownLevel(level, 100, m)
		}
		return Level{reason: LevelUnknown, value: level, hasValue: true, measures: m}
	}
	return KnownLevel(level, capacity, m)
}

// Contradicted returns the level as unknown because another present fact of
// the device speaks against it. The number is kept for the reader.
func (l Level) Contradicted() Level {
	return Level{reason: LevelContradictory, value: l.value, hasValue: l.hasValue, capacity: l.capacity, measures: l.measures}
}

// Known reports whether the level has a percentage.
func (l Level) Known() bool { return l.known }

// Percent returns the percentage, 0 to 100 with one decimal, and whether the
// level is known.
func (l Level) Percent() (float64, bool) {
	if !l.known {
		return 0, false
	}
	return math.Round(float64(l.value)/float64(l.capacity)*1000) / 10, true
}

// Value returns the level in the unit of the supply, and whether there is one.
// An unknown level may still have a value, such as 300 impressions left of an
// unstated capacity.
func (l Level) Value() (int64, bool) { return l.value, l.hasValue }

// Capacity returns the capacity of a known level.
func (l Level) Capacity() (int64, bool) { return l.capacity, l.known }

// Measures says what the level counts; empty when nothing is known of it.
func (l Level) Measures() Measures { return l.measures }

// Reason says why the level has no percentage; empty when it has one.
func (l Level) Reason() LevelReason {
	if l.known {
		return ""
	}
	if l.reason == "" {
		return LevelNotReported
	}
	return l.reason
}

// String returns a short form for people: "45%" or the reason.
func (l Level) String() string {
	if p, ok := l.Percent(); ok {
		return fmt.Sprintf("%s%%", trimFloat(p))
	}
	return string(l.Reason())
}

func trimFloat(f float64) string {
	if f == math.Trunc(f) {
		return fmt.Sprintf("%d", int64(f))
	}
	return fmt.Sprintf("%.1f", f)
}

type levelJSON struct {
	Known    bool        `json:"known"`
	Percent  *float64    `json:"percent,omitempty"`
	Value    *int64      `json:"value,omitempty"`
	Capacity *int64      `json:"capacity,omitempty"`
	Measures Measures    `json:"measures,omitempty"`
	Reason   LevelReason `json:"reason,omitempty"`
}

// MarshalJSON writes {"known":true,"percent":…,"value":…,"measures":…} or
// {"known":false,"reason":…}.
func (l Level) MarshalJSON() ([]byte, error) {
	j := levelJSON{Known: l.known, Measures: l.measures, Reason: l.Reason()}
	if p, ok := l.Percent(); ok {
		j.Percent = &p
		j.Capacity = &l.capacity
	}
	if l.hasValue {
		j.Value = &l.value
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (l *Level) UnmarshalJSON(b []byte) error {
	var j levelJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return err
	}
	*l = Level{measures: j.Measures, reason: j.Reason}
	if j.Value != nil {
		l.value, l.hasValue = *j.Value, true
	}
	if !j.Known {
		return nil
	}
	capacity := int64(100)
	if j.Capacity != nil {
		capacity = *j.Capacity
	}
	if j.Value == nil {
		return fmt.Errorf("level: known without a value")
	}
	*l = KnownLevel(*j.Value, capacity, j.Measures)
	return nil
}

// MarshalBinary writes all of a level, for keeping it within one run.
func (l Level) MarshalBinary() ([]byte, error) {
	b := make([]byte, 0, 32)
	var flags byte
	if l.known {
		flags |= levelKnown
	}
	if l.hasValue {
		flags |= levelHasValue
	}
	b = binary.AppendVarint(append(b, flags), l.value)
	b = binary.AppendVarint(b, l.capacity)
	b = binary.AppendUvarint(b, uint64(len(l.measures)))
	return append(append(b, l.measures...), l.reason...), nil
}

const (
	levelKnown    = 1
	levelHasValue = 2
)

var errShortLevel = errors.New("level: cut short")

// UnmarshalBinary reads what MarshalBinary writes.
func (l *Level) UnmarshalBinary(b []byte) error {
	if len(b) == 0 {
		return errShortLevel
	}
	flags, b := b[0], b[1:]
	value, n := binary.Varint(b)
	if n <= 0 {
		return errShortLevel
	}
	b = b[n:]
	capacity, n := binary.Varint(b)
	if n <= 0 {
		return errShortLevel
	}
	b = b[n:]
	length, n := binary.Uvarint(b)
	if n <= 0 || length > uint64(len(b)-n) {
		return errShortLevel
	}
	b = b[n:]
	*l = Level{
		known: flags&levelKnown != 0, hasValue: flags&levelHasValue != 0, value: value, capacity: capacity,
		measures: Measures(b[:length]), reason: LevelReason(b[length:]),
	}
	return nil
}
