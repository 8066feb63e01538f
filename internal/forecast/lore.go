package forecast

import (
	"cmp"
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
	sized   bool // the supplies state a capacity in units
	devices []told
	bends   bends
	waited  float64 // steps that full supplies waited before their first fall, summed
	waiting float64 // number of them
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
	l := &lore{curve: straightCurve, sized: true}
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
			l.notice(&p.lives[i], p.scale(l, &p.lives[i]))
		}
	}
	l.weigh()
	l.curve = l.bends.curve()
	for _, p := range list {
		p.learn(l)
		if e := p.habit(nothing, len(p.lives)); !math.IsInf(e.variance, 1) {
			l.devices = append(l.devices, told{of[p], e})
		}
	}
	return l
}

// notice takes from a life what it tells about the gauge.
func (l *lore) notice(f *life, scale float64) {
	l.bends.add(f, l.step, l.lift)
	if !f.fresh || l.step < 4 || math.IsInf(f.rate.variance, 1) || len(f.points) == 0 {
		return
	}
	if f.readings[0].percent <= 100-l.step+0.1 {
		l.waiting++ // fell before the first night
		return
	}
	rate := math.Exp(f.rate.mean) / scale
	l.waited += min((f.points[0].count-f.from)*rate/l.step, 2)
	l.waiting++
}

// waitSpread is by how many steps one supply's first fall is off.
const waitSpread = 0.45

// weigh works out how the gauge rounds from how long full supplies stay full:
// a gauge that shows what is left at least falls at once, one that shows what is
// left at most after a whole step.
func (l *lore) weigh() {
	l.rules = usualRules
	if l.waiting > 0 {
		mean := l.waited / l.waiting
		sum := 0.0
		for r := range l.rules {
			d := mean - rule(r).lift()
			l.rules[r] *= math.Exp(-0.5*d*d*l.waiting/(waitSpread*waitSpread)) + 1e-6
			sum += l.rules[r]
		}
		for r := range l.rules {
			l.rules[r] /= sum
		}
	}
	l.lift = 0
	for r, w := range l.rules {
		l.lift += w * rule(r).lift()
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
		p.lives[i].learn(p.step, l.lift, &l.curve, p.scale(l, &p.lives[i]))
	}
}

// habit is the rate that the place is used to, from its first n lives and what
// others tell.
func (p *place) habit(prior estimate, n int) estimate {
	e := prior
	for _, f := range p.lives[:n] {
		if !math.IsInf(f.rate.variance, 1) {
			e = e.with(f.rate.loosened(lifeSpread * lifeSpread))
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

// company picks the devices of a model that teach about it: the first by key.
func company(list []*known) []*known {
	out := slices.Clone(list)
	slices.SortFunc(out, func(a, b *known) int { return cmp.Compare(a.key, b.key) })
	return out[:min(len(out), Company)]
}
