package report

import (
	"io"
	"strconv"
	"strings"

	"printround/internal/device"
)

// triageRow is one cause.
type triageRow struct {
	*device.TriageCause
	t    *device.Triage
	rank int // from 1
}

// triageColumns are the columns of a symptom in CSV, one row for each cause.
var triageColumns = []column[triageRow]{
	{"symptom", "name of the symptom", func(r triageRow) string { return r.t.Symptom }},
	{"key", "key of the device; empty: none given", func(r triageRow) string { return string(r.t.Device) }},
	{"rank", "1 is the likeliest", func(r triageRow) string { return strconv.Itoa(r.rank) }},
	{"code", "code of the cause", func(r triageRow) string { return r.Code }},
	{"cause", "cause in words", func(r triageRow) string { return r.Cause }},
	{"probability", "0 to 1", func(r triageRow) string { return number(r.Probability) }},
	{"why", "what speaks for and against it", func(r triageRow) string { return strings.Join(r.Why, " / ") }},
	{"sign", "what points to it", func(r triageRow) string { return r.Sign }},
	{"steps", "what to try, in order", func(r triageRow) string {
		var s []string
		for _, x := range r.Try {
			s = append(s, x.Step)
		}
		return strings.Join(s, " / ")
	}},
	{"minutes", "of all its steps; common practice", func(r triageRow) string {
		sum := 0
		for _, x := range r.Try {
			sum += x.Minutes
		}
		return strconv.Itoa(sum)
	}},
	{"caution", "cautions of its steps", func(r triageRow) string {
		var all []string
		seen := map[string]bool{}
		for _, x := range r.Try {
			for _, c := range sentences(x.Caution) {
				if !seen[c] {
					seen[c], all = true, append(all, c)
				}
			}
		}
		return strings.Join(all, " ")
	}},
	{"part", "class of part", func(r triageRow) string { return string(r.Part) }},
	{"part_number", "order number from the catalogue", func(r triageRow) string { return string(r.PartNumber) }},
}

func writeTriageCSV(w io.Writer, t *device.Triage, o Options) error {
	rows := make([]triageRow, len(t.Causes))
	for i := range t.Causes {
		rows[i] = triageRow{&t.Causes[i], t, i + 1}
	}
	return writeRows(w, triageColumns, rows, o)
}
