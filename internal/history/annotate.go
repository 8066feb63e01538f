package history

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"printround/internal/device"
)

// Notes is what earlier nights tell of the devices of a survey. It can be asked
// by several goroutines.
type Notes struct {
	known    *register
	findings map[int64][]interval
	last     map[int64]*lastNight
	aliases  map[int64][]string
}

// Notes reads them.
func (s *Store) Notes(ctx context.Context) (*Notes, error) {
	n := &Notes{aliases: map[int64][]string{}}
	var err error
	if n.known, err = loadRegister(ctx, s.db); err != nil {
		return nil, s.explain(err)
	}
	if n.findings, err = openFindings(ctx, s.db); err != nil {
		return nil, s.explain(err)
	}
	if n.last, err = lastNights(ctx, s.db); err != nil {
		return nil, s.explain(err)
	}
	for a, id := range n.known.byAlias {
		n.aliases[id] = append(n.aliases[id], a)
	}
	for _, list := range n.aliases {
		slices.Sort(list)
	}
	return n, nil
}

// Tell adds to a judged device the further aliases by which it is known, when
// each finding was first seen, when the device last answered, and how far its
// life counter went since the night before.
func (n *Notes) Tell(d *device.Device) {
	if d.Role == device.RoleServerQueue {
		return
	}
	id, known, _ := n.known.find(d)
	for k := range d.Findings {
		f := &d.Findings[k]
		first := d.ObservedAt
		if i := slices.IndexFunc(n.findings[id], func(o interval) bool { return o.is(f) }); known && i >= 0 {
			first = moment(n.findings[id][i].firstSeen)
		}
		f.FirstSeen = &first
	}
	if !known {
		return
	}
	d.Aliases = slices.Clone(d.Aliases)
	for _, a := range n.aliases[id] {
		if !slices.Contains(d.Aliases, a) {
			d.Aliases = append(d.Aliases, a)
		}
	}
	n.last[id].tell(d)
}

// Annotate tells all devices of a survey, and gives them the keys by which
// they are known.
func (s *Store) Annotate(ctx context.Context, v *device.Survey) error {
	n, err := s.Notes(ctx)
	if err != nil {
		return err
	}
	taken := map[string]bool{}
	for i := range v.Devices {
		taken[v.Devices[i].Key] = true
	}
	for i := range v.Devices {
		d := &v.Devices[i]
		if id, ok, _ := n.known.find(d); ok && !taken[n.known.keys[id]] {
			d.Key = n.known.keys[id]
			taken[d.Key] = true
		}
		n.Tell(d)
	}
	return nil
}

// lastNight is what the last answer of a device said.
type lastNight struct {
	at     time.Time
	life   sql.NullInt64
	unit   string
	source string
}

func lastNights(ctx context.Context, q querier) (map[int64]*lastNight, error) {
	rows, err := q.QueryContext(ctx, `SELECT d.id, n.at, n.life_count, coalesce(n.life_unit, ''), coalesce(n.life_source, '')
		FROM device d JOIN night n ON n.device = d.id AND n.run = d.last_run`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[int64]*lastNight{}
	for rows.Next() {
		var id, at int64
		var n lastNight
		if err := rows.Scan(&id, &at, &n.life, &n.unit, &n.source); err != nil {
			return nil, err
		}
		n.at = moment(at)
		out[id] = &n
	}
	return out, rows.Err()
}

func (n *lastNight) tell(d *device.Device) {
	if n == nil {
		return
	}
	if !Answered(d) {
		at := n.at
		d.LastSeen = &at
		return
	}
	life := d.Counters.Life
	if life.Value == nil || !n.life.Valid {
		return
	}
	if pages, ok := grown(n.life.Int64, n.unit, n.source, *life.Value, string(life.Unit), string(life.Source)); ok {
		d.PagesSinceLast = &pages
	}
}

// grown is how far a counter went. A counter that runs backwards was reset or
// belongs to another board; one with another unit or from another source counts
// something else. Nothing is known then.
func grown(was int64, wasUnit, wasSource string, is int64, isUnit, isSource string) (int64, bool) {
	if wasUnit != isUnit || wasSource != isSource || is < was {
		return 0, false
	}
	return is - was, true
}

// Standing returns the findings of a device that ask for attention and held
// when it last answered, with the advice of then.
func (s *Store) Standing(ctx context.Context, key string) ([]device.Finding, error) {
	id, err := s.lookup(ctx, key)
	if err != nil {
		return nil, s.explain(fmt.Errorf("%s: %w", key, err))
	}
	rows, err := s.db.QueryContext(ctx, `SELECT code, unit, unit_index, coalesce(unit_name, ''), impact, summary, weight, advice, first_seen, last_seen
		FROM finding WHERE device = ? AND cleared IS NULL AND asks = 1 ORDER BY id`, id)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []device.Finding
	for rows.Next() {
		var f device.Finding
		var advice string
		var first, last int64
		if err := rows.Scan(&f.Code, &f.Subunit.Group, &f.Subunit.Index, &f.Subunit.Name, &f.Impact, &f.Summary, &f.Weight, &advice, &first, &last); err != nil {
			return nil, s.explain(err)
		}
		if err := json.Unmarshal([]byte(advice), &f.Advice); err != nil {
			return nil, s.explain(fmt.Errorf("%w: advice: %w", ErrDamaged, err))
		}
		began := moment(first)
		f.FirstSeen = &began
		f.Evidence = []device.Evidence{{Source: device.SourceHistory, Object: "last seen", Value: moment(last).Format(time.RFC3339)}}
		out = append(out, f)
	}
	return out, s.explain(rows.Err())
}

// Attempt is one look at a device.
type Attempt struct {
	At       time.Time
	Answered bool
}

// Attempts returns when a device was asked, in the order of the runs, and
// whether it answered.
func (s *Store) Attempts(ctx context.Context, key string, from time.Time) ([]Attempt, error) {
	id, err := s.lookup(ctx, key)
	if err != nil {
		return nil, s.explain(fmt.Errorf("%s: %w", key, err))
	}
	lo, _ := span(from, time.Time{})
	rows, err := s.db.QueryContext(ctx, `SELECT run, at, 1 FROM night WHERE device = ?1 AND at >= ?2
		UNION ALL SELECT run, at, 0 FROM miss WHERE device = ?1 AND at >= ?2 ORDER BY 1`, id, lo)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Attempt
	for rows.Next() {
		var run, at int64
		var a Attempt
		if err := rows.Scan(&run, &at, &a.Answered); err != nil {
			return nil, s.explain(err)
		}
		a.At = moment(at)
		out = append(out, a)
	}
	return out, s.explain(rows.Err())
}

// Detail is one further reading of a night: a tray, an output bin, a supply of
// a finisher, a counter, a store.
type Detail struct {
	At     time.Time
	Group  string // tray, output, finisher, insert, counter, storage
	Parent int    // index of the finisher; 0: none
	device.SupplyReading
}

// Details returns the further readings of a device in order of the runs.
func (s *Store) Details(ctx context.Context, key string, from, to time.Time) ([]Detail, error) {
	id, err := s.lookup(ctx, key)
	if err != nil {
		return nil, s.explain(fmt.Errorf("%s: %w", key, err))
	}
	rows, err := s.db.QueryContext(ctx, `SELECT n.at, l.slots, t.levels FROM night n JOIN detail t ON t.device = n.device AND t.run = n.run
		JOIN layout l ON l.id = t.layout WHERE n.device = ? AND n.at BETWEEN ? AND ? ORDER BY n.run`, append([]any{id}, bounds(from, to)...)...)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Detail
	for rows.Next() {
		var at int64
		var layout, levels string
		if err := rows.Scan(&at, &layout, &levels); err != nil {
			return nil, s.explain(err)
		}
		slots, err := decodeSlots(layout)
		if err != nil {
			return nil, s.explain(err)
		}
		readings, err := read(slots, levels)
		if err != nil {
			return nil, s.explain(err)
		}
		for i, v := range readings {
			out = append(out, Detail{moment(at), slots[i].Group, slots[i].Parent, v})
		}
	}
	return out, s.explain(rows.Err())
}
