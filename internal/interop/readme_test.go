package interop

import (
	"bufio"
	"bytes"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/needtest"
	"printround/internal/report"
)

var update = flag.Bool("update", false, "write what the program prints into README.md")

// The examples in the README are what the program prints. Each stands between
// two marks; -update writes them anew.
func TestReadmeShowsWhatTheProgramPrints(t *testing.T) {
	onLinux(t)
	path := filepath.Join("..", "..", "README.md")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	readme := string(text)
	for _, example := range []struct {
		name  string
		lines func(*testing.T) []string
	}{
		{"sweep", sweepExample},
		{"visit", visitExample},
		{"check", checkExample},
		{"symptoms", symptomsExample},
		{"symptom", symptomExample},
		{"interval", intervalExample},
		{"csv", csvExample},
		{"changes", changesExample},
		{"columns", columnsExample},
	} {
		t.Run(example.name, func(t *testing.T) {
			if !*update {
				t.Parallel() // each waits for a sweep of its own
			}
			opening, closing := "<!-- "+example.name+" -->\n", "<!-- /"+example.name+" -->"
			before, rest, ok := strings.Cut(readme, opening)
			shown, after, ended := strings.Cut(rest, closing)
			if !ok || !ended {
				t.Fatalf("README.md has no %s and %s", opening, closing)
			}
			want := strings.Join(example.lines(t), "\n") + "\n"
			if *update {
				readme = before + opening + want + closing + after
				return
			}
			if got, want := lasting(shown), lasting(want); got != want {
				t.Errorf("README.md shows\n%s\nthe program prints\n%s\n(go test ./internal/interop -run Readme -update)", got, want)
			}
		})
	}
	if *update {
		if err := os.WriteFile(path, []byte(readme), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// What differs from run to run: the moment, ports and certificates.
var (
	moment = regexp.MustCompile(`\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\dZ| \d\d:\d\d UTC)`)
	port   = regexp.MustCompile(`:\d{4,5}/`)
)

func lasting(s string) string {
	return port.ReplaceAllString(moment.ReplaceAllString(s, "TIME"), ":PORT/")
}

func onLinux(t *testing.T) {
	t.Helper()
	if _, err := os.Stat("/proc/self"); err != nil {
		needtest.Missing(t, "this system does not answer at every address of 127.0.0.0/8")
	}
}

// printed runs the program and returns the lines of its standard output. An
// exit status that tells of attention is no failure.
func printed(t *testing.T, args ...string) []string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), tool(t), args...)
	cmd.Env = append(os.Environ(), "NO_COLOR=1", "COLUMNS=", "HOME="+t.TempDir(), "XDG_CONFIG_HOME="+t.TempDir(), "TZ=UTC")
	out, err := cmd.Output()
	var exit *exec.ExitError
	if errors.As(err, &exit) && exit.ExitCode() >= 3 {
		err = nil
	}
	if err != nil {
		t.Fatalf("printround %s: %v", strings.Join(args, " "), err)
	}
	lines := strings.Split(strings.TrimRight(string(out), "\n"), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return lines
}

// code indents lines, which makes them a block of code in Markdown.
func code(lines ...string) []string {
	out := slices.Clone(lines)
	for i, line := range out {
		if line != "" {
			out[i] = "    " + line
		}
	}
	return out
}

// find returns the index of the first line with a beginning.
func find(t *testing.T, lines []string, beginning string) int {
	t.Helper()
	i := slices.IndexFunc(lines, func(line string) bool { return strings.HasPrefix(line, beginning) })
	if i < 0 {
		t.Fatalf("no line begins with %q in\n%s", beginning, strings.Join(lines, "\n"))
	}
	return i
}

// csvExample is the beginning of the first lines of a report for spreadsheets.
func csvExample(t *testing.T) []string {
	const lines, width = 5, 112
	shown := []string{"$ printround sweep --lab --format csv"}
	for _, line := range printed(t, "sweep", "--lab", "--format", "csv")[:lines] {
		line = strings.TrimRight(line, "\r")
		if r := []rune(line); len(r) > width {
			line = string(r[:width]) + "…"
		}
		shown = append(shown, line)
	}
	return code(append(shown, "…")...)
}

// rowsOfLevel is how many rows of each attention level the README shows.
const rowsOfLevel = 2

var tableRow = regexp.MustCompile(`^ *\d+ +([a-z]+) `)

// sweepExample is the table with the first rows of each attention level, and
// what stands below it.
func sweepExample(t *testing.T) []string {
	lines := printed(t, "sweep", "--lab")
	shown := []string{"$ printround sweep --lab"}
	rows, left, row := map[string]int{}, false, false
	for i, line := range lines {
		if m := tableRow.FindStringSubmatch(line); m != nil {
			rows[m[1]]++
			row, left = true, rows[m[1]] > rowsOfLevel
			if rows[m[1]] == rowsOfLevel+1 {
				shown = append(shown, " …")
			}
		}
		if row && line == "" {
			shown = append(shown, lines[i:]...)
			break
		}
		if !left {
			shown = append(shown, line)
		}
	}
	if len(rows) < 5 {
		t.Fatalf("rows of %d attention levels, want all 5: %v", len(rows), rows)
	}
	return code(shown...)
}

// visitExample is the head of the plan, the first calls, the parts and the
// first stops.
func visitExample(t *testing.T) []string {
	lines := printed(t, "visit", "--lab")
	shown := []string{"$ printround visit --lab"}
	bring, visit := slices.Index(lines, "Bring"), slices.Index(lines, "Visit")
	if bring < 0 || visit < bring {
		t.Fatalf("no parts and stops in\n%s", strings.Join(lines, "\n"))
	}
	calls := 0
	for _, line := range lines[:bring] {
		if strings.HasPrefix(line, "  [ ]") {
			calls++
		}
		if calls <= 2 {
			shown = append(shown, line)
		}
	}
	shown = append(append(shown, "  …", ""), lines[bring:visit]...)
	stops := 0
	for _, line := range lines[visit:] {
		if regexp.MustCompile(`^ +\d+\. `).MatchString(line) && line[2] != ' ' {
			if stops++; stops > 2 {
				break
			}
		}
		shown = append(shown, line)
	}
	return code(append(shown, "  …")...)
}

// symptomsExample is the index, complete.
func symptomsExample(t *testing.T) []string {
	return code(append([]string{"$ printround symptom"}, printed(t, "symptom")...)...)
}

// symptomExample is the triage for a device whose fuser is at its end.
func symptomExample(t *testing.T) []string {
	return code(append([]string{"$ printround symptom smear --lab --device dispatch"}, printed(t, "symptom", "smear", "--lab", "--device", "dispatch")...)...)
}

// intervalExample is what the distances between marks tell.
func intervalExample(t *testing.T) []string {
	args := []string{"symptom", "repeating-mark", "--lab", "--device", "dispatch", "--interval", "75.5mm,150.5mm,226.5mm"}
	lines := printed(t, args...)
	return code(append(append([]string{"$ printround " + strings.Join(args, " ")}, lines[:find(t, lines, "Ask first")]...), "…")...)
}

// checkExample is the verdict and the supplies of one device.
func checkExample(t *testing.T) []string {
	lines := printed(t, "check", "--lab", "workshop")
	shown := append([]string{"$ printround check --lab workshop"}, lines[:find(t, lines, "Identity")]...)
	shown = append(append(shown, "…", ""), lines[find(t, lines, "Supplies"):find(t, lines, "Trays")]...)
	return code(append(shown, "…")...)
}

// changesExample compares two surveys of the lab, with other faults the second
// time.
func changesExample(t *testing.T) []string {
	first := filepath.Join(t.TempDir(), "monday.json")
	snmpPort, ippPort := portText(freeUDP(t)), portText(freeTCP(t))
	ports := []string{"--snmp-port", snmpPort, "--ipp-port", ippPort}
	surveyed := func(faults []string, flags ...string) []string {
		site, stop := runLab(t, append(faults, ports...)...)
		defer stop()
		return printed(t, append(append([]string{"sweep", "--no-mdns", "--timeout", "1s", "--site", site}, ports...), flags...)...)
	}
	surveyed(nil, "--format", "json", "--out", first)
	lines := surveyed([]string{"--fault", "post-room=media-jam", "--fault", "accounts=none"}, "--from", first)
	lines = lines[find(t, lines, "Changes since"):]
	return code(lines[:slices.Index(lines, "")]...)
}

// runLab runs "printround lab" until stop and returns its site file.
func runLab(t *testing.T, flags ...string) (site string, stop func()) {
	t.Helper()
	cmd := exec.Command(tool(t), append([]string{"lab", "--no-mdns"}, flags...)...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	hung := time.AfterFunc(time.Minute, func() { _ = cmd.Process.Kill() })
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if s, ok := strings.CutPrefix(lines.Text(), "Site file: "); ok {
			site = s
		}
		if strings.HasPrefix(lines.Text(), "Ctrl-C") {
			break
		}
	}
	stop = func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		_ = cmd.Wait()
		hung.Stop()
	}
	if site == "" {
		stop()
		t.Fatal("the lab printed no site file")
	}
	return site, stop
}

// columnsExample lists the columns of each kind of CSV rows.
func columnsExample(t *testing.T) []string {
	var out []string
	for _, rows := range report.RowKinds() {
		var table bytes.Buffer
		if err := report.Write(&table, &device.Survey{}, report.Options{Format: report.CSV, Rows: rows}); err != nil {
			t.Fatal(err)
		}
		line := fmt.Sprintf("- `--rows %s`:", rows)
		for name := range strings.SplitSeq(strings.TrimSpace(table.String()), ",") {
			if len(line)+len(name) > 116 {
				out, line = append(out, line), " "
			}
			line += " " + name
		}
		out = append(out, line)
	}
	return out
}
