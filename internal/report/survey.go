package report

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"printround/internal/device"
)

// Places of the columns of the ranked table.
const (
	colNumber = iota
	colAttention
	colUrgency
	colDevice
	colWhere
	colWhy
	colNext
	colLowest
	colPages
)

// surveyColumns are the columns of the ranked table in their published order.
var surveyColumns = []tableColumn{
	colNumber:    {heading: "#", right: true},
	colAttention: {heading: "ATTENTION", most: 9},
	colUrgency:   {heading: "URG", right: true},
	colDevice:    {heading: "DEVICE", least: 16, most: 36, lines: 2},
	colWhere:     {heading: "WHERE", least: 12, most: 32, lines: 3},
	colWhy:       {heading: "WHY", least: 18, most: 60, lines: 3},
	colNext:      {heading: "NEXT STEP", least: 20, most: 60, lines: 3},
	colLowest:    {heading: "LOWEST", least: 14, most: 24, lines: 2},
	colPages:     {heading: "PAGES", right: true, least: 9, most: 15},
}

// fewest is how many columns stay on the narrowest page.
const fewest = colDevice + 1

// writeSurvey writes the ranked table and what belongs to it. What comes below
// the table is laid out first: what it leaves of the page is there for cells
// that need more than one line.
func writeSurvey(w io.Writer, s *device.Survey, o Options) error {
	ranked, shared := split(s.Devices)
	var rest strings.Builder
	below := &page{style: newStyle(o), w: &rest}
	below.sites = severalSites(ranked)
	below.totals(ranked)
	below.changes(s.Changes)
	below.silent(ranked)
	below.scope(&s.Scope)
	below.unconfirmed(s.Unconfirmed)
	below.sharedQueues(shared)
	below.problems("Errors", s.Errors, o.Explain)

	p := &page{style: below.style, w: w}
	p.partial(s)
	p.title(s)
	p.blank()
	if len(ranked) > 0 {
		const around = 8 // title, heading, rule, a partial survey's warning, empty lines
		p.ranking(ranked, max(pageLines-around-len(ranked)-strings.Count(rest.String(), "\n"), 0))
		p.blank()
	}
	p.print(rest.String())
	if o.Explain {
		for _, d := range ranked {
			p.explain(d)
		}
	}
	return p.err
}

// split parts the devices that are ranked from queues that a server shares.
func split(devices []device.Device) (ranked, shared []*device.Device) {
	for i := range devices {
		if devices[i].Role == device.RoleServerQueue {
			shared = append(shared, &devices[i])
		} else {
			ranked = append(ranked, &devices[i])
		}
	}
	return ranked, shared
}

// partial says first and loudly that the survey is not complete.
func (p *page) partial(s *device.Survey) {
	if !s.Partial {
		return
	}
	p.line(p.paint(sgrReverse, "*** PARTIAL SURVEY ***"))
	p.wrapped("", "", partialLine(s))
	p.blank()
}

func partialLine(s *device.Survey) string {
	reason := string(s.PartialReason)
	if reason == "" {
		reason = "it ended early"
	}
	return "Not complete: " + reason + ". Devices may be missing; a device that is missing is not a device without faults."
}

// latest is the moment a survey speaks of.
func latest(s *device.Survey) time.Time {
	if s.Finished.IsZero() {
		return s.Started
	}
	return s.Finished
}

func (p *page) title(s *device.Survey) {
	p.wrapped("", "", titleLine(s)+", "+p.time(latest(s)))
}

func titleLine(s *device.Survey) string {
	if s.Site == "" {
		return "Survey"
	}
	return "Survey of " + string(s.Site)
}

// ranking draws the table; extra is how many lines broken cells may add.
func (p *page) ranking(devices []*device.Device, extra int) {
	g := grid{columns: surveyColumns, attention: colAttention, extra: extra}
	for i, d := range devices {
		g.rows = append(g.rows, p.surveyRow(i, d))
	}
	widths := g.layout(p.width, fewest)
	var where []string
	if len(widths) > colWhere {
		where = make([]string, len(devices))
		for i := range devices {
			where[i] = p.cut(g.rows[i][colWhere], widths[colWhere])
		}
	}
	for i, name := range names(p.style, devices, where, widths[colDevice]) {
		g.rows[i][colDevice] = name
	}
	g.draw(p, widths, "")
	if len(widths) < len(surveyColumns) {
		p.leftOut(g, widths)
	}
}

// leftOut names the columns that the page has no room for.
func (p *page) leftOut(g grid, widths []int) {
	var missing []string
	for _, c := range g.columns[len(widths):] {
		missing = append(missing, c.heading)
	}
	p.wrapped("", "", "Left out on this width: "+strings.Join(missing, ", "))
}

func (p *page) surveyRow(i int, d *device.Device) []string {
	return []string{
		colNumber:    strconv.Itoa(i + 1),
		colAttention: p.text(string(d.Attention)),
		colUrgency:   strconv.Itoa(d.Urgency),
		colDevice:    p.text(d.Label()),
		colWhere:     p.text(d.Place(p.sites)),
		colWhy:       p.text(whyShort(d)),
		colNext:      p.text(d.NextStep()),
		colLowest:    p.text(lowestShort(d)),
		colPages:     pagesShort(d),
	}
}

// whyShort says why, and that a device which answered was silent to SNMP:
// what IPP tells of levels and counters may be coarser.
func whyShort(d *device.Device) string {
	why := d.Why()
	if r := d.Reached; !r.IPP.OK || r.SNMP.OK || !r.SNMP.Tried {
		return why
	}
	if why == "" {
		return "(SNMP silent)"
	}
	return why + " (SNMP silent)"
}

// lowestShort is the level and what it is of, the level first so that it
// survives a narrow column. Unknown says why.
func lowestShort(d *device.Device) string {
	s, ok := d.Lowest()
	if !ok {
		return "? " + lowestReason(d)
	}
	what := string(s.Colorant)
	if s.Role == device.Receptacle {
		what = "waste space"
	} else if what == "" || !isMarking(s) {
		what = supplyName(s)
	}
	return s.Level.String() + " " + what
}

func pagesShort(d *device.Device) string {
	if v := d.Counters.Life.Value; v != nil {
		return grouped(*v)
	}
	return "?"
}

// totals counts the devices by attention level.
func (p *page) totals(ranked []*device.Device) { p.wrapped("", "", totalsLine(ranked)) }

func totalsLine(ranked []*device.Device) string {
	if len(ranked) == 0 {
		return "No printer found."
	}
	var parts []string
	for _, a := range attentionLevels {
		n := 0
		for _, d := range ranked {
			if d.Attention == a {
				n++
			}
		}
		parts = append(parts, fmt.Sprintf("%d %s", n, a))
	}
	return device.Counted(len(ranked), "printer", "printers") + ": " + strings.Join(parts, ", ")
}

var attentionLevels = []device.Attention{device.Stopped, device.Silent, device.Impaired, device.Due, device.Clear}
