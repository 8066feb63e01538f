package main

import (
	"net/netip"
	"path/filepath"
	"strings"
	"testing"
)

func TestChoose(t *testing.T) {
	all, err := choose("", false)
	if err != nil || len(all) != len(scenarios) {
		t.Errorf("%d of %d scenarios, %v", len(all), len(scenarios), err)
	}
	quick, err := choose("", true)
	if err != nil || len(quick) == 0 || len(quick) >= len(all) {
		t.Errorf("%d scenarios are quick, %v", len(quick), err)
	}
	if two, err := choose("loss20, idle", true); err != nil || len(two) != 2 {
		t.Errorf("%d chosen by name, %v", len(two), err)
	}
	if _, err := choose("idle,nothing", false); err == nil || !strings.Contains(err.Error(), `"nothing"`) {
		t.Errorf("a name that does not exist: %v", err)
	}
	seen := map[string]bool{}
	for _, s := range scenarios {
		if seen[s.name] || s.about == "" || strings.ContainsAny(s.name, ", ") {
			t.Errorf("scenario %q", s.name)
		}
		seen[s.name] = true
	}
}

// The range of a fleet holds exactly its devices, and its prefix has room.
func TestRoom(t *testing.T) {
	for n, want := range map[int]string{
		1000:   "127.96.0.0/22 127.96.0.1-127.96.3.232",
		10000:  "127.96.0.0/18 127.96.0.1-127.96.39.16",
		100000: "127.96.0.0/15 127.96.0.1-127.97.134.160",
	} {
		prefix, target := room(n)
		if got := prefix + " " + target; got != want {
			t.Errorf("%d devices: %s, want %s", n, got, want)
		}
		p := netip.MustParsePrefix(prefix)
		if 1<<(32-p.Bits())-2 < n || p.Masked() != p {
			t.Errorf("%s has no room for %d", p, n)
		}
	}
}

func TestCountRows(t *testing.T) {
	for text, want := range map[string][2]int{
		"": {0, 0}, "key,snmp\n": {0, 0},
		"key,snmp,ipp\na,ok,\nb,partial,\n\"c\nd\",ok,\n": {3, 1},
		"address\n1\n2\n": {2, 0},
	} {
		rows, partial := countRows(strings.NewReader(text))
		if rows != want[0] || partial != want[1] {
			t.Errorf("%q: %d rows, %d partial, want %v", text, rows, partial, want)
		}
	}
}

func TestResult(t *testing.T) {
	r := &result{Commit: "now", Rows: []row{
		{Scenario: "idle", RSS: 10}, {Scenario: "fast16", Wall: 10, RSS: 20, Found: 9, Expected: 10}, {Scenario: "naive", Wall: 1000, RSS: 60},
		{Scenario: "rate", Left: "no root"}, {Scenario: "rough", Failed: "it fell over"},
	}}
	r.Rows[1].allFound()
	r.across()
	path := filepath.Join(t.TempDir(), "r.json")
	if err := r.write(path); err != nil {
		t.Fatal(err)
	}
	old, err := readResult(path)
	if err != nil {
		t.Fatal(err)
	}
	old.Rows[1].Wall = 20
	var b strings.Builder
	r.print(&b)
	r.compare(&b, old)
	for _, want := range []string{
		"NOT MET  found: 9, aim >= 10", "met      times faster than the naive design: 100, aim >= 20",
		"NOT MET  times less memory than the naive design: 3, aim >= 10", "so no more than 6.0 are possible", "takes 10 MB for one device",
		"rate: left out: no root", "rough: FAILED: it fell over", "1 of 3 aims met", "ratios to now",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%q is missing in\n%s", want, b.String())
		}
	}
	if _, ratios, _ := strings.Cut(b.String(), "ratios to"); !strings.Contains(ratios, "0.50") {
		t.Errorf("the ratio of the wall times is missing in %s", ratios)
	}
	if _, err := readResult(filepath.Join(t.TempDir(), "none")); err == nil {
		t.Error("a missing file gives no error")
	}
}
