package history

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// explained is an error in words that say what to do.
type explained struct {
	message string
	kind    error
}

func (e *explained) Error() string { return e.message }
func (e *explained) Unwrap() error { return e.kind }

// explain names the file and, where SQLite gave a code, what it means for the
// reader.
func (s *Store) explain(err error) error {
	var told *explained
	switch {
	case err == nil, errors.As(err, &told):
		return err
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return fmt.Errorf("history %s: %w", s.path, err)
	}
	say := func(kind error, text string) error {
		return &explained{fmt.Sprintf("history %s: %s", s.path, text), kind}
	}
	var e *sqlite.Error
	if !errors.As(err, &e) {
		switch {
		case errors.Is(err, ErrDamaged):
			return say(ErrDamaged, err.Error()+damaged)
		case errors.Is(err, ErrForeign):
			return say(ErrForeign, "this is a database of another program; give another file")
		}
		return fmt.Errorf("history %s: %w", s.path, err)
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_CORRUPT:
		return say(ErrDamaged, ErrDamaged.Error()+": "+e.Error()+damaged)
	case sqlite3.SQLITE_NOTADB:
		return say(ErrForeign, "this is no database, or its beginning is damaged; give another file, or put the last copy of it back")
	case sqlite3.SQLITE_FULL:
		return say(ErrFull, "no space left on the disk; free some space and run again: the nights that are in it are kept")
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return say(ErrBusy, "another program holds it for longer than "+busyTimeout.String()+"; try again later")
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN:
		return say(fs.ErrPermission, "the file or its folder cannot be read or written; check the permissions ("+e.Error()+")")
	case sqlite3.SQLITE_IOERR:
		return say(err, "the disk gave an error; check the disk ("+e.Error()+")")
	}
	return fmt.Errorf("history %s: %w", s.path, err)
}

const damaged = "; move it away and put the last copy of it back, or save what can be read with 'printround history export'"
