// Package forecast says when supplies run out and when parts want service,
// from the nights that were kept. It never invents a date: where the nights do
// not carry one, it says why.
package forecast

import (
	"math"
	"sort"
	"time"
)

// Kind tells what is foreseen.
type Kind string

// Kinds of items.
const (
	Supply  Kind = "supply"  // a level that falls (or, of a receptacle, space that fills up)
	Service Kind = "service" // a part with a life in pages
)

// Device is the outlook of one device.
type Device struct {
	Key          string
	PagesPerDay  *float64 // mean of all days of the week, recent days weighing more, in Unit; nil: not known
	PagesMonth   *float64 // expected in the next 30 days; nil: not known
	LoadShare    *float64 // PagesMonth by the load that the maker recommends; nil: not stated
	Unit         string   // what the device counts: PrtMarkerCounterUnitTC label; empty: no counter
	Weeks        []Week   // what was counted, oldest first
	Items        []Item
	NotYet       string // why there is no forecast at all, in words; empty: there is one
	NightsKnown  int
	LastReadings time.Time
}

// Item is the outlook of one supply or part.
type Item struct {
	Kind     Kind
	Index    int    // of the supply; 0: none
	Name     string // the device's own name, else the part class
	Type     string // PrtMarkerSuppliesTypeTC label, or the part class
	Colorant string
	Percent  *float64 // at the last reading; nil: not known
	RunOut   *Distribution
	Reason   string // why RunOut is nil, in words
}

// Distribution is a run-out moment that is not known exactly: the moments by
// which it will have happened with probabilities 1/n … n/n. At is sorted; a
// moment beyond the foreseeable is the zero time, and such moments come last.
type Distribution struct {
	At []time.Time
}

// Quantile returns the moment by which the end comes with probability p, 0 < p
// < 1; false: beyond what can be foreseen.
func (d *Distribution) Quantile(p float64) (time.Time, bool) {
	if d == nil || len(d.At) == 0 || p <= 0 || p >= 1 {
		return time.Time{}, false
	}
	i := int(math.Ceil(p*float64(len(d.At)))) - 1
	t := d.At[max(i, 0)]
	return t, !t.IsZero()
}

// ChanceBefore returns the probability, 0 to 1, that the end comes at or before
// t.
func (d *Distribution) ChanceBefore(t time.Time) float64 {
	if d == nil || len(d.At) == 0 {
		return 0
	}
	n := sort.Search(len(d.At), func(i int) bool { return d.At[i].IsZero() || d.At[i].After(t) })
	return float64(n) / float64(len(d.At))
}
