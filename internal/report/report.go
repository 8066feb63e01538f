// Package report writes surveys and devices for people and programs: a ranked
// table, CSV (RFC 4180), JSON, Markdown and HTML. It knows no protocol and judges
// nothing; what it is given is ranked already.
package report

import (
	"fmt"
	"io"
	"slices"
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
	switch {
	case o.Format != "" && !slices.Contains(Formats(), o.Format):
		return fmt.Errorf("format %q does not exist, choose one of: %s", o.Format, device.Listed(Formats()))
	case o.Rows != "" && !slices.Contains(RowKinds(), o.Rows):
		return fmt.Errorf("rows %q do not exist, choose one of: %s", o.Rows, device.Listed(RowKinds()))
	case o.Rows != "" && o.Rows != Devices && o.Format != CSV:
		return fmt.Errorf("rows %s exist in format csv only", o.Rows)
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

// DocumentFormats returns the formats of what is neither a survey nor a device,
// the default first.
func DocumentFormats() []Format { return []Format{Table, CSV, JSON, Markdown} }

// forms are the ways to write a document in one of the DocumentFormats; its
// JSON is its type's.
type forms[T any] struct {
	what                 string // as errors name it
	table, csv, markdown func(io.Writer, T, Options) error
}

func (f forms[T]) write(w io.Writer, v T, o Options) error {
	switch o.Format {
	case "", Table:
		return f.table(w, v, o)
	case CSV:
		return f.csv(w, v, o)
	case JSON:
		return writeJSON(w, v)
	case Markdown:
		return f.markdown(w, v, o)
	}
	return fmt.Errorf("%s cannot be written as %s, choose one of: %s", f.what, o.Format, device.Listed(DocumentFormats()))
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
