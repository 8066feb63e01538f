package visit

import (
	"slices"

	"printround/internal/device"
)

// group is where a task stands in the plan.
type group int

const (
	byPhone group = iota
	needsVisit
	watch
)

// supplyGroup is the PrtAlertGroupTC label of the supplies of the marker.
const supplyGroup = "markerSupplies"

// grouped is a task and its group.
type grouped struct {
	Task
	group
}

// tasks returns what the findings and the forecast of a device ask for, in the
// order of the findings.
func (p *planner) tasks(d *device.Device) []grouped {
	outlook := p.outlook(d)
	var out []grouped
	for _, c := range cures(d) {
		out = append(out, p.task(d, c, outlook))
	}
	return append(out, p.foreseen(d, outlook)...)
}

// cure is a finding with those that the same work cures.
type cure struct {
	lead *device.Finding
	also []*device.Finding
}

// cures brings findings together that one part or one turn of work cures. The
// findings of a device are sorted worst first, so that the first one leads. What
// asks for nobody is left out.
func cures(d *device.Device) []*cure {
	var out []*cure
	for i := range d.Findings {
		f := &d.Findings[i]
		if f.Advice.Who == device.Nobody {
			continue
		}
		n := slices.IndexFunc(out, func(c *cure) bool { return together(c.lead, f) })
		if n < 0 {
			out = append(out, &cure{lead: f})
			continue
		}
		out[n].also = append(out[n].also, f)
	}
	return out
}

// together reports whether what cures a also cures b. A note or a stale finding
// takes part in no work.
func together(a, b *device.Finding) bool {
	if !a.Asks() || !b.Asks() {
		return false
	}
	pa, pb := classOf(a), classOf(b)
	if usesUp(a) && usesUp(b) && pa != "" {
		same := a.Subunit.Index == b.Subunit.Index || a.Subunit.Index == 0 || b.Subunit.Index == 0
		return same && device.SameSupply(pa, pb)
	}
	return a.Code == b.Code && !(usesUp(a) && pa != "") && a.Impact == b.Impact
}

func (p *planner) task(d *device.Device, c *cure, outlook []*end) grouped {
	f := c.lead
	t := newTask(d, f.Code, f.Impact, f.Summary, &f.Advice)
	t.Stale = f.Stale
	for _, a := range c.also {
		t.Also = append(t.Also, Other{a.Code, a.Summary})
	}
	if !f.Asks() {
		if f.Stale {
			t.Steps, t.Step, t.Minutes = []string{}, "", 0
		}
		return grouped{t, watch}
	}
	t.Part = p.part(d, f)
	if e := endOf(outlook, d, f, t.Part); e != nil {
		e.told = true
		t.Probability, t.ByNext = &e.afterNext, &e.next
		if f.Impact == device.ImpactDue && e.afterNext < p.o.BringProbability {
			t.Part, t.IfNot = nil, ""
			return grouped{t, watch}
		}
	}
	return p.place(t, &f.Advice, f.Impact)
}

func newTask(d *device.Device, code string, impact device.Impact, summary string, a *device.Advice) Task {
	t := Task{
		Key: d.Key, Device: d.Label(), Model: d.MakeModel, Site: d.Site, Where: device.Text(d.Place(true)),
		Code: code, Impact: impact, Summary: summary, Steps: slices.Clone(a.Steps), Later: []string{}, Also: []Other{},
		Who: a.Who, Minutes: a.Minutes, Caution: a.Caution, Urgency: d.Urgency,
	}
	if t.Steps == nil {
		t.Steps = []string{}
	}
	if len(t.Steps) > 0 {
		t.Step = device.Text(t.Steps[0])
	}
	return t
}

// place decides between a call and a visit, by the rules of the package.
func (p *planner) place(t Task, a *device.Advice, impact device.Impact) grouped {
	phone := min(max(a.PhoneSteps, 0), len(a.Steps))
	used := t.Part != nil && t.Part.Sure
	switch {
	case a.Who == device.Management:
		t.FromDesk = true
		if t.Part != nil {
			t.Part.Bring = false
		}
		return grouped{t, byPhone}
	case a.Who == device.FieldService, phone == 0, used && impact == device.ImpactDue:
		if impact != device.ImpactDue {
			t.Ahead = phone
		}
		if t.Part != nil {
			t.Part.Bring = true
		}
		return grouped{t, needsVisit}
	}
	t.Steps, t.Later = t.Steps[:phone:phone], slices.Clone(t.Steps[phone:])
	t.IfNot = "visit"
	if t.Part != nil {
		t.IfNot += ", bring " + device.Text(t.Part.Words())
		t.Part.Bring = used
	}
	if used {
		t.Steps = append([]string{"Ask whether " + article(t.Part.Words()) + " is in stock there; if so:"}, t.Steps...)
	}
	if len(t.Steps) > 0 {
		t.Step = device.Text(t.Steps[0])
	}
	return grouped{t, byPhone}
}

// Words names a part for people: the catalogue's name where it has one, and the
// number.
func (n *Needed) Words() string {
	s := string(n.Name)
	if s == "" {
		s = n.Part
		if n.Color != "" {
			s = string(n.Color) + " " + s
		}
	}
	if n.Number != "" {
		s += " (" + string(n.Number) + ")"
	}
	return s
}
