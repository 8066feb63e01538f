package term

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"printround/internal/needtest"
	"runtime"
	"strings"
	"syscall"
	"testing"
)

func content(s string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
}

// only fails when a folder holds other files than these: a temporary file was
// left behind.
func only(t *testing.T, folder string, want ...string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("folder holds %v, want %v", got, want)
	}
}

func holds(t *testing.T, path, want string) {
	t.Helper()
	got, err := os.ReadFile(path)
	if err != nil || string(got) != want {
		t.Errorf("%s holds %q (%v), want %q", filepath.Base(path), got, err, want)
	}
}

func TestWriteFile(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "out.csv")
	if err := WriteFile(path, 0o640, content("one")); err != nil {
		t.Fatal(err)
	}
	holds(t, path, "one")
	if runtime.GOOS != "windows" {
		if info, _ := os.Stat(path); info.Mode().Perm()&^0o640 != 0 {
			t.Errorf("mode %v", info.Mode())
		}
		if err := os.Chmod(path, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := WriteFile(path, 0o666, content("two")); err != nil {
		t.Fatal(err)
	}
	holds(t, path, "two")
	if info, _ := os.Stat(path); runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("mode changed to %v", info.Mode())
	}
	only(t, folder, "out.csv")
}

// TestWriteFileKeepsTheOld: an error half-way leaves what was there.
func TestWriteFileKeepsTheOld(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "out.csv")
	if err := WriteFile(path, 0o600, content("old")); err != nil {
		t.Fatal(err)
	}
	cause := errors.New("half-way")
	half := func(w io.Writer) error {
		_, _ = io.WriteString(w, strings.Repeat("x", 1<<20))
		return cause
	}
	if err := WriteFile(path, 0o600, half); !errors.Is(err, cause) {
		t.Errorf("got %v", err)
	}
	func() {
		defer func() { _ = recover() }()
		_ = WriteFile(path, 0o600, func(io.Writer) error { panic("in the middle") })
	}()
	holds(t, path, "old")
	only(t, folder, "out.csv")
}

func TestWriteFileErrors(t *testing.T) {
	folder := t.TempDir()
	for name, c := range map[string]struct {
		path, want string
		kind       error
	}{
		"no folder":   {filepath.Join(folder, "missing", "out.csv"), "the folder does not exist", fs.ErrNotExist},
		"is a folder": {folder, "is a folder, give a file name", nil},
	} {
		err := WriteFile(c.path, 0o600, content("x"))
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "writing "+c.path+": ") || strings.Contains(err.Error(), ".tmp") {
			t.Errorf("%s: %v", name, err)
		}
		if c.kind != nil && !errors.Is(err, c.kind) {
			t.Errorf("%s: the cause is lost: %v", name, err)
		}
	}
	only(t, folder)
}

// TestWriteFileReasons: the causes that a user can do something about are
// explained. They are made here, so that the test needs no full disk.
func TestWriteFileReasons(t *testing.T) {
	for cause, want := range map[error]string{
		syscall.ENOSPC:   "free some space",
		fs.ErrPermission: "not writable",
		syscall.EROFS:    "not writable",
		io.ErrShortWrite: "short write",
		io.ErrClosedPipe: "closed pipe",
		fs.ErrNotExist:   "create it first",
		syscall.ENOTDIR:  "not a directory",
	} {
		err := explain("out.csv", &fs.PathError{Op: "write", Path: "/somewhere/.out.csv.1234.tmp", Err: cause})
		if !strings.Contains(err.Error(), want) || !errors.Is(err, cause) || strings.Contains(err.Error(), "tmp") {
			t.Errorf("%v: %v", cause, err)
		}
	}
}

func TestWriteFileFollowsLinks(t *testing.T) {
	folder := t.TempDir()
	target, link := filepath.Join(folder, "a-target"), filepath.Join(folder, "b-link")
	if err := WriteFile(target, 0o600, content("old")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("a-target", link); err != nil {
		needtest.Missing(t, "symbolic links: %v", err)
	}
	if err := WriteFile(link, 0o600, content("new")); err != nil {
		t.Fatal(err)
	}
	holds(t, target, "new")
	if info, err := os.Lstat(link); err != nil || info.Mode()&fs.ModeSymlink == 0 {
		t.Errorf("the link was replaced: %v", err)
	}
	only(t, folder, "a-target", "b-link")
}

func TestWriteFileLongName(t *testing.T) {
	folder := t.TempDir()
	name := strings.Repeat("n", 250)
	if err := WriteFile(filepath.Join(folder, name), 0o600, content("x")); err != nil {
		t.Fatal(err)
	}
	only(t, folder, name)
}

// What a program that is killed while it writes leaves behind is known by its
// name.
func TestHalfWritten(t *testing.T) {
	f, err := createBeside(filepath.Join(t.TempDir(), "latest-survey.json"), 0o600)
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
	for name, want := range map[string]string{
		filepath.Base(f.Name()): "latest-survey.json", ".a b.0123abcd.tmp": "a b",
		"latest-survey.json": "", ".latest.tmp": "", ".latest.0123abc.tmp": "", "latest.0123abcd.tmp": "", ".latest.0123abcd.tmp2": "",
	} {
		if of, ok := HalfWritten(name); of != want || ok != (want != "") {
			t.Errorf("%s: %q, %v, want %q", name, of, ok, want)
		}
	}
}

// TestWriteFileToDevice: /dev/null stays what it is.
func TestWriteFileToDevice(t *testing.T) {
	if runtime.GOOS == "windows" {
		needtest.Missing(t, "/dev/null")
	}
	if err := WriteFile(os.DevNull, 0o600, content("x")); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(os.DevNull); err != nil || info.Mode()&fs.ModeDevice == 0 {
		t.Error("the device was replaced")
	}
}

func TestWriteFileFullDisk(t *testing.T) {
	if _, err := os.Stat("/dev/full"); err != nil {
		needtest.Missing(t, "/dev/full, which is always full")
	}
	err := WriteFile("/dev/full", 0o600, content("x"))
	if !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "the disk is full") {
		t.Errorf("got %v", err)
	}
}

func TestWriteFileReadOnlyFolder(t *testing.T) {
	folder := t.TempDir()
	if err := os.Chmod(folder, 0o500); err != nil {
		t.Fatal(err)
	}
	err := asOrdinary(t, folder, func() error { return WriteFile(filepath.Join(folder, "out.csv"), 0o600, content("x")) })
	if !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), "not writable") {
		t.Errorf("got %v", err)
	}
	only(t, folder)
}
