package forecast

import (
	"math"
	"slices"
	"time"

	"printround/internal/device"
)

// Series is what was kept of one device, oldest night first.
type Series struct {
	Key       string
	MakeModel string
	Nights    []device.Night
}

// known is a series that was read: its volume and its supplies.
type known struct {
	key    string
	nights []device.Night
	usage  *usage
	places []*place
}

func read(s Series, zone *time.Location) *known {
	k := &known{key: s.Key, nights: s.Nights}
	if len(s.Nights) == 0 {
		return k
	}
	k.usage = newUsage(s.Nights, zone)
	k.places = places(s.Nights, k.usage)
	return k
}

// Company is how many devices of a model teach about its supplies: more say
// little more.
const Company = 12

// lore is what the devices of one model tell about the supplies in one place.
type lore struct {
	step    float64
	rules   [rules]float64 // how likely the gauge rounds so
	lift    float64        // the mean of what these mean, in steps
	curve   curve
	sized   bool    // the supplies state a capacity in units
	calm    float64 // factor on the usual spreads
	devices []told
	grain   float64 // of what one percent takes, against its mean
	among   float64 // spread of the logarithm of the rate among supplies of one place
	waits   [2]wait // at the top before the first fall, and at the bottom before the end
}

// told is what one device tells about the rate.
type told struct {
	key  string
	rate estimate
}

// teach learns from the devices of one model.
func teach(company []*known) map[placeID]*lore {
	all := map[placeID][]*place{}
	of := map[*place]string{}
	for _, k := range company {
		for _, p := range k.places {
			all[p.id()] = append(all[p.id()], p)
			of[p] = k.key
		}
	}
	out := map[placeID]*lore{}
	for id, list := range all {
		out[id] = newLore(list, of)
	}
	return out
}

func newLore(list []*place, of map[*place]string) *lore {
	l := &lore{curve: straightCurve(), sized: true, calm: 1}
	if counted(list[0].kind) {
		l.calm = exact
	}
	l.grain, l.among = l.calm*usualGrain, l.calm*lifeSpread
	seen := map[float64]int{}
	for _, p := range list {
		p.steps(seen)
		l.sized = l.sized && p.sized()
	}
	l.step = stepOf(seen)
	l.weigh()
	for _, p := range list {
		p.learn(l)
		for i := range p.lives {
			l.wait(&p.lives[i], p.scale(l, &p.lives[i]))
		}
	}
	l.weigh()
	l.straighten(list)
	l.listen(list)
	for _, p := range list {
		p.learn(l)
	}
	l.compare(list)
	for _, p := range list {
		if e := p.habit(nothing, len(p.lives), l.among); !math.IsInf(e.variance, 1) {
			l.devices = append(l.devices, told{of[p], e})
		}
	}
	return l
}

// straighten learns the curve of the gauge. One that counts pages is straight.
func (l *lore) straighten(list []*place) {
	if l.calm < 1 {
		return
	}
	var passed []stretch
	for _, p := range list {
		for i := range p.lives {
			if s, ok := p.lives[i].stretches(l.step, l.lift); ok {
				passed = append(passed, s)
			}
		}
	}
	l.curve = bend(passed)
	l.curve.lives /= 1 + l.step/5 // borders between wide steps are known the less
}

// listen measures how unevenly supplies of this place are used up.
func (l *lore) listen(list []*place) {
	const prior = 60.0 // percent of a supply that the usual grain counts for
	squares, falls := prior*l.grain*l.grain, prior
	for _, p := range list {
		for i := range p.lives {
			s, f, _ := p.lives[i].unevenness(l.step, l.lift, &l.curve)
			squares, falls = squares+s, falls+f
		}
	}
	l.grain = math.Sqrt(squares / falls)
}

// compare measures how much the supplies of one place differ.
func (l *lore) compare(list []*place) {
	const prior = 5.0 // supplies that the usual spread counts for
	sum, n := prior*l.among*l.among, prior
	for _, p := range list {
		var before *life
		for i := range p.lives {
			f := &p.lives[i]
			if f.rate.variance > 0.1*0.1 {
				continue
			}
			if before != nil {
				d := f.rate.mean - before.rate.mean
				sum += min(max(d*d-f.rate.variance-before.rate.variance, 0)/2, 0.25)
				n++
			}
			before = f
		}
	}
	l.among = math.Sqrt(sum / n)
}

// wait is how long lives stayed at one end of the gauge, in steps.
type wait struct{ sum, n float64 }

// endWaits is how long a life stays at each end by each rule, in steps. The
// lower end is what most lives do: some supplies are taken out a little early.
var endWaits = [2][rules]float64{{0.5, 0, 1}, {0.4, 0.75, 0.05}}

// waitSpread is by how many steps one life's stay is off.
const waitSpread = 0.5

// wait takes from a life how long the gauge stayed at its ends.
func (l *lore) wait(f *life, scale float64) {
	if l.step < coarse || math.IsInf(f.rate.variance, 1) || len(f.points) == 0 {
		return
	}
	rate := math.Exp(f.rate.mean) / scale
	end := f.readings[len(f.readings)-1]
	if n := len(f.readings); (end.count-f.readings[0].count)*rate > 0.4*l.step*float64(n) {
		return // too fast for one look a night
	}
	note := func(at int, counts float64) {
		l.waits[at].sum += min(max(counts, 0)*rate/l.step, 2)
		l.waits[at].n++
	}
	switch {
	case !f.fresh:
	case f.readings[0].percent <= 100-l.step+0.1:
		note(0, 0) // it fell before the first night
	default:
		note(0, f.points[0].count-f.from)
	}
	if f.over && end.percent <= l.step {
		low := f.points[len(f.points)-1]
		if low.percent > 1.5*l.step {
			low.count = end.count // it never showed the lowest level
		}
		note(1, end.count-low.count)
	}
}

// weigh works out how the gauge rounds from how long supplies stay at its ends:
// a gauge that shows what is left at least falls at once from full, and shows
// nothing for a whole step; one that shows what is left at most does the
// contrary.
func (l *lore) weigh() {
	l.rules = usualRules
	sum := 0.0
	for r := range l.rules {
		for end, w := range l.waits {
			if w.n > 0 {
				d := w.sum/w.n - endWaits[end][r]
				// Bent ends mislead all lives alike: many are not worth much more than some.
				l.rules[r] *= math.Exp(-0.5*d*d*min(w.n, 8)/(waitSpread*waitSpread)) + 1e-6
			}
		}
		sum += l.rules[r]
	}
	l.lift = 0
	for r := range l.rules {
		l.rules[r] /= sum
		l.lift += l.rules[r] * rule(r).lift()
	}
}

// sized reports whether all readings state a capacity in units, so that
// supplies of different size can be compared.
func (p *place) sized() bool {
	if p.unit == "percent" || p.unit == "" {
		return false
	}
	return !slices.ContainsFunc(p.readings, func(r reading) bool { return r.capacity == 0 })
}

// scale turns percent of what is in a place into what the supplies of the place
// share: units of the supply, or shares of it.
func (p *place) scale(l *lore, f *life) float64 {
	if l.sized {
		if c := f.readings[len(f.readings)-1].capacity; c > 0 {
			return c / 100
		}
	}
	return 0.01
}

// learn cuts the readings into lives and takes the rate of each.
func (p *place) learn(l *lore) {
	if len(p.readings) == 0 {
		return
	}
	if p.step != l.step || p.lives == nil {
		p.step, p.lives = l.step, nil
		p.split()
		for i := range p.lives {
			p.lives[i].crossings(p.step)
		}
	}
	for i := range p.lives {
		p.lives[i].learn(p.step, l.lift, l.grain, &l.curve, p.scale(l, &p.lives[i]))
	}
}

// habit is the rate that the place is used to, from its first n lives and what
// others tell.
func (p *place) habit(prior estimate, n int, among float64) estimate {
	e := prior
	for _, f := range p.lives[:n] {
		if !math.IsInf(f.rate.variance, 1) {
			e = e.with(f.rate.loosened(among * among))
		}
	}
	return e
}

// others is what devices of the model other than key tell about a rate.
func (l *lore) others(key string) estimate {
	var list []estimate
	for _, t := range l.devices {
		if t.key != key {
			list = append(list, t.rate)
		}
	}
	if len(list) == 0 {
		return nothing
	}
	const prior = 3.0 // devices that the usual spread counts for
	mean := 0.0
	for _, e := range list {
		mean += e.mean
	}
	mean /= float64(len(list))
	between := prior * deviceSpread * deviceSpread
	for _, e := range list {
		between += max((e.mean-mean)*(e.mean-mean)-e.variance, 0)
	}
	n := float64(len(list))
	between /= prior + n
	out := nothing
	for _, e := range list {
		out = out.with(e.loosened(between))
	}
	return out.loosened(between)
}
