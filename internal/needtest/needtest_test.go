package needtest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// verdict is a stand-in for a test that records how it ended.
type verdict struct{ skipped, failed string }

func (v *verdict) Helper() {}
func (v *verdict) Skipf(format string, args ...any) {
	v.skipped = fmt.Sprintf(format, args...)
	panic(v)
}
func (v *verdict) Fatalf(format string, args ...any) {
	v.failed = fmt.Sprintf(format, args...)
	panic(v)
}

func end(f func(T)) (v verdict) {
	defer func() {
		if p := recover(); p != nil && p != any(&v) {
			panic(p)
		}
	}()
	f(&v)
	return v
}

// What is missing is named; where everything is to be there it fails.
func TestMissing(t *testing.T) {
	asks := map[string]func(T){
		"the program no-such-program":  func(t T) { Program(t, "no-such-program") },
		"shared/standards/no-such.tsv": func(t T) { Shared(t, "standards", "no-such.tsv") },
		"multicast: not here":          func(t T) { Missing(t, "multicast: %s", "not here") },
	}
	for what, ask := range asks {
		t.Setenv("PRINTROUND_CI", "")
		if v := end(ask); !strings.Contains(filepath.ToSlash(v.skipped), what) || v.failed != "" {
			t.Errorf("%s: %+v", what, v)
		}
		t.Setenv("PRINTROUND_CI", "1")
		if v := end(ask); !strings.Contains(filepath.ToSlash(v.failed), what) || v.skipped != "" {
			t.Errorf("%s, everything supposed to be there: %+v", what, v)
		}
	}
}

func TestFound(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("PATH", dir)
	t.Setenv("PRINTROUND_SHARED", dir)
	for name, content := range map[string]string{"tool": "", "standards/table.tsv": "# note\na\tb\n\n1\t\r\n"} {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(content), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if got := Program(t, "tool"); got != filepath.Join(dir, "tool") {
		t.Errorf("program at %s", got)
	}
	if got, want := fmt.Sprintf("%q", Rows(t, "table.tsv")), `[["1" ""]]`; got != want {
		t.Errorf("rows %s, want %s", got, want)
	}
}

// A test that goes on without a table does so only where it may be missing.
func TestRowsOrNone(t *testing.T) {
	t.Setenv("PRINTROUND_SHARED", t.TempDir())
	t.Setenv("PRINTROUND_CI", "")
	v := end(func(t T) {
		if rows := RowsOrNone(t, "table.tsv"); rows != nil {
			t.Fatalf("rows %v", rows)
		}
	})
	if v.failed+v.skipped != "" {
		t.Errorf("%+v", v)
	}
	t.Setenv("PRINTROUND_CI", "1")
	if v := end(func(t T) { RowsOrNone(t, "table.tsv") }); v.failed == "" {
		t.Error("went on where everything is supposed to be there")
	}
}

// Without a variable the folder lies beside the module.
func TestBesideTheModule(t *testing.T) {
	t.Setenv("PRINTROUND_SHARED", "")
	t.Setenv("PRINTROUND_CI", "")
	top := module()
	if _, err := os.Stat(filepath.Join(top, "internal", "needtest", "needtest_test.go")); err != nil {
		t.Errorf("module at %s: %v", top, err)
	}
}
