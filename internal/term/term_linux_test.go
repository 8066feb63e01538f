package term

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"printround/internal/needtest"
	"testing"

	"golang.org/x/sys/unix"
)

// terminal opens a pseudo-terminal of a width and returns both its ends.
func terminal(t *testing.T, columns uint16) (screen, tty *os.File) {
	t.Helper()
	screen, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		needtest.Missing(t, "a pseudo-terminal: %v", err)
	}
	t.Cleanup(func() { screen.Close() })
	if err := unix.IoctlSetPointerInt(int(screen.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(screen.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	tty, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { tty.Close() })
	if err := unix.IoctlSetWinsize(int(tty.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 24, Col: columns}); err != nil {
		t.Fatal(err)
	}
	return screen, tty
}

func env(pairs ...string) func(string) string {
	return func(name string) string {
		for i := 0; i+1 < len(pairs); i += 2 {
			if pairs[i] == name {
				return pairs[i+1]
			}
		}
		return ""
	}
}

func TestTerminal(t *testing.T) {
	_, tty := terminal(t, 93)
	if !IsTerminal(tty) || Width(tty) != 93 {
		t.Errorf("terminal %v, width %d", IsTerminal(tty), Width(tty))
	}
	for name, c := range map[string]struct {
		env  func(string) string
		want bool
	}{
		"plain": {env("TERM", "xterm"), true}, "NO_COLOR": {env("TERM", "xterm", "NO_COLOR", "1"), false},
		"empty NO_COLOR": {env("TERM", "xterm", "NO_COLOR", ""), true}, "dumb": {env("TERM", "dumb"), false},
	} {
		if got := Color(tty, c.env); got != c.want {
			t.Errorf("%s: colour %v", name, got)
		}
	}
	file, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for _, f := range []*os.File{file, nil} {
		if IsTerminal(f) || Width(f) != 0 || Color(f, env("TERM", "xterm")) {
			t.Errorf("%v counts as a terminal", f)
		}
	}
}

func TestProgressOnTerminal(t *testing.T) {
	screen, tty := terminal(t, 70)
	p := NewProgress(tty, true)
	p.Update(1, 4, "reading")
	p.Done()
	tty.Close() // ends the reading with EIO
	got, err := io.ReadAll(screen)
	if err != nil && !errors.Is(err, unix.EIO) {
		t.Fatal(err)
	}
	if !bytes.Contains(got, []byte("reading 1/4")) || !bytes.HasSuffix(got, []byte("\x1b[2K\r")) {
		t.Errorf("the terminal got %q", got)
	}
}
