package interop

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/sys/unix"
	"golang.org/x/text/width"

	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/needtest"
)

// screen runs the program with standard output on a terminal of a width, and
// returns what the terminal got; standard error goes elsewhere.
func screen(t *testing.T, program string, columns int, env []string, args ...string) string {
	t.Helper()
	ours, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		needtest.Missing(t, "no pseudo-terminals here: %v", err)
	}
	defer ours.Close()
	if err := unix.IoctlSetPointerInt(int(ours.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(ours.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	tty, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetWinsize(int(tty.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 24, Col: uint16(columns)}); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, program, args...)
	c.Env = append(append(os.Environ(), "TERM=xterm", "HOME="+t.TempDir()), env...)
	var said bytes.Buffer
	c.Stdout, c.Stderr = tty, &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	tty.Close()                  // the program has its own; the last to close it ends the reading
	got, err := io.ReadAll(ours) // with EIO
	if err != nil && !errors.Is(err, unix.EIO) {
		t.Fatal(err)
	}
	err = c.Wait()
	var exit *exec.ExitError
	if err != nil && (!errors.As(err, &exit) || exit.ExitCode() < 3) {
		t.Errorf("%v: %v\n%s", args, err, said.String())
	}
	return strings.ReplaceAll(string(got), "\r\n", "\n")
}

// cellsOf is how many cells a line takes: wide characters take two (Unicode
// Standard Annex 11), marks that combine none.
func cellsOf(line string) int {
	n := 0
	for _, r := range line {
		switch k := width.LookupRune(r).Kind(); {
		case unicode.In(r, unicode.Mn, unicode.Me):
		case k == width.EastAsianWide || k == width.EastAsianFullwidth:
			n += 2
		default:
			n++
		}
	}
	return n
}

// colour is what a terminal is told of colours (ECMA-48, SGR).
var colour = regexp.MustCompile("\x1b\\[[0-9;]*m")

// Every command that shows something fits every width, says nothing by colour
// alone, and with --plain is ASCII: no line is wider than the terminal, nothing
// moves the cursor, and what colour shows is there in words without it. One
// device has a name in wide characters.
func TestEveryCommandFitsTheTerminal(t *testing.T) {
	o := openQuay(t)
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	addressOf := func(name string) string { return labtest.Device(t, l, name).Addr.String() }
	dir := t.TempDir()
	all, err := l.WriteSite(dir)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(all)
	if err != nil {
		t.Fatal(err)
	}
	const wide = "二階の事務室にある複合機と大判印刷機"
	named := regexp.MustCompile(`name = "Copy room 1"`).ReplaceAllString(string(text), `name = "`+wide+`"`)
	if named == string(text) {
		named = strings.Replace(named, "[[site.device]]", fmt.Sprintf("[[site.device]]\naddress = %q\nname = %q\n[[site.device]]", addressOf("copy-1"), wide), 1)
	}
	if err := os.WriteFile(all, []byte(named), 0o600); err != nil {
		t.Fatal(err)
	}
	d := labtest.Device(t, l, "copy-1")
	ipp := strconv.Itoa(d.IPPPort)
	ports := []string{"--snmp-port", strconv.Itoa(d.SNMPPort), "--ipp-port", ipp}
	survey, nights, simulated := filepath.Join(dir, "monday.json"), filepath.Join(dir, "nights"), filepath.Join(dir, "sim.db")
	reach := append([]string{"--site", all, "--no-mdns", "--timeout", "600ms", "--retries", "0"}, ports...)
	o.look(append([]string{"sweep", "--pace", "20000", "--format", "json", "--out", survey}, reach...)...).run().wants(0)
	o.look(append([]string{"nightly", "--pace", "20000", "--out", nights}, reach...)...).run().wants(0)
	o.look("lab", "--nights", "60", "--out", simulated).run().wants(0)
	looks := []struct {
		columns       int
		plain, colour bool
	}{{columns: 40}, {columns: 40, plain: true}, {columns: 80, colour: true}, {columns: 120}, {columns: 120, plain: true}, {columns: 200}}
	shows := []struct {
		name    string
		args    []string
		noPlain bool   // it is plain anyway
		slow    bool   // it waits between two looks: only the narrow screens
		first   string // how the first line begins: what matters most is heard first
	}{
		{name: "sweep", args: append([]string{"sweep", "--pace", "20000"}, reach...), first: "Survey of"},
		{name: "sweep --explain", args: append([]string{"sweep", "--pace", "20000", "--explain"}, reach...), first: "Survey of"},
		{name: "check", args: append([]string{"check", addressOf("copy-1")}, reach...), first: "IMPAIRED: "},
		{name: "check --explain", args: append([]string{"check", addressOf("workshop"), "--explain"}, reach...), first: "STOPPED: "},
		{name: "visit", args: []string{"visit", "--from", survey, "--site", all}},
		{name: "symptom", args: []string{"symptom", "ghost"}, first: "ghost: "},
		{name: "symptom of a device", args: append([]string{"symptom", "lengthwise-line", "--device", addressOf("copy-1")}, reach...), first: "lengthwise-line: "},
		{name: "trend", args: []string{"trend", "--history", simulated}},
		{name: "history check", args: []string{"history", "check", "--history", simulated}, noPlain: true},
		{name: "nightly", args: append([]string{"nightly", "--pace", "20000", "--out", nights}, reach...), first: "Survey of"},
		{name: "queue", args: []string{"queue", addressOf("harbour-copy"), "--ipp-port", ipp, "--no-mdns"}, slow: true, first: "STALLED"},
	}
	for _, s := range shows {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			for _, how := range looks {
				if s.slow && how.columns > 80 || s.noPlain && how.plain {
					continue
				}
				var env []string
				args := s.args
				switch {
				case how.plain:
					args = append(append([]string{}, args...), "--plain")
				case !how.colour:
					env = []string{"NO_COLOR=1"}
				}
				shown := screen(t, o.program, how.columns, env, args...)
				if how.colour {
					shown = colour.ReplaceAllString(shown, "")
				}
				what := fmt.Sprintf("%+v", how)
				fits(t, what, shown, how.columns, how.plain || s.noPlain)
				if !strings.HasPrefix(strings.ReplaceAll(shown, "\n", " "), s.first) {
					t.Errorf("%s: it begins with %q, want %q", what, shown[:min(len(shown), 60)], s.first)
				}
			}
		})
	}
}

// fits holds what a terminal got against its width.
func fits(t *testing.T, what, shown string, columns int, ascii bool) {
	t.Helper()
	if strings.TrimSpace(shown) == "" {
		t.Errorf("%s: nothing is shown", what)
	}
	for i, line := range strings.Split(shown, "\n") {
		if n := cellsOf(line); n > columns {
			t.Errorf("%s: line %d takes %d cells: %q", what, i+1, n, line)
		}
		for _, r := range line {
			if unicode.IsControl(r) || r == utf8.RuneError || ascii && r > unicode.MaxASCII {
				t.Errorf("%s: line %d has %q: %q", what, i+1, r, line)
				break
			}
		}
	}
}
