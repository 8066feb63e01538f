package history

import (
	"context"
	"database/sql"
	"net/netip"
	"slices"
	"time"

	"printround/internal/device"
)

// Known is a device that the history knows. Texts are those of the last night
// that had them.
type Known struct {
	Key        string
	Aliases    []string // strong ones, as they were learnt
	Site       device.Text
	Name       device.Text
	Location   device.Text
	MakeModel  device.Text
	Serial     device.Text
	Hostname   device.Text
	Technology device.Text
	Addresses  []netip.Addr // where it last answered
	Sole       bool
	FirstSeen  time.Time // the first answer; zero: it never answered
	LastSeen   time.Time // the last answer; zero: it never answered
	Misses     int       // runs in a row without an answer, up to the last run
	Superseded bool      // known by its address only, and another device answers there now
}

// Device returns what a later survey can know the device by.
func (k *Known) Device() device.Device {
	d := device.Device{
		Key: k.Key, Aliases: slices.Clone(k.Aliases), Role: device.RolePrinter, Site: k.Site, Name: k.Name, Location: k.Location,
		MakeModel: k.MakeModel, Serial: k.Serial, Hostname: k.Hostname, Technology: k.Technology, Addresses: k.Addresses, Sole: k.Sole,
	}
	for _, a := range k.Addresses {
		d.Aliases = append(d.Aliases, "addr:"+a.String())
	}
	return d
}

const knownColumns = `id, key, coalesce(site, ''), coalesce(name, ''), coalesce(location, ''), coalesce(make_model, ''),
	coalesce(serial, ''), coalesce(hostname, ''), coalesce(technology, ''), addresses, sole,
	coalesce(first_seen, 0), coalesce(last_seen, 0), misses, superseded_by IS NOT NULL`

// Devices returns all devices by site, location and key.
func (s *Store) Devices(ctx context.Context) ([]Known, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT "+knownColumns+" FROM device ORDER BY site, location, key")
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Known
	place := map[int64]int{}
	for rows.Next() {
		id, k, err := scanKnown(rows)
		if err != nil {
			return nil, s.explain(err)
		}
		place[id] = len(out)
		out = append(out, k)
	}
	if err := rows.Err(); err != nil {
		return nil, s.explain(err)
	}
	return out, s.explain(addAliases(ctx, s.db, out, place))
}

func scanKnown(rows *sql.Rows) (id int64, k Known, err error) {
	var list string
	var first, last int64
	err = rows.Scan(&id, &k.Key, &k.Site, &k.Name, &k.Location, &k.MakeModel, &k.Serial, &k.Hostname, &k.Technology,
		&list, &k.Sole, &first, &last, &k.Misses, &k.Superseded)
	k.Addresses, k.FirstSeen, k.LastSeen = parseAddresses(list), moment(first), moment(last)
	return id, k, err
}

func addAliases(ctx context.Context, q querier, devices []Known, place map[int64]int) error {
	rows, err := q.QueryContext(ctx, "SELECT device, alias FROM alias ORDER BY device, first_seen, alias")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var alias string
		if err := rows.Scan(&id, &alias); err != nil {
			return err
		}
		if n, ok := place[id]; ok {
			devices[n].Aliases = append(devices[n].Aliases, alias)
		}
	}
	return rows.Err()
}

// lookup returns the number of a device by its key or any strong alias.
func (s *Store) lookup(ctx context.Context, key string) (int64, error) {
	var id int64
	err := s.db.QueryRowContext(ctx, `SELECT id FROM device WHERE key = ?1
		UNION ALL SELECT device FROM alias WHERE alias = ?1 LIMIT 1`, key).Scan(&id)
	if err == sql.ErrNoRows {
		return 0, ErrUnknown
	}
	return id, err
}
