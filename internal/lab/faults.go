package lab

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"
)

// fault is one thing that can be wrong with a device.
type fault struct {
	name   string // the finding code where there is one
	help   string
	fits   func(d *machine) bool
	apply  func(d *machine, part string, r *rand.Rand)
	finds  []string // finding codes that must follow
	note   string   // set when it asks for nobody
	shy    bool     // never chosen at random
	needed string   // what the device must have, for people
}

// wake is the behaviour of a device that sleeps deeply: the first probes are
// lost and the next answer is late.
type wake struct {
	lost  int
	delay time.Duration
}

func always(*machine) bool     { return true }
func hasIPP(d *machine) bool   { return d.place.IPP }
func sheetFed(d *machine) bool { return !rollFed(d) }
func rollFed(d *machine) bool  { return d.trays[0].Kind == "continuousRoll" }
func hasSNMP(d *machine) bool  { return len(d.place.SNMP) > 0 }
func severalTrays(n int) func(*machine) bool {
	return func(d *machine) bool { return len(d.sensed()) >= n }
}

// has tells whether the device has a supply of one of these kinds.
func has(kinds ...string) func(*machine) bool {
	return func(d *machine) bool { return d.supplyOf("", kinds...) >= 0 }
}

// sensed lists the trays that know their level.
func (d *machine) sensed() (rows []int) {
	for i, t := range d.trays {
		if !t.Unsensed {
			rows = append(rows, i)
		}
	}
	return rows
}

// supplyOf finds the supply of one of the kinds whose colorant is part; the
// first one when part is empty; -1 when there is none.
func (d *machine) supplyOf(part string, kinds ...string) int {
	return slices.IndexFunc(d.supplies, func(s supply) bool {
		return slices.Contains(kinds, s.Kind) && (part == "" || s.Colorant == part)
	})
}

// stockOf finds a finisher supply: finisher, row in it, finSupplyIndex.
func (d *machine) stockOf(kind string) (f, row, index int) {
	for i := range d.finishers {
		for k := range d.finishers[i].stock {
			index++
			if d.finishers[i].stock[k].Kind == kind {
				return i, k, index
			}
		}
	}
	return -1, -1, 0
}

// number reads a part such as the 2 in input-tray-missing:2, 1 without one.
func number(part string, most int) int {
	n, err := strconv.Atoi(part)
	if err != nil || n < 1 || n > most {
		return 1
	}
	return n
}

// minutes is how long ago an alert was raised.
func minutes(r *rand.Rand, least, most int) time.Duration {
	return time.Duration(least+r.IntN(most-least+1)) * time.Minute
}

// FaultNames lists the faults that Options.Faults takes, with what they are.
func FaultNames() map[string]string {
	out := map[string]string{}
	for _, f := range faults {
		out[f.name] = f.help
	}
	return out
}

func faultByName(name string) (*fault, error) {
	for i := range faults {
		if faults[i].name == name {
			return &faults[i], nil
		}
	}
	var names []string
	for _, f := range faults {
		names = append(names, f.name)
	}
	names = append(names, zooNames()...)
	return nil, fmt.Errorf("no fault is called %q: did you mean %s?", name, nearest(name, names))
}

// give applies faults to a device: names joined by commas, each with a part
// behind a colon where it matters, such as toner-low:cyan.
func (d *machine) give(list string, seed int64) error {
	for one := range strings.SplitSeq(list, ",") {
		name, part, _ := strings.Cut(strings.TrimSpace(one), ":")
		if m, ok := misbehaviourByName(name); ok {
			if err := d.misbehave(m); err != nil {
				return err
			}
			continue
		}
		f, err := faultByName(name)
		if err != nil {
			return fmt.Errorf("device %s: %w", d.place.Name, err)
		}
		if !f.fits(d) {
			return fmt.Errorf("device %s (%s) cannot have %s: it needs %s", d.place.Name, d.Kind, name, f.needed)
		}
		f.apply(d, part, random(seed, d.place.Name+"/"+name))
		for _, c := range f.finds {
			if !slices.Contains(d.conditions, c) {
				d.conditions = append(d.conditions, c)
			}
		}
		if f.note != "" {
			d.notes = append(d.notes, f.note)
		}
	}
	return nil
}

// RandomFaults chooses faults for about half of the scenario's devices,
// the same ones for the same seed. The result is meant for Options.Faults
// with Options.Clean.
func RandomFaults(seed int64) (map[string]string, error) {
	s, err := loadScenario()
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	r := random(seed, "faults")
	for _, p := range s.Devices {
		if r.IntN(2) == 0 {
			continue
		}
		d := newMachine(s.model(p.Model), p, seed)
		var fit []string
		for _, f := range faults {
			if !f.shy && f.fits(d) {
				fit = append(fit, f.name)
			}
		}
		if len(fit) > 0 {
			out[p.Name] = fit[r.IntN(len(fit))]
		}
	}
	return out, nil
}

// nearest returns the three names most like name, joined for a sentence.
func nearest(name string, names []string) string {
	names = slices.Sorted(maps.Keys(setOf(names)))
	slices.SortStableFunc(names, func(a, b string) int { return distance(name, a) - distance(name, b) })
	return strings.Join(names[:min(3, len(names))], ", ")
}

func setOf(names []string) map[string]bool {
	m := map[string]bool{}
	for _, n := range names {
		m[n] = true
	}
	return m
}

// distance is the number of single-character edits between two names; a name
// that holds the other counts as near.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		last := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := last
			if a[i] != b[j] {
				cost = 1 + min(last, row[j], row[j+1])
			}
			last, row[j+1] = row[j+1], cost
		}
	}
	if strings.Contains(b, a) || strings.Contains(a, b) {
		return row[len(b)] / 4
	}
	return row[len(b)]
}
