package finding

import (
	"fmt"
	"strconv"
	"strings"

	"printround/internal/device"
)

// kindOf returns what a supply is: by its type label, else by the English words
// in its name, else a supply of no stated kind. A receptacle of any kind fills.
func kindOf(s *device.Supply) *kind {
	c := known()
	k := c.kinds[foldKind(string(s.Kind))]
	if k == nil || k.name == "other" || k.name == "unknown" {
		if k == nil {
			k = c.kinds["other"]
		}
		name := strings.ToLower(string(s.Name))
		for i := range c.parts {
			if s.Role != device.Receptacle && strings.Contains(name, c.parts[i].name) {
				return &c.parts[i]
			}
		}
	}
	if s.Role == device.Receptacle && k.class != classWaste {
		return &box
	}
	return k
}

// box is a receptacle whose kind does not say what it collects.
var box = kind{class: classWaste, low: "marker-waste-almost-full", out: "marker-waste-full", noun: "waste box", part: "waste box"}

// onlySupply returns the one supply that a sighting about supplies can mean,
// nil when there are several or none.
func (j *judge) onlySupply(s *sighting) *device.Supply {
	var only *device.Supply
	for i := range j.d.Supplies {
		if !fitsSupply(s, &j.d.Supplies[i]) {
			continue
		}
		if only != nil {
			return nil
		}
		only = &j.d.Supplies[i]
	}
	return only
}

// fitsSupply reports that a condition can be about a supply.
func fitsSupply(s *sighting, supply *device.Supply) bool {
	c, k := known(), kindOf(supply)
	low := &sighting{term: c.term(k.low)}
	if low.subject.Family != s.subject.Family {
		return false
	}
	return sameThing(&sighting{term: &term{family: "x", subject: low.subject}}, &sighting{term: &term{family: "x", subject: s.subject}})
}

// supplyUnknown reports whether a supply that the sighting can mean has no
// known level.
func (j *judge) supplyUnknown(s *sighting) bool {
	for i := range j.d.Supplies {
		if fitsSupply(s, &j.d.Supplies[i]) && !j.d.Supplies[i].Level.Known() {
			return true
		}
	}
	return false
}

// aboutSupply ties a sighting to a supply: its subunit, its level, and the
// keyword that fits its kind, because a device may call its ink toner.
func (j *judge) aboutSupply(s *sighting, supply *device.Supply) {
	k := kindOf(supply)
	s.sub = device.Subunit{Group: "markerSupplies", Index: supply.Index, Name: supply.Name}
	s.noun, s.of, s.part = supplyNoun(supply, k), k.noun, partOf(supply, k)
	switch low := known().term(k.low); {
	case s.condition.Stage == 1 && s.subject.Group == "markerSupplies" && low.family == s.family:
		s.term = low
	case s.condition.Stage == 2 && s.subject.Group == "markerSupplies" && low.family == s.family:
		s.term = known().term(k.out)
	}
	if p, ok := supply.Level.Percent(); ok {
		s.percent = &p
		limit, _ := j.limit(supply)
		s.near, s.hasNear = nearTo(p, limit), true
		if s.condition.Stage == 2 {
			s.near = 1
		}
	}
}

// nearTo is the nearness of the end of something at a level of percent that is
// due at limit, both in percent.
func nearTo(percent, limit float64) float64 {
	if limit <= 0 {
		return 1
	}
	return min(max(1-percent/limit, 0), 1)
}

// limit returns the level at or below which a supply is due, in percent, and
// whose it is. The device's own low level goes before ours; one of zero says
// nothing.
func (j *judge) limit(s *device.Supply) (percent float64, whose string) {
	if s.LowAt != nil && *s.LowAt > 0 && *s.LowAt <= 100 {
		return *s.LowAt, "the device's own low level"
	}
	return j.ours(s), "the threshold for " + kindOf(s).class + " parts"
}

func (j *judge) ours(s *device.Supply) float64 {
	switch kindOf(s).class {
	case classLongLife:
		return j.o.LongLifeLow
	case classWaste:
		return j.o.WasteLow
	}
	return j.o.ConsumableLow
}

// supplies sees the levels of the supplies.
func (j *judge) supplies() {
	for i := range j.d.Supplies {
		s := &j.d.Supplies[i]
		k := kindOf(s)
		sub := device.Subunit{Group: "markerSupplies", Index: s.Index, Name: s.Name}
		j.level(s, k, sub, "marker-supply-low")
	}
}

// level sees one supply's level. gap is the condition that stays unjudged when
// the level is unknown.
func (j *judge) level(s *device.Supply, k *kind, sub device.Subunit, gap string) {
	p, ok := s.Level.Percent()
	if ok && s.Role == "" && s.Level.Measures() == "" {
		ok = false
	}
	if !ok {
		if s.Level.Reason() != device.LevelUnlimited {
			j.gaps = append(j.gaps, fmt.Sprintf("%s: level of %s is %s", gapCode(k, gap), calledSupply(s, k), s.Level.Reason()))
		}
		return
	}
	limit, whose := j.limit(s)
	ours := j.ours(s)
	if p > limit && p > ours {
		return
	}
	seen := &sighting{
		term: known().term(k.low), sub: sub, sev: warning, percent: &p, gauged: true, near: nearTo(p, limit), hasNear: true,
		noun: supplyNoun(s, k), of: k.noun, part: partOf(s, k),
		proof: device.Evidence{Source: s.Source, Object: s.Object, Value: levelValue(s.Level)},
	}
	switch {
	case p == 0:
		seen.term, seen.near = known().term(k.out), 1
		j.weigh(seen)
		seen.rule = "nothing left, by its level"
	case p > limit:
		j.weigh(seen)
		seen.impact, seen.mayStop = device.ImpactNote, false
		seen.rule = fmt.Sprintf("%s%% is above %s of %s%%", number(p), whose, number(limit))
	default:
		j.weigh(seen)
		seen.rule = fmt.Sprintf("%s%% is at or below %s of %s%%", number(p), whose, number(limit))
	}
	j.see(seen)
}

func gapCode(k *kind, fallback string) string {
	if k.low != "" {
		return k.low
	}
	return fallback
}

// calledSupply is a supply's name for people.
func calledSupply(s *device.Supply, k *kind) string {
	if s.Name != "" {
		return string(s.Name)
	}
	return supplyNoun(s, k)
}

// supplyNoun is what a supply is in our words, with its colour: black toner.
func supplyNoun(s *device.Supply, k *kind) string { return colored(s, k.noun) }

// partOf is the class of part to bring for a supply.
func partOf(s *device.Supply, k *kind) string { return colored(s, k.part) }

func colored(s *device.Supply, noun string) string {
	c := strings.ToLower(string(s.Colorant))
	if noun == "" || c == "" || c == "none" || c == "unknown" || c == "other" || s.Role == device.Receptacle || strings.Contains(noun, " of ") {
		return noun
	}
	return string(s.Colorant) + " " + noun
}

// levelValue is a level as evidence: the percentage and what it comes from.
func levelValue(l device.Level) string {
	v, hasValue := l.Value()
	capacity, stated := l.Capacity()
	if !hasValue || !stated || capacity == 100 {
		return l.String()
	}
	return l.String() + " (" + strconv.FormatInt(v, 10) + " of " + strconv.FormatInt(capacity, 10) + ")"
}

func number(f float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(f, 'f', 1, 64), ".0")
}
