package history

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"printround/internal/device"
)

// span turns a period into seconds, both ends included; a zero time is open.
func span(from, to time.Time) (int64, int64) {
	lo, hi := int64(math.MinInt64), int64(math.MaxInt64)
	if !from.IsZero() {
		lo = from.Unix()
	}
	if !to.IsZero() {
		hi = to.Unix()
	}
	return lo, hi
}

const nightColumns = `run, at, attention, life_count, life_unit, life_source, uptime_s, addresses, round_trips, layout, levels`

// Readings returns the nights of one device in order of time; from and to are
// included, a zero time is an open end. The key may be any strong alias.
// Between readers and lists a night's slices may share memory: they are not to
// be changed.
func (s *Store) Readings(ctx context.Context, key string, from, to time.Time) ([]device.Night, error) {
	id, err := s.lookup(ctx, key)
	if err != nil {
		return nil, s.explain(fmt.Errorf("%s: %w", key, err))
	}
	n := nightReader{ctx: ctx, db: s.db, layouts: map[int64][]slot{}}
	rows, err := s.db.QueryContext(ctx, "SELECT device, "+nightColumns+" FROM night WHERE device = ? AND at BETWEEN ? AND ? ORDER BY run",
		append([]any{id}, bounds(from, to)...)...)
	if err != nil {
		return nil, s.explain(err)
	}
	var out []device.Night
	err = n.each(rows, func(_ int64, nights []device.Night) error {
		out = nights
		return nil
	})
	return out, s.explain(err)
}

func bounds(from, to time.Time) []any {
	lo, hi := span(from, to)
	return []any{lo, hi}
}

// AllReadings calls f with the nights of one device after the other, in no
// particular order of devices; those without a night in the period are left
// out. An error of f ends it and is returned.
func (s *Store) AllReadings(ctx context.Context, from, to time.Time, f func(key string, nights []device.Night) error) error {
	r, err := loadRegister(ctx, s.db)
	if err != nil {
		return s.explain(err)
	}
	n := nightReader{ctx: ctx, db: s.db, layouts: map[int64][]slot{}}
	rows, err := s.db.QueryContext(ctx, "SELECT device, "+nightColumns+" FROM night WHERE at BETWEEN ? AND ? ORDER BY device, run", bounds(from, to)...)
	if err != nil {
		return s.explain(err)
	}
	var own error
	err = n.each(rows, func(id int64, nights []device.Night) error {
		own = f(r.keys[id], nights)
		return own
	})
	if own != nil {
		return own
	}
	return s.explain(err)
}

// nightReader puts nights together.
type nightReader struct {
	ctx     context.Context
	db      *sql.DB
	layouts map[int64][]slot // of the present device
	device  int64
	nights  []device.Night
	runs    []int64
	levels  []string
	layout  []int64
	lists   *[]string // all addresses of the nights go here; nil: nobody asks
	plain   bool      // in the order of the runs, and without findings
}

// each reads rows that are sorted by device and calls f for each device. It
// closes the rows.
func (n *nightReader) each(rows *sql.Rows, f func(int64, []device.Night) error) error {
	defer rows.Close()
	for rows.Next() {
		var id, run, at, layout int64
		var v device.Night
		var life, uptime sql.NullInt64
		var unit, source sql.NullString
		var list, levels string
		if err := rows.Scan(&id, &run, &at, &v.Attention, &life, &unit, &source, &uptime, &list, &v.RoundTrips, &layout, &levels); err != nil {
			return err
		}
		if id != n.device {
			if err := n.give(f); err != nil {
				return err
			}
			n.device = id
		}
		v.At, v.LifeUnit, v.LifeSource = moment(at), unit.String, device.Source(source.String)
		v.LifeCount, v.UptimeS = known(life), known(uptime)
		v.Address, _, _ = strings.Cut(list, " ")
		if n.lists != nil {
			*n.lists = append(*n.lists, list)
		}
		n.nights, n.runs = append(n.nights, v), append(n.runs, run)
		n.levels, n.layout = append(n.levels, levels), append(n.layout, layout)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return n.give(f)
}

func known(v sql.NullInt64) *int64 {
	if !v.Valid {
		return nil
	}
	return &v.Int64
}

// give finishes the nights of the present device and hands them on.
func (n *nightReader) give(f func(int64, []device.Night) error) error {
	if len(n.nights) == 0 {
		return nil
	}
	clear(n.layouts)
	if err := n.loadLayouts(); err != nil {
		return err
	}
	for i := range n.nights {
		slots, ok := n.layouts[n.layout[i]]
		if !ok {
			return fmt.Errorf("%w: a night has no layout", ErrDamaged)
		}
		var err error
		if n.nights[i].Supplies, err = read(slots, n.levels[i]); err != nil {
			return err
		}
	}
	nights := slices.Clone(n.nights)
	if !n.plain {
		if err := n.addFindings(nights); err != nil {
			return err
		}
		slices.SortStableFunc(nights, func(a, b device.Night) int { return a.At.Compare(b.At) }) // a clock may have been wrong
	}
	n.nights, n.runs, n.levels, n.layout = n.nights[:0], n.runs[:0], n.levels[:0], n.layout[:0]
	return f(n.device, nights)
}

// loadLayouts decodes the layouts of the nights at hand; the device may have
// others, of details.
func (n *nightReader) loadLayouts() error {
	wanted := map[int64]bool{}
	for _, id := range n.layout {
		wanted[id] = true
	}
	rows, err := n.db.QueryContext(n.ctx, "SELECT id, slots FROM layout WHERE device = ?", n.device)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var text string
		if err := rows.Scan(&id, &text); err != nil {
			return err
		}
		if !wanted[id] {
			continue
		}
		if n.layouts[id], err = decodeSlots(text); err != nil {
			return err
		}
	}
	return rows.Err()
}

// addFindings gives each night the keys of the findings that held then. The
// runs of a device are in order.
func (n *nightReader) addFindings(nights []device.Night) error {
	rows, err := n.db.QueryContext(n.ctx, `SELECT code, unit, unit_index, first_run, coalesce(cleared_run, ?) FROM finding
		WHERE device = ? ORDER BY code, unit, unit_index`, int64(math.MaxInt64), n.device)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var code, unit string
		var index int
		var first, cleared int64
		if err := rows.Scan(&code, &unit, &index, &first, &cleared); err != nil {
			return err
		}
		key := findingKey(code, unit, index)
		from := sort.Search(len(n.runs), func(i int) bool { return n.runs[i] >= first })
		for i := from; i < len(n.runs) && n.runs[i] < cleared; i++ {
			nights[i].FindingKeys = append(nights[i].FindingKeys, key)
		}
	}
	return rows.Err()
}

// findingKey names a finding of a device: its code and, where it is about a
// subunit, the subunit's group and index.
func findingKey(code, group string, index int) string {
	if group == "" && index == 0 {
		return code
	}
	return code + " " + group + " " + strconv.Itoa(index)
}

// Run is one run.
type Run struct {
	ID                int64
	Kind              string
	Started, Finished time.Time
	ToolVersion       string
	Partial           bool
	PartialReason     string
	Addresses, Probed int
	Hosts             int       // that gave any answer
	Answered, Missed  int       // devices
	Reported          time.Time // when its report was complete; zero: never
}

const runColumns = `id, kind, started, finished, tool_version, partial_reason IS NOT NULL, coalesce(partial_reason, ''),
	addresses, probed, hosts, answered, missed, coalesce(reported, 0)`

// Runs returns the runs that began in the period, in their order.
func (s *Store) Runs(ctx context.Context, from, to time.Time) ([]Run, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT "+runColumns+" FROM run WHERE started BETWEEN ? AND ? ORDER BY id", bounds(from, to)...)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Run
	for rows.Next() {
		r, err := scanRun(rows.Scan)
		if err != nil {
			return nil, s.explain(err)
		}
		out = append(out, r)
	}
	return out, s.explain(rows.Err())
}

func scanRun(scan func(...any) error) (Run, error) {
	var r Run
	var started, finished, reported int64
	err := scan(&r.ID, &r.Kind, &started, &finished, &r.ToolVersion, &r.Partial, &r.PartialReason,
		&r.Addresses, &r.Probed, &r.Hosts, &r.Answered, &r.Missed, &reported)
	r.Started, r.Finished, r.Reported = moment(started), moment(finished), moment(reported)
	return r, err
}

// LastReported returns the last run whose report was complete: what people
// last saw. ok is false when there is none.
func (s *Store) LastReported(ctx context.Context) (r Run, ok bool, err error) {
	return s.lastRun(ctx, "WHERE reported IS NOT NULL")
}

// LastRun returns the last run, ok is false when there is none.
func (s *Store) LastRun(ctx context.Context) (r Run, ok bool, err error) { return s.lastRun(ctx, "") }

func (s *Store) lastRun(ctx context.Context, of string) (r Run, ok bool, err error) {
	r, err = scanRun(s.db.QueryRowContext(ctx, "SELECT "+runColumns+" FROM run "+of+" ORDER BY id DESC LIMIT 1").Scan)
	if err == sql.ErrNoRows {
		return r, false, nil
	}
	return r, err == nil, s.explain(err)
}

// SetReported notes that the report of a run is complete.
func (s *Store) SetReported(ctx context.Context, run int64) error {
	return s.explain(s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "UPDATE run SET reported = ? WHERE id = ?", s.now().Unix(), run)
		return err
	}))
}

// Interval is how long a finding or an alert held.
type Interval struct {
	Code       string
	Group      string // PrtAlertGroupTC label; empty: the device as a whole
	Index      int
	Name       string // of the subunit; the description of an alert
	Impact     device.Impact
	Severity   string // of an alert: PrtAlertSeverityLevelTC label
	Summary    string
	FirstSeen  time.Time
	LastSeen   time.Time
	Cleared    time.Time // zero: it holds
	FromSource string    // where its evidence came from, separated by spaces
}

// Findings returns the findings of a device in the order of their beginning.
// A finding that turned from a note into something that asks for attention, or
// back, is there once for each.
func (s *Store) Findings(ctx context.Context, key string) ([]Interval, error) {
	return s.intervals(ctx, key, `SELECT code, unit, unit_index, coalesce(unit_name, ''), impact, '', summary, first_seen, last_seen,
		coalesce(cleared, 0), sources FROM finding WHERE device = ? ORDER BY first_run, id`)
}

// Alerts returns the rows of a device's own alert lists in the order of their
// beginning.
func (s *Store) Alerts(ctx context.Context, key string) ([]Interval, error) {
	return s.intervals(ctx, key, `SELECT code, unit, unit_index, coalesce(description, ''), '', severity, '', first_seen, last_seen,
		coalesce(cleared, 0), source FROM alert WHERE device = ? ORDER BY first_run, id`)
}

func (s *Store) intervals(ctx context.Context, key, query string) ([]Interval, error) {
	id, err := s.lookup(ctx, key)
	if err != nil {
		return nil, s.explain(fmt.Errorf("%s: %w", key, err))
	}
	rows, err := s.db.QueryContext(ctx, query, id)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Interval
	for rows.Next() {
		var i Interval
		var first, last, cleared int64
		if err := rows.Scan(&i.Code, &i.Group, &i.Index, &i.Name, &i.Impact, &i.Severity, &i.Summary, &first, &last, &cleared, &i.FromSource); err != nil {
			return nil, s.explain(err)
		}
		i.FirstSeen, i.LastSeen, i.Cleared = moment(first), moment(last), moment(cleared)
		out = append(out, i)
	}
	return out, s.explain(rows.Err())
}
