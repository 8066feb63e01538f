package main

import (
	"bytes"
	"context"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/history"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/report"
)

// The command is killed at random moments, without a chance to clean up: no
// night that was kept is lost or half there, the latest files are whole, the
// folder says that a run did not finish, and the next run goes through.
// PRINTROUND_KILLS says how often, 100 before a release.
func TestNightlyKilledAtAnyMoment(t *testing.T) {
	kills := 2
	if v, err := strconv.Atoi(os.Getenv("PRINTROUND_KILLS")); err == nil {
		kills = v
	}
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	snmp, ipp := portsOf(t, l)
	dir := t.TempDir()
	path, err := l.WriteSite(dir)
	if err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "nights")
	args := []string{"printround", "nightly", "--site", path, "--out", out, "--no-mdns", "--timeout", "500ms", "--pace", "20000",
		"--snmp-port", strconv.Itoa(int(snmp)), "--ipp-port", strconv.Itoa(int(ipp))}
	began := time.Now()
	if said, err := nightlyChild(t, args, -1); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	usual := time.Since(began)
	seed := uint64(began.UnixNano())
	random := rand.New(rand.NewPCG(seed, 2))
	t.Logf("seed %d, a run takes %s, %d kills", seed, usual.Round(time.Millisecond), kills)
	kept, unfinished := keptRuns(t, out), 0
	for i := range kills {
		// Most of a run is waiting for answers; half of the kills go to its end.
		after := time.Duration(random.Int64N(int64(usual)))
		if i%2 == 1 {
			after = usual*9/10 + time.Duration(random.Int64N(int64(usual)/5))
		}
		said, err := nightlyChild(t, args, after)
		now := keptRuns(t, out)
		if len(now) < len(kept) {
			t.Fatalf("kill %d after %s: %d runs, there were %d\n%s", i, after, len(now), len(kept), said)
		}
		for n, r := range kept {
			if now[n] != r {
				t.Errorf("kill %d after %s: run %d has %d nights, it had %d", i, after, n, now[n], r)
			}
		}
		kept = now
		f, e := os.Open(filepath.Join(out, "latest-survey.json"))
		if e != nil {
			t.Fatal(e)
		}
		if _, e := report.Read(f); e != nil {
			t.Errorf("kill %d after %s: the latest survey: %v", i, after, e)
		}
		f.Close()
		if _, e := os.Stat(filepath.Join(out, "run-not-finished.txt")); e == nil {
			unfinished++
		} else if err != nil && after > usual/2 && len(said) == 0 {
			t.Logf("kill %d after %s came before or after everything", i, after)
		}
	}
	said, err := nightlyChild(t, args, -1)
	if err != nil {
		t.Fatalf("after the kills: %v\n%s", err, said)
	}
	if _, err := os.Stat(filepath.Join(out, "run-not-finished.txt")); err == nil {
		t.Error("a run that finished left its mark")
	}
	t.Logf("%d of %d kills left a run that did not finish; %d runs kept", unfinished, kills, len(keptRuns(t, out)))
}

// nightlyChild runs the command in a process of its own, and kills it after
// that time unless it is negative.
func nightlyChild(t *testing.T, args []string, after time.Duration) (said string, err error) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := &exec.Cmd{Path: self, Args: args}
	c.Env = append(os.Environ(), "NO_COLOR=1")
	var b bytes.Buffer
	c.Stdout, c.Stderr = &b, &b
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	if after >= 0 {
		timer := time.AfterFunc(after, func() { _ = c.Process.Kill() })
		defer timer.Stop()
	}
	err = c.Wait()
	return strings.TrimSpace(b.String()), err
}

// keptRuns returns how many nights each run has, after it was found sound.
func keptRuns(t *testing.T, out string) []int {
	t.Helper()
	ctx := context.Background()
	s, err := history.Open(filepath.Join(out, historyName), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	v, err := s.Check(ctx)
	if err != nil || len(v.Problems) > 0 {
		t.Fatalf("%v %v", v.Problems, err)
	}
	runs, err := s.Runs(ctx, time.Time{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	var counts []int
	total := 0
	for _, r := range runs {
		counts = append(counts, r.Answered)
		total += r.Answered
	}
	if int64(total) != v.Nights {
		t.Fatalf("%d nights, the runs say %d", v.Nights, total)
	}
	return counts
}
