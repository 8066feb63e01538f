package lab

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"printround/internal/device"
)

// office is one simulated device through the nights, with the people around it.
type office struct {
	w      *world
	r      *rand.Rand
	m      *model
	place  *placement
	use    *use
	slots  []slot
	ghosts []ghost
	life   float64 // what the device counts
	booted time.Time
	device int  // index of History.Devices
	noID   bool // no serial number, UUID or MAC: known by its address

	swapAt, resetAt int // nights of such events; -1: none
	lost            map[int]bool
	wrong           int // what the reading of this night has wrong, of wrongKinds; -1: nothing
}

func newOffice(w *world, s *scenario, p *placement, i int) *office {
	m := s.model(p.Model)
	r := random(w.o.Seed, "office "+p.Name)
	f := &office{w: w, r: r, m: m, place: p, swapAt: -1, resetAt: -1, lost: map[int]bool{}}
	f.use = newUse(r, m, w.o.Volume)
	f.noID = r.Float64() < 0.03
	f.life = float64(p.Pages) * (1 + 0.1*r.Float64())
	f.booted = w.first.AddDate(0, 0, -p.Days)
	machine := newMachine(m, p, w.o.Seed)
	f.appear(machine, fmt.Sprintf("10.20.%d.%d", 1+i/200, 10+i%200))
	for k, row := range m.Supplies {
		f.slots = append(f.slots, newSlot(row, k+1, m.ID, r, w.o))
		f.begin(k, w.day(0), "in place")
	}
	if r.Float64() < 0.04 && w.o.Nights > 20 {
		f.swapAt = 10 + r.IntN(w.o.Nights-10)
	}
	if r.Float64() < 0.04 && w.o.Nights > 20 {
		f.resetAt = 10 + r.IntN(w.o.Nights-10)
	}
	f.loseReadings()
	return f
}

// appear begins the record of a device.
func (f *office) appear(m *machine, address string) {
	d := NightsDevice{
		Name: f.place.Title, Serial: m.serial, UUID: m.uuid, MAC: macText(m.mac), MakeModel: m.Name,
		Hostname: f.place.Hostname, Location: f.place.Location, Address: address, Key: "uuid:" + m.uuid,
	}
	for _, b := range f.w.branches {
		if b.ID == f.place.Branch {
			d.Site = b.Name
		}
	}
	if !f.place.IPP {
		d.UUID = ""
		d.Key = serialKey(m.Name, m.serial)
	}
	if f.noID {
		d.Serial, d.UUID, d.MAC, d.Key = "", "", "", "addr:"+address
	}
	f.w.history.Devices = append(f.w.history.Devices, d)
	f.device = len(f.w.history.Devices) - 1
}

func (f *office) key() string { return f.w.history.Devices[f.device].Key }

// loseReadings draws the nights on which this device does not answer.
func (f *office) loseReadings() {
	r := random(f.w.o.Seed, "lost "+f.place.Name)
	for n := range f.w.o.Nights {
		if r.Float64() < 0.02+f.w.o.Missing {
			f.lost[n] = true
		}
		if r.Float64() < 1.0/400 { // switched off for some days
			for i := range 2 + r.IntN(8) {
				f.lost[n+i] = true
			}
		}
	}
}

// begin writes down that a supply was put in.
func (f *office) begin(k int, at time.Time, how string) {
	s := &f.slots[k]
	s.life = len(f.w.history.Lives)
	f.w.history.Lives = append(f.w.history.Lives, SupplyLife{
		Key: f.key(), Index: s.index, Name: s.Name, Kind: s.Kind, Colorant: s.Colorant, From: at.UTC(), Began: how,
	})
}

// end writes down that what is in a slot was taken out.
func (f *office) end(k int, at time.Time, how string) {
	s := &f.slots[k]
	l := &f.w.history.Lives[s.life]
	t := at.UTC()
	l.To, l.Ended, l.Left = &t, how, math.Round(1000*s.left)/10
}

// work lives through one day.
func (f *office) work(n int) {
	date := f.w.day(n)
	for k := range f.slots {
		w := f.slots[k].idle(f.r)
		if w > 0 {
			f.consume(k, w, date.Add(3*time.Hour))
		}
	}
	for _, b := range f.use.day(n, date) {
		f.mend(n, b.at)
		if f.stuck() {
			continue
		}
		f.life += b.pages
		for k := range f.slots {
			f.consume(k, f.slots[k].wear(b, f.r), b.at)
		}
	}
	f.mend(n, f.w.readAt(n))
}

// stuck reports whether a supply that it cannot do without is empty.
func (f *office) stuck() bool {
	for k := range f.slots {
		if f.slots[k].left <= 0 && f.slots[k].stops() {
			return true
		}
	}
	return false
}

// consume uses up what is in slot k, and what was taken out of it too early.
func (f *office) consume(k int, wear float64, at time.Time) {
	s := &f.slots[k]
	if s.left > 0 {
		s.left -= wear / s.yield
		if s.left <= 0 {
			s.left = 0
			f.ranOut(s.life, at)
			s.fixAt = f.after(s, at)
		} else if s.left <= s.early && s.fixAt.IsZero() {
			s.fixAt = at.Add(time.Duration(f.r.Float64() * 48 * float64(time.Hour)))
		}
	}
	for i := range f.ghosts {
		g := &f.ghosts[i]
		if g.slot != k || g.left <= 0 {
			continue
		}
		if g.left -= wear / g.yield; g.left <= 0 {
			f.ranOut(g.life, at)
		}
	}
}

func (f *office) ranOut(life int, at time.Time) {
	t := at.UTC()
	f.w.history.Lives[life].RunOut = &t
}

// after draws when an empty supply is replaced: soon where printing stops,
// later where it goes on.
func (f *office) after(s *slot, at time.Time) time.Time {
	x := f.r.Float64()
	if !s.stops() {
		return at.Add(time.Duration(24*(1+15*x)) * time.Hour)
	}
	switch {
	case x < 0.5:
		return at.Add(time.Duration(20+100*f.r.Float64()) * time.Minute)
	case x < 0.85:
		return at.Add(time.Duration(15+8*f.r.Float64()) * time.Hour)
	}
	return at.Add(time.Duration(24+96*f.r.Float64()) * time.Hour)
}

// mend replaces what somebody has come to replace.
func (f *office) mend(n int, at time.Time) {
	for k := range f.slots {
		s := &f.slots[k]
		if s.fixAt.IsZero() || s.fixAt.After(at) {
			continue
		}
		how := "empty"
		if s.left > 0 {
			how = "early"
			f.ghosts = append(f.ghosts, ghost{slot: k, life: s.life, left: s.left, yield: s.yield})
		}
		if n < f.w.o.Nights {
			f.end(k, s.fixAt, how)
			f.refill(k, s.fixAt)
			continue
		}
		f.slots[k].put(f.r, s.Capacity) // after the history: life goes on, nobody writes it down
		f.slots[k].life = f.begun()
	}
}

// begun is a life that is never shown, for supplies put in after the history.
func (f *office) begun() int {
	f.w.history.Lives = append(f.w.history.Lives, SupplyLife{})
	return len(f.w.history.Lives) - 1
}

// refill puts in what people have: usually a full one.
func (f *office) refill(k int, at time.Time) {
	s := &f.slots[k]
	how, x := "new", f.r.Float64()
	consumable := shared(s.Kind)
	switch {
	case x < 0.04 && consumable:
		s.put(f.r, s.Capacity)
		s.left, how = 0.3+0.5*f.r.Float64(), "part-used"
		s.early = min(s.early, s.left/2)
	case x < 0.08 && consumable && s.Unit != "percent":
		s.put(f.r, s.Capacity*(3+f.r.IntN(3))/2)
		how = "another size"
	default:
		s.put(f.r, s.Capacity)
	}
	f.begin(k, at, how)
}

// shared reports supplies that people replace themselves and share.
func shared(kind string) bool {
	return kind == "toner" || kind == "tonerCartridge" || kind == "inkCartridge"
}

// settled reports whether the run-out of everything that was in the device in
// the recorded nights is known.
func (f *office) settled() bool {
	for k := range f.slots {
		if l := f.w.history.Lives[f.slots[k].life]; l.Key != "" && l.RunOut == nil {
			return false
		}
	}
	for _, g := range f.ghosts {
		if g.left > 0 {
			return false
		}
	}
	return true
}

// close marks what is in at the end of the history.
func (f *office) close() {
	for k := range f.slots {
		l := &f.w.history.Lives[f.slots[k].life]
		l.Ended, l.Left = "still in", math.Round(1000*f.slots[k].left)/10
	}
}

// finish drops the lives that began after the history.
func (f *office) finish() {
	kept := f.w.history.Lives[:0]
	for _, l := range f.w.history.Lives {
		if l.Key != "" {
			kept = append(kept, l)
		}
	}
	f.w.history.Lives = kept
}

// disturb lets happen what happens to devices and not to their supplies.
func (f *office) disturb(n int) {
	at := f.w.readAt(n)
	if n == f.resetAt {
		f.life = 0
		f.w.event(f.key(), at, "life count starts at 0 again: another board")
	}
	if f.r.Float64() < 1.0/40 {
		f.booted = at.Add(-time.Duration(f.r.Float64() * 20 * float64(time.Hour)))
	}
	if n == f.swapAt {
		f.swap(n, at)
	}
	f.wrong = -1
	if f.r.Float64() < 0.006 {
		f.wrong = f.r.IntN(wrongKinds)
	}
}

// swap puts another device of the same model in its place, with supplies of its
// own. What was in the old one goes away with it: nobody will ever know when it
// would have been empty.
func (f *office) swap(n int, at time.Time) {
	old := f.key()
	for k := range f.slots {
		f.end(k, at, "swapped with its device")
	}
	f.ghosts = nil
	other := *f.place
	other.Name += " again"
	address := f.w.history.Devices[f.device].Address
	if !f.noID {
		f.appear(newMachine(f.m, &other, f.w.o.Seed), address)
	}
	f.w.event(old, at, "device swapped, now "+f.key())
	f.life = float64(f.r.IntN(2000))
	if f.r.Float64() < 0.3 {
		f.life = float64(f.place.Pages) * 2 * f.r.Float64()
	}
	f.booted = at.Add(-2 * time.Hour)
	for k := range f.slots {
		f.slots[k].put(f.r, f.slots[k].Capacity)
		if f.life > 2000 {
			f.slots[k].left = 0.1 + 0.9*f.r.Float64()
		}
		f.begin(k, at, "swapped with its device")
	}
}

// Kinds of wrong readings.
const (
	wrongZero = iota
	wrongFull
	wrongCount
	noLevels
	noCount
	wrongKinds
)

// read writes down what is read of the device on night n.
func (f *office) read(n int) {
	if f.w.lost[n] || f.lost[n] {
		return
	}
	// A run takes minutes, and does not begin on the second.
	at := f.w.readAt(n).Add(time.Duration(f.r.IntN(1200)) * time.Second).UTC()
	f.mend(n, at)
	life := int64(f.life)
	up := int64(at.Sub(f.booted) / time.Second)
	d := &f.w.history.Devices[f.device]
	night := device.Night{
		At: at, Attention: device.Clear, LifeCount: &life, LifeUnit: f.m.CounterUnit, LifeSource: device.SourceSNMP,
		UptimeS: &up, Address: d.Address, RoundTrips: 8 + f.r.IntN(4),
	}
	victim := -1
	if len(f.slots) > 0 {
		victim = f.r.IntN(len(f.slots))
	}
	for k := range f.slots {
		s := &f.slots[k]
		p, reason := s.shown()
		switch {
		case f.wrong == noLevels:
			reason = "not-reported"
		case k == victim && reason == "" && f.wrong == wrongZero:
			p = 0
		case k == victim && reason == "" && f.wrong == wrongFull:
			p = 100
		}
		reading := s.reading(p, reason)
		if reading.Percent != nil && *reading.Percent <= 10 {
			night.Attention = device.Due
		}
		night.Supplies = append(night.Supplies, reading)
	}
	switch f.wrong {
	case wrongCount:
		if life = 0; f.r.Float64() < 0.5 {
			life = int64(f.life * 10)
		}
	case noCount:
		night.LifeCount, night.LifeUnit, night.LifeSource = nil, "", ""
	}
	if f.wrong >= 0 {
		f.w.event(d.Key, at, "a wrong reading: "+[]string{"empty", "full", "life count", "no levels", "no life count"}[f.wrong])
	}
	d.Nights = append(d.Nights, night)
}

func (s *slot) reading(percent float64, reason string) device.SupplyReading {
	capacity := int64(s.max)
	r := device.SupplyReading{
		Index: s.index, Name: s.Name, Kind: s.Kind, Role: string(device.Consumed), Colorant: s.Colorant,
		Capacity: &capacity, Unit: s.Unit, Reason: reason, Source: device.SourceSNMP,
	}
	if s.receptacle() {
		r.Role = string(device.Receptacle)
	}
	if reason != "" {
		return r
	}
	value := int64(math.Round(float64(s.max) * percent / 100))
	p := math.Round(float64(value)/float64(s.max)*1000) / 10
	r.Value, r.Percent = &value, &p
	return r
}
