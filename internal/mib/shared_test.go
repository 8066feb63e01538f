package mib

import (
	"os"
	"printround/internal/needtest"
	"strings"
	"testing"
)

// tsv returns the lines of a table of this package, split, without comments and
// heading.
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
	f, err := os.Open(needtest.Shared(t, append([]string{"captures"}, elem...)...))
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
