package main

import (
	"context"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"printround/internal/history"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/report"
)

// The clock of the machine is moved while runs are under way: hours forwards
// and days back, at every look at it. Waiting goes by monotonic time, so every
// device is read and every run ends; each night is kept, and the history stays
// sound.
func TestClockMoved(t *testing.T) {
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	out := filepath.Join(t.TempDir(), "nights")
	args := loadedArgs(t, l, loadedSite(t, l, 365), out)
	quiet, err := os.OpenFile(os.DevNull, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer quiet.Close()
	start := time.Date(2026, 10, 24, 17, 30, 0, 0, time.UTC)
	for name, step := range map[string][]time.Duration{
		"hours forwards":   {7 * time.Hour},
		"a day back":       {-25 * time.Hour},
		"to and fro":       {26 * time.Hour, -31 * time.Hour, 90 * time.Minute},
		"back to 1970":     {-20_000 * 24 * time.Hour, 20_000 * 24 * time.Hour},
		"stands still":     {0},
		"years and a leap": {400 * 24 * time.Hour, -399 * 24 * time.Hour},
	} {
		t.Run(name, func(t *testing.T) {
			var looks atomic.Int64
			now := func() time.Time {
				n := looks.Add(1)
				at := start.Add(time.Duration(n) * time.Second)
				for i := range n {
					at = at.Add(step[int(i)%len(step)])
				}
				return at
			}
			a := &app{stdin: quiet, stdout: quiet, stderr: quiet, now: now, lookupEnv: func(string) (string, bool) { return "", false }}
			c := newNightly(a)
			c.SetArgs(args[1:])
			if err := c.ExecuteContext(context.Background()); err != nil {
				t.Errorf("the run: %v", err)
			}
			f, err := os.Open(filepath.Join(out, "latest-survey.json"))
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			v, err := report.Read(f)
			if err != nil || v.Partial || len(v.Devices) != len(loadedDevices) {
				t.Fatalf("%v: %+v", err, v)
			}
			for _, d := range v.Devices {
				if !history.Answered(&d) {
					t.Errorf("%s was not read: %v", d.Key, d.Errors)
				}
			}
		})
	}
	s := consistent(t, out)
	if v, err := s.Check(context.Background()); err != nil || v.Runs != 6 {
		t.Errorf("%d runs are kept (%v), want 6", v.Runs, err)
	}
}
