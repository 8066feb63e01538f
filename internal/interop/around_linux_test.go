package interop

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"printround/internal/history"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/needtest"
	"printround/internal/report"
)

// quay is three devices of the lab with a site file of their own, and the
// program to look at them with.
type quay struct {
	t       *testing.T
	program string
	site    string   // site file
	reach   []string // flags
	targets []string
}

func openQuay(t *testing.T) *quay {
	t.Helper()
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	o := &quay{t: t, program: tool(t)}
	community := ""
	for _, d := range l.Devices() {
		if slices.Contains([]string{"front-desk", "copy-1", "studio"}, d.Name) {
			o.targets = append(o.targets, d.Addr.String())
			community = d.Community
			o.reach = []string{"--snmp-port", strconv.Itoa(d.SNMPPort), "--ipp-port", strconv.Itoa(d.IPPPort), "--no-mdns", "--timeout", "500ms", "--retries", "1"}
		}
	}
	dir := t.TempDir()
	o.put(filepath.Join(dir, "north.community"), community)
	o.site = filepath.Join(dir, "printround.toml")
	o.siteOf(o.targets...)
	return o
}

// siteOf writes the site file with these targets.
func (o *quay) siteOf(targets ...string) {
	var quoted []string
	for _, target := range targets {
		quoted = append(quoted, strconv.Quote(target))
	}
	o.put(o.site, fmt.Sprintf("[[site]]\nname = \"North quay\"\ntargets = [%s]\n  [[site.credential]]\n  version = \"2c\"\n  community_file = \"north.community\"\n",
		strings.Join(quoted, ", ")))
}

func (o *quay) put(path, text string) {
	o.t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		o.t.Fatal(err)
	}
}

func (o *quay) sweep(out string) *look {
	return o.look(append([]string{"sweep", "--site", o.site, "--format", "json", "--out", out}, o.reach...)...)
}

func (o *quay) nightly(out string, more ...string) *look {
	return o.look(append(append([]string{"nightly", "--site", o.site, "--out", out}, o.reach...), more...)...)
}

// look is one run of the program.
type look struct {
	*exec.Cmd
	o      *quay
	said   bytes.Buffer // both streams
	status int          // -1: it was killed
	took   time.Duration
}

func (o *quay) look(args ...string) *look {
	l := &look{o: o, Cmd: exec.Command(o.program, args...)}
	l.Env = append(os.Environ(), "NO_COLOR=1", "HOME="+o.t.TempDir())
	l.Stdout, l.Stderr = &l.said, &l.said
	return l
}

// limited runs the program under limits of the shell's ulimit.
func (l *look) limited(ulimit string) *look {
	l.Args = append([]string{"sh", "-c", "ulimit " + ulimit + "; exec \"$@\"", "sh", l.Path}, l.Args[1:]...)
	l.Path = "/bin/sh"
	return l
}

// run runs the program to its end, at most a minute, or to a signal after some
// time.
func (l *look) run() *look { return l.signalled(syscall.SIGKILL, time.Minute) }

func (l *look) signalled(s os.Signal, after time.Duration) *look {
	l.o.t.Helper()
	began := time.Now()
	if err := l.Start(); err != nil {
		l.o.t.Fatal(err)
	}
	timer := time.AfterFunc(after, func() { _ = l.Process.Signal(s) })
	defer timer.Stop()
	last := time.AfterFunc(time.Minute, func() { _ = l.Process.Kill() })
	defer last.Stop()
	err := l.Wait()
	l.took = time.Since(began)
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		l.o.t.Fatal(err)
	}
	l.status = l.ProcessState.ExitCode()
	for _, never := range []string{"internal error", "panic:", "goroutine 1"} {
		if strings.Contains(l.said.String(), never) {
			l.o.t.Errorf("%v: %s", l.Args, l.said.String())
		}
	}
	return l
}

// wants wants an exit status and words among what was said.
func (l *look) wants(status int, words ...string) *look {
	l.o.t.Helper()
	if l.status != status {
		l.o.t.Errorf("status %d, want %d: %v\n%s", l.status, status, l.Args, l.said.String())
	}
	for _, w := range words {
		if !strings.Contains(l.said.String(), w) {
			l.o.t.Errorf("nothing says %q: %v\n%s", w, l.Args, l.said.String())
		}
	}
	return l
}

// survey reads a survey that must be whole as a document.
func (o *quay) survey(path string) (devices int, partial bool) {
	o.t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		o.t.Fatal(err)
	}
	s, err := report.Read(bytes.NewReader(b))
	if err != nil {
		o.t.Fatalf("%s is half a document (%d octets): %v", path, len(b), err)
	}
	return len(s.Devices), s.Partial
}

// folder holds a folder of nights: every file under a final name is whole, and
// the history is sound and has all the runs before; it returns those.
func (o *quay) folder(dir string, before []history.Run) []history.Run {
	o.t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*-*"))
	if err != nil {
		o.t.Fatal(err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			o.t.Fatal(err)
		}
		text := strings.TrimSpace(string(b))
		switch {
		case strings.HasSuffix(f, "survey.json"):
			o.survey(f)
		case strings.HasSuffix(f, ".csv"):
			if rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll(); err != nil || len(rows) == 0 || !strings.HasSuffix(string(b), "\r\n") {
				o.t.Errorf("%s is half a table: %d rows, %v", f, len(rows), err)
			}
		case strings.HasPrefix(filepath.Base(f), "history.db"): // below
		case strings.HasSuffix(f, ".html") && !strings.HasSuffix(text, "</html>"), text == "":
			o.t.Errorf("%s is half a page: %d octets", f, len(b))
		}
	}
	runs := o.history(filepath.Join(dir, "history.db"))
	for i, r := range before {
		if i >= len(runs) || runs[i].Answered != r.Answered || !runs[i].Started.Equal(r.Started) {
			o.t.Fatalf("run %d is lost or another one: %+v, was %+v", i, runs, r)
		}
	}
	return runs
}

// history returns the runs of a history that must be sound.
func (o *quay) history(path string) []history.Run {
	o.t.Helper()
	s, err := history.Open(path, history.Options{ReadOnly: true})
	if err != nil {
		o.t.Fatal(err)
	}
	defer s.Close()
	ctx := context.Background()
	if v, err := s.Check(ctx); err != nil || len(v.Problems) > 0 {
		o.t.Fatalf("history: %v %v", v.Problems, err)
	}
	runs, err := s.Runs(ctx, time.Time{}, time.Time{})
	if err != nil {
		o.t.Fatal(err)
	}
	return runs
}

// keep leaves a survey and a night in a folder, for what comes after them.
func (o *quay) keep(dir string) (survey, nights string) {
	o.t.Helper()
	survey, nights = filepath.Join(dir, "monday.json"), filepath.Join(dir, "nights")
	o.sweep(survey).run().wants(0)
	o.nightly(nights).run().wants(0)
	return survey, nights
}

// temporary lists what is in a folder under no final name.
func temporary(t *testing.T, dir string) []string {
	t.Helper()
	left, err := filepath.Glob(filepath.Join(dir, ".*.tmp"))
	if err != nil {
		t.Fatal(err)
	}
	return left
}

// disk mounts a small disk in memory, in the mount namespace of these tests.
func disk(t *testing.T, size int) string {
	t.Helper()
	if os.Getenv("PRINTROUND_TEST_ALONE") == "" {
		needtest.Missing(t, "needs root, for a mount namespace of its own")
	}
	dir := filepath.Join(t.TempDir(), "disk")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size="+strconv.Itoa(size)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// leave fills a disk so that this many octets are free.
func leave(t *testing.T, dir string, room int) (ballast string) {
	t.Helper()
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		t.Fatal(err)
	}
	ballast = filepath.Join(dir, "ballast")
	if err := os.WriteFile(ballast, make([]byte, max(int(s.Bavail)*int(s.Bsize)-room, 0)), 0o600); err != nil {
		t.Fatal(err)
	}
	return ballast
}

// rounds is how often something random is done: PRINTROUND_KILLS, 100 before a
// release, or a few.
func rounds(few int) int {
	if v, err := strconv.Atoi(os.Getenv("PRINTROUND_KILLS")); err == nil {
		return v
	}
	return few
}

// A disk fills up at any point of a run: an earlier survey stays octet by
// octet, nights that were kept stay, every file under a final name is whole,
// and with room again the next run goes through.
func TestDiskFull(t *testing.T) {
	o := openQuay(t)
	dir := disk(t, 6<<20)
	monday, nights := o.keep(dir)
	earlier, err := os.ReadFile(monday)
	if err != nil {
		t.Fatal(err)
	}
	ballast := leave(t, dir, 0)
	o.sweep(monday).run().wants(1, "the disk is full")
	if now, err := os.ReadFile(monday); err != nil || !bytes.Equal(now, earlier) {
		t.Errorf("the earlier survey is another one: %d octets, were %d (%v)", len(now), len(earlier), err)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	runs := o.folder(nights, nil)
	random := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 4))
	rooms := []int{0, 4 << 10, 40 << 10, 120 << 10, 250 << 10, 450 << 10}
	for range rounds(0) {
		rooms = append(rooms, random.IntN(700<<10))
	}
	failed := 0
	for _, room := range rooms {
		ballast := leave(t, dir, room)
		l := o.nightly(nights).run()
		switch l.status {
		case 0:
		case 1:
			failed++
			if !strings.Contains(l.said.String(), "disk is full") && !strings.Contains(l.said.String(), "no space left") {
				t.Errorf("%d octets of room: %s", room, l.said.String())
			}
		default:
			t.Errorf("%d octets of room: status %d\n%s", room, l.status, l.said.String())
		}
		if left := temporary(t, nights); len(left) > 0 {
			t.Errorf("%d octets of room: left over: %v", room, left)
		}
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
		runs = o.folder(nights, runs)
	}
	t.Logf("%d of %d runs met a full disk", failed, len(rooms))
	if failed == 0 {
		t.Error("no run met a full disk: the rooms are too large to show anything")
	}
	o.nightly(nights).run().wants(0)
	if after := o.folder(nights, runs); len(after) != len(runs)+1 {
		t.Errorf("%d runs, want one more than %d", len(after), len(runs))
	}
}

// On a disk that can only be read a run says so and changes nothing; a history
// there can be looked at, and reports that go elsewhere are written and marked.
func TestReadOnlyFolder(t *testing.T) {
	o := openQuay(t)
	dir := disk(t, 6<<20)
	monday, nights := o.keep(dir)
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	o.sweep(monday).run().wants(1, "monday.json", "not writable")
	o.nightly(nights).run().wants(1, "read-only")
	db := filepath.Join(nights, "history.db")
	o.look("history", "check", "--history", db).run().wants(0, "sound")
	o.look("trend", "--history", db).run().wants(0)
	elsewhere := filepath.Join(t.TempDir(), "reports")
	o.nightly(elsewhere, "--history", db).run().wants(1, "partial", "not kept")
	if n, partial := o.survey(filepath.Join(elsewhere, "latest-survey.json")); n != len(o.targets) || !partial {
		t.Errorf("%d devices, partial %v", n, partial)
	}
	if n, _ := o.survey(monday); n != len(o.targets) {
		t.Errorf("the earlier survey has %d devices", n)
	}
	o.folder(nights, nil)
}

// usual is how long a run takes here that nobody disturbs.
func usual(look func() *look) time.Duration {
	look().run().wants(0) // the first one reads the program from the disk
	return look().run().wants(0).took
}

// someMoment is a random moment of a run, each second one near its end.
func someMoment(random *rand.Rand, i int, usual time.Duration) time.Duration {
	if i%2 == 1 {
		return usual*8/10 + time.Duration(random.Int64N(int64(usual)*3/10))
	}
	return time.Duration(random.Int64N(int64(usual)))
}

// A sweep is killed at random moments: the file holds the earlier survey or the
// new one, never half of it. (For nights: TestNightlyKilledAtAnyMoment.)
func TestSweepKilledAtAnyMoment(t *testing.T) {
	o := openQuay(t)
	dir := t.TempDir()
	out := filepath.Join(dir, "monday.json")
	takes := usual(func() *look { return o.sweep(out) })
	random := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 5))
	killed, i, n := 0, 0, rounds(4)
	for ; killed < n && i < 8*n; i++ {
		if o.sweep(out).signalled(syscall.SIGKILL, someMoment(random, i, takes)).status < 0 {
			killed++
		}
		if devices, partial := o.survey(out); devices != len(o.targets) || partial {
			t.Errorf("kill %d: %d devices, partial %v", i, devices, partial)
		}
	}
	t.Logf("%d runs, %d killed, %d temporary files left", i, killed, len(temporary(t, dir)))
	if killed == 0 {
		t.Error("nothing was killed")
	}
}

// A run that is asked to end ends soon: with what it has, marked partial, or
// with what was there before.
func TestAskedToEndAtAnyMoment(t *testing.T) {
	o := openQuay(t)
	dir := t.TempDir()
	out, nights := filepath.Join(dir, "monday.json"), filepath.Join(dir, "nights")
	takes := [2]time.Duration{usual(func() *look { return o.sweep(out) }), usual(func() *look { return o.nightly(nights) })}
	runs := o.folder(nights, nil)
	random := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 6))
	statuses := map[int]int{}
	for i := range rounds(8) {
		signal := []os.Signal{syscall.SIGINT, syscall.SIGTERM}[i/2%2]
		l := o.sweep(out)
		if i%2 == 1 {
			l = o.nightly(nights)
		}
		after := someMoment(random, i/2, takes[i%2])
		l.signalled(signal, after)
		statuses[l.status]++
		// Before the program listens to signals they end it at once.
		if l.status != 0 && l.status != 1 && l.status != 5 && l.status != -1 {
			t.Errorf("%v after %s: status %d\n%s", signal, after, l.status, l.said.String())
		}
		if l.took > after+20*time.Second {
			t.Errorf("%v after %s: it ended after %s\n%s", signal, after, l.took, l.said.String())
		}
		if devices, partial := o.survey(out); devices < len(o.targets) && !partial {
			t.Errorf("%v after %s: %d devices and not marked partial\n%s", signal, after, devices, l.said.String())
		}
		runs = o.folder(nights, runs)
		if left := append(temporary(t, dir), temporary(t, nights)...); len(left) > 0 && l.status >= 0 {
			t.Errorf("%v after %s: left over: %v", signal, after, left)
		}
	}
	t.Logf("statuses (-1: ended before it listened): %v", statuses)
	o.nightly(nights).run().wants(0)
}

// With hardly any file to open a run says what is missing, or does with fewer;
// what was there before stays.
func TestFewFiles(t *testing.T) {
	o := openQuay(t)
	out, nights := o.keep(t.TempDir())
	runs := o.folder(nights, nil)
	statuses := map[int]int{}
	// With 7 the Go runtime has none to wait for the network with, and ends.
	for _, files := range []int{8, 9, 10, 12, 14, 17, 24, 48} {
		for _, l := range []*look{o.sweep(out), o.nightly(nights)} {
			l.limited("-n " + strconv.Itoa(files)).run()
			statuses[l.status]++
			said := l.said.String()
			if l.status != 0 && l.status != 1 || l.status == 1 && !strings.Contains(said, "open no more files") && !strings.Contains(said, "too many open files") && !strings.Contains(said, "too few files") {
				t.Errorf("%d files: status %d\n%s", files, l.status, said)
			}
			if l.status == 0 && strings.Contains(said, "open files") && !strings.Contains(said, "--concurrency") || strings.Contains(said, "no route") {
				t.Errorf("%d files: a survey that could not ask passes for a whole one\n%s", files, said)
			}
		}
		o.survey(out)
		runs = o.folder(nights, runs)
	}
	t.Logf("statuses: %v", statuses)
	o.nightly(nights).run().wants(0)
}

// A soft limit on memory costs time, no device; a hard one that ends the
// program takes nothing with it that was there before.
func TestLittleMemory(t *testing.T) {
	o := openQuay(t)
	dir := t.TempDir()
	out, nights := filepath.Join(dir, "monday.json"), filepath.Join(dir, "nights")
	for _, l := range []*look{o.sweep(out), o.nightly(nights)} {
		l.Env = append(l.Env, "GOMEMLIMIT=2MiB")
		l.run().wants(0)
	}
	if n, partial := o.survey(out); n != len(o.targets) || partial {
		t.Errorf("%d devices, partial %v", n, partial)
	}
	runs := o.folder(nights, nil)
	statuses := map[int]int{}
	for _, kib := range []int{60_000, 300_000, 900_000, 1_400_000} {
		for _, l := range []*look{o.sweep(out), o.nightly(nights)} {
			l.limited("-v " + strconv.Itoa(kib))
			_ = l.Cmd.Run() // the status tells
			statuses[l.ProcessState.ExitCode()]++
		}
		o.survey(out)
		runs = o.folder(nights, runs)
	}
	t.Logf("statuses under a hard limit: %v", statuses)
	o.nightly(nights).run().wants(0)
}

// Name servers that are not there or say nothing cost the names, not the run.
func TestNamesCannotBeLookedUp(t *testing.T) {
	if os.Getenv("PRINTROUND_TEST_ALONE") == "" {
		needtest.Missing(t, "needs root, for a mount namespace of its own")
	}
	silent, err := net.ListenPacket("udp4", "127.0.0.98:53")
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	o := openQuay(t)
	resolv, err := filepath.EvalSymlinks("/etc/resolv.conf")
	if err != nil {
		needtest.Missing(t, "no /etc/resolv.conf to put another one over: %v", err)
	}
	for name, server := range map[string]string{"nobody there": "127.0.0.97", "says nothing": "127.0.0.98"} {
		t.Run(name, func(t *testing.T) {
			own := filepath.Join(t.TempDir(), "resolv.conf")
			if err := os.WriteFile(own, []byte("nameserver "+server+"\n"), 0o644); err != nil {
				t.Fatal(err)
			}
			if err := unix.Mount(own, resolv, "", unix.MS_BIND, ""); err != nil {
				t.Fatal(err)
			}
			defer func() { _ = unix.Unmount(resolv, unix.MNT_DETACH) }()
			o.siteOf(append(slices.Clone(o.targets), "printer.example", "other.example")...)
			out := filepath.Join(t.TempDir(), "monday.json")
			l := o.sweep(out).run().wants(1, "printer.example", "other.example", "partial")
			if n, partial := o.survey(out); n != len(o.targets) || !partial {
				t.Errorf("%d devices, partial %v\n%s", n, partial, l.said.String())
			}
			t.Logf("it took %s: %s", l.took.Round(100*time.Millisecond), tail(l.said.String(), 4))
		})
	}
}

// With every interface down nothing is held to be silent: it is this machine
// that hears nothing.
func TestInterfaceDown(t *testing.T) {
	if os.Getenv("PRINTROUND_TEST_ALONE") == "" {
		needtest.Missing(t, "needs root, for a network namespace of its own")
	}
	o := openQuay(t)
	out, nights := o.keep(t.TempDir())
	o.nightly(nights).run().wants(0)
	runs := o.folder(nights, nil)
	down := func(l *look) *look {
		l.SysProcAttr = &syscall.SysProcAttr{Cloneflags: unix.CLONE_NEWNET}
		return l.run()
	}
	for range 3 {
		down(o.nightly(nights)).wants(5, "network is unreachable", "own network first")
	}
	after := o.folder(nights, runs)
	for _, r := range after[len(runs):] {
		if r.Missed != 0 {
			t.Errorf("a run without a network holds %d devices to have missed", r.Missed)
		}
	}
	down(o.sweep(out)).wants(5, "network is unreachable")
	l := o.nightly(nights).run().wants(0)
	if strings.Contains(l.said.String(), "silent:") {
		t.Errorf("devices were held to be silent: %s", l.said.String())
	}
}
