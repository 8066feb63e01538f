package mib

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"printround/internal/needtest"
	"printround/internal/oid"
)

// recorded makes a recording of lines of the form that ParseRecording reads.
func recorded(t testing.TB, lines ...string) *Recording {
	t.Helper()
	rec, err := ParseRecording(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func recordingFile(t testing.TB, path string) *Recording {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec, err := ParseRecording(f)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func read(t testing.TB, r Reader) *Facts {
	t.Helper()
	f, err := Read(context.Background(), r)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// tableOf is locate with the table itself, nil for none.
func tableOf(name oid.OID) (t *table, sub uint32, at oid.OID) {
	i, sub, at := locate(name)
	if i < 0 {
		return nil, 0, nil
	}
	return &tables[i], sub, at
}

// Values come in the order of their names, which relies on that of the columns.
func TestColumnsAreInOrder(t *testing.T) {
	for i, a := range inOrder {
		if !slices.IsSortedFunc(tables[a].columns, func(a, b column) int { return int(a.sub) - int(b.sub) }) {
			t.Errorf("the columns of %s are not in the order of their numbers", tables[a].name)
		}
		for _, b := range inOrder[i+1:] {
			if tables[b].entry.HasPrefix(tables[a].entry) {
				t.Errorf("%s lies in %s", tables[b].name, tables[a].name)
			}
		}
	}
}

// readable returns the instances of a recording that Read should find: those
// of the objects read, with a value of the right class. Of devices in
// hrDeviceTable that are no printers only the type matters.
func readable(rec *Recording) []oid.VarBind {
	var want []oid.VarBind
	printers := map[uint32]bool{}
	for _, b := range rec.Bindings() {
		if t, _, at := tableOf(b.Name); t != nil && (t.device() || b.Value.ID.Equal(hrDevicePrinter)) {
			printers[at[0]] = true
		}
	}
	for _, b := range rec.Bindings() {
		t, sub, at := tableOf(b.Name)
		if t == nil || !b.Value.Present() || len(at) != t.arity || t.rows == scalar && at[0] != 0 {
			continue
		}
		if t.name == "hrDevice" && sub != 2 && !printers[at[0]] {
			continue
		}
		if c := t.column(sub); c >= 0 && t.columns[c].class.fits(b.Value) {
			want = append(want, b)
		}
	}
	return want
}

// missed returns what is in want and not in got.
func missed(want, got []oid.VarBind) []string {
	var names []string
	for _, w := range want {
		i, ok := slices.BinarySearchFunc(got, w, func(a, b oid.VarBind) int { return a.Name.Compare(b.Name) })
		if !ok || !got[i].Value.Equal(w.Value) {
			names = append(names, w.Name.String())
		}
	}
	return names
}

// TestReadsEverything compares value for value: every instance that a complete
// device shows of the objects read must come out, whatever its hrDeviceIndex.
func TestReadsEverything(t *testing.T) {
	full := recordingFile(t, filepath.Join("testdata", "full.snmprec"))
	for _, index := range []uint32{1, 4, 5, 10, 300} {
		t.Run(fmt.Sprint(index), func(t *testing.T) {
			rec := NewRecording(moved(full.Bindings(), index))
			f := read(t, rec)
			want := readable(rec)
			if len(want) < 350 {
				t.Fatalf("the recording has %d values, want at least 350", len(want))
			}
			if m := missed(want, f.Raw); len(m) > 0 {
				t.Errorf("%d of %d values were not read: %v", len(m), len(want), m)
			}
			if len(f.Raw) < len(want) {
				t.Errorf("%d values read, %d are there", len(f.Raw), len(want))
			}
			if got := f.Printers(); !slices.Equal(got, []int{int(index)}) {
				t.Errorf("printers %v, want %d", got, index)
			}
			if !slices.IsSortedFunc(f.Raw, oid.ByName) {
				t.Error("the values are not sorted")
			}
			t.Logf("%d values in %d exchanges", len(f.Raw), rec.Exchanges)
		})
	}
}

// moved changes hrDeviceIndex 1 to another.
func moved(binds []oid.VarBind, to uint32) []oid.VarBind {
	var out []oid.VarBind
	for _, b := range binds {
		if t, _, _ := tableOf(b.Name); t != nil && (t.device() || t.name == "hrDevice" || t.name == "hrPrinter") {
			name := b.Name.Append()
			if n := len(t.entry) + 1; name[n] == 1 {
				name[n] = to
			}
			b.Name = name
		}
		out = append(out, b)
	}
	return out
}

// Recordings of real devices, all of them partial: what is there must be read,
// and hosts without a Printer MIB are no printers.
func TestCaptures(t *testing.T) {
	printers, others := 0, 0
	for _, dir := range []string{"snmp", "negative"} {
		files, err := filepath.Glob(filepath.Join(needtest.Shared(t, "captures", dir), "*.snmprec"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no recordings in %s: %v", dir, err)
		}
		for _, file := range files {
			name := filepath.Base(file)
			t.Run(name, func(t *testing.T) {
				rec := capture(t, dir, name)
				f, err := Read(context.Background(), rec)
				shown := slices.ContainsFunc(rec.Bindings(), func(b oid.VarBind) bool { return b.Name.HasPrefix(printerMIB) })
				if dir == "negative" && shown {
					t.Fatal("this one shows a Printer MIB")
				}
				if !shown {
					others++
					if !errors.Is(err, ErrNotPrinter) || f.PrinterMIB || f.Printers() != nil {
						t.Errorf("error %v, printers %v; want none", err, f.Printers())
					}
					if rec.Exchanges != 1 {
						t.Errorf("%d exchanges with a host that is no printer", rec.Exchanges)
					}
					return
				}
				printers++
				if err != nil {
					t.Fatal(err)
				}
				if m := missed(readable(rec), f.Raw); len(m) > 0 {
					t.Errorf("not read: %v", m)
				}
				if got := f.Printers(); !slices.Equal(got, []int{1}) {
					t.Errorf("printers %v", got)
				}
			})
		}
	}
	if printers < 5 || others < 12 {
		t.Errorf("%d printers and %d others in all recordings", printers, others)
	}
}

// Facts are whole on their own: readings that come after do not change them,
// and without the list of values everything else is the same.
func TestReadRows(t *testing.T) {
	full := recordingFile(t, "testdata/full.snmprec")
	want := read(t, full)
	if want.Values != len(want.Raw) || want.Values < 350 {
		t.Errorf("%d values counted, %d listed", want.Values, len(want.Raw))
	}
	raw := want.Raw
	want.Raw = nil
	before := fmt.Sprintf("%+v", want)
	for _, other := range []*Recording{manyAlerts(t, 128, 50), full, NewRecording(nil)} {
		f, err := ReadRows(context.Background(), other)
		if other == full && (err != nil || !reflect.DeepEqual(f, want)) {
			t.Errorf("read again: %v, %+v\nwant %+v", err, f, want)
		}
	}
	if after := fmt.Sprintf("%+v", want); after != before {
		t.Errorf("changed by later readings: %s\nwas %s", after, before)
	}
	if m := missed(readable(full), raw); len(m) > 0 {
		t.Errorf("changed by later readings: %v", m)
	}
}
