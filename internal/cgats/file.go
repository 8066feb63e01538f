package cgats

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Limits of what is read. A chart has some thousand patches, a patch with a
// spectrum some hundred fields.
const (
	maxSize     = 16 << 20 // bytes of a file
	maxTables   = 64
	maxKeywords = 1000 // of one table
	maxFields   = 1024
	maxRows     = 100_000 // of all tables
	maxValues   = 2_000_000
	maxText     = 1024 // bytes of one value
)

// Error is what is wrong with a file, and where.
type Error struct {
	Line    int // from 1; 0: the file as a whole
	Message string
}

func (e *Error) Error() string {
	if e.Line == 0 {
		return e.Message
	}
	return fmt.Sprintf("line %d: %s", e.Line, e.Message)
}

func errorf(line int, format string, args ...any) error {
	return &Error{line, fmt.Sprintf(format, args...)}
}

// File is what a file holds.
type File struct {
	Identifier string // first line, such as CGATS.17; empty: none
	Tables     []Table
}

// Keyword is one line of a head.
type Keyword struct {
	Name  string // in capitals
	Value string // without its quotes
	Line  int
}

// Table is one table with its head. The head of a later table holds only what
// the file says anew.
type Table struct {
	Keywords []Keyword
	Fields   []string // in capitals
	Rows     []Row
	Line     int // of BEGIN_DATA
}

// Row is one set of data: as many values as the table has fields.
type Row struct {
	Values []string
	Line   int
}

// Keyword returns the first value of a keyword, and whether there is one.
func (t *Table) Keyword(name string) (string, bool) {
	for _, k := range t.Keywords {
		if k.Name == name {
			return k.Value, true
		}
	}
	return "", false
}

// Field returns the place of a field in the rows, -1 when the table has none.
func (t *Table) Field(name string) int { return slices.Index(t.Fields, name) }

// Has reports whether the table has all of the fields.
func (t *Table) Has(names ...string) bool {
	return !slices.ContainsFunc(names, func(n string) bool { return t.Field(n) < 0 })
}

// Numbers returns the values of some fields of a row. Each lies in least to
// most; the error names the line and the field otherwise.
func (t *Table) Numbers(r *Row, least, most float64, names ...string) ([]float64, error) {
	out := make([]float64, len(names))
	for i, n := range names {
		at := t.Field(n)
		if at < 0 {
			return nil, errorf(t.Line, "the table has no field %s", n)
		}
		v, err := parseNumber(r.Values[at])
		if err != nil {
			return nil, errorf(r.Line, "%s is %q, which is no number", n, shorten(r.Values[at]))
		}
		if v < least || v > most {
			return nil, errorf(r.Line, "%s is %s; it must be %g to %g", n, shorten(r.Values[at]), least, most)
		}
		out[i] = v
	}
	return out, nil
}

// parseNumber reads a decimal number. A single comma is taken for the decimal
// point that some systems write so; values are separated by white space.
func parseNumber(s string) (float64, error) {
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		s = strings.Replace(s, ",", ".", 1)
	}
	if strings.ContainsAny(s, "xXpP_nNiI") { // hexadecimal, digit groups, nan, inf
		return 0, strconv.ErrSyntax
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, err
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, strconv.ErrRange
	}
	return v, nil
}

// shorten keeps a value of the file fit for an error.
func shorten(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
