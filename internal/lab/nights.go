package lab

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"
	_ "time/tzdata" // the simulated offices keep their own time on every system

	"printround/internal/device"
)

// NightsOptions say which history to simulate. The zero value of a field is
// its usual setting.
type NightsOptions struct {
	Seed    int64
	Nights  int     // 1 to 3,650
	Devices int     // 0: 120
	Volume  float64 // factor on the pages of everybody; 0: 1
	Step    float64 // every gauge moves in steps of this many percent; 0: each model its own
	Missing float64 // share of readings that are lost, beside the usual ones, 0 to 0.9
}

// History is a simulated history and the truth behind it.
type History struct {
	Options NightsOptions
	First   time.Time // the first night
	Devices []NightsDevice
	Lives   []SupplyLife
	Events  []NightsEvent
}

// NightsDevice is one device and what was read of it, oldest first. Nights on
// which it did not answer are not there.
type NightsDevice struct {
	Key       string
	Name      string
	Serial    string // empty: the device states none
	UUID      string // empty: likewise
	MAC       string
	MakeModel string
	Hostname  string
	Site      string
	Location  string
	Address   string
	Nights    []device.Night
}

// SupplyLife is what really happened to one supply from the moment it was put in.
type SupplyLife struct {
	Key      string     `json:"key"`
	Index    int        `json:"index"`
	Name     string     `json:"name"`
	Kind     string     `json:"kind"` // PrtMarkerSuppliesTypeTC label
	Colorant string     `json:"colorant"`
	From     time.Time  `json:"from"`    // when it was put in, or the beginning of the history
	To       *time.Time `json:"to"`      // when it was taken out; null: it was in at the end of the history
	RunOut   *time.Time `json:"run_out"` // when it was empty, or would have been had it stayed in; null: years later
	Began    string     `json:"began"`   // in place, new, part-used, or another size
	Ended    string     `json:"ended"`   // empty, early, swapped with its device, or still in
	Left     float64    `json:"left"`    // percent that was really left when it was taken out
}

// NightsEvent is one disturbance of the history.
type NightsEvent struct {
	Key  string    `json:"key"` // empty: everybody
	At   time.Time `json:"at"`
	What string    `json:"what"`
}

// Dates of simulated histories: every seed has the same nights, so that two
// histories of one seed are equal whatever the day they are made on.
const (
	nightsYear  = 2026
	nightsMonth = time.January
	nightsDay   = 5 // a Monday
	nightsZone  = "Europe/London"
	readHour    = 19 // after work, before devices sleep
)

// beyond is for how long after the last night life goes on, so that supplies
// which are in use then get their true run-out, in days.
const beyond = 1500

// usualDevices is the size of a simulated history.
const usualDevices = 120

// SimulateNights simulates a history. The devices are those of the scenario
// and further ones of the same models; what they print, use up and report
// comes from the seed. It knows nothing of forecasts.
func SimulateNights(o NightsOptions) (*History, error) {
	o, err := o.checked()
	if err != nil {
		return nil, err
	}
	zone, err := time.LoadLocation(nightsZone)
	if err != nil {
		return nil, err
	}
	s, err := loadScenario()
	if err != nil {
		return nil, err
	}
	first := time.Date(nightsYear, nightsMonth, nightsDay, 0, 0, 0, 0, zone)
	h := &History{Options: o, First: first.UTC()}
	w := &world{o: o, zone: zone, first: first, r: random(o.Seed, "nights"), history: h, branches: s.Branches}
	w.lostRuns()
	for i := range o.Devices {
		p := *s.Devices[i%len(s.Devices)]
		if n := i / len(s.Devices); n > 0 {
			p.Name = fmt.Sprintf("%s-%d", p.Name, n+1)
			p.Title = fmt.Sprintf("%s %d", p.Title, n+1)
			p.Hostname = fmt.Sprintf("%s-%d", p.Hostname, n+1)
		}
		w.run(newOffice(w, s, &p, i))
	}
	slices.SortStableFunc(h.Lives, func(a, b SupplyLife) int {
		return cmp.Or(cmp.Compare(a.Key, b.Key), cmp.Compare(a.Index, b.Index), a.From.Compare(b.From))
	})
	slices.SortStableFunc(h.Events, func(a, b NightsEvent) int { return a.At.Compare(b.At) })
	return h, nil
}

func (o NightsOptions) checked() (NightsOptions, error) {
	if o.Devices == 0 {
		o.Devices = usualDevices
	}
	if o.Volume == 0 {
		o.Volume = 1
	}
	switch {
	case o.Nights < 1 || o.Nights > 3650:
		return o, fmt.Errorf("%d nights: wanted 1 to 3650", o.Nights)
	case o.Devices < 1 || o.Devices > 5000:
		return o, fmt.Errorf("%d devices: wanted 1 to 5000", o.Devices)
	case !(o.Volume > 0 && o.Volume <= 100):
		return o, fmt.Errorf("volume %g: wanted above 0 and at most 100", o.Volume)
	case !(o.Step == 0 || o.Step >= 0.1 && o.Step <= 50):
		return o, fmt.Errorf("steps of %g %%: wanted 0.1 to 50", o.Step)
	case !(o.Missing >= 0 && o.Missing <= 0.9):
		return o, fmt.Errorf("%g of the readings missing: wanted 0 to 0.9", o.Missing)
	}
	return o, nil
}

// world is what all devices share.
type world struct {
	o       NightsOptions
	zone    *time.Location
	first   time.Time
	r       *rand.Rand
	lost    map[int]bool // nights without a run at all
	history *History

	branches []branch
}

// lostRuns draws the nights on which nothing was read of anybody: single ones,
// and one longer gap in most half years.
func (w *world) lostRuns() {
	w.lost = map[int]bool{}
	for n := range w.o.Nights {
		if w.r.Float64() < 0.015 {
			w.lose(n, 1)
		}
		if w.r.Float64() < 1.0/150 {
			w.lose(n, 3+w.r.IntN(6))
		}
	}
	// The first and the last night were read: a history begins and ends with a run.
	delete(w.lost, 0)
	delete(w.lost, w.o.Nights-1)
}

func (w *world) lose(n, nights int) {
	for i := range nights {
		w.lost[n+i] = true
	}
	w.event("", w.readAt(n), fmt.Sprintf("no run for %d nights", nights))
}

func (w *world) event(key string, at time.Time, what string) {
	w.history.Events = append(w.history.Events, NightsEvent{Key: key, At: at.UTC(), What: what})
}

// day returns midnight of day n, by the calendar.
func (w *world) day(n int) time.Time { return w.first.AddDate(0, 0, n) }

// readAt is when night n is read.
func (w *world) readAt(n int) time.Time {
	d := w.day(n)
	return time.Date(d.Year(), d.Month(), d.Day(), readHour, 30, 0, 0, w.zone)
}

// run lives through the days of one office and writes down what is read of it.
func (w *world) run(f *office) {
	for n := 0; n < w.o.Nights+beyond; n++ {
		f.work(n)
		if n < w.o.Nights {
			f.disturb(n)
			f.read(n)
			if n == w.o.Nights-1 {
				f.close()
			}
		} else if f.settled() {
			break
		}
	}
	f.finish()
}

// normal is a factor around 1: the exponential of a normal number with the
// given spread.
func normal(r *rand.Rand, spread float64) float64 { return math.Exp(spread * r.NormFloat64()) }
