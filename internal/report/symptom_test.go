package report_test

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/symptom"
)

// The organisation, makers and models below are invented.

var looked = time.Date(2025, 3, 4, 17, 5, 0, 0, time.UTC)

// worn is a laser device with a drum near its end and names that try to be
// more than text.
func worn() *device.Device {
	d := &device.Device{
		Key: "serial:OK1", Name: "Front desk", MakeModel: "Okvarna L420dn", Location: "Ground floor | front *desk*",
		Technology: "electrophotographicLaser", ObservedAt: looked,
		Supplies: []device.Supply{
			{Index: 1, Name: "Black toner OT-42", Kind: "tonerCartridge", Role: device.Consumed, Colorant: "black", Level: device.KnownLevel(40, 100, device.Remaining)},
			{Index: 2, Name: "=Drum unit OD-42", Kind: "opc", Role: device.Consumed, Level: device.KnownLevel(2, 100, device.Remaining)},
		},
		Trays: []device.Tray{{Index: 1, Name: "Tray 1", Kind: "sheetFeedAutoRemovableTray", Media: device.Media{Name: "iso_a4_210x297mm"}}},
	}
	d.Reached.SNMP.OK = true
	finding.Judge(d, finding.Defaults())
	return d
}

var rollerTable = &device.Catalogue{
	Models: []device.Model{{Match: "Okvarna L420*", Rollers: []device.Roller{
		{Name: "photoconductor drum", DiameterMM: 24, ToleranceMM: 1, Part: "drum unit"},
		{Name: "fuser roller", DiameterMM: 30, ToleranceMM: 1.5, Part: "fuser unit"},
	}}},
	Parts: []device.CataloguePart{{Model: "Okvarna L420*", Supply: "drum unit", Number: "OD-42"}},
}

func triages(t *testing.T) map[string]*device.Triage {
	t.Helper()
	r, err := symptom.Fit([]float64{75.5, 150.5, 226.5})
	if err != nil {
		t.Fatal(err)
	}
	symptom.Match(r, worn(), rollerTable)
	silent := &device.Device{Key: "addr:10.0.0.9", Hostname: "attic.example"}
	return map[string]*device.Triage{
		"line":     symptom.Triage("lengthwise-line", worn(), symptom.Options{Catalogue: rollerTable}),
		"any":      symptom.Triage("lengthwise-line", nil, symptom.Options{}),
		"silent":   symptom.Triage("unreachable", silent, symptom.Options{}),
		"interval": symptom.Triage(symptom.RepeatingMark, worn(), symptom.Options{Catalogue: rollerTable, Interval: r}),
		"expected": symptom.Triage(symptom.RepeatingMark, worn(), symptom.Options{Catalogue: rollerTable}),
	}
}

func write(t *testing.T, d *device.Triage, o report.Options) []byte {
	t.Helper()
	return report.Rendered(t, report.WriteTriage, d, o)
}

func TestSymptomGolden(t *testing.T) {
	all := triages(t)
	for name, c := range map[string]struct {
		of   string
		opts report.Options
	}{
		"symptom-80.txt":       {"line", report.Options{Width: 80}},
		"symptom-40.txt":       {"line", report.Options{Width: 40, Plain: true}},
		"symptom-200.txt":      {"any", report.Options{Width: 200}},
		"symptom-explain.txt":  {"line", report.Options{Width: 100, Explain: true, Color: true}},
		"symptom-silent.txt":   {"silent", report.Options{Width: 80}},
		"symptom-interval.txt": {"interval", report.Options{Width: 80}},
		"symptom-expected.txt": {"expected", report.Options{Width: 80}},
		"symptom.md":           {"interval", report.Options{Format: report.Markdown}},
		"symptom.csv":          {"line", report.Options{Format: report.CSV}},
		"symptom.json":         {"interval", report.Options{Format: report.JSON}},
	} {
		t.Run(name, func(t *testing.T) { report.Golden(t, name, write(t, all[c.of], c.opts)) })
	}
	for name, o := range map[string]report.Options{
		"symptoms-80.txt": {Width: 80}, "symptoms-40.txt": {Width: 40}, "symptoms.md": {Format: report.Markdown},
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			if err := report.WriteSymptoms(&b, symptom.Index(), o); err != nil {
				t.Fatal(err)
			}
			report.Golden(t, name, b.Bytes())
		})
	}
}

// Every symptom, at every width and in every format, fits, is text, and
// follows its schema.
func TestSymptomsInEveryForm(t *testing.T) {
	schema := report.Compiled(t, device.TriageSchema)
	for _, name := range symptom.Names() {
		for kind, d := range map[string]*device.Device{"worn": worn(), "none": nil} {
			got := symptom.Triage(name, d, symptom.Options{Catalogue: rollerTable})
			for _, o := range append(everyWidth(report.Options{}), report.Options{Plain: true}) {
				report.CheckText(t, string(write(t, got, o)), o)
			}
			if err := report.Validate(t, schema, write(t, got, report.Options{Format: report.JSON})); err != nil {
				t.Errorf("%s, %s: %v", name, kind, err)
			}
			rows, err := csv.NewReader(bytes.NewReader(write(t, got, report.Options{Format: report.CSV}))).ReadAll()
			if err != nil || len(rows) != len(got.Causes)+1 {
				t.Errorf("%s, %s: %d rows, %v", name, kind, len(rows), err)
			}
			for _, r := range rows {
				for _, cell := range r {
					if strings.HasPrefix(cell, "=") || strings.HasPrefix(cell, "+") {
						t.Errorf("%s, %s: cell %q is a formula", name, kind, cell)
					}
				}
			}
		}
	}
}

// The schema notices what would break programs that read it.
func TestSymptomSchemaNoticesDrift(t *testing.T) {
	schema := report.Compiled(t, device.TriageSchema)
	good := write(t, triages(t)["interval"], report.Options{Format: report.JSON})
	report.NoticesDrift(t, schema, good, func(doc map[string]any) map[string]any { return doc["causes"].([]any)[0].(map[string]any) }, map[string]func(doc, cause map[string]any){
		"unknown field":     func(doc, _ map[string]any) { doc["extra"] = 1 },
		"missing field":     func(_, cause map[string]any) { delete(cause, "probability") },
		"probability of 2":  func(_, cause map[string]any) { cause["probability"] = 2 },
		"no steps":          func(_, cause map[string]any) { cause["try"] = []any{} },
		"interval of 0":     func(doc, _ map[string]any) { doc["interval"].(map[string]any)["interval_mm"] = 0 },
		"empty for unknown": func(doc, _ map[string]any) { doc["device"] = "" },
		"other schema":      func(doc, _ map[string]any) { doc["schema"] = "printround.symptom/2" },
	})
}

func TestTriageHasNoOtherFormat(t *testing.T) {
	if err := report.WriteTriage(&bytes.Buffer{}, triages(t)["any"], report.Options{Format: "html"}); err == nil || !strings.Contains(err.Error(), "choose one of") {
		t.Errorf("html: %v", err)
	}
}
