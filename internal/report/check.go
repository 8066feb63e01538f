package report

import (
	"fmt"
	"io"
	"strings"

	"printround/internal/device"
)

// writeCheck writes one device for the person who holds its ticket: the
// verdict, the panel's own text, what to do, and then the facts.
func writeCheck(w io.Writer, d *device.Device, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.sites = true
	p.verdict(d)
	if !answered(d) {
		p.failedSteps(d)
	}
	p.panel(d)
	p.whatToDo(d)
	p.notes(d)
	p.facts(d)
	if o.Explain {
		p.heading("How the urgency came about")
		p.wrapped("  ", "", urgencyLine(d))
		for i := range d.Findings {
			p.explainFinding(&d.Findings[i])
		}
	}
	return p.err
}

// verdict is the first line, and what says of which device it is.
func (p *page) verdict(d *device.Device) {
	p.painted(attentionColor[d.Attention], p.text(verdictLine(d)))
	p.wrapped("", "", p.identityLine(d))
	if d.Role == device.RoleServerQueue {
		p.wrapped("", "", "A queue that a server shares, not a device of its own.")
	}
	p.wrapped("", "", "Looked at "+p.time(d.ObservedAt))
}

func verdictLine(d *device.Device) string {
	level, why := strings.ToUpper(string(d.Attention)), d.Why()
	switch {
	case level == "":
		level = "NOT JUDGED"
	case why == "" && d.Attention == device.Clear:
		why = "nothing needs attention"
	}
	if why != "" {
		level += ": " + why
	}
	if d.Attention == "" {
		return level
	}
	return fmt.Sprintf("%s (urgency %d of 100)", level, d.Urgency)
}

// identityLine is all that helps to find the device, and what model it is.
func (s style) identityLine(d *device.Device) string {
	if d.MakeModel == "" || d.Label() == string(d.MakeModel) {
		return s.describe(d)
	}
	return s.describe(d) + ", " + string(d.MakeModel)
}

// failedSteps says at which step a device that gave no answer was lost.
func (p *page) failedSteps(d *device.Device) {
	p.heading("Which step failed")
	if len(d.Errors) == 0 {
		p.wrapped("  ", "", "none was recorded: nothing answered")
	}
	for _, e := range d.Errors {
		p.wrapped("  ", "- ", problemLine(e))
	}
}

// panel quotes the display and the device's own message word for word.
func (p *page) panel(d *device.Device) {
	if !answered(d) && len(d.State.Console) == 0 {
		return
	}
	p.heading("The panel says")
	for _, l := range d.State.Console {
		p.wrapped("  ", "", p.quoted(l))
	}
	if len(d.State.Console) == 0 {
		p.wrapped("  ", "", "nothing: the device does not report its display")
	}
	if d.State.Message != "" {
		p.wrapped("  ", "printer-state-message ", p.quoted(string(d.State.Message)))
	}
}

func (p *page) quoted(v string) string {
	if p.plain {
		return `"` + v + `"`
	}
	return "“" + v + "”"
}

// whatToDo writes the advice of each finding that asks for somebody.
func (p *page) whatToDo(d *device.Device) {
	n := 0
	for i := range d.Findings {
		f := &d.Findings[i]
		if !f.Asks() {
			continue
		}
		if n++; n == 1 {
			p.heading("What to do")
		}
		p.task(n, f)
	}
	if n == 0 && d.Attention == device.Clear {
		p.heading("What to do")
		p.wrapped("  ", "", "nothing")
	}
}

func (p *page) task(n int, f *device.Finding) {
	p.wrapped("  ", fmt.Sprintf("%d. ", n), taskLine(f))
	a := &f.Advice
	p.advice("Means", a.Meaning)
	p.advice("Likely", strings.Join(a.Causes, "; "))
	for i, s := range a.Steps {
		label := ""
		if i == 0 {
			label = "Do"
		}
		p.wrapped("     ", fmt.Sprintf("%-9s%d) ", label, i+1), s)
	}
	p.advice("Who", whoWords(a))
	p.advice("Bring", string(a.Part))
	p.advice("Caution", string(a.Caution))
}

func taskLine(f *device.Finding) string {
	line := fmt.Sprintf("%s%s [%s, %s", f.Summary, subunitWords(f.Subunit), f.Impact, f.Code)
	if f.AgeS != nil {
		line += ", " + span(*f.AgeS) + " old"
	}
	return line + "]"
}

func (p *page) advice(label, v string) {
	if v != "" {
		p.wrapped("     ", fmt.Sprintf("%-9s", label), v)
	}
}

// whoWords says who can act and about how long it takes.
func whoWords(a *device.Advice) string {
	who := map[device.Who]string{
		device.Untrained:    "anyone on site",
		device.Trained:      "somebody trained on this device",
		device.FieldService: "field service",
		device.Management:   "whoever administers the device",
		device.Nobody:       "nobody needs to act",
	}[a.Who]
	if who == "" {
		who = string(a.Who)
	}
	if a.Minutes <= 0 {
		return who
	}
	time := "about " + device.Counted(a.Minutes, "minute", "minutes")
	if who == "" {
		return time
	}
	return who + ", " + time
}

// notes lists findings that ask for nobody.
func (p *page) notes(d *device.Device) {
	first := true
	for i := range d.Findings {
		f := &d.Findings[i]
		if f.Asks() {
			continue
		}
		if first {
			p.heading("To know")
			first = false
		}
		line := fmt.Sprintf("%s%s [%s]", f.Summary, subunitWords(f.Subunit), f.Code)
		if f.Stale {
			line += " stale: present status contradicts it"
		}
		p.wrapped("  ", "- ", line)
	}
}
