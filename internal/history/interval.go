package history

import (
	"context"
	"encoding/json"
	"slices"
	"strings"

	"printround/internal/device"
)

// interval is a finding or an alert that held at the last look.
type interval struct {
	id        int64
	code      string
	unit      string
	index     int
	asks      bool // of findings, as the next two
	impact    string
	summary   string
	sources   string
	firstSeen int64
}

func openFindings(ctx context.Context, q querier) (map[int64][]interval, error) {
	return openIntervals(ctx, q, "SELECT device, id, code, unit, unit_index, asks, impact, summary, sources, first_seen FROM finding WHERE cleared IS NULL")
}

func openAlerts(ctx context.Context, q querier) (map[int64][]interval, error) {
	return openIntervals(ctx, q, "SELECT device, id, code, unit, unit_index, 1, '', '', source, first_seen FROM alert WHERE cleared IS NULL")
}

func openIntervals(ctx context.Context, q querier, query string) (map[int64][]interval, error) {
	rows, err := q.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[int64][]interval{}
	for rows.Next() {
		var of int64
		var i interval
		if err := rows.Scan(&of, &i.id, &i.code, &i.unit, &i.index, &i.asks, &i.impact, &i.summary, &i.sources, &i.firstSeen); err != nil {
			return nil, err
		}
		out[of] = append(out[of], i)
	}
	return out, rows.Err()
}

func (i *interval) is(f *device.Finding) bool {
	return i.code == f.Code && i.unit == f.Subunit.Group && i.index == f.Subunit.Index
}

// sourcesOf lists where a finding's evidence came from.
func sourcesOf(f *device.Finding) string {
	var out []string
	for _, e := range f.Evidence {
		if s := string(e.Source); s != "" && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	slices.Sort(out)
	return strings.Join(out, " ")
}

// couldTell reports whether a row would have shown a condition that was known
// from these sources, had it still held: the device answered over one of them
// and was read to the end, or the condition was none of a protocol's own.
func couldTell(d *device.Device, sources string) bool {
	if !Answered(d) {
		return false
	}
	protocols := 0
	for s := range strings.FieldsSeq(sources) {
		switch device.Source(s) {
		case device.SourceSNMP:
			protocols++
			if d.Reached.SNMP.OK && !d.Reached.SNMP.Partial {
				return true
			}
		case device.SourceIPP:
			protocols++
			if d.Reached.IPP.OK {
				return true
			}
		}
	}
	return protocols == 0
}

// keepFindings extends what still holds, begins what is new and ends what is
// gone. What could not be judged goes on as it was.
func (r *recorder) keepFindings(id int64, d *device.Device) error {
	at := r.observed(d)
	open := r.findings[id]
	kept := make([]bool, len(open))
	var seen []interval // a code may come twice of one subunit in words only
	for i := range d.Findings {
		f := &d.Findings[i]
		if slices.ContainsFunc(seen, func(o interval) bool { return o.is(f) }) {
			continue
		}
		seen = append(seen, interval{code: f.Code, unit: f.Subunit.Group, index: f.Subunit.Index})
		n := slices.IndexFunc(open, func(o interval) bool { return o.is(f) })
		first := at
		if n >= 0 {
			kept[n], first = true, open[n].firstSeen
			if open[n].asks == f.Asks() {
				if err := r.extend(&open[n], f, at); err != nil {
					return err
				}
				continue
			}
			if err := r.clear("finding", open[n].id, at); err != nil {
				return err
			}
		}
		advice, err := json.Marshal(f.Advice)
		if err != nil {
			return err
		}
		err = r.exec(`INSERT INTO finding (device, code, unit, unit_index, unit_name, asks, impact, summary, weight, advice, sources,
				first_seen, last_seen, first_run, last_run) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			id, f.Code, f.Subunit.Group, f.Subunit.Index, text(f.Subunit.Name), f.Asks(), string(f.Impact), f.Summary, f.Weight, string(advice),
			sourcesOf(f), first, at, r.run, r.run)
		if err != nil {
			return err
		}
	}
	for n, o := range open {
		if kept[n] || slices.Contains(d.NotJudged, o.code) || !couldTell(d, o.sources) {
			continue
		}
		if err := r.clear("finding", o.id, at); err != nil {
			return err
		}
	}
	return nil
}

// extend notes that a finding still holds. Its words are long and change
// seldom.
func (r *recorder) extend(i *interval, f *device.Finding, at int64) error {
	if i.impact == string(f.Impact) && i.summary == f.Summary {
		return r.exec("UPDATE finding SET weight = ?, sources = ?, last_seen = ?, last_run = ? WHERE id = ?",
			f.Weight, sourcesOf(f), at, r.run, i.id)
	}
	advice, err := json.Marshal(f.Advice)
	if err != nil {
		return err
	}
	return r.exec(`UPDATE finding SET impact = ?, summary = ?, unit_name = ?, weight = ?, advice = ?, sources = ?,
			last_seen = ?, last_run = ? WHERE id = ?`,
		string(f.Impact), f.Summary, text(f.Subunit.Name), f.Weight, string(advice), sourcesOf(f), at, r.run, i.id)
}

func (r *recorder) clear(table string, id, at int64) error {
	return r.exec("UPDATE "+table+" SET cleared = ?, cleared_run = ? WHERE id = ?", at, r.run, id)
}

// keepAlerts does the same for the rows of the device's alert lists.
func (r *recorder) keepAlerts(id int64, d *device.Device) error {
	at := r.observed(d)
	open := r.alerts[id]
	kept := make([]bool, len(open))
	var seen []interval
	for i := range d.Alerts {
		a := &d.Alerts[i]
		same := func(o interval) bool {
			return o.sources == string(a.Source) && o.code == a.Code && o.unit == a.Group && o.index == a.GroupIndex
		}
		if slices.ContainsFunc(seen, same) {
			continue
		}
		seen = append(seen, interval{sources: string(a.Source), code: a.Code, unit: a.Group, index: a.GroupIndex})
		if n := slices.IndexFunc(open, same); n >= 0 {
			kept[n] = true
			err := r.exec("UPDATE alert SET severity = ?, description = ?, last_seen = ?, last_run = ? WHERE id = ?",
				a.Severity, text(a.Description), at, r.run, open[n].id)
			if err != nil {
				return err
			}
			continue
		}
		err := r.exec(`INSERT INTO alert (device, source, code, severity, unit, unit_index, description,
				first_seen, last_seen, first_run, last_run) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			id, string(a.Source), a.Code, a.Severity, a.Group, a.GroupIndex, text(a.Description), at, at, r.run, r.run)
		if err != nil {
			return err
		}
	}
	for n, o := range open {
		if kept[n] || !couldTell(d, o.sources) {
			continue
		}
		if err := r.clear("alert", o.id, at); err != nil {
			return err
		}
	}
	return nil
}
