package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// testApp is an app whose output goes to files; shown returns what standard
// output and standard error hold.
func testApp(t *testing.T) (a *app, shown func() (stdout, stderr string)) {
	t.Helper()
	open := func(name string) *os.File {
		f, err := os.Create(filepath.Join(t.TempDir(), name))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return f
	}
	in, out, errs := open("in"), open("out"), open("err")
	a = &app{
		stdin: in, stdout: out, stderr: errs,
		now:       func() time.Time { return time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC) },
		lookupEnv: func(string) (string, bool) { return "", false },
	}
	read := func(f *os.File) string {
		b, err := os.ReadFile(f.Name())
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	return a, func() (string, string) { return read(out), read(errs) }
}

func TestRunStatuses(t *testing.T) {
	tests := []struct {
		args   []string
		status int
		stderr string
	}{
		{[]string{"version"}, exitDone, ""},
		{[]string{"nonsense"}, exitUsage, "printround: there is no command \"nonsense\"\nprintround: see 'printround --help'\n"},
		{[]string{"check"}, exitUsage, "printround: check needs one device: an address, host name, name, serial number or key\nprintround: see 'printround check --help'\n"},
		{[]string{"sweep", "--site", "none.toml"}, exitFailed, "printround: site file none.toml: "},
		{[]string{"\x1b[31mred"}, exitUsage, `printround: there is no command "\x1b[31mred"`},
	}
	for _, tt := range tests {
		t.Run(strings.Join(tt.args, " "), func(t *testing.T) {
			a, shown := testApp(t)
			if got := a.run(context.Background(), tt.args); got != tt.status {
				t.Errorf("status %d, want %d", got, tt.status)
			}
			_, stderr := shown()
			if !strings.HasPrefix(stderr, tt.stderr) || tt.stderr == "" && stderr != "" {
				t.Errorf("standard error %q, want %q", stderr, tt.stderr)
			}
		})
	}
}

func TestCrashedShowsNoValue(t *testing.T) {
	tests := []struct {
		name      string
		value     any
		has, hide string
	}{
		{"text", "community hush-hush", "a string", "hush"},
		{"error", fmt.Errorf("passphrase %s", "hush-hush"), "a *fmt.wrapError", "hush"},
	}
	tests[1].has = fmt.Sprintf("a %T", tests[1].value)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			a, shown := testApp(t)
			status := func() (status int) {
				defer func() { status = a.crashed(recover()) }()
				panic(tt.value)
			}()
			if status != exitFailed {
				t.Errorf("status %d, want %d", status, exitFailed)
			}
			_, stderr := shown()
			if !strings.Contains(stderr, tt.has) || strings.Contains(stderr, tt.hide) {
				t.Errorf("standard error: %s", stderr)
			}
		})
	}

}

func TestCrashedShowsThePlace(t *testing.T) {
	outOfRange := func() {
		var list []int
		_ = list[len(os.Args)+3]
	}
	other := func() {
		var crash *relayed
		done := make(chan struct{})
		go func() {
			defer close(done)
			defer relay(&crash)
			outOfRange()
		}()
		<-done
		if crash == nil {
			t.Fatal("the panic was not caught")
		}
		panic(crash)
	}
	for name, fails := range map[string]func(){"here": outOfRange, "in another goroutine": other} {
		t.Run(name, func(t *testing.T) {
			a, shown := testApp(t)
			func() {
				defer func() { a.crashed(recover()) }()
				fails()
			}()
			_, stderr := shown()
			if !strings.Contains(stderr, "index out of range") || !strings.Contains(stderr, "TestCrashedShowsThePlace.func1") {
				t.Errorf("a runtime error without its text or its place: %s", stderr)
			}
		})
	}
}

func TestWriteKeepsTheOldFile(t *testing.T) {
	a, _ := testApp(t)
	path := filepath.Join(t.TempDir(), "monday.json")
	if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	err := a.write(path, func(w io.Writer) error {
		_, _ = io.WriteString(w, strings.Repeat("new ", 100_000))
		return broken
	})
	if !errors.Is(err, broken) {
		t.Errorf("got %v, want the error of the writer", err)
	}
	if b, _ := os.ReadFile(path); string(b) != "old" {
		t.Errorf("the file holds %d bytes, want the old content", len(b))
	}
	left, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(left) != 1 {
		t.Errorf("%d files are left beside it (%v), want none", len(left)-1, err)
	}
	if err := a.write(path, func(w io.Writer) error { _, err := io.WriteString(w, "new"); return err }); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(path); string(b) != "new" {
		t.Errorf("the file holds %q, want the new content", b)
	}
}

func TestToolVersion(t *testing.T) {
	if v := toolVersion(); v == "" {
		t.Error("no version")
	}
	version = "1.2.3"
	defer func() { version = "" }()
	if v := toolVersion(); v != "1.2.3" {
		t.Errorf("got %q, want the one set at link time", v)
	}
}

func TestAnswer(t *testing.T) {
	tests := []struct {
		typed string
		want  bool
	}{{"y\n", true}, {" YES \r\n", true}, {"n\n", false}, {"\n", false}, {"", false}, {"yes please\n", false}}
	for _, tt := range tests {
		got, err := answer(context.Background(), strings.NewReader(tt.typed))
		if err != nil || got != tt.want {
			t.Errorf("%q: got %v, %v; want %v", tt.typed, got, err, tt.want)
		}
	}
	r, w := io.Pipe()
	defer w.Close()
	ctx, cancel := context.WithCancelCause(context.Background())
	cancel(errInterrupted)
	if _, err := answer(ctx, r); !errors.Is(err, errInterrupted) {
		t.Errorf("interrupted while asking: got %v", err)
	}
}
