package main

import (
	"context"
	"math/rand/v2"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/history"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/nightly"
	"printround/internal/site"
	"printround/internal/survey"
)

// evolving is a lab that changes from night to night, and what is true of it.
type evolving struct {
	*lab.Lab
	t      *testing.T
	random *rand.Rand
	names  []string          // of the devices that change
	faults map[string]string // what they have
	hidden map[string]int    // nights left without an answer
	last   map[string]truth  // when each last answered
	misses map[string]int
}

// truth is what the lab says of a device.
type truth struct {
	conditions []string
	addrs      []netip.Addr
	codes      map[string]string // code of the finding for each condition, as it was found
}

func (e *evolving) must(err error) {
	e.t.Helper()
	if err != nil {
		e.t.Fatal(err)
	}
}

// site is where a device stands: elsewhere other credentials hold.
func (e *evolving) site(name string) string {
	for _, d := range e.Devices() {
		if d.Name == name {
			return d.Site
		}
	}
	return ""
}

// turn lets a night's worth of things happen.
func (e *evolving) turn() {
	e.t.Helper()
	pick := func() string { return e.names[e.random.IntN(len(e.names))] }
	for range 2 {
		name := pick()
		if e.hidden[name] > 0 {
			continue
		}
		fault := "none"
		if e.faults[name] == "" {
			fault = []string{"media-jam", "cover-open", "toner-empty", "toner-low", "output-area-full", "offline"}[e.random.IntN(6)]
		}
		if err := e.Change(name, fault); err != nil {
			continue // it does not fit this kind of device
		}
		if fault == "none" {
			fault = ""
		}
		e.faults[name] = fault
	}
	for name, left := range e.hidden {
		if e.hidden[name] = left - 1; left == 1 {
			delete(e.hidden, name)
			e.must(e.Hide(name, false, false))
		}
	}
	if name := pick(); e.hidden[name] == 0 && len(e.hidden) < 3 {
		e.hidden[name] = 1 + e.random.IntN(4)
		e.must(e.Hide(name, true, true))
	}
	if a, b := pick(), pick(); a != b && e.hidden[a]+e.hidden[b] == 0 && e.site(a) == e.site(b) {
		_ = e.Swap(a, b) // those with two interfaces cannot with those that have one
	}
}

// TestChangesOfThirtyNights runs a night after the other on a lab in which
// things break, are mended, disappear, come back and exchange addresses. The
// list of changes is held against the lab's own account: nothing is missing,
// and nothing is told of a device that did not change. Where everything is
// checked it runs all nights, elsewhere the first few.
func TestChangesOfThirtyNights(t *testing.T) {
	nights := 6
	if os.Getenv("PRINTROUND_THIRTY_NIGHTS") != "" {
		nights = 30
	}
	ctx := context.Background()
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	snmp, ipp := portsOf(t, l)
	dir := t.TempDir()
	path, err := l.WriteSite(dir)
	if err != nil {
		t.Fatal(err)
	}
	store, err := history.Open(filepath.Join(dir, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	e := &evolving{Lab: l, t: t, random: rand.New(rand.NewPCG(5, 30)), faults: map[string]string{}, hidden: map[string]int{}, last: map[string]truth{}, misses: map[string]int{}}
	for _, d := range l.Devices() {
		// Printers behind one address are hidden and swapped together.
		shares := slices.ContainsFunc(l.Devices(), func(o lab.Device) bool { return o.Printer && o.Addr == d.Addr && o.Name != d.Name })
		if d.Printer && !d.Silent && d.SNMPPort != 0 && d.Serial != "" && !shares {
			e.names = append(e.names, d.Name)
			e.faults[d.Name] = strings.Join(append(d.Conditions, d.Notes...), " ")
		}
	}
	if len(e.names) < 6 {
		t.Fatalf("only %v can change", e.names)
	}
	told := map[string]int{}
	for n := range nights {
		if n > 0 {
			e.turn()
		}
		// On working days: nobody knows yet who answers at weekends.
		v := e.survey(ctx, store, path, snmp, ipp, time.Date(2026, 3, 2+n/5*7+n%5, 17, 30, 0, 0, time.UTC))
		e.compare(n, v, told)
	}
	t.Logf("told over %d nights: %v", nights, told)
	for _, word := range []string{"new", "cleared", "silent", "moved", "replaced"} {
		if told[word] == 0 && nights == 30 {
			t.Errorf("in %d nights nothing was %s: the lab did not change enough to show anything", nights, word)
		}
	}
	state, err := store.Check(ctx)
	if err != nil || len(state.Problems) > 0 || state.Runs != int64(nights) {
		t.Errorf("%+v %v", state, err)
	}
}

// survey runs one night as the command does, with short waits: nothing in the
// lab sleeps.
func (e *evolving) survey(ctx context.Context, store *history.Store, path string, snmp, ipp uint16, at time.Time) *device.Survey {
	e.t.Helper()
	p := planOf(e.t, "")
	var err error
	p.file, err = site.Load(path)
	e.must(err)
	p.a.now = func() time.Time { return at }
	p.reach.snmpPort, p.reach.ippPort, p.reach.noMDNS = snmp, ipp, true
	p.reach.pace, p.reach.concurrency, p.reach.retries, p.reach.timeout = 20_000, 32, 2, 10*survey.DefaultTimeout
	p.known, err = nightly.Known(ctx, store, at)
	e.must(err)
	jobs, err := p.sweepJobs(ctx, nil)
	e.must(err)
	for i := range jobs {
		jobs[i].options.Discover.Timeout, jobs[i].options.Discover.Listen = labWait/4, labWait/2
	}
	v, err := p.survey(ctx, jobs)
	e.must(err)
	if v.Partial {
		e.t.Fatalf("partial: %s", v.PartialReason)
	}
	run, err := nightly.Keep(ctx, store, v, history.RunInfo{}, time.UTC)
	e.must(err)
	e.must(store.SetReported(ctx, run))
	return v
}

// compare holds a night's changes against the lab.
func (e *evolving) compare(n int, v *device.Survey, told map[string]int) {
	e.t.Helper()
	lists := map[string]map[string][]device.Change{}
	if (v.Changes == nil) != (n == 0) {
		e.t.Fatalf("night %d: changes %v", n, v.Changes)
	}
	if v.Changes != nil {
		c := v.Changes
		for word, list := range map[string][]device.Change{"new": c.New, "cleared": c.Cleared, "moved": c.Moved, "arrived": c.Arrived, "silent": c.Silent, "replaced": c.Replaced, "gone": c.Gone} {
			lists[word] = map[string][]device.Change{}
			told[word] += len(list)
			for _, x := range list {
				lists[word][x.Key] = append(lists[word][x.Key], x)
			}
		}
	}
	seen := map[string]bool{}
	for _, want := range e.Devices() {
		if !want.Printer {
			continue
		}
		i := rowOf(v, want)
		if i < 0 {
			e.t.Errorf("night %d: %s has no row", n, want.Name)
			continue
		}
		d := &v.Devices[i]
		if seen[d.Key] {
			e.t.Errorf("night %d: %s is there twice", n, d.Key)
		}
		seen[d.Key] = true
		wanted := e.wanted(n, want, d)
		for word := range lists {
			if got := codes(lists[word][d.Key]); !covers(got, wanted[word]) {
				e.t.Errorf("night %d: %s: %s %q, want %q", n, want.Name, word, got, wanted[word])
			}
		}
	}
	rows := 0
	for _, d := range v.Devices {
		if d.Role != device.RoleServerQueue {
			rows++
		}
	}
	if rows != len(seen) {
		e.t.Errorf("night %d: %d rows of %d devices", n, rows, len(seen))
	}
}

// rowOf finds the row of a lab's device: by serial number, else, where it shows
// none, by address.
func rowOf(v *device.Survey, want lab.Device) int {
	i := slices.IndexFunc(v.Devices, func(d device.Device) bool { return want.Serial != "" && string(d.Serial) == want.Serial })
	if i >= 0 {
		return i
	}
	return slices.IndexFunc(v.Devices, func(d device.Device) bool {
		return d.Serial == "" && slices.ContainsFunc(want.Addrs, func(a netip.Addr) bool { return slices.Contains(d.Addresses, a) })
	})
}

func codes(list []device.Change) []string {
	var out []string
	for _, c := range list {
		out = append(out, c.Code)
	}
	slices.Sort(out)
	return out
}

// covers wants each code, and no other unless "…" allows them; an empty want
// allows nothing.
func covers(got, want []string) bool {
	more := slices.Contains(want, "…")
	for _, w := range want {
		if w != "…" && !slices.Contains(got, w) {
			return false
		}
	}
	return more || len(got) == len(want)
}

// wanted is what has to be told of a device, by the lab's account.
func (e *evolving) wanted(n int, want lab.Device, d *device.Device) map[string][]string {
	out := map[string][]string{}
	if want.Silent || e.hidden[want.Name] > 0 {
		if e.misses[want.Name]++; e.misses[want.Name] == 2 {
			out["silent"] = []string{"derived-no-answer"}
		}
		wantLevel := e.misses[want.Name] >= 2
		if (d.Attention == device.Silent) != wantLevel {
			e.t.Errorf("night %d: %s is %s after %d misses", n, want.Name, d.Attention, e.misses[want.Name])
		}
		return out
	}
	if !history.Answered(d) {
		e.t.Errorf("night %d: %s was not read: %v", n, want.Name, d.Errors)
		return out
	}
	now := truth{conditions: want.Conditions, addrs: want.Addrs, codes: map[string]string{}}
	for _, c := range want.Conditions {
		if i := slices.IndexFunc(d.Findings, restsOn(c)); i >= 0 {
			now.codes[c] = d.Findings[i].Code
		} else {
			e.t.Errorf("night %d: %s has %s, found %v", n, want.Name, c, d.State.Conditions)
		}
	}
	was, known := e.last[want.Name]
	missed := e.misses[want.Name]
	e.last[want.Name], e.misses[want.Name] = now, 0
	if !known {
		return out
	}
	if missed >= 2 {
		out["cleared"] = append(out["cleared"], "derived-no-answer")
	}
	if !slices.Equal(was.addrs, now.addrs) {
		out["moved"] = []string{""}
	}
	for c, code := range now.codes {
		if was.codes[c] == "" {
			out["new"] = append(out["new"], code, "…")
		}
	}
	for c, code := range was.codes {
		if now.codes[c] == "" {
			out["cleared"] = append(out["cleared"], code, "…")
			out["replaced"] = []string{"…"} // levels are those of the seed again
		}
	}
	if len(out["new"]) > 0 && len(out["cleared"]) == 0 {
		out["cleared"] = []string{"…"} // one thing can hide another, such as a note
	}
	return out
}
