package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
	"printround/internal/term"
)

// TrendSchema names the JSON document of an outlook.
const TrendSchema = "printround.trend/1"

// Trend is what the nights let expect of some devices.
type Trend struct {
	AsOf        time.Time // the last night
	HorizonDays int       // until the next visit
	Devices     []TrendDevice
}

// TrendDevice is one device with its nights and what they let expect.
type TrendDevice struct {
	Device   device.Device  // what the history knows it by
	Nights   []device.Night // of a device that is shown in full
	Forecast forecast.Device
}

// visit is when the next visit is.
func (o *Trend) visit() time.Time { return o.AsOf.AddDate(0, 0, o.HorizonDays) }

// TrendFormats returns the formats of an outlook, the default first.
func TrendFormats() []Format { return []Format{Table, CSV, JSON} }

// WriteTrend writes an outlook; as a table one device in full, or several by
// what ends first.
func WriteTrend(w io.Writer, v *Trend, o Options) error {
	switch o.Format {
	case "", Table:
		p := &page{style: newStyle(o), w: w}
		if len(v.Devices) == 1 {
			p.trend(v, &v.Devices[0])
		} else {
			p.trends(v)
		}
		return p.err
	case CSV:
		return writeTrendCSV(w, v, o)
	case JSON:
		return writeTrendJSON(w, v)
	}
	return fmt.Errorf("an outlook cannot be written as %s, choose one of: %s", o.Format, device.Listed(TrendFormats()))
}

// first returns the item that ends first: the one with the earliest middle of
// its distribution. ok is false when nothing is foreseen.
func (d *TrendDevice) first() (item *forecast.Item, end time.Time, ok bool) {
	for i := range d.Forecast.Items {
		it := &d.Forecast.Items[i]
		if t, known := it.RunOut.Quantile(0.5); known && (!ok || t.Before(end)) {
			item, end, ok = it, t, true
		}
	}
	return item, end, ok
}

// Widths from which there is room for what is pleasant and not needed: whole
// names in the list of devices, bars beside the levels of one.
const (
	roomy   = 100
	barRoom = 86
)

// trends writes one line a device, by what ends first.
func (p *page) trends(v *Trend) {
	p.painted("", fmt.Sprintf("%s as of %s; next visit in %s, %s", device.Counted(len(v.Devices), "device", "devices"), p.time(v.AsOf),
		device.Counted(v.HorizonDays, "day", "days"), p.day(v.visit())))
	type entry struct {
		row []string
		end time.Time
	}
	var rows []entry
	var rest []*TrendDevice
	for i := range v.Devices {
		d := &v.Devices[i]
		it, end, ok := d.first()
		if !ok {
			rest = append(rest, d)
			continue
		}
		p.sites = p.sites || d.Device.Site != v.Devices[0].Device.Site
		rows = append(rows, entry{end: end, row: []string{
			p.text(d.Device.Label()), p.text(it.Name), p.day(end), p.left(it), p.chance(it, v),
			p.between(it), p.perDay(&d.Forecast), p.text(d.Device.Place(true)),
		}})
	}
	slices.SortStableFunc(rows, func(a, b entry) int { return a.end.Compare(b.end) })
	name, ends := 8, 8
	if p.width >= roomy {
		name, ends = 16, 22
	}
	g := grid{columns: []tableColumn{
		{heading: "DEVICE", least: name, most: 28}, {heading: "ENDS FIRST", least: ends, most: 30}, {heading: "LIKELY END"},
		{heading: "LEFT", right: true}, {heading: "BY VISIT", right: true}, {heading: "BETWEEN"}, {heading: "A DAY", right: true},
		{heading: "WHERE", least: 12},
	}}
	for _, r := range rows {
		g.rows = append(g.rows, r.row)
	}
	if len(rows) > 0 {
		p.blank()
		g.draw(p, g.layout(p.width, 3), "")
		p.blank()
		p.painted("", "LIKELY END: as likely before as after. BETWEEN: four times in five. BY VISIT: chance of the end before the next visit.")
	}
	p.unforeseen(rest)
}

// mostUnforeseen bounds the devices that are named with their reason.
const mostUnforeseen = 20

func (p *page) unforeseen(rest []*TrendDevice) {
	if len(rest) == 0 {
		return
	}
	p.heading("Nothing foreseen")
	for i, d := range rest {
		if i == mostUnforeseen {
			p.more(len(rest)-i, "without a date")
			return
		}
		p.wrapped("  ", p.label(d.Device.Label()), d.why())
	}
}

// label is a name in front of what is said of it.
func (p *page) label(name string) string { return p.cut(p.text(name), min(30, p.width/2)) + ": " }

// why says why nothing of a device is foreseen.
func (d *TrendDevice) why() string {
	if d.Forecast.NotYet != "" {
		return d.Forecast.NotYet
	}
	for _, it := range d.Forecast.Items {
		if it.RunOut == nil {
			return it.Name + ": " + it.Reason
		}
	}
	if len(d.Forecast.Items) > 0 {
		return fmt.Sprintf("nothing ends within %d days", forecast.Horizon)
	}
	return "the device reports no supply"
}

// trend writes one device in full.
func (p *page) trend(v *Trend, d *TrendDevice) {
	f := &d.Forecast
	name := d.Device.Label()
	for _, more := range []string{string(d.Device.MakeModel), d.Device.Place(true)} {
		if more != "" && more != name {
			name += ", " + more
		}
	}
	p.painted(sgrBold, p.text(name))
	if len(d.Nights) == 0 {
		p.painted("", "no night was kept of it")
		return
	}
	p.painted("", fmt.Sprintf("%s from %s to %s; next visit in %s, %s", device.Counted(len(d.Nights), "night", "nights"),
		p.day(d.Nights[0].At), p.day(d.Nights[len(d.Nights)-1].At), device.Counted(v.HorizonDays, "day", "days"), p.day(v.visit())))
	p.painted("", p.volume(f))
	if f.NotYet != "" {
		p.blank()
		p.painted("", f.NotYet)
	}
	p.levels(v, d)
	p.weeks(f)
}

// volume says how much is printed.
func (p *page) volume(f *forecast.Device) string {
	if f.PagesPerDay == nil {
		if f.Unit == "" {
			return "it has no page counter"
		}
		return "how much it prints is not known yet"
	}
	text := fmt.Sprintf("%s %s a day", number(rounded(*f.PagesPerDay)), p.text(f.Unit))
	if f.PagesMonth != nil {
		text += fmt.Sprintf(", about %s in the next 30 days", grouped(int64(*f.PagesMonth+0.5)))
	}
	if f.LoadShare != nil {
		text += fmt.Sprintf(", %.0f %% of the recommended load", *f.LoadShare*100)
	}
	return text
}

// rounded keeps one decimal of small numbers.
func rounded(v float64) float64 {
	if v >= 10 {
		return roundTo(v, 0)
	}
	return roundTo(v, 1)
}

// levels writes a line for each supply and part, and why a date is missing.
func (p *page) levels(v *Trend, d *TrendDevice) {
	if len(d.Forecast.Items) == 0 {
		p.blank()
		p.painted("", "it reports no supply")
		return
	}
	g := grid{columns: []tableColumn{
		{heading: "SUPPLY OR PART", least: 8, most: 34}, {heading: "LEFT", right: p.width < barRoom}, {heading: "LIKELY END"}, {heading: "BY VISIT", right: true},
		{heading: "BETWEEN"}, {heading: "LAST 90 DAYS"},
	}}
	if p.plain {
		g.columns = g.columns[:5]
	}
	for i := range d.Forecast.Items {
		it := &d.Forecast.Items[i]
		end := "not known"
		if it.RunOut != nil {
			end = "later"
			if t, ok := it.RunOut.Quantile(0.5); ok {
				end = p.day(t)
			}
		}
		row := []string{p.text(it.Name), p.bar(it), end, p.chance(it, v), p.between(it)}
		if !p.plain {
			row = append(row, spark(d.Nights, it))
		}
		g.rows = append(g.rows, row)
	}
	p.blank()
	g.draw(p, g.layout(p.width, 3), "")
	p.blank()
	p.painted("", "LIKELY END: as likely before as after; later: not within two years. BETWEEN: four times in five. BY VISIT: chance of the end before the next visit.")
	first := true
	for i := range d.Forecast.Items {
		if it := &d.Forecast.Items[i]; it.RunOut == nil && it.Reason != d.Forecast.NotYet {
			if first {
				p.blank()
			}
			first = false
			p.wrapped("", p.label(it.Name), it.Reason)
		}
	}
}

// barCells is the width of a level drawn as a bar.
const barCells = 10

// bar draws a level; an unknown one is a word.
func (p *page) bar(it *forecast.Item) string {
	if it.Percent == nil || p.width < barRoom {
		return p.left(it)
	}
	full, empty := "█", "░"
	if p.plain {
		full, empty = "#", "-"
	}
	n := min(max(int(*it.Percent/100*barCells+0.5), 0), barCells)
	return strings.Repeat(full, n) + strings.Repeat(empty, barCells-n) + fmt.Sprintf(" %3.0f %%", *it.Percent)
}

func (p *page) left(it *forecast.Item) string {
	if it.Percent == nil {
		return "unknown"
	}
	return fmt.Sprintf("%.0f %%", *it.Percent)
}

// chance is that of the end before the next visit.
func (p *page) chance(it *forecast.Item, v *Trend) string {
	if it.RunOut == nil {
		return "-"
	}
	switch c := it.RunOut.ChanceBefore(v.visit()); {
	case c < 0.01:
		return "< 1 %"
	case c > 0.98:
		return "> 98 %"
	default:
		return fmt.Sprintf("%.0f %%", c*100)
	}
}

// between is the interval from p10 to p90.
func (p *page) between(it *forecast.Item) string {
	from, ok := it.RunOut.Quantile(0.1)
	if !ok {
		return "-"
	}
	to, ok := it.RunOut.Quantile(0.9)
	if !ok {
		return p.day(from) + " or later"
	}
	return p.day(from) + " to " + p.day(to)
}

func (p *page) perDay(f *forecast.Device) string {
	if f.PagesPerDay == nil {
		return "-"
	}
	return number(rounded(*f.PagesPerDay))
}

// day writes a date for people.
func (s style) day(t time.Time) string { return t.In(s.zone).Format("2006-01-02") }

// Sparklines show the last days of a level, one cell for some days.
const (
	sparkCells = 18
	sparkDays  = 90
)

var sparkRunes = []rune("▁▂▃▄▅▆▇█")

// spark draws the way of a level; days without one are blank.
func spark(nights []device.Night, it *forecast.Item) string {
	cells := make([]rune, sparkCells)
	for i := range cells {
		cells[i] = ' '
	}
	if it.Kind != forecast.Supply || len(nights) == 0 {
		return ""
	}
	last := nights[len(nights)-1].At
	for i := range nights {
		days := last.Sub(nights[i].At).Hours() / 24
		cell := sparkCells - 1 - int(days*sparkCells/sparkDays)
		if cell < 0 {
			continue
		}
		for _, s := range nights[i].Supplies {
			if s.Index == it.Index && s.Kind == it.Type && s.Percent != nil {
				n := min(max(int(*s.Percent/100*float64(len(sparkRunes))), 0), len(sparkRunes)-1)
				cells[cell] = sparkRunes[n]
			}
		}
	}
	return strings.TrimRight(string(cells), " ")
}

// cell width of what a chart shows beside its line.
const chartLabels = 10

// weeks charts how much was printed.
func (p *page) weeks(f *forecast.Device) {
	if len(f.Weeks) < 3 {
		return
	}
	p.heading(fmt.Sprintf("%s a day, by week from %s", p.text(strings.ToUpper(f.Unit[:min(1, len(f.Unit))])+f.Unit[min(1, len(f.Unit)):]), p.day(f.Weeks[0].From)))
	room := max(min(p.width-chartLabels, 2*len(f.Weeks)), 8)
	weeks := f.Weeks[max(len(f.Weeks)-room, 0):]
	for l := range strings.Lines(weekChart(weeks, room, p.plain)) {
		p.line(term.Truncate(strings.TrimRight(l, " \n"), p.width, ""))
	}
}
