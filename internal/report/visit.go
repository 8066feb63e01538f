package report

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"printround/internal/device"
	"printround/internal/visit"
)

// WriteVisit writes a plan for a visit.
func WriteVisit(w io.Writer, v *visit.Plan, o Options) error {
	return forms[*visit.Plan]{"a visit plan", writeVisitText, writeVisitCSV, writeVisitMarkdown}.write(w, v, o)
}

// box is where a person ticks off what is done.
const box = "[ ] "

// planned is a plan on its way to a person.
type planned struct {
	*visit.Plan
	style
	cautions cautions
	several  bool // more than one site
}

func newPlanned(v *visit.Plan, s style) *planned {
	p := &planned{Plan: v, style: s}
	sites := map[device.Text]bool{}
	for t := range v.Tasks() {
		sites[t.Site] = true
		p.cautions.note(t.Caution)
	}
	p.several = len(sites) > 1
	return p
}

func (p *planned) titleLine() string {
	title := "Visit plan"
	if p.Site != "" {
		title += " for " + string(p.Site)
	}
	return fmt.Sprintf("%s, %s", title, p.time(p.Made))
}

// aboutLine says what the plan rests on.
func (p *planned) aboutLine() string {
	line := fmt.Sprintf("From a survey of %s of %s", device.Counted(p.Devices, "printer", "printers"), p.time(p.Surveyed))
	if age := p.Made.Sub(p.Surveyed).Hours() / 24; age >= 1 {
		line += fmt.Sprintf(", %s old", device.Counted(int(age), "day", "days"))
	}
	line += fmt.Sprintf("; next visit in %s. ", device.Counted(p.HorizonDays, "day", "days"))
	if p.Forecast == 0 {
		return line + "No forecasts: without nights of history only what shows now is here."
	}
	return line + fmt.Sprintf("Forecasts for %s: a part is brought from a chance of %s.", device.Counted(p.Forecast, "printer", "printers"), chance(p.BringProbability))
}

// sumLine is the day in one line.
func (p *planned) sumLine() string {
	switch {
	case p.Devices == 0 && len(p.ByPhone) == 0:
		return "No printer answered: there is nothing to plan."
	case len(p.ByPhone)+len(p.Visit) == 0:
		return "Nothing to do."
	}
	parts := 0
	for _, x := range p.Parts {
		parts += x.Quantity
	}
	line := fmt.Sprintf("%s by phone or from the desk (%s), then %s (%s at the devices, the way not counted) with %s.",
		device.Counted(len(p.ByPhone), "thing", "things"), minutes(p.PhoneMinutes), device.Counted(len(p.Visit), "stop", "stops"), minutes(p.Minutes),
		device.Counted(parts, "part", "parts"))
	if p.IfNotMinutes > 0 {
		line += fmt.Sprintf(" If no call helps, up to %s more on site.", minutes(p.IfNotMinutes))
	}
	return line
}

// minutes writes a time for people: 40 min, 1 h 05 min.
func minutes(n int) string {
	if n < 60 {
		return fmt.Sprintf("%d min", n)
	}
	return fmt.Sprintf("%d h %02d min", n/60, n%60)
}

// chance writes a probability for people, never rounded to certainty.
func chance(p float64) string {
	switch {
	case p > 0 && p < 0.01:
		return "less than 1%"
	case p < 1 && p >= 0.995:
		return "more than 99%"
	}
	return fmt.Sprintf("%.0f%%", math.Round(p*100))
}

// taskTitle is what a task is about: device, place, why.
func taskTitle(t *visit.Task, where bool) string {
	line := t.Device
	if place := placeIn(t.Site, t.Where); where && place != "" && place != t.Device {
		line += ", " + place
	}
	return line + ": " + whyLine(t)
}

// whyLine is the finding, what else goes with it, and what the forecast says.
func whyLine(t *visit.Task) string {
	line := summaries(t)
	if t.Probability != nil && !strings.Contains(line, "before the visit after next") {
		line += fmt.Sprintf(" (%s likely to end before the visit after next)", chance(*t.Probability))
	}
	return line
}

// summaries are those of the finding and of the others that the task cures.
func summaries(t *visit.Task) string {
	line := t.Summary
	for _, o := range t.Also {
		line += "; " + o.Summary
	}
	return line
}

// placeIn is a place without the site that a heading names.
func placeIn(site, where device.Text) string {
	return strings.TrimPrefix(strings.TrimPrefix(string(where), string(site)), ", ")
}

// howLine says who does it, how long it takes, and what to be careful about.
func (p *planned) howLine(t *visit.Task) string {
	var out []string
	if t.Who != "" {
		out = append(out, string(t.Who))
	}
	if t.Minutes > 0 {
		out = append(out, minutes(t.Minutes))
	}
	if m := p.cautions.mind(t.Caution); m != "" {
		out = append(out, m)
	}
	return strings.Join(out, ", ")
}

func siteHeading(t *visit.Task) string {
	site := string(t.Site)
	if site == "" {
		site = "No site named"
	}
	if t.Call != "" {
		return site + ", call " + string(t.Call)
	}
	return site
}

func stopHeading(s *visit.Stop) string {
	where := string(s.Location)
	switch {
	case where == "" && s.Site == "":
		where = "Location not known"
	case where == "":
		where = string(s.Site) + ", location not known"
	case s.Site != "" && !strings.HasPrefix(where, string(s.Site)):
		where = string(s.Site) + ", " + where
	}
	return where
}

// stopDevice names a device at a stop; its place only where the stop has none.
func stopDevice(s *visit.Stop, d *visit.StopDevice) string {
	line := d.Device
	if s.Location == "" {
		if place := placeIn(s.Site, d.Where); place != "" && place != line {
			line += ", " + place
		}
	}
	if d.Model != "" && string(d.Model) != d.Device {
		line += ", " + string(d.Model)
	}
	return line
}

// deliverLine says what is left for somebody on site.
func deliverLine(n *visit.Needed) string {
	return "Leave " + n.Words() + ", or fit it where the call did not help"
}

// partCells are a line of the list of parts: how many, what, number, model, why.
func partCells(x *visit.Part) []string {
	what := x.Part
	if x.Name != "" {
		what = string(x.Name)
	}
	if x.Color != "" && !strings.Contains(strings.ToLower(what), string(x.Color)) {
		what += ", " + string(x.Color)
	}
	if !x.Sure {
		what += ", perhaps"
	}
	return []string{strconv.Itoa(x.Quantity), what, string(x.Number), string(x.Model), strings.Join(x.Because, "; ")}
}

// partRow is a line of the list on paper.
func partRow(x *visit.Part) []string {
	cells := partCells(x)
	for i, c := range cells {
		cells[i] = orUnknown(c)
	}
	return cells
}

// watched is a line to watch: the same words about several devices are one.
type watched struct {
	what    string
	devices []string
	step    string
}

func watchLines(tasks []visit.Task, several bool) []watched {
	at := map[string]int{}
	var out []watched
	for i := range tasks {
		t := &tasks[i]
		whose := t.Device
		if where := string(t.Where); where != "" && where != whose {
			if !several {
				where = placeIn(t.Site, t.Where)
			}
			whose += " (" + where + ")"
		}
		line := whyLine(t)
		n, ok := at[line]
		if !ok {
			n = len(out)
			at[line] = n
			out = append(out, watched{what: line, step: string(t.Step)})
		}
		out[n].devices = append(out[n].devices, whose)
	}
	return out
}

func (w watched) line() string {
	if len(w.devices) > 1 {
		return fmt.Sprintf("%s: %d printers: %s", w.what, len(w.devices), strings.Join(w.devices, ", "))
	}
	return w.devices[0] + ": " + w.what
}

// lookLine names a device and those of its supplies that nobody knows the level
// of.
func lookLine(l *visit.Look) string {
	line := l.Device
	if l.Where != "" && string(l.Where) != l.Device {
		line += ", " + string(l.Where)
	}
	if l.OnTheWay {
		line += ", on the way"
	}
	return line + ": " + lookList(l)
}

func lookList(l *visit.Look) string {
	var list []string
	for _, s := range l.Supplies {
		list = append(list, fmt.Sprintf("%s (%s)", s.Name, levelReason(s.Reason)))
	}
	return strings.Join(list, ", ")
}

func levelReason(r device.LevelReason) string {
	switch r {
	case device.LevelSomeLeft:
		return "some left"
	case device.LevelNotReported:
		return "not reported"
	case device.LevelContradictory:
		return "says two things"
	}
	return string(r)
}

const lookHeading = "Look at these when you are there: no level is known"

// mostLooks bounds the list of unknown levels on a page; JSON and CSV have all.
const mostLooks = 20

// ifNotRule is said once, so that only what to bring has to be said with a call.
const ifNotRule = "What a call does not settle needs a visit."

// ifNotWords is what to bring when a call does not settle it.
func ifNotWords(t *visit.Task) string {
	_, part, _ := strings.Cut(string(t.IfNot), ", ")
	return part
}

// bringWords names the part of a task.
func bringWords(t *visit.Task) string {
	switch {
	case t.Part == nil:
		return ""
	case t.Part.Sure:
		return t.Part.Words()
	}
	return "perhaps " + t.Part.Words()
}

// aheadWords says which steps are told by phone before somebody goes there.
func aheadWords(t *visit.Task) string {
	if t.Ahead == 1 {
		return "tell step 1 by phone now"
	}
	return fmt.Sprintf("tell steps 1 to %d by phone now", t.Ahead)
}

func partialWords(reason string) string {
	return partialLine(&device.Survey{PartialReason: device.Text(reason)})
}
