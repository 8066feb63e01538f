package interop

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
)

// buildTool builds the program once for all tests, without the codec's debug
// lines, as a release is built.
var buildTool = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "printround-tool-")
	if err != nil {
		return "", err
	}
	builtIn = dir
	path := filepath.Join(dir, "printround.exe") // the name that every system starts
	cmd := exec.Command("go", "build", "-buildvcs=false", "-tags", "gosnmp_nodebug", "-o", path, "printround/cmd/printround")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return path, nil
})

// builtIn is the folder to remove at the end.
var builtIn string

// tool returns the program.
func tool(t testing.TB) string {
	t.Helper()
	path, err := buildTool()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func port16(p uint16) string { return strconv.Itoa(int(p)) }
