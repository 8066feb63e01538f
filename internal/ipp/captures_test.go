package ipp

import (
	"bufio"
	"errors"
	"os"
	"path/filepath"
	"printround/internal/needtest"
	"strconv"
	"strings"
	"testing"
)

func rows(t testing.TB, path string) []map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 1<<20)
	var names []string
	var all []map[string]string
	for lines.Scan() {
		fields := strings.Split(lines.Text(), "\t")
		if names == nil {
			names = fields
			continue
		}
		row := map[string]string{}
		for i, v := range fields {
			row[names[i]] = v
		}
		all = append(all, row)
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

// expected is a cell of EXPECT-ipp.tsv: one value bare, several in brackets.
// A language in brackets behind a text is left out.
func expected(cell string) []string {
	if cell == "" {
		return nil
	}
	inner, list := strings.CutPrefix(cell, "[")
	values := []string{cell}
	if list {
		values = strings.Split(strings.TrimSuffix(inner, "]"), ",")
	}
	for i, v := range values {
		values[i] = strings.TrimSuffix(v, " [en]")
	}
	return values
}

// Recorded responses of real devices, each attribute of EXPECT-ipp.tsv as an
// independent decoder reads it.
func TestDecodeCaptures(t *testing.T) {
	dir := needtest.Shared(t, "captures", "ipp")
	all := rows(t, needtest.Shared(t, "captures", "EXPECT-ipp.tsv"))
	files, err := filepath.Glob(filepath.Join(dir, "*.ipp"))
	if err != nil || len(files) != len(all) {
		t.Errorf("%d recordings, %d expectations, %v", len(files), len(all), err)
	}
	compared := 0
	for _, row := range all {
		t.Run(row["file"], func(t *testing.T) {
			b, err := os.ReadFile(filepath.Join(dir, row["file"]))
			if err != nil {
				t.Fatal(err)
			}
			m, err := Decode(b)
			if err != nil || len(m.Malformed) > 0 {
				t.Fatalf("%v, malformed %v", err, m.Malformed)
			}
			if want, _ := strconv.ParseUint(row["status"], 16, 16); uint64(m.Code) != want {
				t.Errorf("status %04x, want %s", m.Code, row["status"])
			}
			for name, cell := range row {
				if name == "file" || name == "status" {
					continue
				}
				var got []string
				for _, v := range m.First(PrinterGroup).Get(name) {
					if !v.OutOfBand() {
						got = append(got, v.String())
					}
				}
				// The cell joins the values with commas, which some hold themselves.
				if g, w := strings.Join(got, ","), strings.Join(expected(cell), ","); g != w {
					t.Errorf("%s: got %s, want %s", name, g, w)
				}
				compared++
			}
			prefixes(t, b)
		})
	}
	t.Logf("%d values compared", compared)
}

// prefixes checks that a recording cut off at any place (in steps, for a long
// one) gives an error and no panic.
func prefixes(t *testing.T, b []byte) {
	t.Helper()
	step := 1 + len(b)/500
	for n := 0; n < len(b)-1; n += step {
		if _, err := Decode(b[:n]); err == nil {
			t.Fatalf("cut at %d of %d: no error", n, len(b))
		}
	}
}

// The malformed responses seen in the field, as INDEX.tsv says of them.
func TestDecodeOddCaptures(t *testing.T) {
	read := func(name string) (*Message, error) {
		b, err := os.ReadFile(needtest.Shared(t, "captures", "ipp-odd", name))
		if err != nil {
			t.Fatal(err)
		}
		return Decode(b)
	}
	m, err := read("get-job-attributes-xerox-b210-broken-media-col.ipp")
	if err == nil || !strings.Contains(err.Error(), "truncated") {
		t.Errorf("cut inside media-col: error %v", err)
	}
	if len(m.Groups) == 0 || m.First(OperationGroup).Text("attributes-charset") != "utf-8" {
		t.Errorf("cut inside media-col: the groups before are lost: %v", m.Groups)
	}
	m, err = read("get-printer-attributes-empty-attribute-group.ipp")
	if err != nil || m.Code != 0x000b || len(m.Groups) < 2 {
		t.Errorf("empty group: %v, %v", m, err)
	}
	empty := 0
	for _, g := range m.Groups {
		if len(g.Attributes) == 0 {
			empty++
		}
	}
	if empty != 1 {
		t.Errorf("%d empty groups, want 1", empty)
	}
	if errors.Is(err, ErrShort) {
		t.Error("read as too short")
	}
}

// The generated codes equal the registry of 2026-05-07.
func TestCodes(t *testing.T) {
	want := map[string]map[int64]string{}
	for _, row := range rows(t, needtest.Shared(t, "standards", "ipp-codes.tsv")) {
		label := row["name"]
		if strings.Contains(label, "deprecated") || strings.HasPrefix(label, "Reserved") {
			continue
		}
		n, err := strconv.ParseInt(row["value"], 0, 32)
		if err != nil {
			continue // ranges and deprecated numbers
		}
		if want[row["kind"]] == nil {
			want[row["kind"]] = map[int64]string{}
		}
		want[row["kind"]][n] = label
	}
	check := func(kind string, labels map[int64]string) {
		t.Helper()
		if len(labels) == 0 || len(labels) != len(want[kind]) {
			t.Errorf("%s: %d codes, want %d", kind, len(labels), len(want[kind]))
		}
		for n, label := range labels {
			if want[kind][n] != label {
				t.Errorf("%s %d: %q, want %q", kind, n, label, want[kind][n])
			}
		}
	}
	check("status-code", numbers(labelStatus))
	check("enum printer-state", numbers(labelPrinterState))
	check("enum job-state", numbers(labelJobState))
	check("enum orientation-requested", numbers(labelOrientation))
	check("enum finishings", numbers(labelFinishing))
}

func numbers[T ~int32](labels map[T]string) map[int64]string {
	all := map[int64]string{}
	for n, l := range labels {
		all[int64(n)] = l
	}
	return all
}

// Every attribute asked for is registered or, for queues of print servers and
// the marker-… attributes, documented elsewhere.
func TestRequestedAttributesAreRegistered(t *testing.T) {
	known := map[string]bool{
		// CUPS Implementation of IPP, from memory.
		"device-uri": true, "member-names": true, "cups-version": true, "printer-type": true,
	}
	for _, row := range rows(t, needtest.Shared(t, "standards", "ipp-attributes.tsv")) {
		known[row["name"]] = true
	}
	for _, name := range append(PrinterAttributes(), append(jobAttributes, jobName, jobOwner)...) {
		if !known[name] {
			t.Errorf("%s is asked for and not registered", name)
		}
	}
}
