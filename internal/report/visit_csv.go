package report

import (
	"io"
	"strconv"
	"strings"

	"printround/internal/visit"
)

// visitRow is one task, or one supply to look at.
type visitRow struct {
	visit.Task
	group string
	stop  int // from 1; 0: none
}

// visitColumns are the columns of a plan in CSV, one row for each task and one
// for each device with supplies to look at. The sum of quantity over a part
// number is what to bring.
var visitColumns = []column[visitRow]{
	{"group", "by-phone, visit, watch or look-at", func(r visitRow) string { return r.group }},
	{"stop", "number of the stop; empty: none", func(r visitRow) string {
		if r.stop == 0 {
			return ""
		}
		return strconv.Itoa(r.stop)
	}},
	{"site", "site", func(r visitRow) string { return string(r.Site) }},
	{"where", "site and location", func(r visitRow) string { return string(r.Where) }},
	{"call", "whom to call", func(r visitRow) string { return string(r.Call) }},
	{"key", "key of the device", func(r visitRow) string { return r.Key }},
	{"device", "what people call it", func(r visitRow) string { return r.Device }},
	{"model", "make and model", func(r visitRow) string { return string(r.Model) }},
	{"code", "condition", func(r visitRow) string { return r.Code }},
	{"impact", "stopped, silent, impaired, due or note", func(r visitRow) string { return string(r.Impact) }},
	{"summary", "the finding, and what else the task cures", func(r visitRow) string { return summaries(&r.Task) }},
	{"step", "what to do first", func(r visitRow) string { return string(r.Step) }},
	{"steps", "all of it; by phone the words to say", func(r visitRow) string { return strings.Join(r.Steps, " / ") }},
	{"if_not", "what follows when a call does not help", func(r visitRow) string { return string(r.IfNot) }},
	{"who", "training level (PrtAlertTrainingLevelTC)", func(r visitRow) string { return string(r.Who) }},
	{"minutes", "about; common practice", func(r visitRow) string { return strconv.Itoa(r.Minutes) }},
	{"caution", "caution", func(r visitRow) string { return string(r.Caution) }},
	{"part", "class of part", func(r visitRow) string { return r.need().Part }},
	{"part_number", "order number from the catalogue", func(r visitRow) string { return string(r.need().Number) }},
	{"color", "colour of the part", func(r visitRow) string { return string(r.need().Color) }},
	{"quantity", "to bring; empty: none", func(r visitRow) string {
		if r.need().Bring {
			return "1"
		}
		return ""
	}},
	{"sure", "yes, or no when only a look will tell; empty: no part", func(r visitRow) string {
		switch {
		case r.Part == nil:
			return ""
		case r.Part.Sure:
			return "yes"
		}
		return "no"
	}},
	{"probability", "chance of the end before the visit after next, 0 to 1; empty: no forecast", func(r visitRow) string { return floatCell(r.Probability) }},
}

func (r visitRow) need() visit.Needed {
	if r.Part == nil {
		return visit.Needed{}
	}
	return *r.Part
}

// VisitColumns returns the columns of a plan in CSV in the order of the file.
func VisitColumns() []Column { return documented(visitColumns) }

func visitRows(v *visit.Plan) []visitRow {
	stops := map[string]int{}
	for i := range v.Visit {
		for _, d := range v.Visit[i].Devices {
			stops[d.Key] = i + 1
		}
	}
	var out []visitRow
	add := func(group string, tasks []visit.Task) {
		for _, t := range tasks {
			out = append(out, visitRow{Task: t, group: group, stop: stops[t.Key]})
		}
	}
	add("by-phone", v.ByPhone)
	for i := range v.Visit {
		for _, d := range v.Visit[i].Devices {
			add("visit", d.Tasks)
		}
	}
	add("watch", v.Watch)
	for i := range v.LookAt {
		l := &v.LookAt[i]
		add("look-at", []visit.Task{{Key: l.Key, Device: l.Device, Site: l.Site, Where: l.Where, Summary: "no level known: " + lookList(l)}})
	}
	return out
}

func writeVisitCSV(w io.Writer, v *visit.Plan, o Options) error {
	return writeRows(w, visitColumns, visitRows(v), o)
}
