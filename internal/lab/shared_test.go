package lab

import (
	"bufio"
	"os"
	"path/filepath"
	"printround/internal/needtest"
	"strings"
	"testing"
)

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
		needtest.Missing(t, "the shared folder with the published tables is not there: %v", err)
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
