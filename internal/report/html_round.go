package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/visit"
)

// roundSite is a site with what is to be done there.
type roundSite struct {
	ID, Name, Sum string
	Devices       []roundDevice
	site          device.Text
	worst         int // urgency
	calls         int
	stops         map[device.Text]bool // locations
	parts         int
	phone         int // minutes
	minutes       int
}

// roundDevice is one device that needs somebody.
type roundDevice struct {
	ID, Name, Where string
	Tasks           []roundTask
	key             string
	urgency         int
}

// roundTask is one thing to do.
type roundTask struct {
	Impact, How string
	Why         string
	First       string
	Rest        []string
	Steps       string
	Ask         string
	Part, If    string // what to bring, and the condition for it
	Who, Mind   string
	New         bool
	rank        int
}

// round puts the plan into one table: sites, the one with the most urgent
// device first; in them the devices, the most urgent first.
func (m *htmlMaker) round() []roundSite {
	sites := map[device.Text]*roundSite{}
	var order []*roundSite
	devices := map[string]*roundDevice{}
	var all []*roundDevice
	siteOf := map[*roundDevice]*roundSite{}
	take := func(t *visit.Task, how string, location device.Text) {
		s := sites[t.Site]
		if s == nil {
			s = &roundSite{site: t.Site, stops: map[device.Text]bool{}}
			sites[t.Site], order = s, append(order, s)
		}
		if t.Call != "" && s.Name == "" {
			s.Name = m.text(siteHeading(t))
		}
		d := devices[t.Key]
		if d == nil {
			d = &roundDevice{ID: m.id[t.Key], Name: cmp.Or(m.text(t.Device), "printer without a name"), key: t.Key, urgency: t.Urgency}
			place := placeIn(t.Site, t.Where)
			if place == t.Device {
				place = ""
			}
			d.Where = m.place(t.Key, place)
			devices[t.Key], all = d, append(all, d)
			siteOf[d] = s
		}
		s.worst = max(s.worst, t.Urgency)
		if how == goThere {
			s.stops[location] = true
		} else {
			s.calls++
			s.phone += t.Minutes
		}
		if t.Part != nil && t.Part.Bring {
			s.parts++
		}
		d.Tasks = append(d.Tasks, m.task(t, how))
		m.tasks[t.Key] = true
	}
	m.eachTask(take)
	for _, d := range all {
		slices.SortStableFunc(d.Tasks, func(a, b roundTask) int { return cmp.Compare(a.rank, b.rank) })
		siteOf[d].Devices = append(siteOf[d].Devices, *d)
	}
	slices.SortStableFunc(order, func(a, b *roundSite) int { return cmp.Compare(b.worst, a.worst) })
	out := make([]roundSite, len(order))
	for i, s := range order {
		slices.SortStableFunc(s.Devices, func(a, b roundDevice) int {
			return cmp.Or(cmp.Compare(b.urgency, a.urgency), cmp.Compare(a.key, b.key))
		})
		out[i] = *s
	}
	m.nameSites(out)
	return out
}

// How a thing is done.
const (
	callThem = "by phone"
	fromDesk = "from the desk"
	goThere  = "go there"
)

// eachTask calls f for what is done by phone and on site.
func (m *htmlMaker) eachTask(f func(t *visit.Task, how string, location device.Text)) {
	for i := range m.plan.ByPhone {
		t := &m.plan.ByPhone[i]
		how := callThem
		if t.FromDesk {
			how = fromDesk
		}
		f(t, how, "")
	}
	for i := range m.plan.Visit {
		s := &m.plan.Visit[i]
		for k := range s.Devices {
			for n := range s.Devices[k].Tasks {
				f(&s.Devices[k].Tasks[n], goThere, s.Location)
			}
		}
	}
}

// nameSites gives each site its name and says how much there is to do.
func (m *htmlMaker) nameSites(list []roundSite) {
	for i := range m.plan.Visit { // a stop may be there only to leave a part
		s := &m.plan.Visit[i]
		if k := slices.IndexFunc(list, func(r roundSite) bool { return r.site == s.Site }); k >= 0 {
			list[k].stops[s.Location] = true
			list[k].minutes += s.Minutes
		}
	}
	for i := range list {
		s := &list[i]
		s.ID = fmt.Sprintf("s%d", i+1)
		if s.Name == "" {
			s.Name = m.text(siteHeading(&visit.Task{Site: s.site}))
		}
		var words []string
		if s.calls > 0 {
			words = append(words, fmt.Sprintf("%s, %s", device.Counted(s.calls, "call", "calls"), minutes(s.phone)))
		}
		if n := len(s.stops); n > 0 {
			words = append(words, fmt.Sprintf("%s, %s", device.Counted(n, "stop", "stops"), minutes(s.minutes)))
		}
		s.Sum = strings.Join(words, "; ")
	}
}

func (m *htmlMaker) task(t *visit.Task, how string) roundTask {
	r := roundTask{
		Impact: string(t.Impact), How: how, Why: m.text(whyLine(t)), Mind: m.plan.cautions.mind(t.Caution), New: m.fresh[[2]string{t.Key, t.Code}],
		Who: m.text(actor(t)), rank: t.Impact.Rank(),
	}
	r.If, r.Part = partOf(t)
	r.Part = m.text(r.Part)
	if len(t.Steps) > 0 {
		r.First, r.Rest = m.text(t.Steps[0]), m.texts(t.Steps[1:])
	}
	if len(r.Rest) > 0 {
		r.Steps = device.Counted(len(t.Steps), "step", "steps")
	}
	if t.Ahead > 0 && how == goThere {
		r.Ask = "Before going: " + aheadWords(t)
	}
	return r
}

// actor says who does it and how long it takes.
func actor(t *visit.Task) string {
	who := whoWords(&device.Advice{Who: t.Who})
	if t.Who == device.Trained {
		who = "somebody trained"
	}
	if t.Minutes <= 0 {
		return who
	}
	return strings.TrimPrefix(who+", "+minutes(t.Minutes), ", ")
}

// partOf names what a task needs, and on which condition.
func partOf(t *visit.Task) (condition, part string) {
	switch {
	case t.Part == nil:
		return "", ""
	case !t.Part.Bring && t.IfNot != "":
		return "if that fails", t.Part.Words()
	case !t.Part.Sure:
		return "perhaps", t.Part.Words()
	}
	return "", t.Part.Words()
}

// bringLine is one line of the list of parts.
type bringLine struct {
	Quantity int
	What     string
	Number   string
	Model    string
	For      string
	More     []string
}

// mostFor is how many reasons of a part are shown at once, mostReasons how many
// at all: each stands in the table of things to do.
const (
	mostFor     = 2
	mostReasons = 20
)

func (m *htmlMaker) parts() []bringLine {
	out := make([]bringLine, len(m.plan.Parts))
	for i := range m.plan.Parts {
		x := &m.plan.Parts[i]
		cells := partCells(x)
		p := bringLine{Quantity: x.Quantity, What: m.text(cells[1]), Number: m.text(cells[2]), Model: m.text(cells[3])}
		p.For = m.text(strings.Join(x.Because, "; "))
		if len(x.Because) > mostFor {
			p.For, p.More = "for "+device.Counted(len(x.Because), "printer", "printers"), m.texts(x.Because[:min(len(x.Because), mostReasons)])
			if rest := len(x.Because) - len(p.More); rest > 0 {
				p.More = append(p.More, fmt.Sprintf("and %d more: see the table of things to do", rest))
			}
		}
		out[i] = p
	}
	return out
}

// siteLine is a site in numbers.
type siteLine struct {
	ID           string // of the site in the table of things to do
	Name         string
	Counts       []levelCount
	Calls, Stops int
	Bring        string
	Pages        string // since the last run
	site         device.Text
}

// siteLines counts by site, in the order of the things to do; nothing when there
// is one site only. The note says what the pages are, empty when none is known.
func (m *htmlMaker) siteLines(round []roundSite) (out []siteLine, note string) {
	if !m.sites {
		return nil, ""
	}
	at := map[device.Text]int{}
	add := func(site device.Text) int {
		i, ok := at[site]
		if !ok {
			i = len(out)
			at[site] = i
			l := siteLine{site: site, Name: cmp.Or(m.text(string(site)), "no site named"), Pages: "?"}
			for _, a := range attentionLevels {
				l.Counts = append(l.Counts, levelCount{Level: string(a)})
			}
			out = append(out, l)
		}
		return i
	}
	for i := range round {
		r := &round[i]
		l := &out[add(r.site)]
		l.ID, l.Calls, l.Stops = r.ID, r.calls, len(r.stops)
		if r.parts > 0 {
			l.Bring = device.Counted(r.parts, "part", "parts")
		}
	}
	pages := map[int]int64{}
	for _, d := range m.ranked {
		i := add(d.Site)
		if r := d.Attention.Rank(); r < len(attentionLevels) {
			out[i].Counts[r].Count++
		}
		if d.PagesSinceLast != nil {
			pages[i] += *d.PagesSinceLast
			out[i].Pages = grouped(pages[i])
			note = "Pages are those since the last run, of the printers whose counter tells."
		}
	}
	return out, note
}

// cautionLine is a caution and the letter by which tasks name it.
type cautionLine struct{ Letter, Text string }

func (m *htmlMaker) cautionLines() []cautionLine {
	out := make([]cautionLine, len(m.plan.cautions))
	for i, c := range m.plan.cautions {
		out[i] = cautionLine{letter(i), m.text(c)}
	}
	return out
}

func (m *htmlMaker) watched() []string {
	var out []string
	for _, w := range watchLines(m.plan.Watch, m.plan.several) {
		line := w.line()
		if n := len(w.devices); n > listed {
			line = fmt.Sprintf("%s: %d printers: %s, and %d more", w.what, n, strings.Join(w.devices[:listed], ", "), n-listed)
		}
		out = append(out, m.text(line))
	}
	return out
}

func (m *htmlMaker) looks() []string {
	var out []string
	for i := range m.plan.LookAt {
		if i == mostLooks {
			return append(out, fmt.Sprintf("and %d more printers: see their supplies", len(m.plan.LookAt)-i))
		}
		out = append(out, m.text(lookLine(&m.plan.LookAt[i])))
	}
	return out
}
