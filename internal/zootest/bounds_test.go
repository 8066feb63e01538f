package zootest

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"runtime"
	"strings"
	"testing"
	"unicode/utf8"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/lab"
	"printround/internal/report"
	"printround/internal/survey"
)

// Reading a device that sends without end takes no more memory than an honest
// one of the largest kind would: bounds of all that is allocated in the
// process, the lab included.
func TestMemoryIsBounded(t *testing.T) {
	const mega = 1 << 20
	p := newPen(t, lab.Options{NoMDNS: true})
	for _, c := range []struct {
		name string
		most uint64
	}{
		{"ipp-endless-body", 64 * mega},
		{"ipp-gzip-bomb", 64 * mega},
		{"ipp-deep-collections", 32 * mega},
		{"ipp-50000-jobs", 128 * mega}, // the lab makes them all
		{"snmp-endless-tables", 128 * mega},
		{"snmp-long-texts", 128 * mega},
		{"snmp-deep-nesting", 256 * mega},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := p.Change("copy-1", c.name); err != nil {
				t.Fatal(err)
			}
			_, _ = p.look(t.Context(), t, "copy-1", survey.Options{}) // what is made once
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			s, err := p.look(t.Context(), t, "copy-1", survey.Options{})
			runtime.ReadMemStats(&after)
			took := after.TotalAlloc - before.TotalAlloc
			t.Logf("%.1f MiB", float64(took)/mega)
			if err != nil || len(s.Devices) != 1 || took > c.most {
				t.Errorf("%v, %d MiB allocated, at most %d wanted", err, took/mega, c.most/mega)
			}
		})
	}
}

// What a device calls itself and its parts harms nobody in any output.
func TestOutputsOfBadTexts(t *testing.T) {
	p := newPen(t, lab.Options{NoMDNS: true})
	for name, host := range textHosts {
		if !strings.HasPrefix(name, "text-") {
			continue
		}
		t.Run(name, func(t *testing.T) {
			if err := p.Change(host, name); err != nil {
				t.Fatal(err)
			}
			s, err := p.look(t.Context(), t, host, survey.Options{})
			if err != nil {
				t.Fatal(err)
			}
			s.Schema = device.SurveySchema
			finding.JudgeAll(s.Devices, finding.Defaults())
			for _, rows := range []report.Rows{report.Devices, report.Supplies, report.Trays, report.Findings} {
				written(t, s, report.Options{Format: report.CSV, Rows: rows})
			}
			for _, f := range []report.Format{report.Table, report.JSON, report.Markdown, report.HTML} {
				written(t, s, report.Options{Format: f, Width: 120})
			}
		})
	}
}

func written(t *testing.T, s *device.Survey, o report.Options) {
	t.Helper()
	var out bytes.Buffer
	if err := report.Write(&out, s, o); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	harm := func(r rune) bool { return r != '\n' && r != '\r' && r != '\t' && harmful(r) }
	if !utf8.ValidString(text) || strings.ContainsFunc(text, harm) {
		t.Errorf("%s: octets that turn, move or end a line", o.Format)
	}
	switch o.Format {
	case report.CSV:
		rows, err := csv.NewReader(&out).ReadAll()
		if err != nil {
			t.Error(err)
		}
		for _, cell := range flat(rows) {
			if strings.HasPrefix(cell, "=") || strings.HasPrefix(cell, "@") {
				t.Errorf("a cell that calculates: %q", cell)
			}
		}
	case report.JSON:
		if !json.Valid(out.Bytes()) {
			t.Error("invalid JSON")
		}
	case report.HTML, report.Markdown:
		for _, markup := range []string{"<script>alert", "<img src=x"} {
			if strings.Contains(text, markup) {
				t.Errorf("%s: the device's markup %q", o.Format, markup)
			}
		}
	}
}

func flat(rows [][]string) (cells []string) {
	for _, r := range rows {
		cells = append(cells, r...)
	}
	return cells
}
