package report

import (
	"fmt"
	"io"
	"math"

	"printround/internal/device"
	"printround/internal/forecast"
)

// WriteBacktest writes what forecasts were worth, for people.
func WriteBacktest(w io.Writer, b *forecast.Backtest, known bool, o Options) error {
	p := &page{style: newStyle(o), w: w}
	if b.Looks == 0 || b.All.Forecasts == 0 {
		p.painted("", "There are not enough nights yet to try forecasts on: wanted some weeks in which supplies ran out.")
		return p.err
	}
	p.painted("", fmt.Sprintf("Looked ahead %s, from %s to %s: %s of %s.", device.Counted(b.Looks, "time", "times"), p.day(b.First), p.day(b.Last),
		device.Counted(b.All.Forecasts, "forecast", "forecasts"), device.Counted(b.All.Lives, "supply", "supplies")))
	truth := "The truth is what the simulation knows: a supply that was taken out early, or was still in at the end, has the day on which it would have been empty."
	if !known {
		truth = "The truth is what the nights show: only supplies count that were seen to be used up and replaced; quick ones are among them more often."
	}
	p.painted("", truth)
	p.scores("By kind of supply", "KIND", append(append([]forecast.Score{}, b.Kinds...), b.All))
	p.scores("By how far away the end was said to be", "AHEAD", b.Ahead)
	p.blank()
	p.painted("", "INSIDE: share of ends within the interval from p10 to p90, wanted 80 %; BEFORE and AFTER: outside of it. WIDTH: its median, in days; /P50: by the days to p50. OFF: median error of p50, in days. LOSS: mean pinball loss of p10, p50 and p90, in days. GIVEN: how often there was a day at all. TWO and LINE behind OFF, LOSS and GIVEN are the same of two simple rules: the line through the last two readings that differ, and the line since the replacement. OFF and LOSS are of the moments at which all three gave a day. A supply counts once, however many forecasts there were of it.")
	return p.err
}

func (p *page) scores(title, column string, list []forecast.Score) {
	g := grid{columns: []tableColumn{
		{heading: column, least: 6}, {heading: "LIVES", right: true}, {heading: "INSIDE", right: true}, {heading: "WIDTH", right: true},
		{heading: "OFF", right: true}, {heading: "TWO", right: true}, {heading: "LINE", right: true},
		{heading: "LOSS", right: true}, {heading: "TWO", right: true}, {heading: "LINE", right: true},
		{heading: "BEFORE", right: true}, {heading: "AFTER", right: true}, {heading: "/P50", right: true},
		{heading: "GIVEN", right: true}, {heading: "TWO", right: true}, {heading: "LINE", right: true},
	}}
	for _, s := range list {
		if s.Forecasts == 0 {
			continue
		}
		g.rows = append(g.rows, []string{
			p.text(s.Name), fmt.Sprint(s.Lives), outOf(s.Coverage), tenths(s.Width),
			tenths(s.Ours.Median), tenths(s.LastTwo.Median), tenths(s.Straight.Median),
			tenths(s.Ours.Pinball), tenths(s.LastTwo.Pinball), tenths(s.Straight.Pinball),
			outOf(s.Below), outOf(1 - s.Coverage - s.Below), fmt.Sprintf("%.2f", s.Relative),
			outOf(s.Ours.Given), outOf(s.LastTwo.Given), outOf(s.Straight.Given),
		})
	}
	if len(g.rows) == 0 {
		return
	}
	p.heading(title)
	g.draw(p, g.layout(p.width, 4), "")
}

func outOf(v float64) string { return fmt.Sprintf("%.0f %%", 100*max(v, 0)) }

func tenths(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.1f", v)
}
