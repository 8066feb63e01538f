package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"net/netip"
	"strconv"
	"strings"
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

// writeCSV writes RFC 4180: comma, double quotes where needed, CRLF at the end
// of each record (section 2 rule 1), a heading (rule 3), UTF-8.
func writeCSV(w io.Writer, devices []device.Device, o Options) error {
	if o.BOM {
		if _, err := io.WriteString(w, "\ufeff"); err != nil {
			return err
		}
	}
	c := csv.NewWriter(w)
	c.UseCRLF = true
	cell := inert
	if o.BOM {
		cell = func(s string) string { return asText(inert(s)) }
	}
	switch o.Rows {
	case Supplies:
		writeRows(c, supplyColumns, devices, supplyRows, cell)
	case Trays:
		writeRows(c, trayColumns, devices, trayRows, cell)
	case Findings:
		writeRows(c, findingColumns, devices, findingRows, cell)
	default:
		writeRows(c, deviceColumns, devices, func(d *device.Device) []*device.Device { return []*device.Device{d} }, cell)
	}
	c.Flush()
	return c.Error()
}

// writeRows leaves errors to the writer, which keeps the first one.
func writeRows[T any](c *csv.Writer, cols []column[T], devices []device.Device, rows func(*device.Device) []T, cell func(string) string) {
	record := make([]string, len(cols))
	for i, col := range cols {
		record[i] = col.name
	}
	_ = c.Write(record)
	for i := range devices {
		for _, row := range rows(&devices[i]) {
			for n, col := range cols {
				record[n] = cell(col.cell(row))
			}
			_ = c.Write(record)
		}
	}
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
