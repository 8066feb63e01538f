// Package visit turns a survey into a plan for the day: what can be done by
// phone, where to go and why, and which parts to bring. It reads what was
// judged already and the forecasts, never the network.
//
// The rules (common practice, no source):
//
//   - Every finding that holds is in the plan once: as a task or as one that
//     another task cures (two findings that one part cures, or the same condition
//     at several trays or covers of a device).
//   - By phone goes what somebody on site may settle: a finding whose advice
//     begins with steps for the phone. What is left for somebody trained, and the
//     part for it, is said there ("if that does not help") and is no second task.
//     Settings of whoever administers the device are made from the desk and stand
//     there too.
//   - A visit is needed for what asks for field service (steps for the phone are
//     told ahead), for what no step can be told by phone, and for what will want a
//     part that somebody has to bring.
//   - A supply that is out and that people change themselves is a call: the old
//     part may have one in stock beside it. A part is brought all the same, to fit
//     it or to fill the stock up; the stop says so and has no second task.
//   - To watch: notes, warnings that the present state contradicts, and what the
//     forecast puts beyond the visit after next. What asks for nobody is left out.
//   - A part is brought when a finding says that its supply or life is at the end,
//     or when it will be needed before the visit after next (two horizons from
//     now) with at least the probability of [DefaultBring]. Until then there is one
//     more visit; a later one is early enough. A low supply that the forecast
//     puts beyond that is only watched.
//   - Parts of faults that only a look can tell (a motor, a switch) are brought
//     too when somebody goes there, marked as not sure.
//   - Paper and other media are the office's own stock and on no list.
//   - An unknown level is no reason to bring a part. Such supplies are listed to be
//     looked at, unless the device sets no limit to them.
//   - A silent device is called about first; nothing is brought for it.
//   - A queue that a server shares is no place to go to: what it says is left out
//     when its printer says the same, else it is a call.
package visit

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
)

// DefaultBring is the probability of being needed from which a part is brought
// when the site states none. A part that is brought in vain costs its carrying
// and lies in stock until it is needed, about half an hour's worth; a part that
// is missing costs a journey of its own and a device that stands, about two
// hours. Bringing pays from 0.5 / (0.5 + 2) (common practice, no source).
const DefaultBring = 0.2

// watchFrom is the probability from which a forecast is worth a line.
const watchFrom = 0.05

// deliverMinutes is what it takes to leave a part and show where it goes
// (common practice, no source).
const deliverMinutes = 2

// Options say what the plan is made with.
type Options struct {
	HorizonDays      int // days until the next visit, > 0
	BringProbability float64
	Catalogue        device.Catalogue
	Contacts         map[string]string // whom to call, by site; a device's own contact goes first
	Forecasts        []forecast.Device // of some of the devices, or none
	Now              time.Time
	// Foresee returns code and advice for the supply with an index that is going
	// to end; false: the device has no such supply. nil: there are no Forecasts.
	Foresee func(d *device.Device, index int) (code string, a device.Advice, ok bool)
}

// planner is a plan in the making.
type planner struct {
	o      Options
	plan   *Plan
	stops  map[place]*Stop
	parts  map[string]*listed
	onWay  map[string]bool // keys of devices at a stop
	spoken map[spoken]bool // what printers say of themselves
	byKey  map[string]*forecast.Device
	names  map[string]int // how many devices are called so
}

// listed is a line of the list of parts in the making.
type listed struct {
	Part
	models []string
}

type place struct {
	site, location device.Text
}

// Make makes the plan for a survey whose devices are judged.
func Make(s *device.Survey, o Options) *Plan {
	p := &planner{
		o: o, stops: map[place]*Stop{}, parts: map[string]*listed{}, onWay: map[string]bool{}, spoken: map[spoken]bool{},
		byKey: map[string]*forecast.Device{}, names: map[string]int{},
		plan: &Plan{
			Schema: Schema, Made: o.Now.UTC(), Surveyed: s.Finished.UTC(), Partial: s.Partial, PartialReason: s.PartialReason,
			Site: s.Site, HorizonDays: o.HorizonDays, BringProbability: o.BringProbability,
			ByPhone: []Task{}, Visit: []Stop{}, Watch: []Task{}, Parts: []Part{}, LookAt: []Look{},
		},
	}
	if s.Finished.IsZero() {
		p.plan.Surveyed = s.Started.UTC()
	}
	for i := range o.Forecasts {
		p.byKey[o.Forecasts[i].Key] = &o.Forecasts[i]
	}
	for i := range s.Devices {
		p.hear(&s.Devices[i])
		p.names[s.Devices[i].Label()]++
	}
	for i := range s.Devices {
		p.device(&s.Devices[i])
	}
	p.order()
	p.sum()
	return p.plan
}

// device puts what one device needs into the plan.
func (p *planner) device(d *device.Device) {
	if d.Role == device.RoleServerQueue {
		for _, t := range p.tasks(d) {
			if !p.said(d, t.Code) && t.group != watch {
				p.call(d, t.Task)
			}
		}
		return
	}
	p.plan.Devices++
	at := StopDevice{
		Key: d.Key, Device: d.Label(), Model: d.MakeModel, Where: device.Text(d.Place(true)), Attention: d.Attention, Urgency: d.Urgency,
		Tasks: []Task{}, Deliver: []Needed{},
	}
	for _, t := range p.tasks(d) {
		switch t.group {
		case byPhone:
			p.call(d, t.Task)
			if t.Part != nil && t.Part.Bring {
				at.Deliver = append(at.Deliver, *t.Part)
				p.bring(d, &t.Task)
			}
		case needsVisit:
			at.Tasks = append(at.Tasks, t.Task)
			if t.Part != nil {
				p.bring(d, &t.Task)
			}
		default:
			p.plan.Watch = append(p.plan.Watch, t.Task)
		}
	}
	if len(at.Tasks)+len(at.Deliver) > 0 {
		p.stop(d, at)
	}
	p.look(d)
}

func (p *planner) call(d *device.Device, t Task) {
	t.Call = cmp.Or(d.Contact, device.Text(p.o.Contacts[string(d.Site)]))
	p.plan.ByPhone = append(p.plan.ByPhone, t)
}

func (p *planner) stop(d *device.Device, at StopDevice) {
	where := place{d.Site, d.Location}
	s := p.stops[where]
	if s == nil {
		s = &Stop{Site: d.Site, Location: d.Location}
		p.stops[where] = s
	}
	s.Devices = append(s.Devices, at)
	for _, t := range at.Tasks {
		s.Minutes += t.Minutes
	}
	s.Minutes += deliverMinutes * len(at.Deliver)
	p.onWay[d.Key] = true
}

// order sorts everything, so that the plan depends on the survey alone: calls
// by site, the site with the worst device first; stops by site and location.
func (p *planner) order() {
	worst := map[device.Text]int{}
	for _, t := range p.plan.ByPhone {
		worst[t.Site] = max(worst[t.Site], t.Urgency)
	}
	slices.SortStableFunc(p.plan.ByPhone, func(a, b Task) int {
		return cmp.Or(
			cmp.Compare(worst[b.Site], worst[a.Site]), cmp.Compare(a.Site, b.Site),
			cmp.Compare(b.Urgency, a.Urgency), cmp.Compare(a.Key, b.Key),
		)
	})
	for _, s := range p.stops {
		slices.SortStableFunc(s.Devices, func(a, b StopDevice) int {
			return cmp.Or(cmp.Compare(b.Urgency, a.Urgency), cmp.Compare(a.Key, b.Key))
		})
		p.plan.Visit = append(p.plan.Visit, *s)
	}
	slices.SortFunc(p.plan.Visit, func(a, b Stop) int {
		return cmp.Or(natural(string(a.Site), string(b.Site)), byLocation(string(a.Location), string(b.Location)))
	})
	slices.SortStableFunc(p.plan.Watch, func(a, b Task) int {
		return cmp.Or(
			boolCompare(a.Stale, b.Stale), compareChance(b.Probability, a.Probability), cmp.Compare(a.Impact.Rank(), b.Impact.Rank()),
			cmp.Compare(a.Site, b.Site), cmp.Compare(a.Code, b.Code), natural(string(a.Where), string(b.Where)), cmp.Compare(a.Key, b.Key),
		)
	})
	for _, x := range p.parts {
		slices.SortFunc(x.Because, natural)
		slices.Sort(x.models)
		x.Model = device.Text(strings.Join(slices.Compact(x.models), ", "))
		p.plan.Parts = append(p.plan.Parts, x.Part)
	}
	slices.SortFunc(p.plan.Parts, func(a, b Part) int {
		return cmp.Or(
			-boolCompare(a.Sure, b.Sure), natural(string(a.Model), string(b.Model)), cmp.Compare(a.Part, b.Part),
			cmp.Compare(a.Color, b.Color), natural(string(a.Number), string(b.Number)), slices.Compare(a.Because, b.Because),
		)
	})
	for i := range p.plan.LookAt {
		p.plan.LookAt[i].OnTheWay = p.onWay[p.plan.LookAt[i].Key]
	}
	slices.SortStableFunc(p.plan.LookAt, func(a, b Look) int {
		return cmp.Or(
			-boolCompare(a.OnTheWay, b.OnTheWay), natural(string(a.Site), string(b.Site)), natural(string(a.Where), string(b.Where)), cmp.Compare(a.Key, b.Key),
		)
	})
}

func (p *planner) sum() {
	for _, s := range p.plan.Visit {
		p.plan.Minutes += s.Minutes
	}
	for _, t := range p.plan.ByPhone {
		p.plan.PhoneMinutes += t.Minutes
		if t.IfNot != "" {
			p.plan.IfNotMinutes += t.Minutes
		}
	}
}

// look lists the supplies whose level is unknown, those left out that a task is
// about.
func (p *planner) look(d *device.Device) {
	about := map[int]bool{}
	for i := range d.Findings {
		if f := &d.Findings[i]; f.Asks() && f.Subunit.Group == supplyGroup {
			about[f.Subunit.Index] = true
		}
	}
	l := Look{Key: d.Key, Device: d.Label(), Site: d.Site, Where: device.Text(d.Place(true))}
	for i := range d.Supplies {
		s := &d.Supplies[i]
		if s.Level.Known() || s.Level.Reason() == device.LevelUnlimited || about[s.Index] {
			continue
		}
		name := string(s.Name)
		if name == "" {
			name = strings.TrimSpace(string(s.Colorant) + " " + string(s.Kind))
		}
		l.Supplies = append(l.Supplies, LookSupply{Index: s.Index, Name: name, Reason: s.Level.Reason()})
	}
	if len(l.Supplies) > 0 {
		p.plan.LookAt = append(p.plan.LookAt, l)
	}
}

// spoken is a condition of a printer, by what is known of it.
type spoken struct {
	site         device.Text
	about, model string
	code         string
}

// hear notes what a printer says of itself, by its name and by its model and
// place: the queue that a server shares has them from the printer.
func (p *planner) hear(d *device.Device) {
	if d.Role == device.RoleServerQueue {
		return
	}
	for i := range d.Findings {
		if f := &d.Findings[i]; f.Asks() {
			for _, s := range sayings(d, f.Code) {
				p.spoken[s] = true
			}
		}
	}
}

// said reports that the printer of a queue says the same.
func (p *planner) said(queue *device.Device, code string) bool {
	return slices.ContainsFunc(sayings(queue, code), func(s spoken) bool { return p.spoken[s] })
}

func sayings(d *device.Device, code string) []spoken {
	fold := func(t device.Text) string { return strings.ToLower(string(t)) }
	name, _, _ := strings.Cut(fold(d.Name), " @ ")
	model, place := fold(d.MakeModel), fold(d.Location)
	var out []spoken
	if name != "" {
		out = append(out, spoken{d.Site, "name " + name, model, code})
	}
	if model != "" && place != "" {
		out = append(out, spoken{d.Site, "place " + place, model, code})
	}
	return out
}

func boolCompare(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

func compareChance(a, b *float64) int {
	value := func(p *float64) float64 {
		if p == nil {
			return -1
		}
		return *p
	}
	return cmp.Compare(value(a), value(b))
}

// byLocation orders places, those that are not known last.
func byLocation(a, b string) int {
	return cmp.Or(boolCompare(a == "", b == ""), natural(a, b))
}

// natural orders texts without regard to case, and numbers in them by value, so
// that floor 2 comes before floor 10. Texts that differ are never equal.
func natural(a, b string) int {
	x, y := strings.ToLower(a), strings.ToLower(b)
	for x != "" && y != "" {
		m, n := digits(x), digits(y)
		if m > 0 && n > 0 {
			u, v := strings.TrimLeft(x[:m], "0"), strings.TrimLeft(y[:n], "0")
			if c := cmp.Or(cmp.Compare(len(u), len(v)), cmp.Compare(u, v)); c != 0 {
				return c
			}
			x, y = x[m:], y[n:]
			continue
		}
		if c := cmp.Compare(x[0], y[0]); c != 0 {
			return c
		}
		x, y = x[1:], y[1:]
	}
	return cmp.Or(cmp.Compare(len(x), len(y)), cmp.Compare(a, b))
}

// digits returns how many digits s begins with.
func digits(s string) int { return len(s) - len(strings.TrimLeft(s, "0123456789")) }
