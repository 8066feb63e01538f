package visit

import (
	"fmt"
	"strings"

	"printround/internal/device"
)

// ends are the ends of the names of conditions that say that a supply or the
// life of a part is used up, or nearly, or that a receptacle is full: those of
// the printer-state-reasons registry (PWG 5100.9) and our own.
var ends = []string{
	"-empty", "-low", "-full", "-life-over", "-life-almost-over", "-life-warn", "-near-eol", "-at-eol",
	"derived-service-due", "derived-run-out",
}

// usesUp reports whether a finding says that its part is at the end, so that
// nothing but the part helps.
func usesUp(f *device.Finding) bool { return endsLife(f.Code) && !maybe(string(f.Advice.Part)) }

func endsLife(code string) bool {
	for _, e := range ends {
		if strings.HasSuffix(code, e) {
			return true
		}
	}
	return false
}

// maybe reports a part that the advice itself makes conditional, such as "feed
// roller kit if it comes back".
func maybe(part string) bool { return strings.Contains(part, " if ") }

// officeStock are things that the people of an office have themselves.
var officeStock = map[string]bool{
	"paper": true, "media": true, "roll of media": true, "labels": true, "insert sheets": true, "cover sheets": true,
	"wrapping paper": true, "wrapping material": true,
}

// classOf returns the class of part that a finding asks for; empty: none.
func classOf(f *device.Finding) string {
	class, _, _ := strings.Cut(string(f.Advice.Part), " if ")
	if officeStock[class] {
		return ""
	}
	return class
}

// part returns the part that a finding asks for, nil for none.
func (p *planner) part(d *device.Device, f *device.Finding) *Needed {
	class := classOf(f)
	if class == "" {
		return nil
	}
	kind, colorant := "", device.Text("")
	if s := supplyOf(d, f); s != nil {
		kind, colorant = string(s.Kind), s.Colorant
	}
	return p.needed(d, class, kind, colorant, usesUp(f))
}

// needed looks a part up in the catalogue. Its class loses the colour, which
// stands by itself.
func (p *planner) needed(d *device.Device, class, kind string, colorant device.Text, sure bool) *Needed {
	if head := string(colorant) + " "; colorant != "" {
		class = strings.TrimPrefix(class, head)
	}
	n := &Needed{Part: class, Color: colorant, Sure: sure}
	if c, ok := p.o.Catalogue.Part(string(d.MakeModel), string(colorant), kind, class); ok {
		n.Number, n.Name = device.Text(c.Number), device.Text(c.Name)
	}
	return n
}

// supplyOf returns the supply that a finding is about, nil for none.
func supplyOf(d *device.Device, f *device.Finding) *device.Supply {
	if f.Subunit.Index <= 0 {
		return nil
	}
	if f.Subunit.Group == supplyGroup {
		return d.Supply(f.Subunit.Index)
	}
	for i := range d.Finishers {
		for n := range d.Finishers[i].Supplies {
			if s := &d.Finishers[i].Supplies[n]; s.Name != "" && s.Name == f.Subunit.Name {
				return s
			}
		}
	}
	return nil
}

// bring puts the part of a task on the list. The same order number is the same
// part; without one it takes the same class, colour and model, and parts for
// devices of unknown model are never taken for one.
func (p *planner) bring(d *device.Device, t *Task) {
	n := t.Part
	id := "number\x00" + strings.ToLower(string(n.Number))
	if n.Number == "" {
		model := strings.ToLower(string(d.MakeModel))
		if model == "" {
			model = d.Key
		}
		id = strings.Join([]string{"class", strings.ToLower(n.Part), strings.ToLower(string(n.Color)), model}, "\x00")
	}
	if !n.Sure {
		id += "\x00perhaps"
	}
	x := p.parts[id]
	if x == nil {
		x = &listed{Part: Part{Part: n.Part, Number: n.Number, Name: n.Name, Color: n.Color, Sure: n.Sure}}
		p.parts[id] = x
	}
	x.Quantity++
	if d.MakeModel != "" {
		x.models = append(x.models, string(d.MakeModel))
	}
	if compareChance(t.Probability, x.Probability) > 0 {
		x.Probability = t.Probability
	}
	whose := t.Device
	if p.names[whose] > 1 {
		whose = fmt.Sprintf("%s, %s", whose, t.Where)
	}
	x.Because = append(x.Because, whose+": "+t.why())
}

// why is the finding behind a part, and what the forecast says.
func (t *Task) why() string {
	if t.Probability == nil || t.Code == runOut || t.Code == serviceDue {
		return t.Summary
	}
	return t.Summary + ", " + chanceWords(*t.Probability) + " likely to end before the visit after next"
}
