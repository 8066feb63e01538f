package survey

import (
	"fmt"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"

	"printround/internal/device"
)

// Ages of jobs: job-printer-up-time minus time-at-creation, seconds
// (RFC 8011 section 5.3.14.4).
func TestJobAge(t *testing.T) {
	at := func(h, m int) goipp.Value { return goipp.Time{Time: time.Date(2026, 11, 25, h, m, 0, 0, time.UTC)} }
	tests := []struct {
		name  string
		clock ippClock
		in    []goipp.Attribute
		want  string
	}{
		{"by the job's clock", ippClock{up: 5}, []goipp.Attribute{ippInts("job-printer-up-time", 3700), ippInts("time-at-creation", 100)}, "3600"},
		{"by the printer's clock", ippClock{up: 700}, []goipp.Attribute{ippInts("time-at-creation", 100)}, "600"},
		{"a clock that counts from 1970", ippClock{}, []goipp.Attribute{ippInts("job-printer-up-time", 1494026948), ippInts("time-at-creation", 1494020000)}, "6948"},
		{"before the last restart", ippClock{up: 700}, []goipp.Attribute{ippInts("time-at-creation", 0)}, "-"},
		{"negative: before the last restart", ippClock{up: 700}, []goipp.Attribute{ippInts("time-at-creation", -50)}, "-"},
		{"after now", ippClock{up: 700}, []goipp.Attribute{ippInts("time-at-creation", 701)}, "-"},
		{"clocks that do not belong together", ippClock{up: 1494026948}, []goipp.Attribute{ippInts("time-at-creation", 100)}, "-"},
		{"nothing", ippClock{}, nil, "-"},
		{
			"wall clock after a restart", ippClock{up: 700, now: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)},
			[]goipp.Attribute{ippInts("time-at-creation", -50), ippAttr("date-time-at-creation", goipp.TagDateTime, at(11, 30))}, "1800",
		},
		{
			"wall clock of the job alone", ippClock{up: 700},
			[]goipp.Attribute{ippAttr("date-time-at-creation", goipp.TagDateTime, at(11, 30))}, "-",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := "-"
			if age := jobAge(ippDecoded(t, tt.in...), tt.clock); age != nil {
				got = fmt.Sprint(*age)
			}
			if got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

func TestIPPCounters(t *testing.T) {
	part := func(names []string, values ...int) goipp.Collection {
		var c goipp.Collection
		for i, n := range names {
			c.Add(goipp.MakeAttribute(n, goipp.TagInteger, goipp.Integer(values[i])))
		}
		return c
	}
	four := []string{"full-color", "monochrome", "full-color-two-sided", "monochrome-two-sided"}
	tests := []struct {
		name  string
		in    []goipp.Attribute
		wants [3]string // life, color, monochrome
	}{
		{"total alone", []goipp.Attribute{ippInts("printer-impressions-completed", 1234)}, [3]string{"1234 impressions", "-", "-"}},
		{"sheets when there are no impressions", []goipp.Attribute{ippInts("printer-media-sheets-completed", 7)}, [3]string{"7 sheets", "-", "-"}},
		{"zero is a number", []goipp.Attribute{ippInts("printer-impressions-completed", 0)}, [3]string{"0 impressions", "-", "-"}},
		{"nothing", nil, [3]string{"-", "-", "-"}},
		{"split", []goipp.Attribute{ippInts("printer-impressions-completed", 10), ippCols("printer-impressions-completed-col", part(four[:2], 4, 6))},
			[3]string{"10 impressions", "4 impressions", "6 impressions"}},
		{"two-sided inside", []goipp.Attribute{ippInts("printer-impressions-completed", 10), ippCols("printer-impressions-completed-col", part(four, 4, 6, 2, 3))},
			[3]string{"10 impressions", "4 impressions", "6 impressions"}},
		{"two-sided beside", []goipp.Attribute{ippInts("printer-impressions-completed", 15), ippCols("printer-impressions-completed-col", part(four, 4, 6, 2, 3))},
			[3]string{"15 impressions", "6 impressions", "9 impressions"}},
		{"parts that do not add up", []goipp.Attribute{ippInts("printer-impressions-completed", 11), ippCols("printer-impressions-completed-col", part(four, 4, 6, 2, 3))},
			[3]string{"11 impressions", "the parts do not add up to the total", "the parts do not add up to the total"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := ippCounters(ippDecoded(t, tt.in...))
			for i, count := range []device.Count{c.Life, c.Color, c.Monochrome} {
				got := "-"
				if count.Value != nil {
					got = fmt.Sprintf("%d %s", *count.Value, count.Unit)
				} else if count.Reason != "" {
					got = string(count.Reason)
				}
				if got != tt.wants[i] {
					t.Errorf("count %d: got %s, want %s", i, got, tt.wants[i])
				}
			}
		})
	}
}
