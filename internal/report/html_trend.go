package report

import (
	"math"
	"strconv"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
)

// A small chart is as wide as so many days and so high; a level of 100 % is at
// its top.
const (
	trendPast   = 90
	trendAhead  = 60
	trendHeight = 25.0
	trendGap    = 10.0 // days without a level that break the line
)

// sparkView is a chart as paths of SVG: the levels that were read, and the
// forecast as a band between the early and the late end.
type sparkView struct{ Line, Band string }

// past is what was kept of one device.
type past struct {
	nights []device.Night
	from   time.Time // of the chart's left edge
}

// history returns the nights of a device that a chart shows.
func (m *htmlMaker) history(key string) past {
	if m.nights == nil {
		return past{}
	}
	p := past{nights: m.nights(key), from: m.now.AddDate(0, 0, -trendPast)}
	for len(p.nights) > 0 && p.nights[0].At.Before(p.from) {
		p.nights = p.nights[1:]
	}
	return p
}

// trend draws the levels of a supply and its forecast, nil when fewer than two
// nights have a level.
func (p past) trend(s *device.Supply, d *forecast.Distribution) *sparkView {
	var c levelPath
	for i := range p.nights {
		if r := readingOf(&p.nights[i], s); r != nil && r.Percent != nil {
			c.add(p.day(p.nights[i].At), *r.Percent)
		}
	}
	if c.points < 2 {
		return nil
	}
	v := &sparkView{Line: c.finish()}
	if d != nil && c.x < trendPast+1 {
		v.Band = p.band(c.x, c.y, d)
	}
	return v
}

func (p past) day(t time.Time) float64 { return t.Sub(p.from).Hours() / 24 }

// readingOf returns the reading of a supply that night, nil for none.
func readingOf(n *device.Night, s *device.Supply) *device.SupplyReading {
	for i := range n.Supplies {
		if r := &n.Supplies[i]; r.Index == s.Index && r.Kind == string(s.Kind) {
			return r
		}
	}
	return nil
}

// levelPath builds a path in steps: right to the next night, up or down to its
// level.
type levelPath struct {
	b      strings.Builder
	points int
	x, y   float64 // where the last night is
	px, py float64 // where the path is
}

func (c *levelPath) add(day, percent float64) {
	x, y := math.Round(day), heightOf(percent)
	switch {
	case c.points == 0 || x-c.x > trendGap:
		c.right()
		c.b.WriteString("M" + coordinate(x) + " " + coordinate(y))
		c.px, c.py = x, y
	case y != c.y:
		c.x = x
		c.right()
		c.b.WriteString("v" + coordinate(y-c.py))
		c.py = y
	}
	c.points++
	c.x, c.y = x, y
}

// right draws the path up to the last night.
func (c *levelPath) right() {
	if c.x > c.px && c.points > 0 {
		c.b.WriteString("h" + coordinate(c.x-c.px))
		c.px = c.x
	}
}

func (c *levelPath) finish() string {
	c.right()
	return c.b.String()
}

func heightOf(percent float64) float64 {
	return math.Round((100 - min(max(percent, 0), 100)) / 100 * trendHeight)
}

func coordinate(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// band draws the forecast from the last level to the end: between the moments
// by which it comes with probabilities 0.1 and 0.9.
func (p past) band(x, y float64, d *forecast.Distribution) string {
	end := func(q float64) float64 {
		t, ok := d.Quantile(q)
		if !ok {
			return x + forecast.Horizon
		}
		return max(p.day(t), x)
	}
	early, late := edge(x, y, end(0.1)), edge(x, y, end(0.9))
	path := "M" + place2(x, y) + "L" + early.path()
	if early.y == trendHeight && late.y < trendHeight {
		path += "L" + place2(trendPast+trendAhead, trendHeight)
	}
	return path + "L" + late.path() + "z"
}

type spot struct{ x, y float64 }

func (s spot) path() string { return place2(s.x, s.y) }

func place2(x, y float64) string { return coordinate(x) + " " + coordinate(y) }

// edge is where the line from a level to its end leaves the chart.
func edge(x, y, end float64) spot {
	const right = trendPast + trendAhead
	if end <= right {
		return spot{math.Round(end), trendHeight}
	}
	return spot{right, math.Round(y + (trendHeight-y)*(right-x)/(end-x))}
}
