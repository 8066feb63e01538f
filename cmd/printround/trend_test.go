package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/lab"
)

// simulated writes a simulated history into a file of its own and returns its
// path.
func simulated(t testing.TB, o lab.NightsOptions) string {
	t.Helper()
	h, err := lab.SimulateNights(o)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "history.db")
	if _, err := writeNights(context.Background(), path, h); err != nil {
		t.Fatal(err)
	}
	return path
}

// run runs a command line as of a fixed day and returns what it wrote.
func runTrend(t testing.TB, args ...string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "out")
	zone, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	a := &app{stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, now: func() time.Time { return time.Date(2026, 7, 4, 9, 0, 0, 0, zone) }, lookupEnv: func(string) (string, bool) { return "", false }}
	if status := a.run(context.Background(), append(append([]string{"trend"}, args...), "--out", out)); status != exitDone {
		t.Fatalf("trend %v: status %d", args, status)
	}
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// scores are the columns of one line of the back-test.
type scores struct {
	lives, inside             int
	width, off, lastTwo, line float64
}

func scoresOf(t testing.TB, text, kind string) scores {
	t.Helper()
	for line := range strings.Lines(text) {
		f := regexp.MustCompile(` {2,}`).Split(strings.TrimSpace(line), -1)
		if f[0] != kind || len(f) < 7 {
			continue
		}
		n := func(i int) float64 {
			v, err := strconv.ParseFloat(strings.TrimSuffix(f[i], " %"), 64)
			if err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			return v
		}
		return scores{int(n(1)), int(n(2)), n(3), n(4), n(5), n(6)}
	}
	t.Fatalf("no line %q in\n%s", kind, text)
	return scores{}
}

// The forecasts against the truth of a simulated history. The limits are the
// project's own aims for the interval, and that the simple rules are beaten at
// all: how far is a question of many histories, see BenchmarkBacktest.
func TestBacktestOfASimulatedHistory(t *testing.T) {
	path := simulated(t, lab.NightsOptions{Seed: 42, Nights: 120, Devices: 60})
	text := runTrend(t, "--backtest", "--history", path, "--plain")
	s := scoresOf(t, text, "all")
	if s.inside < 70 || s.inside > 90 {
		t.Errorf("%d %% inside the interval, wanted 80\n%s", s.inside, text)
	}
	if s.off >= s.line || s.off >= s.lastTwo {
		t.Errorf("off by %.1f days, the simple rules by %.1f and %.1f\n%s", s.off, s.lastTwo, s.line, text)
	}
	// Without the truth the nights speak for themselves.
	if err := os.Remove(truthPath(path)); err != nil {
		t.Fatal(err)
	}
	text = runTrend(t, "--backtest", "--history", path, "--plain")
	if !strings.Contains(text, "The truth is what the nights show") {
		t.Errorf("it does not say where its truth is from:\n%s", text)
	}
	if s := scoresOf(t, text, "all"); s.lives < 50 {
		t.Errorf("only %d lives seen by the nights alone\n%s", s.lives, text)
	}
}

// BenchmarkBacktest measures how good the dates are, on seeds that the forecasts
// were not made with, as it is and with changed settings: the table of the
// developers' page.
//
//	go test -run '^$' -bench Backtest -benchtime 1x ./cmd/printround
func BenchmarkBacktest(b *testing.B) {
	for _, c := range []struct {
		name string
		o    lab.NightsOptions
	}{
		{"as it is", lab.NightsOptions{}}, {"volume x 3", lab.NightsOptions{Volume: 3}},
		{"steps of 20 %", lab.NightsOptions{Step: 20}}, {"30 % missing", lab.NightsOptions{Missing: 0.3}},
	} {
		for seed := int64(201); seed <= 205; seed++ {
			b.Run(fmt.Sprintf("%s/%d", c.name, seed), func(b *testing.B) {
				o := c.o
				o.Seed, o.Nights = seed, 180
				for b.Loop() {
					s := scoresOf(b, runTrend(b, "--backtest", "--history", simulated(b, o), "--plain"), "all")
					b.ReportMetric(float64(s.lives), "lives")
					b.ReportMetric(float64(s.inside), "inside_%")
					b.ReportMetric(s.width, "width_days")
					b.ReportMetric(s.off, "error_days")
					b.ReportMetric(s.off/min(s.lastTwo, s.line), "by_better_rule")
				}
			})
		}
	}
}
