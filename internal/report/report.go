// Package report writes surveys and devices for people and programs: a ranked
// table, CSV (RFC 4180), JSON, Markdown and HTML. It knows no protocol and judges
// nothing; what it is given is ranked already.
package report

import (
	"fmt"
	"io"
	"strings"
	"time"

	"printround/internal/device"
)

// Format is the form of the output.
type Format string

// Formats.
const (
	Table    Format = "table"
	CSV      Format = "csv"
	JSON     Format = "json"
	Markdown Format = "markdown"
	HTML     Format = "html"
)

// Formats returns all formats, the default first.
func Formats() []Format { return []Format{Table, CSV, JSON, Markdown, HTML} }

// ParseFormat reads the name of a format.
func ParseFormat(s string) (Format, error) { return parse("format", s, Formats()) }

// Rows says what one row of a CSV file is.
type Rows string

// Rows of CSV files.
const (
	Devices  Rows = "devices"
	Supplies Rows = "supplies"
	Trays    Rows = "trays"
	Findings Rows = "findings"
)

// RowKinds returns all kinds of rows, the default first.
func RowKinds() []Rows { return []Rows{Devices, Supplies, Trays, Findings} }

// ParseRows reads the name of a kind of rows.
func ParseRows(s string) (Rows, error) { return parse("rows", s, RowKinds()) }

func parse[T ~string](what, s string, known []T) (T, error) {
	names := make([]string, len(known))
	for i, k := range known {
		if string(k) == s {
			return k, nil
		}
		names[i] = string(k)
	}
	return "", fmt.Errorf("%s %q does not exist, choose one of: %s", what, s, strings.Join(names, ", "))
}

// Options say how to write. The zero value is a table for a page without
// colour.
type Options struct {
	Format  Format    // empty: Table
	Rows    Rows      // of CSV; empty: Devices
	Width   int       // columns of the terminal; 0: those of a printed page
	Color   bool      // colour codes allowed; Plain wins
	Plain   bool      // ASCII only, no colour
	Explain bool      // how attention and urgency came about, and what was not judged
	BOM     bool      // CSV for spreadsheets: a byte order mark, and numbers that are text stay text
	Now     time.Time // its location is that of the times shown to people; zero: UTC
	Beside  *Beside   // of HTML: what is known beside the survey; nil: nothing
}

// Check says whether the options go together.
func (o Options) Check() error {
	if o.Format != "" {
		if _, err := ParseFormat(string(o.Format)); err != nil {
			return err
		}
	}
	if o.Rows != "" {
		if _, err := ParseRows(string(o.Rows)); err != nil {
			return err
		}
		if o.Rows != Devices && o.Format != CSV {
			return fmt.Errorf("rows %s exist in format csv only", o.Rows)
		}
	}
	return nil
}

// Write writes a survey, its devices in the order given.
func Write(w io.Writer, s *device.Survey, o Options) error {
	if err := o.Check(); err != nil {
		return err
	}
	switch o.Format {
	case CSV, JSON:
		return writeStream(w, s, o)
	case Markdown:
		return writeMarkdown(w, s, o)
	case HTML:
		return writeHTML(w, s, o)
	}
	return writeSurvey(w, s, o)
}

// WriteDevice writes one device: as a table the verdict, what to do and the
// facts.
func WriteDevice(w io.Writer, d *device.Device, o Options) error {
	if err := o.Check(); err != nil {
		return err
	}
	switch o.Format {
	case CSV:
		return writeStream(w, &device.Survey{Devices: []device.Device{*d}}, o)
	case JSON:
		return writeJSON(w, device.Document{Schema: device.DeviceSchema, Device: *d})
	case Markdown:
		return writeDeviceMarkdown(w, d, o)
	case HTML:
		return writeDeviceHTML(w, d, o)
	}
	return writeCheck(w, d, o)
}
