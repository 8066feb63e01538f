package forecast

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"printround/internal/device"
)

// Options say how to foresee. The zero value is UTC and no catalogue.
type Options struct {
	Zone      *time.Location    // of the offices: weekdays begin at their midnight; nil: UTC
	Catalogue *device.Catalogue // service intervals and recommended loads; nil: none
	Now       time.Time         // the last run: a device that was not read for three weeks then is not foreseen; zero: no such limit
}

func (o Options) zone() *time.Location {
	if o.Zone == nil {
		return time.UTC
	}
	return o.Zone
}

// Fleet foresees many devices. Devices of one model teach each other: what a
// young supply lacks in nights comes from those before it, on the same device
// and on others of the model.
func Fleet(list []Series, o Options) []Device {
	models := map[string][]int{}
	for i, s := range list {
		m := modelOf(s)
		if m == "" {
			m = "\x00" + s.Key // a device that does not say what it is has only itself
		}
		models[m] = append(models[m], i)
	}
	out := make([]Device, len(list))
	var work sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for _, members := range models {
		free <- struct{}{}
		work.Go(func() {
			defer func() { <-free }()
			company := make([]Series, len(members))
			for k, i := range members {
				company[k] = list[i]
			}
			lessons := Learn(company, o)
			for _, i := range members {
				out[i] = lessons.Foresee(list[i], o)
			}
		})
	}
	work.Wait()
	return out
}

// One foresees one device. Peers are others of its model: the first [Company]
// of all of them by key, the device itself included, give what Fleet gives.
func One(s Series, peers []Series, o Options) Device {
	list := []Series{s}
	for _, p := range peers {
		if p.Key != s.Key && modelOf(p) == modelOf(s) && modelOf(s) != "" {
			list = append(list, p)
		}
	}
	return Learn(list, o).Foresee(s, o)
}

// Lessons are what the devices of one model teach.
type Lessons struct {
	lore map[placeID]*lore
	read map[string]*known // the devices that taught
}

// Learn learns from devices of one model: the first [Company] by key.
func Learn(list []Series, o Options) *Lessons {
	list = slices.Clone(list)
	slices.SortFunc(list, func(a, b Series) int { return strings.Compare(a.Key, b.Key) })
	list = list[:min(len(list), Company)]
	l := &Lessons{read: map[string]*known{}}
	company := make([]*known, len(list))
	for i, s := range list {
		company[i] = read(s, o.zone())
		l.read[s.Key] = company[i]
	}
	l.lore = teach(company)
	return l
}

// Foresee foresees a device of the model. It may be called from several
// goroutines for different devices.
func (l *Lessons) Foresee(s Series, o Options) Device {
	k := l.read[s.Key]
	if k == nil {
		k = read(s, o.zone())
	}
	return k.foresee(l.lore, s, o)
}

func modelOf(s Series) string { return strings.ToLower(strings.TrimSpace(s.MakeModel)) }

// foresee is the outlook of one device.
func (k *known) foresee(taught map[placeID]*lore, s Series, o Options) Device {
	d := Device{Key: s.Key, NightsKnown: len(s.Nights)}
	if len(s.Nights) == 0 {
		d.NotYet = "no night was kept of it"
		return d
	}
	u := k.usage
	last := s.Nights[len(s.Nights)-1]
	d.LastReadings, d.Unit = last.At, commonUnit(s.Nights)
	model := modelIn(o.Catalogue, s.MakeModel)
	if u.counted {
		d.volume(u, model)
	}
	d.NotYet = k.young()
	if !o.Now.IsZero() && o.Now.Sub(last.At) > staleDays*24*time.Hour {
		d.NotYet = "it was not read since " + date(last.At, u.zone)
	}
	for _, p := range k.places {
		if p.seen < len(k.nights)-1 && len(last.Supplies) > 0 {
			continue // it is no longer there
		}
		l := taught[p.id()]
		if l == nil {
			l = newLore([]*place{p}, map[*place]string{p: k.key})
		}
		p.learn(l)
		d.Items = append(d.Items, k.item(p, l, d.NotYet))
	}
	d.Items = append(d.Items, k.services(d.Items, model, d.NotYet)...)
	return d
}

// volume fills in how much is printed.
func (d *Device) volume(u *usage, model *device.Model) {
	perDay := u.perDay
	month := u.ahead(moment{u.at[len(u.at)-1].day + 30, u.at[len(u.at)-1].done})
	d.PagesPerDay, d.PagesMonth, d.Weeks = &perDay, &month, u.byWeek()
	if model != nil && model.PagesPerMonth > 0 {
		share := month / float64(model.PagesPerMonth)
		d.LoadShare = &share
	}
}

// leastDays is how many days of readings a date needs.
const leastDays = 7

// young says why the nights are too few, empty when they are not.
func (k *known) young() string {
	first, last := k.usage.at[0], k.usage.at[len(k.usage.at)-1]
	days := float64(last.day-first.day) + last.done - first.done
	if days < leastSpan {
		return fmt.Sprintf("not enough nights yet: %s in %s; a date needs %d days", plural(len(k.nights), "night"), plural(int(math.Ceil(days-0.01)), "day"), leastDays)
	}
	return ""
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// item is the outlook of one supply.
func (k *known) item(p *place, l *lore, notYet string) Item {
	it := Item{Kind: Supply, Index: p.index, Name: p.name, Type: p.kind, Colorant: p.colorant}
	if p.last == len(k.nights)-1 {
		percent := p.percent
		it.Percent = &percent
	}
	switch {
	case notYet != "":
		it.Reason = notYet
	case k.usage.counted && k.usage.perDay <= 0:
		it.Reason = "nothing was printed in the nights that were kept"
	default:
		it.RunOut, it.Reason = p.outlook(l, l.others(k.key), k)
	}
	return it
}

// modelIn looks a model up in the catalogue; nil when it is not there.
func modelIn(c *device.Catalogue, makeModel string) *device.Model {
	if c == nil {
		return nil
	}
	for i := range c.Models {
		if matches(c.Models[i].Match, makeModel) {
			return &c.Models[i]
		}
	}
	return nil
}

// matches compares as device.CataloguePart says.
func matches(pattern, makeModel string) bool {
	pattern, makeModel = strings.ToLower(strings.TrimSpace(pattern)), strings.ToLower(strings.TrimSpace(makeModel))
	if rest, ok := strings.CutSuffix(pattern, "*"); ok {
		return strings.HasPrefix(makeModel, rest)
	}
	return pattern == makeModel
}
