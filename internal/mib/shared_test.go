package mib

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// shared returns the path of a file of the shared check data, which lies
// beside the module or where PRINTROUND_SHARED says.
func shared(t testing.TB, elem ...string) string {
	t.Helper()
	root := os.Getenv("PRINTROUND_SHARED")
	if root == "" {
		dir, err := os.Getwd()
		if err != nil {
			t.Fatal(err)
		}
		for {
			if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
				break
			}
			up := filepath.Dir(dir)
			if up == dir {
				t.Fatal("no go.mod above the test")
			}
			dir = up
		}
		root = filepath.Join(filepath.Dir(dir), "shared")
	}
	path := filepath.Join(append([]string{root}, elem...)...)
	if _, err := os.Stat(path); err != nil {
		if os.Getenv("PRINTROUND_CI") == "1" {
			t.Fatalf("check data must be there: %v", err)
		}
		t.Skipf("no check data: %v", err)
	}
	return path
}

// sharedRows returns the lines of a TSV file of the check data, split, without
// comments and the heading.
func sharedRows(t *testing.T, elem ...string) [][]string {
	t.Helper()
	return tsv(t, shared(t, elem...))
}

func tsv(t *testing.T, path string) [][]string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var rows [][]string
	for _, line := range strings.Split(strings.Trim(string(data), "\n"), "\n") {
		if !strings.HasPrefix(line, "#") {
			rows = append(rows, strings.Split(line, "\t"))
		}
	}
	return rows[1:]
}

func splitComma(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return r == ',' })
}

// capture reads a recording of the check data.
func capture(t testing.TB, elem ...string) *Recording {
	t.Helper()
	f, err := os.Open(shared(t, append([]string{"captures"}, elem...)...))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec, err := ParseRecording(f)
	if err != nil {
		t.Fatalf("%s: %v", f.Name(), err)
	}
	return rec
}
