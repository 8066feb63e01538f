package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/needtest"
)

// filled makes a history of some nights and closes it.
func filled(t testing.TB, devices, count int) string {
	t.Helper()
	s, path := create(t)
	for n := range count {
		record(t, s, office(devices, n))
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// wants opens the file and wants an error of a kind, in one line that names the
// file and says something.
func wants(t *testing.T, path string, o Options, kind error, words ...string) {
	t.Helper()
	s, err := Open(path, o)
	if err == nil {
		s.Close()
		t.Fatalf("opened, want %v", kind)
	}
	if !errors.Is(err, kind) {
		t.Errorf("error %v is no %v", err, kind)
	}
	said := err.Error()
	for _, w := range append([]string{path}, words...) {
		if !strings.Contains(said, w) {
			t.Errorf("%q does not say %q", said, w)
		}
	}
	if strings.Contains(said, "\n") {
		t.Errorf("%q is more than one line", said)
	}
}

func execute(t *testing.T, path string, statements ...string) {
	t.Helper()
	db := open(path)
	defer db.Close()
	for _, q := range statements {
		if _, err := db.Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

func TestOtherFilesAreRefused(t *testing.T) {
	ways := map[string]Options{"writing": {}, "reading": {ReadOnly: true}}
	for way, o := range ways {
		t.Run(way, func(t *testing.T) {
			dir := t.TempDir()
			text := filepath.Join(dir, "text.db")
			if err := os.WriteFile(text, []byte(strings.Repeat("This is no database. ", 400)), 0o600); err != nil {
				t.Fatal(err)
			}
			wants(t, text, o, ErrForeign, "no database")

			foreign := filepath.Join(dir, "foreign.db")
			execute(t, foreign, "CREATE TABLE things (a)")
			wants(t, foreign, o, ErrForeign, "another program")

			newer := filled(t, 1, 1)
			execute(t, newer, "PRAGMA user_version = 99")
			before, err := os.ReadFile(newer)
			if err != nil {
				t.Fatal(err)
			}
			wants(t, newer, o, ErrNewer, "99", "newer printround")
			after, err := os.ReadFile(newer)
			if err != nil || !slices.Equal(before, after) {
				t.Errorf("the newer file was changed: %v", err)
			}
		})
	}
	wants(t, filepath.Join(t.TempDir(), "none.db"), Options{ReadOnly: true}, fs.ErrNotExist, "printround nightly")
	empty := filepath.Join(t.TempDir(), "empty.db")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	wants(t, empty, Options{ReadOnly: true}, fs.ErrNotExist, "nothing is in it yet")
	if _, err := Open(filepath.Join(t.TempDir(), "no", "folder.db"), Options{}); err == nil || !strings.Contains(err.Error(), "create it first") {
		t.Errorf("no folder: %v", err)
	}
	if _, err := Open(t.TempDir(), Options{}); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("a folder: %v", err)
	}
}

// Each page in turn is overwritten: the file opens and every night is right,
// or damage is reported. It never panics, and nothing is made up.
func TestDamagedPages(t *testing.T) {
	whole := filled(t, 3, 20)
	content, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096
	reported := 0
	for at := 0; at < len(content); at += page {
		path := filepath.Join(t.TempDir(), "damaged.db")
		bad := slices.Clone(content)
		for i := at; i < min(at+page, len(bad)); i++ {
			bad[i] ^= 0xa5
		}
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := Open(path, Options{})
		if err == nil {
			var v State
			v, err = s.Check(context.Background())
			if err == nil && len(v.Problems) > 0 {
				err = fmt.Errorf("%w: %s", ErrDamaged, v.Problems[0])
			}
			s.Close()
		}
		switch {
		case err == nil: // a page that nothing uses
		case errors.Is(err, ErrDamaged), errors.Is(err, ErrForeign):
			reported++
		default:
			t.Errorf("page %d: %v", at/page, err)
		}
	}
	if pages := len(content) / page; reported < pages-3 {
		t.Errorf("damage of %d pages of %d was reported", reported, pages)
	}
}

func TestTruncatedFile(t *testing.T) {
	path := filled(t, 3, 20)
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, info.Size()/2/4096*4096); err != nil {
		t.Fatal(err)
	}
	wants(t, path, Options{}, ErrDamaged, "put the last copy of it back")
}

// Levels that do not fit their layout are damage that SQLite cannot see.
func TestDamagedLevels(t *testing.T) {
	path := filled(t, 1, 3)
	execute(t, path, "UPDATE night SET levels = '[1,2' WHERE run = 2")
	s := reopen(t, path)
	v, err := s.Check(context.Background())
	if err != nil || len(v.Problems) != 1 || !strings.Contains(v.Problems[0], "run 2") {
		t.Errorf("%v %v", v.Problems, err)
	}
	if _, err := s.Readings(context.Background(), printer(0).Key, time.Time{}, time.Time{}); !errors.Is(err, ErrDamaged) {
		t.Errorf("reading: %v", err)
	}
}

func TestTwoWritersAtOnce(t *testing.T) {
	s, path := create(t)
	wants(t, path, Options{}, ErrBusy, "another run")
	record(t, s, survey(night(0), printer(1)))
	r, err := Open(path, Options{ReadOnly: true})
	if err != nil {
		t.Fatalf("a reader beside a writer: %v", err)
	}
	defer r.Close()
	if got := nights(t, r, printer(1).Key); len(got) != 1 {
		t.Errorf("%d nights", len(got))
	}
	record(t, s, survey(night(1), printer(1)))
	if got := nights(t, r, printer(1).Key); len(got) != 2 {
		t.Errorf("%d nights after the second", len(got))
	}
	if _, err := r.Record(context.Background(), survey(night(2), printer(1)), RunInfo{}); err == nil {
		t.Error("a history opened for reading was written")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Open(path, Options{})
	if err != nil {
		t.Fatalf("the lock was not given back: %v", err)
	}
	again.Close()
}

// Nobody but a writer needs to be able to write.
func TestReadingWithoutTheRightToWrite(t *testing.T) {
	if runtime.GOOS == "windows" {
		needtest.Missing(t, "the permissions of Unix for folders")
	}
	path := filled(t, 2, 3)
	dir := filepath.Dir(path)
	// Root can write everywhere: then only that reading works is shown.
	if err := os.Chmod(path, 0o400); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o500); err != nil {
		t.Fatal(err)
	}
	defer os.Chmod(dir, 0o700)
	s, err := Open(path, Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got := nights(t, s, printer(1).Key); len(got) != 3 {
		t.Errorf("%d nights", len(got))
	}
}

// Reading leaves nothing beside the file.
func TestReadingTidiesUp(t *testing.T) {
	path := filled(t, 2, 3)
	s, err := Open(path, Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	if got := nights(t, s, printer(1).Key); len(got) != 3 {
		t.Errorf("%d nights", len(got))
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for _, suffix := range []string{"-wal", "-shm"} {
		if exists(path + suffix) {
			t.Errorf("%s is left", suffix)
		}
	}
}

// A transaction that runs out of room leaves the nights before it, and the next
// one goes through when there is room again.
func TestNoRoomLeft(t *testing.T) {
	s, path := create(t)
	record(t, s, office(3, 0))
	var pages int
	if err := s.db.QueryRow("PRAGMA page_count").Scan(&pages); err != nil {
		t.Fatal(err)
	}
	s.db.SetMaxOpenConns(1) // the limit is one of the connection
	if _, err := s.db.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", pages+2)); err != nil {
		t.Fatal(err)
	}
	var err error
	for n := 1; n < 50 && err == nil; n++ {
		_, err = s.Record(context.Background(), office(30, n), RunInfo{})
	}
	if !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "free some space") {
		t.Fatalf("error %v", err)
	}
	before := nights(t, s, printer(1).Key)
	if len(before) < 1 {
		t.Error("the night before is gone")
	}
	sound(t, s)
	if _, err := s.db.Exec("PRAGMA max_page_count = 1000000"); err != nil {
		t.Fatal(err)
	}
	record(t, s, office(30, 60))
	if got := nights(t, s, printer(1).Key); len(got) != len(before)+1 {
		t.Errorf("%d nights, want one more than %d", len(got), len(before))
	}
}

// The same on a disk that is full: the write-ahead log cannot grow.
func TestFullDisk(t *testing.T) {
	if runtime.GOOS != "linux" || os.Geteuid() != 0 {
		needtest.Missing(t, "the superuser of Linux, who may mount a small file system")
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", dir).CombinedOutput(); err != nil {
		needtest.Missing(t, "a small file system: %v %s", err, out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("%v %s", err, out)
		}
	})
	path := filepath.Join(dir, "history.db")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	kept := 0
	for n := 0; n < 200 && err == nil; n++ {
		if _, err = s.Record(context.Background(), office(20, n), RunInfo{}); err == nil {
			kept++
		}
	}
	if !errors.Is(err, ErrFull) {
		t.Fatalf("error %v", err)
	}
	if kept == 0 {
		t.Fatal("not even one night fitted")
	}
	if err := s.Close(); err != nil && !errors.Is(err, ErrFull) {
		t.Error(err)
	}
	r, err := Open(path, Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	if got := nights(t, r, printer(1).Key); len(got) != kept {
		t.Errorf("%d nights, want %d", len(got), kept)
	}
	sound(t, r)
	if err := r.Close(); err != nil {
		t.Error(err)
	}
}

// sound holds SQLite's own checks and ours.
func sound(t testing.TB, s *Store) {
	t.Helper()
	v, err := s.Check(context.Background())
	if err != nil || len(v.Problems) > 0 {
		t.Errorf("the history is not sound: %v %v", v.Problems, err)
	}
}

// A file of version 0 becomes one of the newest version, and an interrupted
// migration is none.
func TestMigrationsAreWholeOrNot(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := reopen(t, path)
	var id, version int
	for q, to := range map[string]*int{"PRAGMA application_id": &id, "PRAGMA user_version": &version} {
		if err := s.db.QueryRow(q).Scan(to); err != nil {
			t.Fatal(err)
		}
	}
	if id != applicationID || version != newest {
		t.Errorf("application id %#x, version %d", id, version)
	}
	err := s.write(context.Background(), func(tx *sql.Tx) error {
		if _, err := tx.Exec("CREATE TABLE later (a); PRAGMA user_version = 99"); err != nil {
			return err
		}
		return errors.New("interrupted")
	})
	if err == nil || err.Error() != "interrupted" {
		t.Fatal(err)
	}
	if err := s.kind(context.Background()); err != nil {
		t.Errorf("the version went forward without its tables: %v", err)
	}
}

// SQLite's command line tool is the second reader: what it says of the file,
// and of its numbers.
func TestSecondReader(t *testing.T) {
	tool := needtest.Program(t, "sqlite3")
	path := filled(t, 5, 10)
	for _, c := range []struct{ query, want string }{
		{"PRAGMA integrity_check", "ok"},
		{"PRAGMA foreign_key_check", ""},
		{"SELECT count(*) FROM night", "50"},
		{"SELECT sum(json_extract(levels, '$[0]')) FROM night n JOIN device d ON d.id = n.device WHERE d.key = '" + printer(2).Key + "'", fmt.Sprint(10*30000 - 70*45)},
		{"SELECT count(*) FROM night n, json_each(n.levels)", fmt.Sprint(50 * 12)},
		{"SELECT count(*) FROM detail t, json_each(t.levels)", fmt.Sprint(50 * (12 + 12 + 16 + 3 + 4))},
	} {
		out, err := exec.Command(tool, "-readonly", path, c.query).CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != c.want {
			t.Errorf("%s: %q %v, want %q", c.query, got, err, c.want)
		}
	}
}

func TestPrune(t *testing.T) {
	s, _ := create(t)
	ctx := context.Background()
	jam := printer(1)
	jam.Findings = []device.Finding{finding("media-jam", device.ImpactStopped, "mediaPath", 1)}
	open := printer(3)
	open.Findings = []device.Finding{finding("cover-open", device.ImpactStopped, "cover", 1)}
	record(t, s, survey(night(0), jam, printer(2), open))
	record(t, s, survey(night(1), printer(1), open))
	for n := 2; n < 10; n++ {
		record(t, s, survey(night(n), printer(1), open))
	}
	p, err := s.Older(ctx, night(5).Add(-time.Hour))
	if err != nil || p != (Pruned{Runs: 5, Nights: 11, Devices: 1}) {
		t.Fatalf("%+v %v", p, err)
	}
	p, err = s.Prune(ctx, night(5).Add(-time.Hour))
	if err != nil || p != (Pruned{Runs: 5, Nights: 11, Devices: 1}) {
		t.Fatalf("%+v %v", p, err)
	}
	sound(t, s)
	if got := nights(t, s, printer(1).Key); len(got) != 5 || !got[0].At.Equal(night(5)) {
		t.Errorf("%d nights from %v", len(got), got[0].At)
	}
	if _, known := devices(t, s)[printer(2).Key]; known {
		t.Error("a device without a night is still known")
	}
	if f, err := s.Findings(ctx, printer(1).Key); err != nil || len(f) != 0 {
		t.Errorf("an old finding is still there: %v %v", f, err)
	}
	if f, err := s.Findings(ctx, printer(3).Key); err != nil || len(f) != 1 || !f[0].FirstSeen.Equal(night(0)) {
		t.Errorf("a finding that holds lost its beginning: %v %v", f, err)
	}
	// The last run stays, whatever its age.
	if _, err := s.Prune(ctx, night(500)); err != nil {
		t.Fatal(err)
	}
	sound(t, s)
	if got := nights(t, s, printer(1).Key); len(got) != 1 {
		t.Errorf("%d nights, want the last one", len(got))
	}
	if err := s.Compact(ctx); err != nil {
		t.Error(err)
	}
	record(t, s, survey(night(501), printer(1)))
	sound(t, s)
}

func TestCopy(t *testing.T) {
	path := filled(t, 3, 1)
	for way, o := range map[string]Options{"reading": {ReadOnly: true}, "writing": {}} {
		s, err := Open(path, o)
		if err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(filepath.Dir(path), way+".db")
		if err := s.CopyTo(context.Background(), to); err != nil {
			t.Fatal(err)
		}
		if err := s.CopyTo(context.Background(), to); err == nil || !strings.Contains(err.Error(), "exists already") {
			t.Errorf("over an existing file: %v", err)
		}
		if _, err := s.Record(context.Background(), survey(night(9), printer(1)), RunInfo{}); o.ReadOnly && err == nil {
			t.Error("after a copy a history opened for reading can be written")
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		c, err := Open(to, Options{ReadOnly: true})
		if err != nil {
			t.Fatal(err)
		}
		sound(t, c)
		if got := nights(t, c, printer(2).Key); len(got) != 1 {
			t.Errorf("%d nights", len(got))
		}
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
}
