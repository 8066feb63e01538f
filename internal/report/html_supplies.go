package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
)

// levelView is a level as a bar and in words. An unknown one has an empty,
// dashed bar and says why.
type levelView struct {
	Known bool
	Bar   string // classes: length and colour
	Low   bool
	Words string
}

// bar returns the classes of a bar. Only nothing at all looks empty, and only
// the whole looks full.
func bar(percent float64, hue string) string {
	n := int(math.Round(percent))
	switch {
	case percent > 0 && n == 0:
		n = 1
	case percent < 100 && n == 100:
		n = 99
	}
	return strings.TrimSpace(hue + " w" + strconv.Itoa(n))
}

type supplyLine struct {
	Name   string
	Level  levelView
	Amount string
	Trend  *sparkView
	Ends   string
}

// lowest is the lowest known level with what it is of.
func (m *htmlMaker) lowest(d *device.Device) levelView {
	s, ok := d.Lowest()
	if !ok {
		return levelView{Words: m.text("unknown: " + lowestReason(d))}
	}
	v := m.level(s.Level, hue(s))
	v.Words, v.Low = m.text(lowestShort(d)), low(s)
	return v
}

func (m *htmlMaker) level(l device.Level, hue string) levelView {
	if p, ok := l.Percent(); ok {
		return levelView{Known: true, Bar: bar(p, hue), Words: l.String()}
	}
	switch r := l.Reason(); r {
	case device.LevelUnknown:
		return levelView{Words: "unknown"}
	case device.LevelUnlimited:
		return levelView{Words: "no limit stated"}
	default:
		return levelView{Words: m.text("unknown: " + levelReason(r))}
	}
}

// lowAt is the level from which a bar is marked low when the device says
// nothing (common practice, as of the findings).
const lowAt = 10

func low(s device.Supply) bool {
	p, ok := s.Level.Percent()
	return ok && (p <= lowAt || s.LowAt != nil && p <= *s.LowAt)
}

// hue is the colour of a bar: that of the colorant for what ends up on paper.
func hue(s device.Supply) string {
	if !isMarking(s) || s.Role == device.Receptacle {
		return ""
	}
	return map[string]string{"black": "k", "cyan": "c", "magenta": "m", "yellow": "y"}[strings.ToLower(string(s.Colorant))]
}

// day writes a date for people, with the year where it is another one.
func (m *htmlMaker) day(t time.Time) string {
	t = t.In(m.zone)
	if t.Year() != m.now.In(m.zone).Year() {
		return t.Format("2 Jan 2006")
	}
	return t.Format("2 Jan")
}

// supplies fills in the supplies, those of finishers, and the parts that only
// the forecast knows.
func (m *htmlMaker) supplies(v *deviceView, d *device.Device) {
	f := m.forecasts[d.Key]
	history := m.history(d.Key)
	for i := range d.Supplies {
		s := &d.Supplies[i]
		l := m.supply(*s, "")
		if it := itemOf(f, s); it != nil {
			l.Ends = m.text(m.ends(it))
			l.Trend = history.trend(s, it.RunOut)
		} else {
			l.Trend = history.trend(s, nil)
		}
		v.HasTrend = v.HasTrend || l.Trend != nil
		v.HasEnds = v.HasEnds || l.Ends != ""
		v.Supplies = append(v.Supplies, l)
	}
	for i := range d.Finishers {
		for _, s := range d.Finishers[i].Supplies {
			v.Supplies = append(v.Supplies, m.supply(s, orKind(d.Finishers[i].Name, d.Finishers[i].Kind)+": "))
		}
	}
	if f != nil {
		for i := range f.Items {
			if it := &f.Items[i]; it.Kind == forecast.Service {
				v.HasEnds = true
				v.Supplies = append(v.Supplies, m.service(it))
			}
		}
		if f.NotYet != "" {
			v.HasEnds = false
			v.Facts = slices.Insert(v.Facts, 0, labelled{"No forecast", m.text(f.NotYet)})
		}
	}
}

func (m *htmlMaker) supply(s device.Supply, of string) supplyLine {
	l := supplyLine{Name: m.text(of + supplyName(s)), Level: m.level(s.Level, hue(s))}
	l.Level.Low = low(s)
	if s.Role == device.Receptacle && l.Level.Known {
		l.Level.Words += " space left"
	}
	if l.Level.Low {
		l.Level.Words += ", low"
	}
	if s.Unit != "percent" {
		if a := amount(s.Level, s.Capacity, s.Unit); a != "?" {
			l.Amount = m.text(a)
		}
	}
	return l
}

// service is a part whose life is known in pages.
func (m *htmlMaker) service(it *forecast.Item) supplyLine {
	l := supplyLine{Name: m.text(it.Name), Level: levelView{Words: "unknown"}, Amount: "by pages", Ends: m.text(m.ends(it))}
	if it.Percent != nil {
		l.Level = levelView{Known: true, Bar: bar(*it.Percent, ""), Words: number(*it.Percent) + "%"}
	}
	return l
}

func itemOf(f *forecast.Device, s *device.Supply) *forecast.Item {
	if f == nil {
		return nil
	}
	for i := range f.Items {
		if it := &f.Items[i]; it.Kind == forecast.Supply && it.Index == s.Index {
			return it
		}
	}
	return nil
}

// ends says when a supply or part comes to its end: the likeliest day, the days
// between which it lies four times of five, and the chance before the next
// visit.
func (m *htmlMaker) ends(it *forecast.Item) string {
	if it.RunOut == nil {
		return it.Reason
	}
	early, known := it.RunOut.Quantile(0.1)
	if !known {
		return "beyond what can be foreseen"
	}
	line := "not before " + m.day(early)
	if middle, ok := it.RunOut.Quantile(0.5); ok {
		line = "about " + m.day(middle)
		if late, ok := it.RunOut.Quantile(0.9); ok {
			line += fmt.Sprintf(" (%s to %s)", m.day(early), m.day(late))
		} else {
			line += fmt.Sprintf(" (not before %s)", m.day(early))
		}
	}
	if p := it.RunOut.ChanceBefore(m.now.Add(m.horizon)); p > 0 {
		line += ", " + chance(p) + " before the next visit"
	}
	return line
}
