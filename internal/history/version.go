package history

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"
)

//go:embed schema/*.sql
var schemaFiles embed.FS

// applicationID tells the file from other SQLite databases ("prnd").
const applicationID = 0x70726e64

// newest is the version of the schema that this program writes: that of the
// last file in the folder schema.
var newest = len(steps())

// steps returns the statements that lead from each version to the next.
func steps() []string {
	names, err := fs.Glob(schemaFiles, "schema/*.sql")
	if err != nil {
		panic(err) // the pattern is wrong
	}
	number := func(name string) int {
		n, _ := strconv.Atoi(strings.TrimSuffix(strings.TrimPrefix(name, "schema/"), ".sql"))
		return n
	}
	slices.SortFunc(names, func(a, b string) int { return number(a) - number(b) })
	out := make([]string, len(names))
	for i, name := range names {
		b, err := schemaFiles.ReadFile(name)
		if err != nil || number(name) != i+1 {
			panic(fmt.Sprintf("schema file %s: %v", name, err))
		}
		out[i] = string(b)
	}
	return out
}

// header reads what the file says of itself.
func (s *Store) header(ctx context.Context) (id, version, tables int, err error) {
	for _, q := range []struct {
		query string
		to    *int
	}{
		{"PRAGMA application_id", &id}, {"PRAGMA user_version", &version}, {"SELECT count(*) FROM sqlite_schema", &tables},
	} {
		if err := s.db.QueryRowContext(ctx, q.query).Scan(q.to); err != nil {
			return 0, 0, 0, err
		}
	}
	return id, version, tables, nil
}

// kind refuses databases of other programs and of newer versions. A file with
// nothing in it may become a history.
func (s *Store) kind(ctx context.Context) error {
	id, version, tables, err := s.header(ctx)
	switch {
	case err != nil:
		return err
	case id == 0 && version == 0 && tables == 0:
		return nil
	case id != applicationID:
		return ErrForeign
	case version > newest:
		return fmt.Errorf("%w: its version is %d, this program knows %d: use that printround", ErrNewer, version, newest)
	case version < 1:
		return fmt.Errorf("%w: its version is %d", ErrDamaged, version)
	}
	return nil
}

// version refuses what a program that only reads cannot read.
func (s *Store) version(ctx context.Context) error {
	if err := s.kind(ctx); err != nil {
		return err
	}
	_, version, _, err := s.header(ctx)
	switch {
	case err != nil:
		return err
	case version == 0:
		return &explained{fmt.Sprintf("history %s: nothing is in it yet: 'printround nightly' fills it", s.path), fs.ErrNotExist}
	case version < newest:
		return fmt.Errorf("its version is %d, this program reads %d: the next 'printround nightly' brings it forward", version, newest)
	}
	return nil
}

// migrate brings the file forward, each version in a transaction of its own:
// ended at any moment it is a whole older version.
func (s *Store) migrate(ctx context.Context) error {
	_, version, _, err := s.header(ctx)
	if err != nil {
		return err
	}
	for v, statements := range steps()[version:] {
		err := s.write(ctx, func(tx *sql.Tx) error {
			_, err := tx.ExecContext(ctx, statements+fmt.Sprintf(
				"\nPRAGMA application_id = %d;\nPRAGMA user_version = %d;", applicationID, version+v+1))
			return err
		})
		if err != nil {
			return fmt.Errorf("bringing it to version %d: %w", version+v+1, err)
		}
	}
	return nil
}

// write runs f in one transaction that holds the right to write from its
// beginning: all of it is kept, or nothing.
func (s *Store) write(ctx context.Context, f func(*sql.Tx) error) (err error) {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { // also when f panics
		if e := tx.Rollback(); err != nil && e != nil && e != sql.ErrTxDone {
			err = fmt.Errorf("%w; and undoing it: %w", err, e)
		}
	}()
	if err := f(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// quickCheck reads the whole file, without comparing indexes with tables.
func (s *Store) quickCheck(ctx context.Context) error {
	var said string
	if err := s.db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&said); err != nil {
		return err
	}
	if said != "ok" {
		return fmt.Errorf("%w: %s", ErrDamaged, strings.Join(strings.Fields(said), " "))
	}
	return nil
}
