// Package tables reads the knowledge of the trade that packages keep as data:
// the folder data that they embed, with tables (TSV with a heading) and TOML.
// The head of each file says what a row is and where it comes from.
package tables

import (
	"bytes"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Data is a file system with a folder data.
type Data struct{ fs.FS }

func (d Data) read(name string) ([]byte, error) { return fs.ReadFile(d, "data/"+name) }

// Rows reads a table: comment lines, a heading line, rows with as many fields
// as the heading.
func (d Data) Rows(name string, heading ...string) ([][]string, error) {
	b, err := d.read(name)
	if err != nil {
		return nil, err
	}
	var rows [][]string
	headed := false
	for i, line := range strings.Split(strings.TrimSuffix(string(b), "\n"), "\n") {
		if strings.HasPrefix(line, "#") {
			continue
		}
		fields := strings.Split(line, "\t")
		switch {
		case len(fields) != len(heading):
			return nil, fmt.Errorf("%s:%d: %d fields, want %d", name, i+1, len(fields), len(heading))
		case headed:
			rows = append(rows, fields)
		case !slices.Equal(fields, heading):
			return nil, fmt.Errorf("%s:%d: heading %q, want %q", name, i+1, fields, heading)
		default:
			headed = true
		}
	}
	return rows, nil
}

// Keyed reads a table whose first column is a key that occurs once.
func (d Data) Keyed(name string, heading ...string) (map[string][]string, error) {
	rows, err := d.Rows(name, heading...)
	if err != nil {
		return nil, err
	}
	m := make(map[string][]string, len(rows))
	for _, r := range rows {
		if _, twice := m[r[0]]; twice {
			return nil, fmt.Errorf("%s: %q occurs twice", name, r[0])
		}
		m[r[0]] = r
	}
	return m, nil
}

// TOML reads a TOML file strictly.
func (d Data) TOML(name string, into any) error {
	b, err := d.read(name)
	if err != nil {
		return err
	}
	dec := toml.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	if err := dec.Decode(into); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}
