// Package term knows the terminal: its width, whether it shows colour, how
// many cells a text takes, what text is safe to send to it, and a progress
// line. It also writes result files whole or not at all.
package term

import (
	"os"

	xterm "golang.org/x/term"
)

// IsTerminal reports whether f is a terminal.
func IsTerminal(f *os.File) bool {
	return f != nil && xterm.IsTerminal(int(f.Fd()))
}

// Width returns the number of columns of the terminal f, or 0 when f is no
// terminal or does not say.
func Width(f *os.File) int {
	if f == nil {
		return 0
	}
	w, _, err := xterm.GetSize(int(f.Fd()))
	if err != nil || w < 0 {
		return 0
	}
	return w
}

// Color reports whether colour may be written to f: f is a terminal that
// understands it, and the user has not switched colour off by setting NO_COLOR
// to anything or TERM to dumb (common practice, no source).
func Color(f *os.File, getenv func(string) string) bool {
	if getenv("NO_COLOR") != "" || getenv("TERM") == "dumb" {
		return false
	}
	return IsTerminal(f) && enableColor(f)
}
