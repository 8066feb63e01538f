package report_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/report"
)

// misset is a device with settings that are not its site's, and the norms.
func misset() (*device.Device, finding.Options) {
	d := worn()
	d.Serial, d.Firmware, d.Site = "OK00471", "4.21.7", "North quay"
	d.Reached.IPP = device.IPPReach{OK: true, Tried: true, URI: "ipp://10.0.0.7/ipp/print"}
	off, weight := int64(-7260), 160.0
	d.State.ClockOffS = &off
	d.Trays[0].Media.Type, d.Trays[0].Media.WeightG = "stationery-heavyweight\x1b[7m", &weight
	d.Defaults = device.Defaults{
		Media: "iso_a4_210x297mm", Orientation: "portrait", Sides: "one-sided", Resolution: "600dpi",
		Finishings: []string{"none"}, CanFinish: []string{"none"}, Source: device.SourceIPP,
	}
	o := finding.Defaults()
	o.ExpectedMedia = []string{"iso_a4_210x297mm"}
	o.Norms = []device.Norm{{
		Model: "Okvarna L420*", Sides: "two-sided-long-edge", Resolution: 600, OutputBin: "face-down", ColorMode: "monochrome",
		Trays: []device.TrayNorm{{Tray: "Tray 1", Media: "A4", Weight: 80}},
	}}
	finding.Judge(d, o)
	return d, o
}

func missetAudit() *device.Audit {
	d, o := misset()
	return finding.Audit(d, o)
}

func missetDiff() *device.SettingsDiff {
	d, o := misset()
	a := finding.Audit(d, o)
	d.Key, d.Name, d.Defaults.Sides, d.Defaults.Media, d.Defaults.Resolution = "serial:OK2", "Back | office", "two-sided-long-edge", "na_letter_8.5x11in", ""
	finding.Judge(d, o)
	return finding.CompareSettings(a, finding.Audit(d, o))
}

func TestAuditGolden(t *testing.T) {
	for name, o := range map[string]report.Options{
		"settings-100.txt": {Width: 100}, "settings-50.txt": {Width: 50, Plain: true, Explain: true}, "settings.md": {Format: report.Markdown},
		"settings.csv": {Format: report.CSV}, "settings.json": {Format: report.JSON},
	} {
		t.Run(name, func(t *testing.T) { report.Golden(t, name, auditText(t, o)) })
		t.Run("diff "+name, func(t *testing.T) {
			report.Golden(t, strings.Replace(name, "settings", "settings-diff", 1), diffText(t, o))
		})
	}
}

func auditText(t *testing.T, o report.Options) []byte {
	t.Helper()
	return report.Rendered(t, report.WriteAudit, missetAudit(), o)
}

func diffText(t *testing.T, o report.Options) []byte {
	t.Helper()
	return report.Rendered(t, report.WriteSettingsDiff, missetDiff(), o)
}

func TestAuditInEveryForm(t *testing.T) {
	for _, o := range everyWidth(report.Options{}) {
		report.CheckText(t, string(auditText(t, o)), o)
		report.CheckText(t, string(diffText(t, o)), o)
	}
	for name, text := range map[string][]byte{
		device.SettingsSchema:     auditText(t, report.Options{Format: report.JSON}),
		device.SettingsDiffSchema: diffText(t, report.Options{Format: report.JSON}),
	} {
		if err := report.Validate(t, report.Compiled(t, name), text); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	rows, err := csv.NewReader(bytes.NewReader(auditText(t, report.Options{Format: report.CSV, BOM: true}))).ReadAll()
	if want := len(missetAudit().Settings) + 1; err != nil || len(rows) != want {
		t.Errorf("%d rows, want %d: %v", len(rows), want, err)
	}
	for _, o := range []report.Options{{Format: report.HTML}} {
		if fmt.Sprint(report.WriteAudit(&bytes.Buffer{}, missetAudit(), o), report.WriteSettingsDiff(&bytes.Buffer{}, missetDiff(), o)) == "<nil> <nil>" {
			t.Errorf("written as %s", o.Format)
		}
	}
}
