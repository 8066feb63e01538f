package agent

import (
	"bufio"
	"os"
	"path/filepath"
	"printround/internal/needtest"
	"strings"
	"testing"
)

// vectors reads the shared table of check values: id to octets in hexadecimal.
func vectors(t *testing.T) map[string]string {
	t.Helper()
	dir := os.Getenv("PRINTROUND_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "..", "shared")
	}
	f, err := os.Open(filepath.Join(dir, "standards", "vectors.tsv"))
	if err != nil {
		needtest.Missing(t, "the shared folder with the published vectors is not there: %v", err)
	}
	defer f.Close()
	out := map[string]string{}
	in := bufio.NewScanner(f)
	in.Buffer(nil, 1<<20)
	for in.Scan() {
		if c := strings.Split(in.Text(), "\t"); len(c) > 2 {
			out[c[0]] = c[2]
		}
	}
	if err := in.Err(); err != nil || len(out) < 40 {
		t.Fatalf("read %d vectors: %v", len(out), err)
	}
	return out
}
