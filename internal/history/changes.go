package history

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// noAnswer is the code of the finding that a device does not answer.
const noAnswer = "derived-no-answer"

// A supply counts as replaced, or refilled, when its level rises by so many
// points to at least so much, or by much more to wherever: sensors waver by
// less (common practice, no source).
const (
	replacedRise    = 10.0
	replacedTo      = 50.0
	replacedAnyRise = 30.0
)

// Changes says what is different since an earlier run: findings that ask for
// attention and did not then, or did and do not now; devices that fell silent,
// moved, or answered for the first time; supplies that were replaced; pages
// printed. A device that does not answer now tells nothing of its findings,
// supplies and pages: they are told when it answers again. Devices that are
// gone are not known here.
func (s *Store) Changes(ctx context.Context, since Run) (*device.Changes, error) {
	c := &device.Changes{Since: since.Finished}
	err := s.changes(ctx, since.ID, c)
	for _, list := range [][]device.Change{c.New, c.Cleared, c.Moved, c.Arrived, c.Silent, c.Replaced} {
		slices.SortStableFunc(list, func(a, b device.Change) int {
			return cmp.Or(strings.Compare(a.Device, b.Device), strings.Compare(a.Key, b.Key), strings.Compare(a.Code, b.Code), strings.Compare(a.What, b.What))
		})
	}
	return c, s.explain(err)
}

func (s *Store) changes(ctx context.Context, since int64, c *device.Changes) error {
	devices, err := changedDevices(ctx, s.db, since)
	if err != nil {
		return err
	}
	if err := changedFindings(ctx, s.db, since, devices, c); err != nil {
		return err
	}
	c.Pages = &device.PagesPrinted{}
	for _, d := range devices {
		switch {
		case d.first > since && d.first != 0:
			c.Arrived = append(c.Arrived, device.Change{Key: d.key, Device: d.name, What: d.arrival()})
		case d.last > since:
			if err := s.compareNights(ctx, since, d, c); err != nil {
				return err
			}
		}
	}
	return nil
}

// changedDevice is a device and its place among the runs.
type changedDevice struct {
	id          int64
	key, name   string
	first, last int64 // runs; 0: never answered
	why         string
}

func (d *changedDevice) arrival() string {
	if d.why == "" {
		return "new here"
	}
	return "new here: " + d.why
}

func changedDevices(ctx context.Context, q querier, since int64) (map[int64]*changedDevice, error) {
	rows, err := q.QueryContext(ctx, `SELECT id, key, coalesce(name, ''), coalesce(hostname, ''), coalesce(make_model, ''), addresses,
		coalesce(first_run, 0), coalesce(last_run, 0) FROM device`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[int64]*changedDevice{}
	for rows.Next() {
		d := &changedDevice{}
		var is device.Device
		var list string
		if err := rows.Scan(&d.id, &is.Key, &is.Name, &is.Hostname, &is.MakeModel, &list, &d.first, &d.last); err != nil {
			return nil, err
		}
		is.Addresses = parseAddresses(list)
		d.key, d.name = is.Key, is.Called()
		out[d.id] = d
	}
	return out, rows.Err()
}

// standing is a finding of a device; then and now say whether it asked for
// attention.
type standing struct {
	device    int64
	code      string
	then, now bool
	summary   string
	rank      int64
}

// changedFindings compares what asked for attention then and now. The same
// condition may have come and gone several times in between.
func changedFindings(ctx context.Context, q querier, since int64, devices map[int64]*changedDevice, c *device.Changes) error {
	rows, err := q.QueryContext(ctx, `SELECT device, code, unit, unit_index, summary, impact, first_run <= ?1, cleared IS NULL FROM finding
		WHERE asks = 1 AND (cleared IS NULL OR cleared_run > ?1) ORDER BY device, id`, since)
	if err != nil {
		return err
	}
	defer rows.Close()
	all := map[string]*standing{}
	var order []string
	for rows.Next() {
		var f standing
		var unit string
		var index int
		var impact device.Impact
		if err := rows.Scan(&f.device, &f.code, &unit, &index, &f.summary, &impact, &f.then, &f.now); err != nil {
			return err
		}
		name := fmt.Sprint(f.device, " ", findingKey(f.code, unit, index))
		if o := all[name]; o != nil {
			o.then, o.now, o.summary = o.then || f.then, o.now || f.now, f.summary
			continue
		}
		f.rank = int64(impact.Rank())
		all[name] = &f
		order = append(order, name)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	worst := map[int64]int64{}
	for _, name := range order {
		f := all[name]
		d := devices[f.device]
		if d == nil || f.then == f.now {
			continue
		}
		change := device.Change{Key: d.key, Device: d.name, Code: f.code, What: f.summary}
		switch {
		case f.now && d.first > since: // told with its arrival
			if w, ok := worst[d.id]; !ok || f.rank < w {
				worst[d.id], d.why = f.rank, f.summary
			}
		case f.now && f.code == noAnswer:
			c.Silent = append(c.Silent, change)
		case f.now:
			c.New = append(c.New, change)
		default:
			c.Cleared = append(c.Cleared, change)
		}
	}
	return nil
}

// compareNights compares the nights of a device since its last one at or
// before the earlier run.
func (s *Store) compareNights(ctx context.Context, since int64, d *changedDevice, c *device.Changes) error {
	rows, err := s.db.QueryContext(ctx, "SELECT device, "+nightColumns+` FROM night WHERE device = ?1
		AND run >= (SELECT max(run) FROM night WHERE device = ?1 AND run <= ?2) ORDER BY run`, d.id, since)
	if err != nil {
		return err
	}
	lists := []string{}
	n := nightReader{ctx: ctx, db: s.db, layouts: map[int64][]slot{}, lists: &lists, plain: true}
	return n.each(rows, func(_ int64, nights []device.Night) error {
		if what := moved(lists[0], lists[len(lists)-1]); what != "" {
			c.Moved = append(c.Moved, device.Change{Key: d.key, Device: d.name, What: what})
		}
		pages, known := int64(0), len(nights) > 1
		for i := 1; i < len(nights); i++ {
			g, ok := pagesBetween(&nights[i-1], &nights[i])
			pages, known = pages+g, known && ok
		}
		if known {
			c.Pages.Total += pages
			c.Pages.Devices++
		} else {
			c.Pages.Unknown++
		}
		for _, what := range replaced(nights) {
			c.Replaced = append(c.Replaced, device.Change{Key: d.key, Device: d.name, What: what})
		}
		return nil
	})
}

func pagesBetween(was, is *device.Night) (int64, bool) {
	if was.LifeCount == nil || is.LifeCount == nil || !device.CountsPages(is.LifeUnit) {
		return 0, false
	}
	return grown(*was.LifeCount, was.LifeUnit, string(was.LifeSource), *is.LifeCount, is.LifeUnit, string(is.LifeSource))
}

// moved says from where to where. A device with two interfaces that shows one
// of them more or less has not moved.
func moved(was, is string) string {
	then, now := strings.Fields(was), strings.Fields(is)
	fresh := slices.ContainsFunc(now, func(a string) bool { return !slices.Contains(then, a) })
	lost := slices.ContainsFunc(then, func(a string) bool { return !slices.Contains(now, a) })
	if !fresh || !lost {
		return ""
	}
	return strings.Join(now, ", ") + ", was " + strings.Join(then, ", ")
}

// replaced names the supplies whose level rose as only a new one does. Between
// two known levels there may be nights without one.
func replaced(nights []device.Night) []string {
	type place struct {
		index int
		role  string
	}
	last := map[place]device.SupplyReading{}
	var out []string
	for i := range nights {
		for _, r := range nights[i].Supplies {
			if r.Percent == nil {
				continue
			}
			at := place{r.Index, r.Role}
			if was, ok := last[at]; ok && rose(*was.Percent, *r.Percent) {
				out = append(out, fmt.Sprintf("%s replaced or refilled: %s%% to %s%%", supplyName(&r), percent(*was.Percent), percent(*r.Percent)))
			}
			last[at] = r
		}
	}
	return out
}

// rose reports whether a level, in percent, rose from one look to the next as it
// does when the supply is replaced or refilled. It says so on the night itself;
// a forecast waits for the nights that follow and splits by the gauge's step.
func rose(was, is float64) bool {
	return is-was >= replacedAnyRise || is-was >= replacedRise && is >= replacedTo
}

func percent(p float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", p), ".0") }

func supplyName(r *device.SupplyReading) string {
	if r.Name != "" {
		return r.Name
	}
	if n := strings.TrimSpace(r.Colorant + " " + r.Kind); n != "" {
		return n
	}
	return fmt.Sprintf("supply %d", r.Index)
}
