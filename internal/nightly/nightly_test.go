package nightly

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/netip"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/history"
	"printround/internal/needtest"
	"printround/internal/report"
)

var dublin = mustLoad("Europe/Dublin")

func mustLoad(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

// at reads a moment of local time, such as Mon 2026-03-02 17:30.
func at(t *testing.T, s string) time.Time {
	t.Helper()
	m, err := time.ParseInLocation("Mon 2006-01-02 15:04", s, dublin)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestCountOfMisses(t *testing.T) {
	for _, c := range []struct {
		name    string
		history []string // + answered, - missed
		now     string
		want    int
	}{
		{"the first miss", []string{"+Mon 2026-03-02 17:30"}, "Tue 2026-03-03 17:30", 1},
		{"the second", []string{"+Mon 2026-03-02 17:30", "-Tue 2026-03-03 17:30"}, "Wed 2026-03-04 17:30", 2},
		{"an answer in between", []string{"+Mon 2026-03-02 17:30", "-Tue 2026-03-03 17:30", "+Wed 2026-03-04 17:30"}, "Thu 2026-03-05 17:30", 1},
		{"never answered, though expected", []string{"-Mon 2026-03-02 17:30"}, "Tue 2026-03-03 17:30", 2},
		{"unknown to the history", nil, "Tue 2026-03-03 17:30", 1},
		{"at an hour when it never answers", []string{"-Mon 2026-03-02 02:30", "+Mon 2026-03-02 12:00", "-Tue 2026-03-03 02:30", "+Tue 2026-03-03 12:00", "-Wed 2026-03-04 02:30"}, "Thu 2026-03-05 02:30", 0},
		{"its hours count on", []string{"-Mon 2026-03-02 02:30", "+Mon 2026-03-02 12:00", "-Tue 2026-03-03 02:30", "-Tue 2026-03-03 12:00", "-Wed 2026-03-04 02:30"}, "Wed 2026-03-04 12:00", 2},
		{"half of the nights are enough", []string{"+Mon 2026-03-02 17:30", "-Tue 2026-03-03 17:30", "+Wed 2026-03-04 17:30", "-Thu 2026-03-05 17:30"}, "Fri 2026-03-06 17:30", 2},
		{"nobody ever asked at a weekend", []string{"+Thu 2026-03-05 17:30", "+Fri 2026-03-06 17:30", "-Sat 2026-03-07 17:30"}, "Sun 2026-03-08 17:30", 0},
		{"a weekend between two working days", []string{"+Thu 2026-03-05 17:30", "-Fri 2026-03-06 17:30", "-Sat 2026-03-07 17:30", "-Sun 2026-03-08 17:30"}, "Mon 2026-03-09 17:30", 2},
		{"twice within the hour is once", []string{"+Mon 2026-03-02 17:30", "-Tue 2026-03-03 17:00"}, "Tue 2026-03-03 17:40", 1},
		{"a little earlier or later is the same hour", []string{"+Mon 2026-03-02 17:30", "-Tue 2026-03-03 18:20"}, "Wed 2026-03-04 16:40", 2},
		{"around midnight", []string{"+Mon 2026-03-02 23:50", "-Wed 2026-03-04 00:10"}, "Wed 2026-03-04 23:40", 2},
		// Clocks went forward on 2026-03-29 (Standard Time (Amendment) Act 1971 and Directive 2000/84/EC, from memory).
		{"summer time begins", []string{"+Thu 2026-03-26 17:30", "+Fri 2026-03-27 17:30", "-Mon 2026-03-30 17:30"}, "Tue 2026-03-31 17:30", 2},
		{"misses of long ago do not hide its hours", append(slices.Repeat([]string{"-Mon 2025-11-03 17:30"}, 5), "+Mon 2026-03-02 17:30", "-Tue 2026-03-03 17:30"), "Wed 2026-03-04 17:30", 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			var attempts []history.Attempt
			for _, s := range c.history {
				attempts = append(attempts, history.Attempt{At: at(t, s[1:]), Answered: s[0] == '+'})
			}
			if got := count(attempts, at(t, c.now), dublin).counted; got != c.want {
				t.Errorf("%d misses, want %d", got, c.want)
			}
		})
	}
}

// printer is a judged device that answered, or did not.
func printer(n int, answered bool, when time.Time, faults ...string) device.Device {
	d := device.Device{Key: fmt.Sprintf("serial:okvarna-l:OK%04d", n), Role: device.RolePrinter, Name: device.Text(fmt.Sprintf("Printer %d", n)),
		ObservedAt: when, Addresses: []netip.Addr{netip.AddrFrom4([4]byte{10, 1, 1, byte(n)})}}
	d.Aliases = []string{d.Key}
	d.Reached.SNMP.Tried = true
	d.Reached.SNMP.OK, d.Reached.IPP.OK = answered, answered
	if answered {
		d.State.Device, d.State.Printer = "running", "idle"
		d.State.Reasons = faults
	}
	finding.Judge(&d, finding.Defaults())
	return d
}

func surveyOf(when time.Time, devices ...device.Device) *device.Survey {
	return &device.Survey{Schema: device.SurveySchema, Started: when, Finished: when, Scope: device.Scope{Addresses: 254, Answered: len(devices)}, Devices: devices}
}

func open(t *testing.T) *history.Store {
	t.Helper()
	s, err := history.Open(filepath.Join(t.TempDir(), "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func keep(t *testing.T, s *history.Store, v *device.Survey, reported bool) {
	t.Helper()
	run, err := Keep(context.Background(), s, v, history.RunInfo{}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	if reported {
		if err := s.SetReported(context.Background(), run); err != nil {
			t.Fatal(err)
		}
	}
}

func attention(v *device.Survey, n int) device.Attention {
	i := slices.IndexFunc(v.Devices, func(d device.Device) bool { return d.Name == device.Text(fmt.Sprintf("Printer %d", n)) })
	return v.Devices[i].Attention
}

// One miss is a note and what was known stands; the second makes it silent; the
// answer after that clears it.
func TestSilence(t *testing.T) {
	s := open(t)
	day := func(n int) time.Time { return time.Date(2026, 3, 2+n, 17, 30, 0, 0, time.UTC) }
	keep(t, s, surveyOf(day(0), printer(1, true, day(0)), printer(2, true, day(0), "media-jam-error")), true)

	v := surveyOf(day(1), printer(1, false, day(1)), printer(2, false, day(1)))
	keep(t, s, v, true)
	if attention(v, 1) != device.Clear || attention(v, 2) == device.Silent || attention(v, 2) == device.Clear {
		t.Errorf("after one miss: %s and %s", attention(v, 1), attention(v, 2))
	}
	if v.Devices[0].Name != "Printer 2" || !strings.Contains(v.Devices[0].Why(), "jam") {
		t.Errorf("the first row is %s: %s", v.Devices[0].Name, v.Devices[0].Why())
	}
	if n := len(v.Changes.New) + len(v.Changes.Cleared) + len(v.Changes.Silent); n > 0 {
		t.Errorf("a first miss is told: %+v", v.Changes)
	}
	v = surveyOf(day(2), printer(1, false, day(2)), printer(2, true, day(2), "media-jam-error"))
	keep(t, s, v, true)
	if attention(v, 1) != device.Silent || len(v.Changes.Silent) != 1 || len(v.Changes.New)+len(v.Changes.Cleared) > 0 {
		t.Errorf("after two misses: %s, %+v", attention(v, 1), v.Changes)
	}
	v = surveyOf(day(3), printer(1, true, day(3)), printer(2, true, day(3)))
	keep(t, s, v, true)
	if attention(v, 1) != device.Clear || len(v.Changes.Cleared) != 2 || len(v.Changes.Silent) > 0 {
		t.Errorf("after the answer: %s, %+v", attention(v, 1), v.Changes)
	}
}

// A run that could not ask everybody misses nobody, and does not make anybody
// look well either.
func TestARunThatCouldNotAsk(t *testing.T) {
	s := open(t)
	when := time.Date(2026, 3, 2, 17, 30, 0, 0, time.UTC)
	keep(t, s, surveyOf(when, printer(1, true, when)), true)
	next := when.AddDate(0, 0, 1)
	v := surveyOf(next, printer(1, false, next))
	if _, err := Keep(context.Background(), s, v, history.RunInfo{NoMisses: true}, time.UTC); err != nil {
		t.Fatal(err)
	}
	if attention(v, 1) != device.Silent {
		t.Errorf("it is %s", attention(v, 1))
	}
	known, err := s.Devices(context.Background())
	if err != nil || known[0].Misses != 0 {
		t.Errorf("%+v %v", known, err)
	}
}

// Changes are told until a report with them was written.
func TestChangesWaitForAReport(t *testing.T) {
	s := open(t)
	day := func(n int) time.Time { return time.Date(2026, 3, 2+n, 17, 30, 0, 0, time.UTC) }
	keep(t, s, surveyOf(day(0), printer(1, true, day(0))), true)
	keep(t, s, surveyOf(day(1), printer(1, true, day(1), "media-jam-error")), false) // ended before its report
	v := surveyOf(day(2), printer(1, true, day(2), "media-jam-error"))
	keep(t, s, v, true)
	if len(v.Changes.New) != 1 || !v.Changes.Since.Equal(day(0)) {
		t.Errorf("%+v", v.Changes)
	}
}

func TestKnownAndGone(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	first := time.Date(2026, 3, 2, 17, 30, 0, 0, time.UTC)
	keep(t, s, surveyOf(first, printer(1, true, first), printer(2, true, first)), true)
	looked := func(now time.Time) map[string]bool {
		list, err := Known(ctx, s, now)
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]bool{}
		for _, d := range list {
			out[d.Key] = len(d.Addresses) > 0
		}
		return out
	}
	if got := looked(first.AddDate(0, 0, 29)); !got[printer(2, true, first).Key] {
		t.Errorf("after 29 days: %v", got)
	}
	late := first.AddDate(0, 0, 29)
	keep(t, s, surveyOf(late, printer(1, true, late), printer(2, false, late)), true)
	later := first.AddDate(0, 0, 31)
	if got := looked(later); len(got) != 2 || got[printer(2, true, first).Key] || !got[printer(1, true, first).Key] {
		t.Errorf("after 31 days: %v", got)
	}
	v := surveyOf(later, printer(1, true, later))
	keep(t, s, v, true)
	if len(v.Changes.Gone) != 1 || v.Changes.Gone[0].Device != "Printer 2" {
		t.Errorf("gone: %+v", v.Changes.Gone)
	}
	v = surveyOf(later.AddDate(0, 0, 1), printer(1, true, later))
	keep(t, s, v, true)
	if len(v.Changes.Gone) != 0 {
		t.Errorf("gone again: %+v", v.Changes.Gone)
	}
}

func TestFolder(t *testing.T) {
	f := Folder{Dir: filepath.Join(t.TempDir(), "new", "folder")}
	now := time.Date(2026, 3, 2, 17, 31, 0, 0, time.UTC)
	if earlier, err := f.Begin(now); earlier != "" || err != nil {
		t.Fatalf("%q %v", earlier, err)
	}
	if earlier, err := f.Begin(now.Add(time.Hour)); earlier != "2026-03-02 17:31:00" || err != nil {
		t.Fatalf("the run before: %q %v", earlier, err)
	}
	if err := f.Failed(now, errors.New("no\nroom \x1b[31m")); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(f.Dir, unfinished))
	if err != nil || !strings.Contains(string(b), "2026-03-02 17:31:00 failed: no; room") || strings.ContainsRune(string(b), 0x1b) {
		t.Errorf("%q %v", b, err)
	}
	v := surveyOf(now, printer(1, true, now))
	paths, err := f.Write(v, now)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Done(); err != nil {
		t.Fatal(err)
	}
	var names []string
	entries, err := os.ReadDir(f.Dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		names = append(names, e.Name())
	}
	var want []string
	for _, which := range []string{"2026-03-02", "latest"} {
		for _, name := range []string{"devices.csv", "findings.csv", "report.md", "supplies.csv", "survey.json", "trays.csv"} {
			want = append(want, which+"-"+name)
		}
	}
	for _, w := range want {
		if !slices.Contains(names, w) {
			t.Errorf("%s is missing among %v", w, names)
		}
	}
	if slices.Contains(names, unfinished) || len(names) != 2*len(paths) || len(paths) != len(report.Formats())-2+len(report.RowKinds()) {
		t.Errorf("%v, %v", names, paths)
	}
	one, err := os.ReadFile(filepath.Join(f.Dir, "2026-03-02-survey.json"))
	if err != nil {
		t.Fatal(err)
	}
	two, err := os.ReadFile(filepath.Join(f.Dir, "latest-survey.json"))
	if err != nil || !slices.Equal(one, two) {
		t.Errorf("latest is another: %v", err)
	}
	if s, err := report.Read(strings.NewReader(string(two))); err != nil || len(s.Devices) != 1 {
		t.Errorf("%v", err)
	}
}

// When a file cannot be written, none of those named latest changes.
func TestLatestIsOfOneNight(t *testing.T) {
	if runtime.GOOS == "windows" {
		needtest.Missing(t, "the error of Unix for a folder where a file is to be renamed to")
	}
	f := Folder{Dir: t.TempDir()}
	now := time.Date(2026, 3, 2, 17, 31, 0, 0, time.UTC)
	if _, err := f.Write(surveyOf(now, printer(1, true, now)), now); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(filepath.Join(f.Dir, "latest-devices.csv"))
	if err != nil {
		t.Fatal(err)
	}
	next := now.AddDate(0, 0, 1)
	if err := os.Mkdir(filepath.Join(f.Dir, "2026-03-03-report.md"), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(surveyOf(next, printer(1, true, next), printer(2, true, next)), next); err == nil {
		t.Error("a folder in the way of a file was no error")
	}
	after, err := os.ReadFile(filepath.Join(f.Dir, "latest-devices.csv"))
	if err != nil || !slices.Equal(before, after) {
		t.Errorf("latest changed: %v", err)
	}
	if _, err := os.Stat(filepath.Join(f.Dir, "latest-report.md")); errors.Is(err, fs.ErrNotExist) {
		t.Error("the latest report is gone")
	}
}

func TestSpoil(t *testing.T) {
	v := &device.Survey{}
	Spoil(v, "the disk\nis full")
	if !v.Partial || v.PartialReason != "the disk is full" || len(v.Errors) != 1 {
		t.Errorf("%+v", v)
	}
	Spoil(v, "again")
	if v.PartialReason != "the disk is full; again" {
		t.Errorf("%s", v.PartialReason)
	}
}
