//go:build !windows

package survey

import "os"

// tempVariable names the environment variable that decides about the folder
// for temporary files.
const tempVariable = "TMPDIR"

// createHidden makes a file that only this user may read and that has no name:
// it is gone with the process, however that ends.
func createHidden(folder string) (*os.File, error) {
	f, err := os.CreateTemp(folder, "printround-*.tmp") // mode 0600
	if err != nil {
		return nil, err
	}
	if err := os.Remove(f.Name()); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

func closeHidden(f *os.File) { f.Close() }
