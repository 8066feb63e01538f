package survey

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// tempVariable names the environment variable that decides about the folder
// for temporary files.
const tempVariable = "TMP"

// createHidden makes a file in the user's own folder that the system removes
// when the process ends, however that ends.
func createHidden(folder string) (*os.File, error) {
	if folder == "" {
		folder = os.TempDir()
	}
	name := filepath.Join(folder, fmt.Sprintf("printround-%016x.tmp", rand.Uint64()))
	return os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL|windows.O_FILE_FLAG_DELETE_ON_CLOSE, 0o600)
}

func closeHidden(f *os.File) {
	f.Close()
	os.Remove(f.Name()) // there only if the system did not do it
}
