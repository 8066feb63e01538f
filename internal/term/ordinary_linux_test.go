package term

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"golang.org/x/sys/unix"
)

// asOrdinary does something that looks at files with the rights of an ordinary
// account, which then owns the folder: the superuser may write everywhere.
func asOrdinary(t *testing.T, folder string, do func() error) error {
	t.Helper()
	if os.Geteuid() != 0 {
		return do()
	}
	const nobody = 65534
	for at := folder; at != os.TempDir() && len(at) > 1; at = filepath.Dir(at) {
		if err := os.Chown(at, nobody, nobody); err != nil {
			t.Fatal(err)
		}
	}
	result := make(chan error)
	go func() {
		runtime.LockOSThread() // the thread ends with the goroutine
		if err := unix.Setfsuid(nobody); err != nil {
			result <- err
			return
		}
		result <- do()
	}()
	return <-result
}
