package history

import (
	"context"
	"database/sql"
	"fmt"
	"net/netip"
	"strings"
	"time"

	"printround/internal/device"
)

// Kinds of runs.
const (
	Nightly = "nightly"
	Lab     = "lab" // simulated
)

// RunInfo is what a survey does not say of its run.
type RunInfo struct {
	Kind string // empty: Nightly
	// NoMisses is set when the run could not ask everybody: it was cut short, or
	// a credential was missing. Silence then says nothing of the devices.
	NoMisses bool
}

// Recorded says what became of a survey.
type Recorded struct {
	Run      int64
	Problems []device.Problem // devices whose identity is in conflict
}

// Record keeps a judged survey in one transaction. A device that answered gets
// a night; a known one that did not gets a miss, which is no reading. Queues of
// servers are not kept.
//
// The device of a row is the one with the row's key, else the one with any of
// its strong aliases; new strong aliases are attached to it. An alias that
// belongs to another device stays there and is reported.
func (s *Store) Record(ctx context.Context, v *device.Survey, info RunInfo) (Recorded, error) {
	var out Recorded
	err := s.write(ctx, func(tx *sql.Tx) error {
		r := &recorder{ctx: ctx, tx: tx, survey: v, info: info, done: map[int64]bool{}}
		err := r.record()
		out = Recorded{Run: r.run, Problems: r.problems}
		return err
	})
	return out, s.explain(err)
}

// recorder writes one survey.
type recorder struct {
	ctx      context.Context
	tx       *sql.Tx
	survey   *device.Survey
	info     RunInfo
	run      int64
	known    *register
	findings map[int64][]interval
	alerts   map[int64][]interval
	layouts  map[layoutKey]int64
	done     map[int64]bool // devices that have their row
	problems []device.Problem
	prepared map[string]*sql.Stmt

	answered, missed int
}

type layoutKey struct {
	device int64
	slots  string
}

func (r *recorder) record() (err error) {
	r.prepared = map[string]*sql.Stmt{}
	defer func() {
		for _, s := range r.prepared {
			s.Close()
		}
	}()
	if err := r.begin(); err != nil {
		return err
	}
	if r.known, err = loadRegister(r.ctx, r.tx); err != nil {
		return err
	}
	if r.findings, err = openFindings(r.ctx, r.tx); err != nil {
		return err
	}
	if r.alerts, err = openAlerts(r.ctx, r.tx); err != nil {
		return err
	}
	if r.layouts, err = lastLayouts(r.ctx, r.tx); err != nil {
		return err
	}
	for i := range r.survey.Devices {
		d := &r.survey.Devices[i]
		if d.Role == device.RoleServerQueue || d.Key == "" {
			continue
		}
		if err := r.device(d); err != nil {
			return fmt.Errorf("%s: %w", d.Key, err)
		}
	}
	return r.exec("UPDATE run SET answered = ?, missed = ? WHERE id = ?", r.answered, r.missed, r.run)
}

func (r *recorder) begin() error {
	v, kind := r.survey, r.info.Kind
	if kind == "" {
		kind = Nightly
	}
	var reason any
	if v.Partial {
		reason = string(v.PartialReason)
	}
	res, err := r.tx.ExecContext(r.ctx, `INSERT INTO run
		(kind, started, finished, tool_version, partial_reason, addresses, probed, hosts, answered, missed)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0, 0)`,
		kind, v.Started.Unix(), v.Finished.Unix(), v.ToolVersion, reason, v.Scope.Addresses, v.Scope.Probed, v.Scope.Answered)
	if err != nil {
		return err
	}
	r.run, err = res.LastInsertId()
	return err
}

// exec runs a statement that is prepared once for the whole survey.
func (r *recorder) exec(query string, args ...any) error {
	_, err := r.result(query, args...)
	return err
}

func (r *recorder) result(query string, args ...any) (sql.Result, error) {
	s := r.prepared[query]
	if s == nil {
		var err error
		if s, err = r.tx.PrepareContext(r.ctx, query); err != nil {
			return nil, err
		}
		r.prepared[query] = s
	}
	return s.ExecContext(r.ctx, args...)
}

// Answered reports whether the device gave facts: an announcement on the
// network is none, it may come from a cache.
func Answered(d *device.Device) bool { return d.Reached.SNMP.OK || d.Reached.IPP.OK }

func (r *recorder) device(d *device.Device) error {
	answered := Answered(d)
	if !answered && r.info.NoMisses {
		return nil
	}
	id, err := r.identify(d)
	if err != nil {
		return err
	}
	if r.done[id] {
		r.problem(d, fmt.Sprintf("two devices of this survey are known as %s: the second was not kept", r.known.keys[id]))
		return nil
	}
	r.done[id] = true
	if !answered {
		return r.miss(id, d)
	}
	r.answered++
	if err := r.night(id, d); err != nil {
		return err
	}
	if err := r.keepAliases(id, d); err != nil {
		return err
	}
	if err := r.supersede(id, d); err != nil {
		return err
	}
	if err := r.keepFindings(id, d); err != nil {
		return err
	}
	return r.keepAlerts(id, d)
}

// observed is when the device was looked at.
func (r *recorder) observed(d *device.Device) int64 {
	if d.ObservedAt.IsZero() {
		return r.survey.Finished.Unix()
	}
	return d.ObservedAt.Unix()
}

func (r *recorder) miss(id int64, d *device.Device) error {
	r.missed++
	at := r.observed(d)
	if err := r.exec("INSERT INTO miss (device, run, at) VALUES (?, ?, ?)", id, r.run, at); err != nil {
		return err
	}
	if err := r.exec("UPDATE device SET misses = misses + 1 WHERE id = ?", id); err != nil {
		return err
	}
	return r.keepFindings(id, d)
}

func (r *recorder) night(id int64, d *device.Device) error {
	at, list := r.observed(d), addresses(d.Addresses)
	charted := supplies(d)
	layout, err := r.layout(id, charted)
	if err != nil {
		return err
	}
	var lifeUnit, lifeSource any
	life := d.Counters.Life
	if life.Value != nil {
		lifeUnit, lifeSource = string(life.Unit), string(life.Source)
	}
	err = r.exec(`INSERT INTO night (device, run, at, attention, life_count, life_unit, life_source, uptime_s, addresses,
			snmp, ipp, round_trips, layout, levels) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		id, r.run, at, string(d.Attention), optional(life.Value), lifeUnit, lifeSource, optional(d.State.UptimeS), list,
		d.Reached.SNMP.OK, d.Reached.IPP.OK, d.Reached.SNMP.RoundTrips, layout, charted.array())
	if err != nil {
		return err
	}
	if more := details(d); len(more.slots) > 0 {
		if layout, err = r.layout(id, more); err != nil {
			return err
		}
		if err := r.exec("INSERT INTO detail (device, run, layout, levels) VALUES (?, ?, ?, ?)", id, r.run, layout, more.array()); err != nil {
			return err
		}
	}
	// What a night does not tell does not undo what an earlier one told.
	return r.exec(`UPDATE device SET site = coalesce(?, site), name = coalesce(?, name), location = coalesce(?, location),
			make_model = coalesce(?, make_model), serial = coalesce(?, serial), hostname = coalesce(?, hostname),
			technology = coalesce(?, technology), addresses = ?, sole = ?, first_run = coalesce(first_run, ?),
			first_seen = coalesce(first_seen, ?), last_run = ?, last_seen = ?, misses = 0, superseded_by = NULL WHERE id = ?`,
		text(d.Site), text(d.Name), text(d.Location), text(d.MakeModel), text(d.Serial), text(d.Hostname), text(d.Technology),
		list, d.Sole, r.run, at, r.run, at, id)
}

// layout returns the number of the layout of a row, a new one if needed.
func (r *recorder) layout(id int64, of *row) (int64, error) {
	slots, err := of.encoded()
	if err != nil {
		return 0, err
	}
	k := layoutKey{id, slots}
	if n, ok := r.layouts[k]; ok {
		return n, nil
	}
	var n int64
	err = r.tx.QueryRowContext(r.ctx, "SELECT id FROM layout WHERE device = ? AND slots = ?", id, slots).Scan(&n)
	if err == sql.ErrNoRows {
		var res sql.Result
		if res, err = r.result("INSERT INTO layout (device, slots) VALUES (?, ?)", id, slots); err == nil {
			n, err = res.LastInsertId()
		}
	}
	r.layouts[k] = n
	return n, err
}

// lastLayouts returns the layouts that the last nights used: most are used
// again.
func lastLayouts(ctx context.Context, tx *sql.Tx) (map[layoutKey]int64, error) {
	rows, err := tx.QueryContext(ctx, `SELECT l.id, l.device, l.slots FROM device d
		JOIN night n ON n.device = d.id AND n.run = d.last_run JOIN layout l ON l.id = n.layout
		UNION ALL SELECT l.id, l.device, l.slots FROM device d
		JOIN detail t ON t.device = d.id AND t.run = d.last_run JOIN layout l ON l.id = t.layout`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[layoutKey]int64{}
	for rows.Next() {
		var n int64
		var k layoutKey
		if err := rows.Scan(&n, &k.device, &k.slots); err != nil {
			return nil, err
		}
		out[k] = n
	}
	return out, rows.Err()
}

func (r *recorder) problem(d *device.Device, message string) {
	where := d.Key
	if len(d.Addresses) > 0 {
		where = d.Addresses[0].String()
	}
	r.problems = append(r.problems, device.Problem{Address: where, Stage: "identity", Message: message})
}

func addresses(list []netip.Addr) string {
	words := make([]string, 0, len(list))
	for _, a := range list {
		if a.IsValid() {
			words = append(words, a.String())
		}
	}
	return strings.Join(words, " ")
}

func parseAddresses(s string) []netip.Addr {
	var out []netip.Addr
	for _, w := range strings.Fields(s) {
		if a, err := netip.ParseAddr(w); err == nil {
			out = append(out, a)
		}
	}
	return out
}

// optional is nil for what is not known.
func optional(v *int64) any {
	if v == nil {
		return nil
	}
	return *v
}

func text(t device.Text) any {
	if t == "" {
		return nil
	}
	return string(t)
}

// moment turns seconds into a time; 0 and NULL are the zero time.
func moment(seconds int64) time.Time {
	if seconds == 0 {
		return time.Time{}
	}
	return time.Unix(seconds, 0).UTC()
}
