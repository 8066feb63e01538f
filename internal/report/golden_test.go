package report

import (
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
)

var update = flag.Bool("update", false, "rewrite the golden files under testdata")

// golden compares output with a file whose content a person has looked at.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v (run the test with -update to write it)", err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("%s differs (-want +got):\n%s", name, diff)
	}
}

func render(t *testing.T, s *device.Survey, o Options) []byte {
	t.Helper()
	return Rendered(t, Write, s, o)
}

func renderDevice(t *testing.T, d *device.Device, o Options) []byte {
	t.Helper()
	return Rendered(t, WriteDevice, d, o)
}

func TestSurveyGolden(t *testing.T) {
	partial := sampleSurvey()
	partial.Partial, partial.PartialReason = true, "interrupted by the user after 40 s"
	cet := seen.In(time.FixedZone("CET", 3600))
	for name, c := range map[string]struct {
		survey *device.Survey
		opts   Options
	}{
		"survey-40.txt":      {sampleSurvey(), Options{Width: 40}},
		"survey-80.txt":      {sampleSurvey(), Options{Width: 80}},
		"survey-page.txt":    {sampleSurvey(), Options{}},
		"survey-200.txt":     {sampleSurvey(), Options{Width: 200, Now: cet}},
		"survey-color.txt":   {sampleSurvey(), Options{Width: 120, Color: true}},
		"survey-plain.txt":   {sampleSurvey(), Options{Width: 120, Color: true, Plain: true}},
		"survey-explain.txt": {sampleSurvey(), Options{Width: 100, Explain: true}},
		"survey-partial.txt": {partial, Options{Width: 80}},
		"survey-empty.txt":   {&device.Survey{Finished: seen}, Options{Width: 80}},
		"survey.csv":         {sampleSurvey(), Options{Format: CSV}},
		"supplies.csv":       {sampleSurvey(), Options{Format: CSV, Rows: Supplies}},
		"trays.csv":          {sampleSurvey(), Options{Format: CSV, Rows: Trays}},
		"findings.csv":       {sampleSurvey(), Options{Format: CSV, Rows: Findings}},
		"survey.json":        {sampleSurvey(), Options{Format: JSON}},
		"survey.md":          {partial, Options{Format: Markdown}},
		"survey-explain.md":  {sampleSurvey(), Options{Format: Markdown, Explain: true}},
		"hostile.txt":        {hostileSurvey(), Options{Width: 120, Explain: true}},
		"hostile-plain.txt":  {hostileSurvey(), Options{Width: 120, Plain: true}},
		"hostile.csv":        {hostileSurvey(), Options{Format: CSV}},
		"hostile.md":         {hostileSurvey(), Options{Format: Markdown}},
	} {
		t.Run(name, func(t *testing.T) { golden(t, name, render(t, c.survey, c.opts)) })
	}
}

func TestDeviceGolden(t *testing.T) {
	full, silent := fullDevice(), silentDevice()
	healthy := plainDevice(1, "Reception", "Lobby", "prn-1.example", "10.20.1.41")
	healthy.Attention, healthy.Urgency, healthy.Findings = device.Clear, 0, nil
	queue := sampleSurvey().Devices[10]
	for name, c := range map[string]struct {
		d    *device.Device
		opts Options
	}{
		"check-40.txt":       {&full, Options{Width: 40}},
		"check-80.txt":       {&full, Options{Width: 80}},
		"check-page.txt":     {&full, Options{Explain: true}},
		"check-200.txt":      {&full, Options{Width: 200, Color: true}},
		"check-plain.txt":    {&full, Options{Width: 80, Plain: true}},
		"check-silent.txt":   {&silent, Options{Width: 80}},
		"check-clear.txt":    {&healthy, Options{Width: 80}},
		"check-queue.txt":    {&queue, Options{Width: 80}},
		"check.json":         {&full, Options{Format: JSON}},
		"check.md":           {&full, Options{Format: Markdown, Explain: true}},
		"check-findings.csv": {&full, Options{Format: CSV, Rows: Findings}},
	} {
		t.Run(name, func(t *testing.T) { golden(t, name, renderDevice(t, c.d, c.opts)) })
	}
}
