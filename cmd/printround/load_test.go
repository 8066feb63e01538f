package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/history"
	"printround/internal/lab"
	"printround/internal/labtest"
)

// loadedDevices are the lab's devices that the runs look at: a laser, a colour
// copier with a finisher, a wide-format inkjet.
var loadedDevices = []string{"front-desk", "copy-1", "studio"}

// loadedSite writes a site file with those devices only.
func loadedSite(t *testing.T, l *lab.Lab, keepDays int) (path string) {
	t.Helper()
	dir := t.TempDir()
	var targets []string
	community := ""
	for _, d := range l.Devices() {
		if slices.Contains(loadedDevices, d.Name) {
			targets = append(targets, strconv.Quote(d.Addr.String()))
			community = d.Community
		}
	}
	text := fmt.Sprintf("[report]\nkeep_days = %d\n[[site]]\nname = \"North quay\"\ntargets = [%s]\n  [[site.credential]]\n  version = \"2c\"\n  community_file = \"north.community\"\n",
		keepDays, strings.Join(targets, ", "))
	path = filepath.Join(dir, "printround.toml")
	for file, content := range map[string]string{path: text, filepath.Join(dir, "north.community"): community} {
		if err := os.WriteFile(file, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

// loadedArgs is the command line of a run on the lab.
func loadedArgs(t *testing.T, l *lab.Lab, path, out string) []string {
	t.Helper()
	snmp, ipp := portsOf(t, l)
	return []string{"nightly", "--site", path, "--out", out, "--no-mdns", "--timeout", "400ms", "--retries", "1",
		"--snmp-port", strconv.Itoa(int(snmp)), "--ipp-port", strconv.Itoa(int(ipp))}
}

// held is what a process holds on to between two runs.
type held struct {
	heap                    uint64 // octets in use after a collection
	goroutines, files, temp int
}

// hold measures this process. Connections of the lab, which lives here too, end
// a moment after their readers; so it is asked until nothing is above most.
func hold(t *testing.T, temp string, most held) held {
	t.Helper()
	var h held
	for range 50 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		h = held{heap: m.HeapAlloc, goroutines: runtime.NumGoroutine(), files: entries("/proc/self/fd"), temp: entries(temp)}
		if h.goroutines <= most.goroutines && h.files <= most.files {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	return h
}

// entries counts what is in a folder; 0 where there is none.
func entries(dir string) int {
	list, err := os.ReadDir(dir)
	if err != nil {
		return 0
	}
	return len(list)
}

// TestNightsInALoop runs the command a night after the other in one process,
// over a lab in which things break and are mended, with a clock that goes on a
// day a run: no goroutine, file, temporary file or memory is left behind, and
// the history holds together. PRINTROUND_NIGHTS says how many, 2000 before a
// release:
//
//	PRINTROUND_NIGHTS=2000 go test -run TestNightsInALoop -timeout 60m -v ./cmd/printround
func TestNightsInALoop(t *testing.T) {
	nights := 30
	if v, err := strconv.Atoi(os.Getenv("PRINTROUND_NIGHTS")); err == nil {
		nights = v
	}
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	keepDays := max(nights/5, 10)
	now := time.Date(2026, 3, 2, 17, 30, 0, 0, time.UTC)
	l := labtest.Start(t, lab.Options{NoMDNS: true, Now: func() time.Time { return now }})
	out := filepath.Join(t.TempDir(), "nights")
	args := loadedArgs(t, l, loadedSite(t, l, keepDays), out)
	quiet, err := os.OpenFile(os.DevNull, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer quiet.Close()
	a := &app{stdin: quiet, stdout: quiet, stderr: quiet, now: func() time.Time { return now }, lookupEnv: func(string) (string, bool) { return "", false }}
	var first, last held
	through := 0
	began := time.Now()
	every := max(nights/10, 5)
	for n := range nights {
		turnLoaded(t, l, n)
		// Without the root command: its library keeps the words that complete a flag
		// for as long as the process lives, 4 KiB for each root that is made.
		c := newNightly(a)
		c.SetArgs(args[1:])
		if err := c.ExecuteContext(context.Background()); err != nil {
			t.Errorf("run %d: %v", n, err)
		} else {
			through++
		}
		now = now.AddDate(0, 0, 1)
		if n%every != every-1 {
			continue
		}
		last = hold(t, temp, first)
		t.Logf("%5d runs in %s: heap %d KiB, %d goroutines, %d files, %d temporary", n+1,
			time.Since(began).Round(time.Second), last.heap>>10, last.goroutines, last.files, last.temp)
		// Charts and forecasts look back over what is kept, so memory is compared
		// from when the first nights are forgotten.
		if first == (held{}) || n < keepDays {
			first = last
		}
		forgetFiles(t, out, now.AddDate(0, 0, -3))
	}
	t.Logf("%d of %d runs went through", through, nights)
	// A connection of the lab may be on its way out at either moment.
	if last.goroutines > first.goroutines+4 || last.files > first.files+2 || last.temp > first.temp || last.heap > first.heap+2<<20 {
		t.Errorf("held at the end: %+v, before: %+v", last, first)
	}
	s := consistent(t, out)
	runs, err := s.Runs(context.Background(), now.AddDate(0, 0, -keepDays), time.Time{})
	if want := min(nights, keepDays); err != nil || len(runs) != want {
		t.Errorf("%d runs of the last %d days are kept, want %d: %v", len(runs), keepDays, want, err)
	}
}

// turnLoaded breaks, mends, hides and shows devices, another each night.
func turnLoaded(t *testing.T, l *lab.Lab, n int) {
	t.Helper()
	name := loadedDevices[n%len(loadedDevices)]
	fault := []string{"none", "cover-open", "none", "offline", "cover-open,offline"}[n%5]
	if err := l.Change(name, fault); err != nil {
		t.Fatal(err)
	}
	if n%11 == 3 || n%11 == 5 { // two nights of silence, so that it is told
		if err := l.Hide(loadedDevices[n/11%len(loadedDevices)], n%11 == 3, n%11 == 3); err != nil {
			t.Fatal(err)
		}
	}
}

// forgetFiles removes the files of nights before a date, as an operator does.
func forgetFiles(t *testing.T, out string, before time.Time) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(out, "2*-*-*-*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if filepath.Base(f) < before.Format(time.DateOnly) {
			if err := os.Remove(f); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// consistent holds the history of the runs against what must be in it, and the
// folder against what may be left there. It returns the history.
func consistent(t *testing.T, out string) *history.Store {
	t.Helper()
	ctx := context.Background()
	s, err := history.Open(filepath.Join(out, historyName), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	v, err := s.Check(ctx)
	if err != nil || len(v.Problems) > 0 {
		t.Fatalf("history: %v %v", v.Problems, err)
	}
	devices, err := s.Devices(ctx)
	if err != nil || len(devices) != len(loadedDevices) {
		t.Errorf("%d devices (%v), want %d", len(devices), err, len(loadedDevices))
	}
	t.Logf("history: %d runs, %d nights, %d KiB", v.Runs, v.Nights, size(t, s.Path())>>10)
	left, err := filepath.Glob(filepath.Join(out, ".*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left in the folder: %v %v", left, err)
	}
	if _, err := os.Stat(filepath.Join(out, "run-not-finished.txt")); err == nil {
		t.Error("the folder says that a run did not finish")
	}
	return s
}

func size(t *testing.T, path string) int64 {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}

// TestNightsAsProcesses does the same with a process a run, a tenth as often,
// two at the same time every third time: one of them is told that the other is
// under way, and nothing is lost.
func TestNightsAsProcesses(t *testing.T) {
	nights := 6
	if v, err := strconv.Atoi(os.Getenv("PRINTROUND_NIGHTS")); err == nil {
		nights = max(v/10, 6)
	}
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	out := filepath.Join(t.TempDir(), "nights")
	args := loadedArgs(t, l, loadedSite(t, l, 365), out)
	began, done := time.Now(), 0
	for n := range nights {
		turnLoaded(t, l, n)
		one := startLoaded(t, args)
		if n%3 == 2 {
			other := startLoaded(t, args)
			if err := other.Wait(); err == nil {
				done++ // it came when the first one had finished, or before it began
			} else if !strings.Contains(other.said.String(), "another run is using the history") {
				t.Errorf("run %d, the second: %v\n%s", n, err, other.said.String())
			}
		}
		switch err := one.Wait(); {
		case err == nil:
			done++
		case n%3 != 2 || !strings.Contains(one.said.String(), "another run is using the history"):
			t.Errorf("run %d: %v\n%s", n, err, one.said.String())
		}
	}
	t.Logf("%d runs and their doubles in %s, %d went through", nights, time.Since(began).Round(time.Second), done)
	if n := entries(temp); n > 0 {
		t.Errorf("%d temporary files are left", n)
	}
	s := consistent(t, out)
	runs, err := s.Runs(context.Background(), time.Time{}, time.Time{})
	if err != nil || len(runs) != done {
		t.Errorf("%d runs are kept, %d said so: %v", len(runs), done, err)
	}
}

// loaded is a run in a process of its own.
type loaded struct {
	*exec.Cmd
	said strings.Builder
}

func startLoaded(t *testing.T, args []string) *loaded {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := &loaded{Cmd: &exec.Cmd{Path: self, Args: append([]string{"printround"}, args...), Env: append(os.Environ(), "NO_COLOR=1")}}
	c.Stdout, c.Stderr = &c.said, &c.said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	return c
}
