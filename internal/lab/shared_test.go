package lab

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// missing skips a test that lacks something, or fails it where everything is
// supposed to be there.
func missing(t *testing.T, format string, args ...any) {
	t.Helper()
	if os.Getenv("PRINTROUND_CI") != "" {
		t.Fatalf(format, args...)
	}
	t.Skipf(format, args...)
}

// program finds a program of a reference implementation.
func program(t *testing.T, name string) string {
	t.Helper()
	p, err := exec.LookPath(name)
	if err != nil {
		missing(t, "%s is not installed", name)
	}
	return p
}

// standard reads a table of published facts: a map from column name to value
// for each row.
func standard(t *testing.T, file string, atLeast int) []map[string]string {
	t.Helper()
	dir := os.Getenv("PRINTROUND_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared")
	}
	f, err := os.Open(filepath.Join(dir, "standards", file))
	if err != nil {
		missing(t, "the shared folder with the published tables is not there: %v", err)
	}
	defer f.Close()
	var head []string
	var rows []map[string]string
	in := bufio.NewScanner(f)
	in.Buffer(nil, 1<<20)
	for in.Scan() {
		if strings.HasPrefix(in.Text(), "#") {
			continue
		}
		c := strings.Split(in.Text(), "\t")
		if head == nil {
			head = c
			continue
		}
		row := map[string]string{}
		for i := range min(len(c), len(head)) {
			row[head[i]] = c[i]
		}
		rows = append(rows, row)
	}
	if err := in.Err(); err != nil || len(rows) < atLeast {
		t.Fatalf("%s: %d rows, want at least %d: %v", file, len(rows), atLeast, err)
	}
	return rows
}
