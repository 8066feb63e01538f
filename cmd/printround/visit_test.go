package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"printround/internal/finding"
	"printround/internal/visit"
)

// planFrom returns the plan for a site file with that content.
func planFrom(t *testing.T, content string) *plan {
	t.Helper()
	path := filepath.Join(t.TempDir(), "printround.toml")
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	a, _ := testApp(t)
	p, err := newPlan(a, &lookFlags{reach: reachFlags{site: path}})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const officeSites = `
[[site]]
name = "A"
contact = "front desk"
targets = ["192.0.2.1"]
expected_orientation = "landscape"
expected_languages = ["langPS"]
[[site]]
name = "B"
targets = ["192.0.2.2"]
expected_orientation = "any"
[[site]]
name = "C"
targets = ["192.0.2.3"]
`

// Thresholds and norms of the site file reach the judgement, and what it does
// not state leaves the defaults.
func TestSiteFileReachesTheJudgement(t *testing.T) {
	p := planFrom(t, "horizon_days = 7\n[thresholds]\ntray_low = 25\nqueue_wait_minutes = 60\n"+officeSites)
	defaults := finding.Defaults()
	for i, orientation := range []string{"landscape", "", defaults.ExpectedOrientation} {
		j := job{site: &p.file.Sites[i], judge: finding.Defaults()}
		p.judgeBySite(&j)
		o := j.judge
		if o.ExpectedOrientation != orientation || o.TrayLow != 25 || o.QueueWaitMin != 60 || o.HorizonDays != 7 || o.ConsumableLow != defaults.ConsumableLow {
			t.Errorf("site %s: %+v", j.site.Name, o)
		}
		if want := map[int][]string{0: {"langPS"}}[i]; !slices.Equal(o.ExpectedLanguages, want) {
			t.Errorf("site %s expects languages %q", j.site.Name, o.ExpectedLanguages)
		}
	}
	p.horizon = 3
	j := job{site: &p.file.Sites[0], judge: finding.Defaults()}
	if p.judgeBySite(&j); j.judge.HorizonDays != 3 {
		t.Errorf("--horizon 3d: %d days", j.judge.HorizonDays)
	}
}

func TestVisitOptions(t *testing.T) {
	o := planFrom(t, officeSites).visitOptions(nil)
	if o.HorizonDays != finding.Defaults().HorizonDays || o.BringProbability != visit.DefaultBring || o.Contacts["A"] != "front desk" {
		t.Errorf("defaults: %+v", o)
	}
	p := planFrom(t, "horizon_days = 7\n[thresholds]\nbring_probability = 0\n[[part]]\nsupply = \"toner\"\nnumber = \"1\"\n"+officeSites)
	if o = p.visitOptions(nil); o.HorizonDays != 7 || o.BringProbability != 0 || len(o.Catalogue.Parts) != 1 {
		t.Errorf("from the file: %+v", o)
	}
	p.horizon = 21
	if o = p.visitOptions(nil); o.HorizonDays != 21 {
		t.Errorf("--horizon 21d: %d days", o.HorizonDays)
	}
}

func TestDays(t *testing.T) {
	for text, want := range map[string]int{"1d": 1, "14d": 14, "14": 14, "2w": 14, "366d": 366, "52w": 364} {
		var d days
		if err := d.Set(text); err != nil || int(d) != want {
			t.Errorf("%q: %d, %v; want %d", text, d, err, want)
		}
	}
	for _, text := range []string{"", "0", "0d", "-1d", "367d", "53w", "1m", "1.5d", "d", "14dd", "9999999999999999999d"} {
		var d days
		if err := d.Set(text); err == nil || d != 0 || !strings.Contains(err.Error(), "wanted 1d") {
			t.Errorf("%q: %d, %v; want an error", text, d, err)
		}
	}
}
