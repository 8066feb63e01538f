// Package history keeps what surveys found: one SQLite file, one transaction a
// run. It keeps levels and counters with their raw values, units and sources,
// and how long findings and alerts held. It never keeps names or owners of
// jobs.
package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/gofrs/flock"
	_ "modernc.org/sqlite" // the driver named "sqlite"
)

// Options say how a history is opened.
type Options struct {
	ReadOnly bool             // never create, migrate or lock; other processes may write meanwhile
	Now      func() time.Time // nil: time.Now
}

// Store is an open history. One that was opened for writing holds a lock
// beside the file, so that no two runs write at once.
type Store struct {
	path string
	db   *sql.DB
	lock *flock.Flock // nil: read only
	now  func() time.Time
}

// Errors that callers tell apart. What Open and the methods return says more.
var (
	ErrBusy    = errors.New("another run is using the history")
	ErrDamaged = errors.New("the history is damaged")
	ErrNewer   = errors.New("the history was written by a newer printround")
	ErrForeign = errors.New("not a history of printround")
	ErrFull    = errors.New("no space left")
	ErrUnknown = errors.New("the history does not know this device")
)

// busyTimeout is how long a statement waits for another process, such as one
// that prints a trend while a run is written.
const busyTimeout = 10 * time.Second

// Open opens the history at path. For writing it creates the file when there is
// none, takes the lock, brings an older version forward, and runs SQLite's
// quick_check over the whole file: it reads every page, about a second for each
// 300 MB, and a run comes once a night. A read-only history is checked for kind
// and version only; damage is reported where it is met.
func Open(path string, o Options) (*Store, error) {
	s := &Store{path: path, now: o.Now}
	if s.now == nil {
		s.now = time.Now
	}
	var err error
	if o.ReadOnly {
		err = s.openReadOnly()
	} else {
		err = s.openForWriting()
	}
	if err != nil {
		return nil, errors.Join(s.explain(err), s.Close())
	}
	return s, nil
}

func (s *Store) openReadOnly() error {
	if err := s.mustExist(); err != nil {
		return err
	}
	// The file is opened as for writing where that is allowed, so that the last
	// to close it tidies up what SQLite puts beside it; no statement may write.
	s.db = open(s.path, "mode=rw", "_pragma=query_only(on)")
	err := s.version(context.Background())
	if errors.Is(s.explain(err), fs.ErrPermission) && !beingWritten(s.path) {
		// The folder cannot be written, so SQLite cannot share the file with a
		// writer. Without a write-ahead log nobody is writing.
		s.db.Close()
		s.db = open(s.path, "immutable=1")
		err = s.version(context.Background())
	}
	return err
}

// beingWritten reports whether there is a write-ahead log with something in it.
func beingWritten(path string) bool {
	info, err := os.Stat(path + "-wal")
	return err == nil && info.Size() > 0
}

func (s *Store) mustExist() error {
	info, err := os.Stat(s.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &explained{fmt.Sprintf("history %s: there is no such file yet: 'printround nightly' makes it", s.path), fs.ErrNotExist}
	case err != nil:
		return err
	case info.IsDir():
		return errors.New("is a folder, give a file name")
	}
	return nil
}

func (s *Store) openForWriting() error {
	if err := s.mustExist(); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if folder := filepath.Dir(s.path); !exists(folder) {
		return fmt.Errorf("there is no folder %s: create it first", folder)
	}
	s.lock = flock.New(s.path + ".lock")
	switch got, err := s.lock.TryLock(); {
	case err != nil:
		s.lock = nil
		return fmt.Errorf("the lock beside it: %w", err)
	case !got:
		s.lock = nil
		return fmt.Errorf("%w: try again when it has finished", ErrBusy)
	}
	ctx := context.Background()
	s.db = open(s.path, "mode=rwc", "_pragma=synchronous(full)", "_txlock=immediate")
	if err := s.kind(ctx); err != nil {
		return err
	}
	if _, err := s.db.ExecContext(ctx, "PRAGMA journal_mode = wal"); err != nil {
		return err
	}
	if err := s.migrate(ctx); err != nil {
		return err
	}
	return s.quickCheck(ctx)
}

// open makes a pool of connections to the file. The path goes into a URI
// (RFC 3986), where three characters would end it.
func open(path string, parameters ...string) *sql.DB {
	escaped := strings.NewReplacer("%", "%25", "?", "%3f", "#", "%23").Replace(filepath.ToSlash(path))
	if filepath.IsAbs(path) && !strings.HasPrefix(escaped, "/") {
		escaped = "/" + escaped // a drive letter
	}
	parameters = append([]string{
		fmt.Sprintf("_pragma=busy_timeout(%d)", busyTimeout.Milliseconds()),
		"_pragma=foreign_keys(on)", "_pragma=trusted_schema(off)", "_pragma=cell_size_check(on)",
		"_pragma=cache_size(-16000)", // KiB
	}, parameters...)
	db, err := sql.Open("sqlite", "file:"+escaped+"?"+strings.Join(parameters, "&"))
	if err != nil {
		panic(err) // the driver's name is wrong
	}
	db.SetMaxOpenConns(4)
	return db
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// Path is the file.
func (s *Store) Path() string { return s.path }

// Close closes the file and gives the lock back.
func (s *Store) Close() error {
	var errs []error
	if s.db != nil {
		errs = append(errs, s.explain(s.db.Close()))
	}
	if s.lock != nil {
		errs = append(errs, s.lock.Unlock())
	}
	s.db, s.lock = nil, nil
	return errors.Join(errs...)
}
