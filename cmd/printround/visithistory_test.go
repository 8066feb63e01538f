package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"printround/internal/finding"
	"printround/internal/lab"
	"printround/internal/report"
)

// With nights of history a plan brings what will probably be needed before the
// visit after next, says how probably, and never loses what the survey alone
// brings; by --history and by the site file alike.
func TestVisitForesees(t *testing.T) {
	dir := t.TempDir()
	file := func(name string) string { return filepath.Join(dir, name) }
	h, err := lab.SimulateNights(lab.NightsOptions{Seed: 11, Nights: 120})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := writeNights(t.Context(), file("history.db"), h); err != nil {
		t.Fatal(err)
	}
	s, ok := h.Survey(119)
	for n := 118; !ok && n > 0; n-- {
		s, ok = h.Survey(n)
	}
	for i := range s.Devices {
		finding.Judge(&s.Devices[i], finding.Defaults())
	}
	finding.Rank(s.Devices)
	var survey bytes.Buffer
	if err := report.Write(&survey, s, report.Options{Format: report.JSON}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file("last.json"), survey.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	siteFile := "[report]\nhistory = \"history.db\"\n\n[[site]]\nname = \"x\"\ntargets = [\"127.0.0.1\"]\n"
	if err := os.WriteFile(file("site.toml"), []byte(siteFile), 0o600); err != nil {
		t.Fatal(err)
	}

	type part struct {
		Part, Model, Color string
		Quantity           int
		Probability        *float64
	}
	parts := func(out string, args ...string) (total int, foreseen []part) {
		t.Helper()
		var plan struct{ Parts []part }
		a := &app{stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, now: func() time.Time { return s.Finished }, lookupEnv: os.LookupEnv}
		args = append(args, "--from", file("last.json"), "--format", "json", "--out", file(out))
		if status := a.run(t.Context(), append([]string{"visit"}, args...)); status != exitDone {
			t.Fatalf("visit %q: exit status %d", args, status)
		}
		content, err := os.ReadFile(file(out))
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(content, &plan); err != nil {
			t.Fatal(err)
		}
		for _, p := range plan.Parts {
			total += p.Quantity
			if p.Probability != nil {
				foreseen = append(foreseen, p)
			}
		}
		return total, foreseen
	}
	alone, none := parts("alone.json")
	with, foreseen := parts("with.json", "--history", file("history.db"))
	if len(none) > 0 {
		t.Errorf("probabilities without a history: %v", none)
	}
	if len(foreseen) == 0 || with <= alone {
		t.Errorf("%d parts with a history, %d of them foreseen, %d without", with, len(foreseen), alone)
	}
	for _, p := range foreseen {
		if *p.Probability <= 0 || *p.Probability > 1 {
			t.Errorf("%s for %s: probability %v", p.Part, p.Model, *p.Probability)
		}
	}
	bySite, again := parts("site.json", "--site", file("site.toml"))
	if bySite != with || len(again) != len(foreseen) {
		t.Errorf("by the site file %d parts, %d foreseen; by --history %d and %d", bySite, len(again), with, len(foreseen))
	}
}
