package forecast

import (
	"maps"
	"printround/internal/device"
	"runtime"
	"slices"
	"sort"
	"time"

	"golang.org/x/sync/errgroup"
)

// Past is a history that is looked back on. Its devices are read one by one,
// twice and those that teach three times, so that it need not be in memory.
type Past struct {
	Models [][]string                       // keys of the devices of each model, in order
	Read   func(key string) (Series, error) // all nights of a device; several at a time
}

// RunBacktest goes through the nights, foresees from what was known then, and
// compares with the truth; nil: with what the nights themselves tell.
func RunBacktest(p Past, t *Truth, o BacktestOptions) (*Backtest, error) {
	if o.Every <= 0 {
		o.Every = 7
	}
	days, seen := map[int64]time.Time{}, &Truth{}
	h := &hindsight{past: p, nights: map[string][]time.Time{}, options: o.Options}
	for _, key := range slices.Concat(p.Models...) {
		s, err := p.Read(key)
		if err != nil {
			return nil, err
		}
		h.nights[key] = noteRuns(days, s.Nights)
		if t == nil {
			seen.Lives = append(seen.Lives, seenLives(s, o.Options)...)
		}
	}
	if t == nil {
		t = seen
	}
	runs := slices.SortedFunc(maps.Values(days), time.Time.Compare)
	for n := o.Every; n < len(runs); n += o.Every {
		h.from = append(h.from, runs[n])
	}
	b := &Backtest{Looks: len(h.from)}
	if b.Looks == 0 {
		return b, nil
	}
	b.First, b.Last = h.from[0], h.from[b.Looks-1]
	h.truths = newTruths(t, runs[len(runs)-1])
	var looks []look
	for _, keys := range p.Models {
		some, err := h.model(keys)
		if err != nil {
			return nil, err
		}
		looks = append(looks, some...)
	}
	b.score(looks)
	return b, nil
}

// noteRuns notes the days on which anything was read, each by its last moment,
// and returns when the nights were.
func noteRuns(days map[int64]time.Time, nights []device.Night) []time.Time {
	all := make([]time.Time, len(nights))
	for i := range nights {
		all[i] = nights[i].At
		d := all[i].Add(-12*time.Hour).Unix() / 86400
		if all[i].After(days[d]) {
			days[d] = all[i]
		}
	}
	return all
}

// hindsight looks ahead from moments of the past.
type hindsight struct {
	past    Past
	from    []time.Time
	nights  map[string][]time.Time // when each device was read
	truths  *truths
	options Options
}

// until is how many nights of a device were known at a moment. One that had not
// answered for a week had none.
func (h *hindsight) until(key string, at time.Time) int {
	list := h.nights[key]
	n := sort.Search(len(list), func(i int) bool { return list[i].After(at) })
	if n > 0 && at.Sub(list[n-1]) >= 7*24*time.Hour {
		return 0
	}
	return n
}

// model looks ahead for the devices of one model.
func (h *hindsight) model(keys []string) ([]look, error) {
	lessons, err := h.lessons(keys)
	if err != nil {
		return nil, err
	}
	found := make([][]look, len(keys))
	err = side(len(keys), func(i int) error {
		s, err := h.past.Read(keys[i])
		for k, at := range h.from {
			if n := h.until(keys[i], at); n > 0 && err == nil {
				then := s
				then.Nights = s.Nights[:n]
				found[i] = append(found[i], h.look(lessons[k].Foresee(then, h.options), then.Nights)...)
			}
		}
		return err
	})
	return slices.Concat(found...), err
}

// lessons are what the devices of a model taught at each moment.
func (h *hindsight) lessons(keys []string) ([]*Lessons, error) {
	company := make([][]string, len(h.from))
	teachers := map[string]Series{}
	for i, at := range h.from {
		for _, key := range keys {
			if len(company[i]) == Company || h.until(key, at) == 0 {
				continue
			}
			company[i] = append(company[i], key)
			if _, ok := teachers[key]; ok {
				continue
			}
			s, err := h.past.Read(key)
			if err != nil {
				return nil, err
			}
			teachers[key] = s
		}
	}
	out := make([]*Lessons, len(h.from))
	err := side(len(out), func(i int) error {
		var list []Series
		for _, key := range company[i] {
			s := teachers[key]
			s.Nights = s.Nights[:h.until(key, h.from[i])]
			list = append(list, s)
		}
		out[i] = Learn(list, h.options)
		out[i].read = nil // what was learnt is little, what it was learnt from is not
		return nil
	})
	return out, err
}

// side calls f for 0 to n-1, on all processors.
func side(n int, f func(i int) error) error {
	var work errgroup.Group
	work.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		work.Go(func() error { return f(i) })
	}
	return work.Wait()
}

// look compares what was foreseen of the supplies of a device with the truth.
func (h *hindsight) look(d Device, nights []device.Night) []look {
	var out []look
	now := d.LastReadings
	for _, it := range d.Items {
		if it.Kind != Supply {
			continue
		}
		life, runOut, ok := h.truths.at(d.Key, it.Index, now)
		if !ok {
			continue
		}
		l := look{life: life, kind: it.Type, truth: days(now, runOut)}
		a, ok10 := it.RunOut.Quantile(0.1)
		b, ok50 := it.RunOut.Quantile(0.5)
		c, ok90 := it.RunOut.Quantile(0.9)
		if l.given = ok10 && ok50 && ok90; l.given {
			l.p10, l.p50, l.p90 = days(now, a), days(now, b), days(now, c)
		}
		l.lastTwo, l.whole = simpleRules(nights, it)
		out = append(out, l)
	}
	return out
}
