package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"printround/internal/device"
)

// deviceView is one device on a page: a line, and what it says of itself when
// it is opened.
type deviceView struct {
	ID, Rank    string
	Open        bool
	Level       string
	Name, Where string
	Why         string
	Lowest      levelView
	Pages       string
	Identity    string
	Panel       string
	Findings    []findingView
	Supplies    []supplyLine
	HasTrend    bool
	HasEnds     bool
	Trays       []trayLine
	HasStatus   bool // a tray is in trouble
	Facts       []labelled
}

type findingView struct {
	Impact, Summary, About string
	Task                   string // id of the device in the table of things to do
	New                    bool
	Explain                []string
}

type trayLine struct {
	Name   string
	Level  levelView
	Medium string
	Status string
}

type labelled struct{ Label, Text string }

func (m *htmlMaker) device(i int, d *device.Device) deviceView {
	v := deviceView{
		ID: "d" + fmt.Sprint(i+1), Rank: fmt.Sprint(i + 1), Open: m.single, Level: string(d.Attention), Name: cmp.Or(m.text(d.Label()), "printer without a name"), Where: m.place(d.Key, d.Place(m.sites)),
		Why: m.text(whyShort(d)), Lowest: m.lowest(d), Pages: pagesShort(d), Identity: m.text(m.identity(d)), Panel: m.panel(d), Findings: m.findings(d), Facts: m.facts(d),
	}
	if v.Level == "" {
		v.Level = "not judged"
	}
	if !answered(d) {
		return v
	}
	m.supplies(&v, d)
	for _, t := range d.Trays {
		v.Trays = append(v.Trays, m.tray(t, ""))
	}
	for k := range d.Finishers {
		f := &d.Finishers[k]
		for _, t := range f.Inputs {
			v.Trays = append(v.Trays, m.tray(t, orKind(f.Name, f.Kind)+": "))
		}
	}
	v.HasStatus = slices.ContainsFunc(v.Trays, func(t trayLine) bool { return t.Status != "" })
	return v
}

func (m *htmlMaker) identity(d *device.Device) string {
	var parts []string
	for _, x := range [][2]string{
		{"", string(d.MakeModel)}, {"serial ", string(d.Serial)}, {"", addressesCell(d.Addresses)}, {"", string(d.Hostname)}, {"contact ", string(d.Contact)},
	} {
		if x[1] != "" {
			parts = append(parts, x[0]+x[1])
		}
	}
	return strings.Join(parts, ", ")
}

func (m *htmlMaker) panel(d *device.Device) string {
	lines := slices.Clone(d.State.Console)
	if v := string(d.State.Message); v != "" && !slices.Contains(lines, v) {
		lines = append(lines, v)
	}
	for i, l := range lines {
		lines[i] = "“" + m.text(l) + "”"
	}
	return strings.Join(lines, " ")
}

func (m *htmlMaker) findings(d *device.Device) []findingView {
	out := make([]findingView, 0, len(d.Findings))
	for i := range d.Findings {
		f := &d.Findings[i]
		v := findingView{Impact: string(f.Impact), Summary: m.text(cmp.Or(f.Summary, f.Code, "something without a name")), New: m.fresh[[2]string{d.Key, f.Code}]}
		var about []string
		if f.Stale {
			v.Impact = "past"
			about = append(about, "the present state contradicts it")
		} else if f.Impact != device.ImpactNote && m.tasks[d.Key] {
			v.Task = m.id[d.Key]
		}
		if f.AgeS != nil {
			about = append(about, "for "+span(*f.AgeS))
		}
		if f.FirstSeen != nil {
			about = append(about, "first seen "+m.day(*f.FirstSeen))
		}
		v.About = m.text(strings.Join(about, ", "))
		if f.Advice.Meaning != "" && !f.Stale {
			v.About = strings.TrimPrefix(v.About+". "+m.text(f.Advice.Meaning), ". ")
		}
		if m.explain {
			v.Explain = m.reasons(f)
		}
		out = append(out, v)
	}
	return out
}

// reasons are the rule, the weight and the evidence of a finding.
func (m *htmlMaker) reasons(f *device.Finding) []string {
	out := []string{fmt.Sprintf("%s%s: %s", f.Code, subunitWords(f.Subunit), m.findingLine(f))}
	if f.Why != "" {
		out = append(out, "because "+f.Why)
	}
	for _, e := range evidenceWords(f.Evidence) {
		out = append(out, "evidence "+e)
	}
	return m.texts(out)
}

func (m *htmlMaker) tray(t device.Tray, of string) trayLine {
	v := trayLine{Name: m.text(of + cmp.Or(orKind(t.Name, t.Kind), "tray "+strconv.Itoa(t.Index))), Level: m.level(t.Level, ""), Medium: m.text(mediaWords(t.Media))}
	if v.Medium == notReported && sizeWords(t.Media) != "?" {
		v.Medium = sizeWords(t.Media)
	}
	v.Status = m.text(trouble(t.Status))
	return v
}

// trouble is a status without what is usual.
func trouble(s device.Status) string {
	return strings.Join(slices.DeleteFunc(s.Words(), func(w string) bool { return slices.Contains(usual, w) }), " ")
}

var usual = []string{"idle", "standby", "active", "busy", "on-request", "unknown", "undefined"}

// facts are the rest of what a device says, as far as it matters to somebody
// who goes there.
func (m *htmlMaker) facts(d *device.Device) []labelled {
	var out []labelled
	add := func(label string, list ...string) {
		if text := strings.Join(slices.DeleteFunc(list, func(s string) bool { return s == "" }), "; "); text != "" {
			out = append(out, labelled{label, m.text(text)})
		}
	}
	if !answered(d) {
		seen := "not known"
		if d.LastSeen != nil {
			seen = m.time(*d.LastSeen)
		}
		add("Last answer", seen)
	} else {
		add("Covers", openCovers(d.Covers)...)
		add("Finishers", finisherLines(d.Finishers)...)
		add("Outputs", outputLines(d.Outputs)...)
		add("Counters", m.counters(d)...)
		add("Queue", queueWords(&d.Queue))
		add("Alerts", m.alerts(d.Alerts)...)
	}
	add("Reached by", reachWords(&d.Reached))
	for _, x := range d.Disagreements {
		add("Sources disagree", fmt.Sprintf("%s: SNMP says %s, IPP says %s, used: %s", x.Fact, x.SNMP, x.IPP, x.Kept))
	}
	for _, e := range d.Errors {
		add("Error", problemLine(e))
	}
	if m.explain {
		add("Urgency", urgencyLine(d))
		add("Not judged", notJudged(d)...)
	}
	add("Known as", d.Key)
	return out
}

// openCovers are the covers that are not closed.
func openCovers(covers []device.Cover) []string {
	var out []string
	for _, c := range covers {
		if strings.HasSuffix(strings.ToLower(string(c.Status)), "closed") {
			continue
		}
		out = append(out, orKind(c.Name, device.Text(fmt.Sprintf("cover %d", c.Index)))+": "+string(c.Status))
	}
	return out
}

// finisherLines are the finishers in trouble; what they use up is among the
// supplies.
func finisherLines(list []device.Finisher) []string {
	var out []string
	for i := range list {
		f := &list[i]
		if w := trouble(f.Status); w != "" {
			out = append(out, orKind(f.Name, f.Kind)+": "+w)
		}
	}
	return out
}

// outputLines are the outputs that are nearly full or in trouble.
func outputLines(list []device.Output) []string {
	var out []string
	for _, x := range list {
		p, known := x.Level.Percent()
		w := trouble(x.Status)
		if known && p <= lowAt {
			w = strings.TrimSpace(fmt.Sprintf("room left %s %s", x.Level, w))
		}
		if w != "" {
			out = append(out, orKind(x.Name, x.Kind)+": "+w)
		}
	}
	return out
}

func (m *htmlMaker) counters(d *device.Device) []string {
	var out []string
	add := func(label string, c device.Count) {
		if c.Value != nil {
			out = append(out, strings.TrimSpace(label+" "+grouped(*c.Value)+" "+string(c.Unit)))
		}
	}
	add("life", d.Counters.Life)
	add("since power-on", d.Counters.SincePowerOn)
	add("colour", d.Counters.Color)
	add("monochrome", d.Counters.Monochrome)
	if d.PagesSinceLast != nil {
		out = append(out, grouped(*d.PagesSinceLast)+" since the last run")
	}
	if f := m.forecasts[d.Key]; f != nil {
		if f.PagesPerDay != nil {
			out = append(out, fmt.Sprintf("about %.0f a day", *f.PagesPerDay))
		}
		if f.LoadShare != nil {
			out = append(out, fmt.Sprintf("%.0f%% of the recommended load", 100**f.LoadShare))
		}
	}
	if out == nil {
		return []string{"unknown: not reported"}
	}
	return out
}

func queueWords(q *device.Queue) string {
	var out []string
	if q.Accepting != nil && !*q.Accepting {
		out = append(out, "does not accept jobs")
	}
	if q.Queued != nil && *q.Queued > 0 {
		out = append(out, device.Counted(*q.Queued, "job waits", "jobs wait"))
	}
	for _, j := range q.Jobs {
		if j.State == "processing-stopped" {
			out = append(out, fmt.Sprintf("job %d is stopped", j.ID))
		}
	}
	return strings.Join(out, ", ")
}

// mostAlerts bounds the alerts of a device on a page.
const mostAlerts = 6

func (m *htmlMaker) alerts(list []device.Alert) []string {
	var out []string
	told := map[[2]string]device.Source{} // both protocols tell of the same alert
	for i, a := range list {
		same := [2]string{a.Code, string(a.Description)}
		if by, ok := told[same]; ok && by != a.Source {
			continue
		}
		told[same] = a.Source
		if len(out) == mostAlerts {
			return append(out, fmt.Sprintf("and %d more", len(list)-i))
		}
		line := strings.TrimSpace(a.Code + " " + a.Severity)
		if a.Description != "" {
			line += " “" + string(a.Description) + "”"
		}
		if a.AgeS != nil {
			line += " for " + span(*a.AgeS)
		}
		out = append(out, line)
	}
	return out
}

func reachWords(r *device.Reached) string {
	var out []string
	switch {
	case r.SNMP.OK && r.SNMP.Partial:
		out = append(out, "SNMP "+string(r.SNMP.Version)+", incomplete")
	case r.SNMP.OK:
		out = append(out, "SNMP "+string(r.SNMP.Version))
	case r.SNMP.Tried:
		out = append(out, "no answer over SNMP")
	}
	switch {
	case r.IPP.OK && r.IPP.TLS != nil:
		out = append(out, "IPP over TLS")
	case r.IPP.OK:
		out = append(out, "IPP, not encrypted")
	case r.IPP.Tried:
		out = append(out, "no answer over IPP")
	}
	if r.MDNS.OK {
		out = append(out, "DNS-SD")
	}
	return strings.Join(out, ", ")
}
