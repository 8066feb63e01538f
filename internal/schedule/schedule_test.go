package schedule

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"printround/internal/needtest"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"howett.net/plist"
)

// words are arguments that quoting gets wrong.
var words = []string{
	"--site", "/srv/Büro Nord/printround 100%.toml", "a b", "", "%h", "%%", "$HOME", "$$", "${x}", "`id`", "$(id)", "a'b", "''", `a"b`, `\`, `\\`,
	`a\b`, `C:\Program Files\x\`, `ends with \"`, ";", "&&", "|", "*", "?", "~", "#", "!", "-", "--", "<tag attr=\"x\">&amp;", "]]>", "日本", "a=b", "\\n", "(x)", "{x}",
}

func job(args ...string) Job {
	return Job{Program: "/opt/print round/printround", Args: args, Folder: "/srv/Büro Nord", Hour: 18, Minute: 5}
}

func unit(t *testing.T, j Job, s System) Unit {
	t.Helper()
	u, err := j.For(s)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

func TestTime(t *testing.T) {
	for s, want := range map[string][2]int{"18:30": {18, 30}, "02:30": {2, 30}, "2:30": {2, 30}, "00:00": {0, 0}, "23:59": {23, 59}} {
		if h, m, err := Time(s); err != nil || h != want[0] || m != want[1] {
			t.Errorf("%q: %d:%d %v", s, h, m, err)
		}
	}
	for _, s := range []string{"", "18", "18:3", "24:00", "12:60", "-1:00", "+1:00", "6pm", "18:30:00", "١٨:٣٠", " 8:00", "008:00"} {
		if h, m, err := Time(s); err == nil {
			t.Errorf("%q is taken for %d:%d", s, h, m)
		}
	}
}

func TestRefused(t *testing.T) {
	for name, j := range map[string]Job{
		"a line break":       job("a\nb"),
		"a NUL":              job("a\x00b"),
		"not UTF-8":          job("a\xffb"),
		"no character":       job("a\ufffeb"),
		"a relative program": {Program: "printround", Folder: "/srv", Hour: 1},
		"a relative folder":  {Program: "/bin/printround", Folder: "srv", Hour: 1},
		"no time":            {Program: "/bin/printround", Folder: "/srv", Hour: 24},
	} {
		for _, s := range Systems() {
			if u, err := j.For(s); err == nil {
				t.Errorf("%s, %s: %v", name, s, u)
			}
		}
	}
	if _, err := job(strings.Repeat("x", 1000)).For(Cron); err == nil {
		t.Error("cron took a line that it cuts off")
	}
	for _, p := range []string{`/opt/q"uote/printround`, "/opt/it's/printround", `/opt/back\slash/printround`} {
		j := job()
		j.Program = p
		if _, err := j.For(Systemd); err == nil || !strings.Contains(err.Error(), "put it elsewhere") {
			t.Errorf("%s: %v", p, err)
		}
	}
	if _, err := job().For("at"); err == nil || !strings.Contains(err.Error(), "choose one of") {
		t.Errorf("an unknown system: %v", err)
	}
	if _, err := job().For(Windows); err == nil {
		t.Error("a path of another system was taken for one of Windows")
	}
}

// systemd itself reads the units: no warning, and the program is found although
// its path has every odd character.
func TestSystemdVerifies(t *testing.T) {
	tool := needtest.Program(t, "systemd-analyze")
	for _, name := range []string{"plain", "a b", "100%", "%h", "Büro", "a$b", "$HOME", "semi;colon", "x=y#z", "-", "@!+", "(a)"} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), name)
			if err := os.Mkdir(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			program := filepath.Join(dir, "printround")
			if err := os.WriteFile(program, []byte("#!/bin/sh\n"), 0o755); err != nil {
				t.Fatal(err)
			}
			units := t.TempDir()
			u := unit(t, Job{Program: program, Args: words, Folder: dir, Hour: 18, Minute: 5}, Systemd)
			var paths []string
			for _, f := range u.Files {
				p := filepath.Join(units, f.Name)
				if err := os.WriteFile(p, []byte(f.Content), 0o644); err != nil {
					t.Fatal(err)
				}
				paths = append(paths, p)
			}
			c := exec.Command(tool, append([]string{"verify", "--man=no", "--recursive-errors=no"}, paths...)...)
			c.Env = append(os.Environ(), "SYSTEMD_LOG_LEVEL=notice")
			if out, err := c.CombinedOutput(); err != nil || len(bytes.TrimSpace(out)) > 0 {
				t.Errorf("%v\n%s%s", err, out, u.Files[0].Content)
			}
		})
	}
	out, err := exec.Command(tool, "calendar", calendarOf(t, unit(t, job(), Systemd))).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "Normalized form: *-*-* 18:05:00") {
		t.Errorf("calendar: %v\n%s", err, out)
	}
}

func calendarOf(t *testing.T, u Unit) string {
	t.Helper()
	m := regexp.MustCompile(`(?m)^OnCalendar=(.*)$`).FindStringSubmatch(u.Files[1].Content)
	if m == nil {
		t.Fatal(u.Files[1].Content)
	}
	return m[1]
}

// The words come back when the line is taken apart by the rules of
// systemd.service(5) and systemd.syntax(7) as they are written there.
func TestSystemdWords(t *testing.T) {
	u := unit(t, job(words...), Systemd)
	m := regexp.MustCompile(`(?m)^ExecStart=(.*)$`).FindStringSubmatch(u.Files[0].Content)
	if m == nil {
		t.Fatal(u.Files[0].Content)
	}
	var got []string
	var word strings.Builder
	quoted, line := false, m[1]
	for i := 0; i < len(line); i++ {
		switch c := line[i]; {
		case c == '"':
			if quoted {
				got = append(got, word.String())
				word.Reset()
			}
			quoted = !quoted
		case !quoted:
			if c != ' ' {
				t.Fatalf("%q stands outside of quotes at %d of %s", c, i, line)
			}
		case c == '\\':
			i++
			if line[i] != '\\' && line[i] != '"' {
				t.Fatalf("an escape of another meaning at %d of %s", i, line)
			}
			word.WriteByte(line[i])
		case c == '%' || c == '$':
			if i++; line[i] != c {
				t.Fatalf("a specifier or variable at %d of %s", i, line)
			}
			word.WriteByte(c)
		default:
			word.WriteByte(c)
		}
	}
	if diff := cmp.Diff(append([]string{job().Program}, words...), got); diff != "" {
		t.Error(diff)
	}
}

// A crontab line is taken apart as crontab(5) says, and a real sh runs the
// rest: the program sees its words and its folder.
func TestCronAndShell(t *testing.T) {
	if runtime.GOOS == "windows" {
		needtest.Missing(t, "the shell of Unix")
	}
	dir := filepath.Join(t.TempDir(), "100% Büro's $HOME")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "print round")
	if err := os.WriteFile(program, []byte("#!/bin/sh\npwd\nfor w; do printf '%s\\n' \"$w\"; done\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	u := unit(t, Job{Program: program, Args: words, Folder: dir, Hour: 18, Minute: 5}, Cron)
	var lines []string
	for line := range strings.Lines(u.Files[0].Content) {
		if !strings.HasPrefix(line, "#") {
			lines = append(lines, line)
		}
	}
	if len(lines) != 1 || !strings.HasSuffix(lines[0], "\n") {
		t.Fatalf("%q", lines)
	}
	m := regexp.MustCompile(`^(\d+) (\d+) \* \* \* (.*)\n$`).FindStringSubmatch(lines[0])
	if m == nil || m[1] != "5" || m[2] != "18" {
		t.Fatalf("%q", lines[0])
	}
	// "A percent sign in the command, unless escaped with a backslash, will be
	// changed into a newline, and all data after the first % will be sent to
	// the command as standard input." (crontab(5), from memory)
	if regexp.MustCompile(`(^|[^\\])%`).MatchString(m[3]) {
		t.Fatalf("cron would cut the line: %s", m[3])
	}
	out, err := exec.Command("/bin/sh", "-c", strings.ReplaceAll(m[3], `\%`, "%")).Output()
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(append([]string{dir}, words...), strings.Split(strings.TrimSuffix(string(out), "\n"), "\n")); diff != "" {
		t.Error(diff)
	}
}

// The property list says to three readers what it should: the library, a plain
// XML parser, and Python's where that is installed.
func TestLaunchd(t *testing.T) {
	u := unit(t, job(words...), Launchd)
	text := []byte(u.Files[0].Content)
	var got struct {
		Label                 string
		ProgramArguments      []string
		WorkingDirectory      string
		StartCalendarInterval map[string]int
	}
	if _, err := plist.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	want := append([]string{job().Program}, words...)
	if diff := cmp.Diff(want, got.ProgramArguments); diff != "" {
		t.Error(diff)
	}
	if got.Label+".plist" != u.Files[0].Name || got.WorkingDirectory != job().Folder || got.StartCalendarInterval["Hour"] != 18 || got.StartCalendarInterval["Minute"] != 5 {
		t.Errorf("%+v", got)
	}
	var seen []string
	d := xml.NewDecoder(bytes.NewReader(text))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "string" {
			var s string
			if err := d.DecodeElement(&s, &e); err != nil {
				t.Fatal(err)
			}
			seen = append(seen, s)
		}
	}
	for _, w := range want {
		if !slices.Contains(seen, w) {
			t.Errorf("%q is missing", w)
		}
	}
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Log("not compared with Python's plistlib: python3 is not installed")
		return
	}
	c := exec.Command(python, "-c", "import json,plistlib,sys; json.dump(plistlib.loads(sys.stdin.buffer.read())['ProgramArguments'], sys.stdout)")
	c.Stdin = bytes.NewReader(text)
	var said bytes.Buffer
	c.Stderr = &said
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%v %s", err, &said)
	}
	var theirs []string
	if err := json.Unmarshal(out, &theirs); err != nil || !slices.Equal(theirs, want) {
		t.Errorf("%v %q", err, theirs)
	}
}

// taskOrder is the order of elements in the published schema of tasks (from
// memory): those of an xs:sequence have to come in it, Settings is an xs:all.
var taskOrder = map[string][]string{
	"Task":            {"RegistrationInfo", "Triggers", "Principals", "Settings", "Actions"},
	"CalendarTrigger": {"Repetition", "StartBoundary", "EndBoundary", "ExecutionTimeLimit", "Enabled", "RandomDelay", "ScheduleByDay"},
	"Exec":            {"Command", "Arguments", "WorkingDirectory"},
}

var taskSettingNames = []string{
	"AllowStartOnDemand", "RestartOnFailure", "MultipleInstancesPolicy", "DisallowStartIfOnBatteries", "StopIfGoingOnBatteries",
	"AllowHardTerminate", "StartWhenAvailable", "NetworkProfileName", "RunOnlyIfNetworkAvailable", "WakeToRun", "Enabled", "Hidden",
	"DeleteExpiredTaskAfter", "IdleSettings", "NetworkSettings", "ExecutionTimeLimit", "Priority", "RunOnlyIfIdle",
}

func TestWindows(t *testing.T) {
	j := Job{Program: `C:\Program Files\printround\printround.exe`, Args: words, Folder: `C:\Büro Nord\100%`, Hour: 18, Minute: 5}
	u := unit(t, j, Windows)
	var got struct {
		XMLName xml.Name `xml:"http://schemas.microsoft.com/windows/2004/02/mit/task Task"`
		Version string   `xml:"version,attr"`
		Start   string   `xml:"Triggers>CalendarTrigger>StartBoundary"`
		Days    int      `xml:"Triggers>CalendarTrigger>ScheduleByDay>DaysInterval"`
		MakeUp  bool     `xml:"Settings>StartWhenAvailable"`
		Exec    struct {
			Command, Arguments, WorkingDirectory string
		} `xml:"Actions>Exec"`
	}
	if err := xml.Unmarshal([]byte(u.Files[0].Content), &got); err != nil {
		t.Fatal(err)
	}
	if got.Version != "1.2" || got.Start != "2026-01-01T18:05:00" || got.Days != 1 || got.MakeUp || got.Exec.Command != j.Program || got.Exec.WorkingDirectory != j.Folder {
		t.Errorf("%+v", got)
	}
	if diff := cmp.Diff(words, splitCommandLine(got.Exec.Arguments)); diff != "" {
		t.Error(diff)
	}
	checkOrder(t, u.Files[0].Content)
}

// splitCommandLine takes a command line apart as programs on Windows do: 2n
// backslashes before a quote are n and the quote begins or ends a quoted part,
// 2n+1 are n and the quote itself; backslashes elsewhere are themselves.
func splitCommandLine(s string) []string {
	var out []string
	var word strings.Builder
	in, quoted := false, false
	for i := 0; i < len(s); i++ {
		n := 0
		for i < len(s) && s[i] == '\\' {
			n, i, in = n+1, i+1, true
		}
		if i < len(s) && s[i] == '"' {
			word.WriteString(strings.Repeat(`\`, n/2))
			in = true
			if n%2 == 1 {
				word.WriteByte('"')
			} else {
				quoted = !quoted
			}
			continue
		}
		word.WriteString(strings.Repeat(`\`, n))
		switch {
		case i >= len(s):
		case !quoted && (s[i] == ' ' || s[i] == '\t'):
			if in {
				out = append(out, word.String())
				word.Reset()
			}
			in = false
		default:
			word.WriteByte(s[i])
			in = true
		}
	}
	if in {
		out = append(out, word.String())
	}
	return out
}

func checkOrder(t *testing.T, text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(text))
	type level struct {
		name string
		last int
	}
	var stack []level
	seen := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			if e.Name.Space != taskSpace {
				t.Errorf("%s is in namespace %q", e.Name.Local, e.Name.Space)
			}
			if n := len(stack); n > 0 {
				seen++
				if names, ok := taskOrder[stack[n-1].name]; ok {
					at := slices.Index(names, e.Name.Local)
					if at < 0 || at < stack[n-1].last {
						t.Errorf("%s in %s: unknown or out of order", e.Name.Local, stack[n-1].name)
					}
					stack[n-1].last = at
				}
				if stack[n-1].name == "Settings" && !slices.Contains(taskSettingNames, e.Name.Local) {
					t.Errorf("%s is no setting", e.Name.Local)
				}
			}
			stack = append(stack, level{name: e.Name.Local})
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		}
	}
	if seen < 20 {
		t.Errorf("only %d elements", seen)
	}
}

func TestNames(t *testing.T) {
	for _, s := range Systems() {
		if u, err := job("nightly").For(s); err != nil && strings.Contains(err.Error(), "choose one of") || err == nil && len(u.Files) == 0 {
			t.Errorf("%s: %v", s, err)
		}
	}
	for _, s := range []System{Systemd, Cron, Launchd} {
		u := unit(t, job("nightly"), s)
		if steps := fmt.Sprint(u.Steps("/a b")); len(u.Files) == 0 || !strings.Contains(steps, "'/a b'/") || strings.Contains(steps, "{DIR}") {
			t.Errorf("%s: %+v", s, u)
		}
	}
}
