package history

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// register is which device each key and strong alias belongs to.
type register struct {
	byKey   map[string]int64
	byAlias map[string]int64
	keys    map[int64]string
}

// querier is a database or a transaction.
type querier interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
	QueryRowContext(context.Context, string, ...any) *sql.Row
}

func loadRegister(ctx context.Context, q querier) (*register, error) {
	r := &register{byKey: map[string]int64{}, byAlias: map[string]int64{}, keys: map[int64]string{}}
	for _, load := range []struct {
		query string
		to    map[string]int64
	}{
		{"SELECT key, id FROM device", r.byKey},
		{"SELECT alias, device FROM alias", r.byAlias},
	} {
		rows, err := q.QueryContext(ctx, load.query)
		if err != nil {
			return nil, err
		}
		for rows.Next() {
			var name string
			var id int64
			if err := rows.Scan(&name, &id); err != nil {
				rows.Close()
				return nil, err
			}
			load.to[name] = id
		}
		if err := rows.Err(); err != nil {
			return nil, err
		}
	}
	for k, id := range r.byKey {
		r.keys[id] = k
	}
	return r, nil
}

// strong reports whether an alias outlives an address.
func strong(alias string) bool {
	return strings.HasPrefix(alias, "uuid:") || strings.HasPrefix(alias, "serial:") || strings.HasPrefix(alias, "mac:")
}

// names returns the strong names of a row, the key first.
func names(d *device.Device) []string {
	var out []string
	for _, a := range append([]string{d.Key}, d.Aliases...) {
		if strong(a) && !slices.Contains(out, a) {
			out = append(out, a)
		}
	}
	return out
}

// find returns the device that a row is: the one with its key, else the one
// that has most to do with its strong aliases, which are in the order of their
// worth. others are further devices that have some of the aliases.
func (r *register) find(d *device.Device) (id int64, ok bool, others []int64) {
	claim := func(other int64) {
		switch {
		case !ok:
			id, ok = other, true
		case other != id && !slices.Contains(others, other):
			others = append(others, other)
		}
	}
	if other, known := r.byKey[d.Key]; known {
		claim(other)
	}
	for _, a := range names(d) {
		if other, known := r.byAlias[a]; known {
			claim(other)
		}
	}
	return id, ok, others
}

// identify returns the number of the row's device, a new one if needed.
func (r *recorder) identify(d *device.Device) (int64, error) {
	id, ok, others := r.known.find(d)
	for _, other := range others {
		r.problem(d, fmt.Sprintf("answers as %s and as %s, known as two devices: kept as the first", r.known.keys[id], r.known.keys[other]))
	}
	if ok {
		return id, nil
	}
	key := d.Key
	if own := names(d); !strong(key) && len(own) > 0 {
		key = own[0]
	}
	res, err := r.result("INSERT INTO device (key, site, name, location, make_model, serial, addresses, sole) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
		key, text(d.Site), text(d.Name), text(d.Location), text(d.MakeModel), text(d.Serial), addresses(d.Addresses), d.Sole)
	if err != nil {
		return 0, err
	}
	if id, err = res.LastInsertId(); err != nil {
		return 0, err
	}
	r.known.byKey[key], r.known.keys[id] = id, key
	return id, nil
}

// keepAliases attaches the row's strong aliases to its device, unless they
// belong to another.
func (r *recorder) keepAliases(id int64, d *device.Device) error {
	at := r.observed(d)
	for _, a := range names(d) {
		owner, known := r.known.byAlias[a]
		if known && owner != id {
			continue // reported
		}
		if other, isKey := r.known.byKey[a]; isKey && other != id {
			continue
		}
		if err := r.exec(`INSERT INTO alias (alias, device, first_seen, last_seen) VALUES (?, ?, ?, ?)
			ON CONFLICT (alias) DO UPDATE SET last_seen = excluded.last_seen`, a, id, at, at); err != nil {
			return err
		}
		r.known.byAlias[a] = id
	}
	return nil
}

// supersede notes that a device known by nothing but an address is not missed
// when another has that address now.
func (r *recorder) supersede(id int64, d *device.Device) error {
	for _, a := range d.Addresses {
		other, known := r.known.byKey["addr:"+a.String()]
		if !known || other == id || r.done[other] {
			continue
		}
		if err := r.exec("UPDATE device SET superseded_by = ? WHERE id = ?", id, other); err != nil {
			return err
		}
	}
	return nil
}
