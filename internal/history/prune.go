package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"
)

// Pruned says what was forgotten.
type Pruned struct {
	Runs    int64 // whose nights are gone
	Nights  int64
	Devices int64 // that have no night left
}

// old selects the runs before a moment. The last run and the last one that was
// reported are needed to say what changed and are kept whatever their age.
const old = `SELECT id FROM run WHERE started < ?1
	AND id <> (SELECT max(id) FROM run) AND id <> coalesce((SELECT max(id) FROM run WHERE reported IS NOT NULL), 0)`

// agreeing is how many runs have to agree on the time before their clock decides
// what is old.
const agreeing = 7

// Settled is the earliest start of the last few runs. A clock that is years
// ahead for a night or two must not make every night look old; that of a week
// of runs is believed. There is none without a run.
func (s *Store) Settled(ctx context.Context) (time.Time, error) {
	var at sql.NullInt64
	err := s.db.QueryRowContext(ctx, "SELECT min(started) FROM (SELECT started FROM run ORDER BY id DESC LIMIT ?)", agreeing).Scan(&at)
	if err != nil || !at.Valid {
		return time.Time{}, s.explain(err)
	}
	return time.Unix(at.Int64, 0), nil
}

// Older counts what Prune would forget.
func (s *Store) Older(ctx context.Context, before time.Time) (Pruned, error) {
	var p Pruned
	err := s.db.QueryRowContext(ctx, "SELECT count(DISTINCT run), count(*) FROM night WHERE run IN ("+old+")", before.Unix()).Scan(&p.Runs, &p.Nights)
	if err == nil {
		err = s.db.QueryRowContext(ctx, `SELECT count(*) FROM device d WHERE EXISTS (SELECT 1 FROM night WHERE device = d.id)
			AND NOT EXISTS (SELECT 1 FROM night WHERE device = d.id AND run NOT IN (`+old+"))", before.Unix()).Scan(&p.Devices)
	}
	return p, s.explain(err)
}

// Prune forgets the nights of runs before a moment, the findings and alerts
// that ended then, and devices that have no night left. The room is used
// again; Compact gives it back to the disk.
func (s *Store) Prune(ctx context.Context, before time.Time) (Pruned, error) {
	p, err := s.Older(ctx, before)
	if err != nil {
		return p, err
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		for _, statement := range []string{
			"CREATE TEMP TABLE gone AS " + old,
			"DELETE FROM night WHERE run IN (SELECT id FROM gone)",
			"DELETE FROM miss WHERE run IN (SELECT id FROM gone)",
			"DELETE FROM finding WHERE cleared_run IN (SELECT id FROM gone)",
			"DELETE FROM alert WHERE cleared_run IN (SELECT id FROM gone)",
			`DELETE FROM device WHERE id NOT IN (SELECT device FROM night) AND id NOT IN (SELECT device FROM miss)`,
			"DELETE FROM device WHERE last_run IN (SELECT id FROM gone) AND id NOT IN (SELECT device FROM night)",
			"DELETE FROM layout WHERE id NOT IN (SELECT layout FROM night UNION SELECT layout FROM detail)",
			`DELETE FROM run WHERE id IN (SELECT id FROM gone) AND id NOT IN (
				SELECT first_run FROM device WHERE first_run IS NOT NULL UNION SELECT last_run FROM device WHERE last_run IS NOT NULL
				UNION SELECT first_run FROM finding UNION SELECT last_run FROM finding
				UNION SELECT first_run FROM alert UNION SELECT last_run FROM alert)`,
			"DROP TABLE gone",
		} {
			args := []any{}
			if strings.Contains(statement, "?1") {
				args = append(args, before.Unix())
			}
			if _, err := tx.ExecContext(ctx, statement, args...); err != nil {
				return err
			}
		}
		return nil
	})
	return p, s.explain(err)
}

// Compact writes the file anew without empty room. It needs as much free space
// as the file has, for a moment.
func (s *Store) Compact(ctx context.Context) error {
	_, err := s.db.ExecContext(ctx, "VACUUM")
	return s.explain(err)
}

// CopyTo writes a whole and compact copy of the history to a new file, also
// while a run is written.
func (s *Store) CopyTo(ctx context.Context, path string) error {
	if exists(path) {
		return fmt.Errorf("%s exists already: a copy goes to a new file", path)
	}
	temporary := path + ".tmp"
	if err := os.Remove(temporary); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	err := s.vacuumInto(ctx, temporary)
	if err == nil {
		if err = os.Rename(temporary, path); err == nil {
			return nil
		}
	}
	os.Remove(temporary)
	return s.explain(err)
}

// vacuumInto lifts the ban on writing for a statement that writes another file.
func (s *Store) vacuumInto(ctx context.Context, path string) error {
	c, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer c.Close()
	var banned bool
	if err := c.QueryRowContext(ctx, "PRAGMA query_only").Scan(&banned); err != nil {
		return err
	}
	if banned {
		if _, err := c.ExecContext(ctx, "PRAGMA query_only = off"); err != nil {
			return err
		}
		defer c.ExecContext(context.WithoutCancel(ctx), "PRAGMA query_only = on")
	}
	_, err = c.ExecContext(ctx, "VACUUM INTO ?", path)
	return err
}

// State is what Check found.
type State struct {
	Runs, Devices, Nights int64
	First, Last           time.Time // of the runs; zero: none
	Bytes                 int64
	Problems              []string
}

// mostProblems bounds the list of a check.
const mostProblems = 100

// Check reads everything: SQLite's integrity_check and foreign_key_check, and
// whether each night's levels fit their layout.
func (s *Store) Check(ctx context.Context) (State, error) {
	var v State
	if info, err := os.Stat(s.path); err == nil {
		v.Bytes = info.Size()
	}
	say := func(format string, args ...any) {
		if len(v.Problems) < mostProblems {
			v.Problems = append(v.Problems, fmt.Sprintf(format, args...))
		}
	}
	for _, check := range []func(context.Context, func(string, ...any)) error{s.checkIntegrity, s.checkReferences, s.checkLevels} {
		// One that cannot go on says so, and the others may still find more.
		if err := check(ctx, say); err != nil {
			if ctx.Err() != nil {
				return v, s.explain(err)
			}
			say("%v", s.explain(err))
		}
	}
	var first, last int64
	for _, q := range []struct {
		query string
		to    *int64
	}{
		{"SELECT count(*) FROM run", &v.Runs}, {"SELECT count(*) FROM device", &v.Devices}, {"SELECT count(*) FROM night", &v.Nights},
		{"SELECT coalesce(min(started), 0) FROM run", &first}, {"SELECT coalesce(max(finished), 0) FROM run", &last},
	} {
		if err := s.db.QueryRowContext(ctx, q.query).Scan(q.to); err != nil && len(v.Problems) == 0 {
			return v, s.explain(err)
		}
	}
	v.First, v.Last = moment(first), moment(last)
	return v, nil
}

func (s *Store) checkIntegrity(ctx context.Context, say func(string, ...any)) error {
	rows, err := s.db.QueryContext(ctx, fmt.Sprintf("PRAGMA integrity_check(%d)", mostProblems))
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return err
		}
		if line != "ok" {
			say("%s", strings.Join(strings.Fields(line), " "))
		}
	}
	return rows.Err()
}

func (s *Store) checkReferences(ctx context.Context, say func(string, ...any)) error {
	rows, err := s.db.QueryContext(ctx, "PRAGMA foreign_key_check")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var table, parent string
		var row sql.NullInt64
		var key int
		if err := rows.Scan(&table, &row, &parent, &key); err != nil {
			return err
		}
		say("a row of table %s speaks of a row of table %s that is not there", table, parent)
	}
	return rows.Err()
}

func (s *Store) checkLevels(ctx context.Context, say func(string, ...any)) error {
	for _, table := range []string{"night", "detail"} {
		if err := s.checkTable(ctx, table, say); err != nil {
			return err
		}
	}
	return nil
}

func (s *Store) checkTable(ctx context.Context, table string, say func(string, ...any)) error {
	rows, err := s.db.QueryContext(ctx, "SELECT t.device, t.run, t.levels, l.id, l.slots FROM "+table+" t JOIN layout l ON l.id = t.layout ORDER BY t.device, t.run")
	if err != nil {
		return err
	}
	defer rows.Close()
	var slots []slot
	last := int64(-1)
	for rows.Next() {
		var of, run, layout int64
		var levels, text string
		if err := rows.Scan(&of, &run, &levels, &layout, &text); err != nil {
			return err
		}
		if layout != last {
			if slots, err = decodeSlots(text); err != nil {
				say("layout %d: %v", layout, err)
				last = -1
				continue
			}
			last = layout
		}
		if _, err := read(slots, levels); err != nil {
			say("table %s, device %d, run %d: %v", table, of, run, err)
		}
	}
	return rows.Err()
}
