package forecast

import (
	"cmp"
	"math"
	"slices"

	"printround/internal/device"
)

// place is one supply of a device through the nights: the place, not what is
// in it.
type place struct {
	kind, colorant string
	index          int
	role           string
	name           string    // as last read
	unit           string    // as last read
	readings       []reading // known levels, oldest first, wrong ones left out
	last           int       // night of the last known level; -1: none
	seen           int       // night on which the supply was last there at all
	reason         string    // why the last night had no level
	percent        float64   // at the last known level, as read
	step           float64   // of the gauge, percent
	lives          []life
}

// reading is a known level.
type reading struct {
	night    int
	percent  float64
	capacity float64 // in the unit of the supply; 0: not stated
	count    float64 // of usage at that night
}

// id names the place within its model.
type placeID struct {
	index          int
	kind, colorant string
}

func (p *place) id() placeID { return placeID{p.index, p.kind, p.colorant} }

// places sorts the readings of the nights by supply.
func places(nights []device.Night, u *usage) []*place {
	byID := map[placeID]*place{}
	var out []*place
	for i := range nights {
		for _, s := range nights[i].Supplies {
			id := placeID{s.Index, s.Kind, s.Colorant}
			p := byID[id]
			if p == nil {
				p = &place{index: s.Index, kind: s.Kind, colorant: s.Colorant, role: s.Role, last: -1}
				byID[id] = p
				out = append(out, p)
			}
			p.name, p.unit, p.seen, p.reason = s.Name, s.Unit, i, s.Reason
			if s.Percent == nil || !(*s.Percent >= 0 && *s.Percent <= 100) {
				continue
			}
			p.reason, p.last, p.percent = "", i, *s.Percent
			r := reading{night: i, percent: *s.Percent, count: u.count[i]}
			if s.Capacity != nil && *s.Capacity > 0 {
				r.capacity = float64(*s.Capacity)
			}
			p.readings = append(p.readings, r)
		}
	}
	slices.SortFunc(out, func(a, b *place) int {
		return cmp.Or(cmp.Compare(a.index, b.index), cmp.Compare(a.kind, b.kind), cmp.Compare(a.colorant, b.colorant))
	})
	return out
}

// knownSteps are the steps that gauges move in, percent, widest first.
var knownSteps = []float64{25, 20, 10, 5, 2, 1}

// stepOf infers the step of a gauge from the levels that it showed: the widest
// one that all but a few are multiples of. Few different levels do not tell.
func stepOf(seen map[float64]int) float64 {
	total := 0
	for _, n := range seen {
		total += n
	}
	if len(seen) < 3 {
		return stepOfFew(seen)
	}
	for _, step := range knownSteps {
		off := 0
		for v, n := range seen {
			// A level in other units than percent is rounded to one of them.
			if math.Abs(v-math.Round(v/step)*step) > 0.35*min(step, 1) {
				off += n
			}
		}
		if off*50 <= total {
			return step
		}
	}
	return 0.1
}

// stepOfFew is for a gauge that showed one or two levels only: as fine as they
// allow, since nothing speaks for a wide step but that it did not move.
func stepOfFew(seen map[float64]int) float64 {
	for v := range seen {
		if math.Abs(v-math.Round(v)) > 0.35 {
			return 0.1
		}
	}
	return 1
}

// steps notes how often each level was shown.
func (p *place) steps(into map[float64]int) {
	for _, r := range p.readings {
		into[r.percent]++
	}
}

// tolerance is by how much two readings of the same level may differ.
func tolerance(step float64) float64 { return max(2, 1.05*step) }

// wildDrop is a fall between two readings, in percent, that wants a second
// reading before it is believed; more pages may explain more.
const wildDrop = 25

// coarse gauges fall rarely, and each fall says much: one that is seen on the
// last night only waits for the next, too. In percent.
const coarse = 4

// believed leaves out single readings that the ones before and after speak
// against. The last reading has none after it: a great change waits for the
// next night.
func believed(in []reading, step float64) []reading {
	tol := tolerance(step)
	out := make([]reading, 0, len(in))
	for i, r := range in {
		if len(out) == 0 {
			if i+2 < len(in) && wild(in[i+1].percent, r.percent, in[i+2].percent, tol) {
				continue
			}
			out = append(out, r)
			continue
		}
		before := out[len(out)-1].percent
		if i+1 < len(in) {
			if strange(before, r.percent, in[i+1].percent, tol) {
				continue
			}
		} else if r.percent > before+tol && before > 25 || r.percent < before-max(wildDrop, 2*step) ||
			step >= coarse && r.percent < before-0.5*step {
			continue
		}
		out = append(out, r)
	}
	return out
}

// wild reports a level that leaves the way from the one before to the one after
// by more than the gauge can err.
func wild(before, here, after, tol float64) bool {
	if after > before+tol || after < before-wildDrop {
		return false // something happened, and here may be a part of it
	}
	return here > before+tol || here < after-tol
}

// strange reports a wild level, or one that differs by less and is gone the
// next time: it did not fall.
func strange(before, here, after, tol float64) bool {
	const same = 0.05
	switch {
	case after > before+tol || after < before-wildDrop:
		return false
	case here > before+same && after <= before+same, here < after-same && math.Abs(after-before) <= same:
		return true
	}
	return wild(before, here, after, tol)
}

// life is the time of one supply in its place.
type life struct {
	readings []reading
	fresh    bool    // it was put in within the nights, full
	from     float64 // count when it was put in, if fresh
	fromSure float64 // half width of what from may be
	ended    bool    // another one followed
	over     bool    // it was used up: the last level was next to nothing

	points []point
	rate   estimate // of the logarithm of what one count takes: a share of the supply, or units where they are stated
	fall   float64  // percent by which the level shown fell within the nights
}

// split cuts the readings where a supply was put in: where the level goes up
// by more than the gauge can err and stays, or falls without reason and stays.
func (p *place) split() {
	tol := tolerance(p.step)
	rs := believed(p.readings, p.step)
	start := 0
	for i := 1; i <= len(rs); i++ {
		if i < len(rs) && !replaced(rs, i, tol, p.step) {
			continue
		}
		l := life{readings: rs[start:i], ended: i < len(rs)}
		if start > 0 && rs[start].percent >= min(95, 100-p.step-0.5) {
			before, after := rs[start-1].count, rs[start].count
			l.fresh, l.from, l.fromSure = true, (before+after)/2, (after-before)/2
		}
		l.over = l.ended && l.readings[len(l.readings)-1].percent <= max(5, p.step)
		p.lives = append(p.lives, l)
		start = i
	}
}

// replaced reports whether another supply is in at reading i than before.
func replaced(rs []reading, i int, tol, step float64) bool {
	before, here := rs[i-1], rs[i]
	rise := here.percent - before.percent
	if rise <= 0 {
		return rise < -2*wildDrop && rise < -3*step && here.count-before.count < 2000
	}
	if here.capacity != before.capacity && here.capacity > 0 && before.capacity > 0 && rise > 0.5 {
		return true
	}
	// One step up is a gauge between two levels, unless the new one is full and
	// stays so.
	if rise <= tol {
		return rise >= max(3, 0.9*step) && here.percent >= 99 && stays(rs, i, before.percent+0.4*rise)
	}
	return stays(rs, i, before.percent+0.4*rise)
}

// stays reports whether the next readings are not below a level.
func stays(rs []reading, i int, level float64) bool {
	for _, r := range rs[i+1 : min(i+3, len(rs))] {
		if r.percent < level && r.count-rs[i].count < 5000 {
			return false
		}
	}
	return true
}
