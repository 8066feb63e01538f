package report

import (
	"math"
	"strings"

	"github.com/guptarohit/asciigraph"

	"printround/internal/forecast"
)

// chartLines is the height of a chart.
const chartLines = 6

// ascii draws the line of a chart on terminals that have nothing else. The axis
// itself is the library's; asciiAxis replaces it.
var ascii = asciigraph.CharSet{
	Horizontal: "-", VerticalLine: "|", ArcDownRight: "+", ArcDownLeft: "+", ArcUpRight: "+", ArcUpLeft: "+",
	EndCap: "-", StartCap: "-", UpRight: "+", DownHorizontal: "+",
}

// asciiAxis replaces the axis of a chart.
var asciiAxis = strings.NewReplacer("┤", "|", "┼", "+", "─", "-", "│", "|")

// weekChart draws weeks as a line; those that are not known are gaps.
func weekChart(weeks []forecast.Week, width int, plain bool) string {
	v := make([]float64, len(weeks))
	known := false
	for i, w := range weeks {
		v[i] = math.NaN()
		if w.PerDay != nil {
			v[i], known = *w.PerDay, true
		}
	}
	if !known {
		return "not known"
	}
	options := []asciigraph.Option{
		asciigraph.Height(chartLines), asciigraph.Width(width), asciigraph.LowerBound(0),
		asciigraph.YAxisValueFormatter(func(v float64) string { return number(math.Round(v) + 0) }), // no minus before zero
	}
	if plain {
		options = append(options, asciigraph.SeriesChars(ascii))
	}
	drawn := asciigraph.Plot(v, options...)
	if plain {
		drawn = asciiAxis.Replace(drawn)
	}
	return drawn
}
