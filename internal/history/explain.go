package history

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

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
	case sqlite3.SQLITE_CANTOPEN:
		if noMoreFiles() {
			return say(err, "this system lets the program open no more files; raise that limit (ulimit -n)")
		}
		return say(fs.ErrPermission, "the file or its folder cannot be read or written; check the permissions ("+e.Error()+")")
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return say(fs.ErrPermission, "the file or its folder cannot be read or written; check the permissions ("+e.Error()+")")
	case sqlite3.SQLITE_IOERR:
		return say(err, "the disk gave an error; check the disk ("+e.Error()+")")
	}
	return fmt.Errorf("history %s: %w", s.path, err)
}

const damaged = "; move it away and put the last copy of it back, or save what can be read with 'printround history export'"

// noMoreFiles reports whether the system refuses this program another file.
// SQLite tells that no other way than a file that may not be opened; it needs
// up to three at once: the file, its log and the log's index.
func noMoreFiles() bool {
	for range 3 {
		f, err := os.Open(os.DevNull)
		if err != nil {
			return errors.Is(err, syscall.EMFILE) || errors.Is(err, syscall.ENFILE)
		}
		defer f.Close()
	}
	return false
}
