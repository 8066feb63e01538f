package visit

import (
	"fmt"
	"math"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
)

// Codes of what the forecast alone says.
const (
	runOut     = "derived-run-out"
	serviceDue = "derived-service-due"
)

// end is the foreseen end of one supply or part.
type end struct {
	item            *forecast.Item
	next, afterNext float64 // chance of the end before the next visit, and before the one after it
	told            bool    // a finding says it too
}

// outlook returns the ends that the forecast of a device knows. What it does not
// know (too few nights) is none.
func (p *planner) outlook(d *device.Device) []*end {
	f := p.byKey[d.Key]
	for i := 0; f == nil && i < len(d.Aliases); i++ {
		f = p.byKey[d.Aliases[i]]
	}
	if f == nil {
		return nil
	}
	p.plan.Forecast++
	horizon := time.Duration(p.o.HorizonDays) * 24 * time.Hour
	var out []*end
	for i := range f.Items {
		r := f.Items[i].RunOut
		if r == nil {
			continue
		}
		out = append(out, &end{
			item: &f.Items[i],
			next: r.ChanceBefore(p.o.Now.Add(horizon)), afterNext: r.ChanceBefore(p.o.Now.Add(2 * horizon)),
		})
	}
	return out
}

// endOf returns what the forecast says of the supply or part of a finding. Only
// findings about an end have one: a jam does not wait for it.
func endOf(outlook []*end, d *device.Device, f *device.Finding, n *Needed) *end {
	if !endsLife(f.Code) {
		return nil
	}
	for _, e := range outlook {
		if e.item.Index > 0 {
			if f.Subunit.Group == supplyGroup && f.Subunit.Index == e.item.Index {
				return e
			}
			continue
		}
		if n != nil && device.SameSupply(n.Part, e.item.Type) && e.item.Colorant == string(n.Color) {
			return e
		}
	}
	return nil
}

// foreseen returns the tasks of what only the forecast knows.
func (p *planner) foreseen(d *device.Device, outlook []*end) []grouped {
	var out []grouped
	for _, e := range outlook {
		if e.told || e.afterNext < watchFrom && e.afterNext < p.o.BringProbability {
			continue
		}
		t, ok := p.foresee(d, e)
		if !ok {
			continue
		}
		t.Probability, t.ByNext = &e.afterNext, &e.next
		if e.afterNext < p.o.BringProbability {
			t.Part = nil
			out = append(out, grouped{t, watch})
			continue
		}
		if t.Part != nil {
			t.Part.Bring = true
		}
		out = append(out, grouped{t, needsVisit})
	}
	return out
}

func (p *planner) foresee(d *device.Device, e *end) (Task, bool) {
	i := e.item
	name := i.Name
	if name == "" {
		name = i.Type
	}
	if i.Index == 0 {
		a := device.Advice{
			Steps: []string{"Bring " + article(i.Type) + " and change it at this visit: it is near the end of its life in pages"},
			Part:  device.Text(i.Type), Who: device.Trained, Minutes: 15,
			Caution: "Switch off and unplug before taking off anything that a tool holds. The maker's documentation and qualified service come first.",
		}
		t := newTask(d, serviceDue, device.ImpactDue, p.outlookWords(name, "reach the end of its life", e), &a)
		t.Part = p.needed(d, i.Type, "", device.Text(i.Colorant), true)
		return t, true
	}
	s := d.Supply(i.Index)
	code, a, ok := p.o.Foresee(d, i.Index)
	if s == nil || !ok {
		return Task{}, false // forecast and survey do not speak of the same supplies
	}
	what := "run out"
	switch {
	case s.Role == device.Receptacle:
		what = "be full"
	case code == serviceDue:
		what = "reach the end of its life"
	}
	t := newTask(d, code, device.ImpactDue, p.outlookWords(name, what, e), &a)
	if a.Part != "" {
		t.Part = p.needed(d, string(a.Part), string(s.Kind), s.Colorant, true)
	}
	return t, true
}

func (p *planner) outlookWords(name, what string, e *end) string {
	line := fmt.Sprintf("%s: %s likely to %s before the visit after next", name, chanceWords(e.afterNext), what)
	if e.next <= 0 {
		return line + ", not before the next"
	}
	return line + ", " + chanceWords(e.next) + " before the next"
}

// chanceWords writes a probability for people. It is never rounded to
// certainty.
func chanceWords(p float64) string {
	switch {
	case p <= 0:
		return "0%"
	case p < 0.01:
		return "less than 1%"
	case p >= 0.995:
		return "more than 99%"
	}
	return fmt.Sprintf("%.0f%%", math.Round(p*100))
}

func article(noun string) string {
	if noun != "" && (noun[0] == 'a' || noun[0] == 'e' || noun[0] == 'i' || noun[0] == 'o') {
		return "an " + noun
	}
	return "a " + noun
}
