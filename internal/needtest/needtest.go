// Package needtest is for tests that need what a machine may lack: a program, a
// facility of the system, the recordings beside the module. Without it a test
// skips and names it. With PRINTROUND_CI set everything is supposed to be there,
// and the test fails instead. It is for tests only.
package needtest

import (
	"os"
	"path/filepath"
	"strings"
)

// T is a test or benchmark: testing.TB, or what stands in for it.
type T interface {
	Helper()
	Skipf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// Missing ends a test for want of something. The text names what is missing,
// and says what the want means where that is not plain.
func Missing(t T, format string, args ...any) {
	t.Helper()
	if os.Getenv("PRINTROUND_CI") != "" {
		t.Fatalf("missing, though everything is to be there: "+format, args...)
	}
	t.Skipf("missing: "+format, args...)
}

// Program finds a program, also where only the superuser has it in the path.
func Program(t T, name string) string {
	t.Helper()
	for _, dir := range append(filepath.SplitList(os.Getenv("PATH")), "/usr/local/sbin", "/usr/sbin", "/sbin") {
		p := filepath.Join(dir, name)
		if info, err := os.Stat(p); err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0 {
			return p
		}
	}
	Missing(t, "the program %s", name)
	return ""
}

// Shared returns a path in the folder of recordings and published tables, which
// lies beside the module or where PRINTROUND_SHARED says.
func Shared(t T, elem ...string) string {
	t.Helper()
	path := beside(elem...)
	if _, err := os.Stat(path); err != nil {
		Missing(t, "%s: put the folder shared beside the module, or its path into PRINTROUND_SHARED", filepath.Join(append([]string{"shared"}, elem...)...))
	}
	return path
}

// Rows reads a table of the shared folder's standards: the fields of each line,
// without comments and heading.
func Rows(t T, name string) [][]string {
	t.Helper()
	content, err := os.ReadFile(Shared(t, "standards", name))
	if err != nil {
		t.Fatalf("%v", err)
	}
	var rows [][]string
	for line := range strings.Lines(string(content)) {
		if line = strings.TrimRight(line, "\r\n"); line != "" && !strings.HasPrefix(line, "#") {
			rows = append(rows, strings.Split(line, "\t"))
		}
	}
	if len(rows) < 2 {
		t.Fatalf("%s has no rows", name)
	}
	return rows[1:]
}

// RowsOrNone is Rows for a test that has something to do without the table too,
// and says that it did: nil when it is not there.
func RowsOrNone(t T, name string) [][]string {
	t.Helper()
	if _, err := os.Stat(beside("standards", name)); err != nil && os.Getenv("PRINTROUND_CI") == "" {
		return nil
	}
	return Rows(t, name)
}

// beside is a path in the shared folder, whether it is there or not.
func beside(elem ...string) string {
	dir := os.Getenv("PRINTROUND_SHARED")
	if dir == "" {
		dir = filepath.Join(filepath.Dir(module()), "shared")
	}
	return filepath.Join(append([]string{dir}, elem...)...)
}

// module is the folder of go.mod above the test, which Go runs in the folder of
// its package.
func module() string {
	dir, err := os.Getwd()
	if err != nil {
		return "."
	}
	for at := dir; at != filepath.Dir(at); at = filepath.Dir(at) {
		if _, err := os.Stat(filepath.Join(at, "go.mod")); err == nil {
			return at
		}
	}
	return dir
}
