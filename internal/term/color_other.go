//go:build !windows

package term

import "os"

// enableColor prepares the terminal for colour codes; nothing is needed here.
func enableColor(*os.File) bool { return true }
