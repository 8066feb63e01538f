package main

import (
	"testing"

	"printround/internal/report"
	"printround/internal/schedule"
)

// A flag takes each of its words and nothing else, and the error says which.
func TestOneOf(t *testing.T) {
	for _, s := range schedule.Systems() {
		if got, err := oneOf("for", string(s), ": choose one of", schedule.Systems()); err != nil || got != s {
			t.Errorf("%s: %q, %v", s, got, err)
		}
	}
	for _, value := range []string{"", "CSV", "html", "table,csv"} {
		got, err := oneOf("format", value, ": a queue is written as", report.DocumentFormats())
		if want := `--format "` + value + `": a queue is written as table, csv, json, markdown`; err == nil || got != "" || err.Error() != want {
			t.Errorf("%q: %q, %v", value, got, err)
		}
	}
}
