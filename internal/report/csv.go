package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"printround/internal/device"
	"printround/internal/term"
)

// Column is one column of a CSV file: its heading and what it holds.
type Column struct {
	Name string
	Doc  string
}

// Columns returns the columns of a kind of rows in the order of the file.
// The list is fixed: programs may go by position or by heading.
func Columns(rows Rows) []Column {
	switch rows {
	case Supplies:
		return documented(supplyColumns)
	case Trays:
		return documented(trayColumns)
	case Findings:
		return documented(findingColumns)
	}
	return documented(deviceColumns)
}

// column is a column with the way to fill it from a row of type T.
type column[T any] struct {
	name string
	doc  string
	cell func(T) string
}

func documented[T any](cols []column[T]) []Column {
	out := make([]Column, len(cols))
	for i, c := range cols {
		out[i] = Column{Name: c.name, Doc: c.doc}
	}
	return out
}

// newCSVStream writes RFC 4180: comma, double quotes where needed, CRLF at the
// end of each record (section 2 rule 1), a heading (rule 3), UTF-8.
func newCSVStream(w io.Writer, o Options) (*Stream, error) {
	cell, err := beginCSV(w, o, inert)
	if err != nil {
		return nil, err
	}
	switch o.Rows {
	case Supplies:
		return csvStream(w, supplyColumns, supplyRows, cell)
	case Trays:
		return csvStream(w, trayColumns, trayRows, cell)
	case Findings:
		return csvStream(w, findingColumns, findingRows, cell)
	}
	return csvStream(w, deviceColumns, func(d *device.Device) []*device.Device { return []*device.Device{d} }, cell)
}

// beginCSV writes the byte order mark where it is wanted, and returns what makes
// a cell fit for the file; safe keeps it from being a formula.
func beginCSV(w io.Writer, o Options, safe func(string) string) (cell func(string) string, err error) {
	if !o.BOM {
		return safe, nil
	}
	_, err = io.WriteString(w, "\ufeff")
	return func(s string) string { return asText(safe(s)) }, err
}

// writeRows writes a heading and rows.
func writeRows[T any](w io.Writer, cols []column[T], rows []T, o Options) error {
	cell, err := beginCSV(w, o, inert)
	if err != nil {
		return err
	}
	return writeRecords(w, cols, rows, cell)
}

func writeRecords[T any](w io.Writer, cols []column[T], rows []T, cell func(string) string) error {
	r := newRecordWriter()
	writeHeading(r.Writer, cols)
	record := make([]string, len(cols))
	for _, row := range rows {
		for i, c := range cols {
			record[i] = cell(c.cell(row))
		}
		_ = r.Write(record) // the writer keeps the first error
	}
	return r.flush(w)
}

// csvStream writes the heading; a piece has the rows of one device.
func csvStream[T any](w io.Writer, cols []column[T], rows func(*device.Device) []T, cell func(string) string) (*Stream, error) {
	first := newRecordWriter()
	writeHeading(first.Writer, cols)
	if err := first.flush(w); err != nil {
		return nil, err
	}
	writers := sync.Pool{New: func() any { return newRecordWriter() }}
	piece := func(b *bytes.Buffer, d *device.Device) error {
		c := writers.Get().(*recordWriter)
		defer writers.Put(c)
		record := make([]string, len(cols))
		for _, row := range rows(d) {
			for n, col := range cols {
				record[n] = cell(col.cell(row))
			}
			_ = c.Write(record)
		}
		return c.flush(b)
	}
	return &Stream{w: w, piece: piece}, nil
}

// writeHeading leaves errors to the writer, which keeps the first one.
func writeHeading[T any](c *csv.Writer, cols []column[T]) {
	heading := make([]string, len(cols))
	for i, col := range cols {
		heading[i] = col.name
	}
	_ = c.Write(heading)
}

// recordWriter writes records to memory first.
type recordWriter struct {
	*csv.Writer
	text bytes.Buffer
}

func newRecordWriter() *recordWriter {
	r := &recordWriter{}
	r.Writer = csv.NewWriter(&r.text)
	r.UseCRLF = true
	return r
}

// flush moves what was written to w.
func (r *recordWriter) flush(w io.Writer) error {
	r.Flush()
	if err := r.Error(); err != nil {
		return err
	}
	_, err := r.text.WriteTo(w)
	r.text.Reset()
	return err
}

// inert makes a cell that a spreadsheet would take for a formula harmless by
// an apostrophe in front: cells that begin with = + - @ or their full-width
// forms. Cells have no control characters: a tab or a carriage return at the
// beginning, which has the same effect, is white space and goes. No number of
// ours is negative, so no number gets an apostrophe.
func inert(s string) string {
	s = term.Safe(s)
	switch r, _ := utf8.DecodeRuneInString(s); r {
	case '=', '+', '-', '@', '＝', '＋', '－', '﹣', '＠', '﹢', '﹦', '﹫', '−':
		return "'" + s
	}
	return s
}

// asText marks text that a spreadsheet would turn into another number as text,
// by an apostrophe in front: leading zeros, more digits than a floating-point
// number holds, or digits around an E. It is for files that ask to be opened in
// a spreadsheet, those with a byte order mark; programs get the text itself.
func asText(s string) string {
	digits := strings.Trim(s, "0123456789")
	long := len(s) > 15 || len(s) > 1 && s[0] == '0'
	exponent := (digits == "E" || digits == "e") && s[0] != digits[0] && s[len(s)-1] != digits[0]
	if digits == "" && long || exponent {
		return "'" + s
	}
	return s
}

func timeCell(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

func intCell(v *int64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatInt(*v, 10)
}

func floatCell(v *float64) string {
	if v == nil {
		return ""
	}
	return number(*v)
}

// number writes f with as many digits as it needs.
func number(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

// percentCell is empty when the level is unknown, and reasonCell says why.
func percentCell(l device.Level) string {
	if p, ok := l.Percent(); ok {
		return number(p)
	}
	return ""
}

func valueCell(l device.Level) string {
	if v, ok := l.Value(); ok {
		return strconv.FormatInt(v, 10)
	}
	return ""
}

func reasonCell(l device.Level) string { return string(l.Reason()) }

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func addressesCell(addrs []netip.Addr) string {
	words := make([]string, 0, len(addrs))
	for _, a := range addrs {
		if a.IsValid() {
			words = append(words, a.String())
		}
	}
	return strings.Join(words, " ")
}

func problemsCell(problems []device.Problem) string {
	words := make([]string, len(problems))
	for i, p := range problems {
		words[i] = fmt.Sprintf("%s: %s", p.Stage, p.Message)
	}
	return strings.Join(words, "; ")
}
