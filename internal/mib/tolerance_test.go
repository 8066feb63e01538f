package mib

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"printround/internal/oid"
)

const (
	general  = "1.3.6.1.2.1.43.5.1.1"
	supplies = "1.3.6.1.2.1.43.11.1.1"
	inputs   = "1.3.6.1.2.1.43.8.2.1"
	alerts   = "1.3.6.1.2.1.43.18.1.1"
	hrDevice = "1.3.6.1.2.1.25.3.2.1"
	attrs    = "1.3.6.1.2.1.43.33.1.1"
)

// Tables may have holes and columns that are longer than others.
func TestRaggedTables(t *testing.T) {
	tests := []struct {
		name  string
		lines []string
	}{
		{"no lead column", []string{supplies + ".6.1.1|4|a", supplies + ".6.1.2|4|b", supplies + ".8.1.1|2|100"}},
		{"last column alone", []string{supplies + ".8.1.1|2|100", supplies + ".8.1.2|2|100", supplies + ".8.1.3|2|100"}},
		{"a hole in the lead column", []string{supplies + ".6.1.1|4|a", supplies + ".6.1.2|4|b", supplies + ".6.1.3|4|c", supplies + ".9.1.1|2|5", supplies + ".9.1.3|2|7"}},
		{"lead column short", []string{supplies + ".4.1.1|2|3", supplies + ".4.1.2|2|3", supplies + ".4.1.3|2|3", supplies + ".5.1.1|2|3", supplies + ".5.1.2|2|3", supplies + ".5.1.3|2|3", supplies + ".9.1.1|2|5"}},
		{"rows only the next column has", []string{inputs + ".9.1.1|2|500", inputs + ".9.1.2|2|500", inputs + ".9.1.4|2|500", inputs + ".10.1.1|2|5", inputs + ".11.1.1|2|0", inputs + ".11.1.9|2|0"}},
		{"indices with gaps", []string{supplies + ".9.1.1|2|5", supplies + ".9.1.2|2|5", supplies + ".9.1.40|2|5", supplies + ".9.1.1000|2|5", supplies + ".6.1.1000|4|z"}},
		{"an index 0", []string{supplies + ".9.1.0|2|5", supplies + ".9.1.1|2|6", supplies + ".9.1.2|2|7", supplies + ".6.1.0|4|z"}},
		{"hrDeviceIndex 300", []string{supplies + ".9.300.1|2|5", supplies + ".9.300.2|2|5", supplies + ".6.300.1|4|z"}},
		{"largest indices", []string{alerts + ".7.1.2147483647|2|8", alerts + ".2.1.2147483647|2|3", alerts + ".7.1.3|2|8"}},
		{"alerts with gaps", []string{alerts + ".2.1.7|2|3", alerts + ".2.1.23|2|3", alerts + ".2.1.58|2|4", alerts + ".2.1.59|2|4", alerts + ".2.1.200|2|4", alerts + ".2.1.201|2|4", alerts + ".8.1.200|4|jam"}},
		{"attributes of both kinds", []string{attrs + ".3.1.1.30.1|2|6", attrs + ".3.1.2.83.1|2|6", attrs + ".4.1.2.16.1|4|x", attrs + ".4.1.2.81.1|4|4"}},
		{"attributes as octets only", []string{attrs + ".4.1.2.16.1|4|x", attrs + ".4.1.2.16.2|4|y", attrs + ".4.1.2.81.1|4|4"}},
		{"a single cell of a table", []string{"1.3.6.1.2.1.43.16.5.1.2.1.3|4|Ready"}},
		{"two printers behind one address", []string{
			hrDevice + ".2.1|6|1.3.6.1.2.1.25.3.1.5", hrDevice + ".2.2|6|1.3.6.1.2.1.25.3.1.5", hrDevice + ".3.1|4|A", hrDevice + ".3.2|4|B",
			supplies + ".9.1.1|2|5", supplies + ".9.2.1|2|50", supplies + ".9.2.2|2|51", supplies + ".6.2.1|4|z"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			rec := recorded(t, append(tt.lines, general+".1.1|65|3")...)
			f := read(t, rec)
			if m := missed(readable(rec), f.Raw); len(m) > 0 {
				t.Errorf("not read: %v", m)
			}
			if len(f.Problems) > 0 {
				t.Errorf("problems: %v", f.Problems)
			}
			if rec.Exchanges > 12 {
				t.Errorf("%d exchanges for %d values", rec.Exchanges, len(rec.Bindings()))
			}
		})
	}
}

// Which rows are printers: RFC 3805 section 2.2.2 puts the printer at the
// hrDeviceIndex of its hrDeviceTable row.
func TestPrinters(t *testing.T) {
	const printer, network = "1.3.6.1.2.1.25.3.1.5", "1.3.6.1.2.1.25.3.1.4"
	tests := []struct {
		name  string
		lines []string
		want  []int
	}{
		{"index 1", []string{general + ".2.1|2|1", hrDevice + ".2.1|6|" + printer}, []int{1}},
		{"index 10", []string{general + ".2.10|2|1", hrDevice + ".2.10|6|" + printer, hrDevice + ".2.1|6|" + network}, []int{10}},
		{"two printers", []string{general + ".2.3|2|1", general + ".2.7|2|1", hrDevice + ".2.3|6|" + printer, hrDevice + ".2.7|6|" + printer}, []int{3, 7}},
		{"no hrDeviceTable", []string{supplies + ".9.5.1|2|1"}, []int{5}},
		{"a row of hrDeviceTable is missing", []string{general + ".2.1|2|1", general + ".2.2|2|1", hrDevice + ".2.1|6|" + printer}, []int{1, 2}},
		{"one of two is no printer", []string{general + ".2.1|2|1", general + ".2.2|2|1", hrDevice + ".2.1|6|" + printer, hrDevice + ".2.2|6|" + network}, []int{1}},
		{"hrDeviceType is wrong", []string{general + ".2.1|2|1", hrDevice + ".2.1|6|" + network}, []int{1}},
		{"a printer row without tables of its own", []string{general + ".2.1|2|1", hrDevice + ".2.1|6|" + printer, hrDevice + ".2.2|6|" + printer}, []int{1}},
		{"only Null in the Printer MIB", []string{general + ".15.4|5|"}, []int{4}},
		{"only tables that are not read", []string{"1.3.6.1.2.1.43.5.2.1.2.1.1|2|1", "1.3.6.1.2.1.25.3.5.1.1.8|2|3"}, []int{8}},
		{"nothing but a value outside all tables", []string{"1.3.6.1.2.1.43.99.1.0|2|1", hrDevice + ".2.6|6|" + printer}, []int{6}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := read(t, recorded(t, tt.lines...)).Printers(); !slices.Equal(got, tt.want) {
				t.Errorf("printers %v, want %v", got, tt.want)
			}
		})
	}
}

// Values of the wrong type are left out and reported; Null is as good as
// nothing.
func TestWrongTypes(t *testing.T) {
	f := read(t, recorded(t,
		supplies+".9.1.1|4|full", supplies+".9.1.2|2|40", supplies+".6.1.1|2|7", supplies+".6.1.2|5|",
		hrDevice+".2.1|2|5", hrDevice+".3.1|4|A printer", general+".16.1|64|127.0.0.1", general+".17.1|4|S1"))
	if len(f.Supplies) != 1 || f.Supplies[0].Index() != 2 {
		t.Fatalf("supplies %+v: only row 2 has a value", f.Supplies)
	}
	if n, ok := f.Supplies[0].Level.Get(); n != 40 || !ok || f.Supplies[0].Description != "" {
		t.Errorf("supply %+v", f.Supplies[0])
	}
	if f.Generals[0].PrinterName != "" || f.Generals[0].SerialNumber != "S1" || f.HostDevices[0].Type != nil {
		t.Errorf("general %+v, device %+v", f.Generals[0], f.HostDevices[0])
	}
	for _, want := range []string{
		"prtMarkerSuppliesLevel.1.1 is OCTET STRING instead of a number", "prtMarkerSuppliesDescription.1.1 is INTEGER instead of octets",
		"hrDeviceType.1 is INTEGER instead of an object identifier", "prtGeneralPrinterName.1 is IpAddress instead of octets"} {
		if !slices.ContainsFunc(f.Problems, func(p string) bool { return strings.HasPrefix(p, want) }) {
			t.Errorf("no problem %q in %q", want, f.Problems)
		}
	}
	if len(f.Problems) != 4 {
		t.Errorf("problems %q", f.Problems)
	}
}

// Numbers may come as any numeric type.
func TestNumberTypes(t *testing.T) {
	f := read(t, recorded(t, supplies+".9.1.1|66|40", supplies+".9.1.2|65|41", supplies+".9.1.3|70|42", supplies+".9.1.4|70|18446744073709551615"))
	var got []int64
	for _, s := range f.Supplies {
		n, _ := s.Level.Get()
		got = append(got, n)
	}
	if !slices.Equal(got, []int64{40, 41, 42}) {
		t.Errorf("levels %v", got)
	}
}

func TestOddIndices(t *testing.T) {
	f := read(t, recorded(t, supplies+".9.1|2|40", supplies+".9.1.2.3|2|41", supplies+".9.1.4|2|42", general+".2.1|2|1"))
	if len(f.Supplies) != 1 || f.Supplies[0].Index() != 4 {
		t.Errorf("supplies %+v", f.Supplies)
	}
	if len(f.Problems) != 2 {
		t.Errorf("problems %q", f.Problems)
	}
}

// bent is a reader whose answers are bent by a function.
type bent struct {
	*Recording
	bend func(asked oid.OID, vb oid.VarBind) oid.VarBind
}

func (b bent) Next(ctx context.Context, q oid.Request) (oid.Answer, error) {
	a, err := b.Recording.Next(ctx, q)
	for i := range a.Names {
		a.Names[i] = b.bend(q.Names[i].Name, a.Names[i])
	}
	for i := range a.Columns {
		asked := q.Columns[i].Name
		for j := range a.Columns[i] {
			a.Columns[i][j] = b.bend(asked, a.Columns[i][j])
			asked = a.Columns[i][j].Name
		}
	}
	return a, err
}

// Agents that answer with the same or an earlier name must not hold the reader
// up, and the rest is still read.
func TestNamesThatDoNotFollow(t *testing.T) {
	column := oid.MustParse(supplies + ".6")
	tests := map[string]func(asked oid.OID, vb oid.VarBind) oid.VarBind{
		"the asked name again": func(asked oid.OID, vb oid.VarBind) oid.VarBind {
			if asked.HasPrefix(column) {
				vb.Name = asked
			}
			return vb
		},
		"always the first row": func(asked oid.OID, vb oid.VarBind) oid.VarBind {
			if vb.Name.HasPrefix(column) {
				vb.Name = column.Append(1, 1)
			}
			return vb
		},
		"far back": func(asked oid.OID, vb oid.VarBind) oid.VarBind {
			if vb.Name.HasPrefix(column) {
				vb.Name = oid.MustParse("1.3.6.1.2.1.1.1.0")
			}
			return vb
		},
		"everything backwards": func(asked oid.OID, vb oid.VarBind) oid.VarBind {
			if asked.HasPrefix(printerMIB) && len(asked) > len(printerMIB) {
				vb.Name = printerMIB
			}
			return vb
		},
		"always the same far ahead": func(asked oid.OID, vb oid.VarBind) oid.VarBind {
			if asked.HasPrefix(column) {
				vb.Name = column.Append(1, 1000)
			}
			return vb
		},
		"alerts without end": func(asked oid.OID, vb oid.VarBind) oid.VarBind {
			if lead := oid.MustParse(alerts + ".2"); asked.HasPrefix(lead) {
				n := uint32(1)
				if len(asked) > len(lead)+1 {
					n = asked[len(lead)+1] + 1
				}
				return oid.VarBind{Name: lead.Append(1, n), Value: oid.Int(3)}
			}
			return vb
		},
	}
	lines := []string{general + ".2.1|2|1"}
	for r := 1; r <= 6; r++ {
		for c := 2; c <= 9; c++ {
			tag := 2
			if c == 6 {
				tag = 4
			}
			lines = append(lines, fmt.Sprintf("%s.%d.1.%d|%d|%d", supplies, c, r, tag, 10*c+r))
		}
	}
	for name, bend := range tests {
		t.Run(name, func(t *testing.T) {
			r := bent{recorded(t, lines...), bend}
			f, err := Read(context.Background(), r)
			if err != nil {
				t.Fatal(err)
			}
			if r.Exchanges > 60 {
				t.Errorf("%d exchanges", r.Exchanges)
			}
			if name != "always the same far ahead" && len(f.Problems) == 0 {
				t.Error("nothing reported")
			}
			if name != "everything backwards" && len(f.Supplies) < 6 {
				t.Errorf("%d supplies of 6", len(f.Supplies))
			}
			if len(f.Alerts) > 128 {
				t.Errorf("%d alerts", len(f.Alerts))
			}
		})
	}
}

func TestTooManyRows(t *testing.T) {
	var lines []string
	for i := range 200 {
		lines = append(lines, fmt.Sprintf("%s.9.1.%d|2|%d", supplies, i+1, i), fmt.Sprintf("%s.6.1.%d|4|s%d", supplies, i+1, i))
	}
	f := read(t, recorded(t, lines...))
	if len(f.Supplies) != 64 || f.Supplies[63].Description != "s63" {
		t.Errorf("%d supplies, the last %q; want 64", len(f.Supplies), f.Supplies[len(f.Supplies)-1].Description)
	}
	if len(f.Problems) != 1 || !strings.Contains(f.Problems[0], "more than 64 rows") {
		t.Errorf("problems %q", f.Problems)
	}
}

// broken is a reader that fails after some exchanges.
type broken struct {
	*Recording
	after int
	err   error
	empty bool
	few   bool // answer one name at a time
}

func (b *broken) Next(ctx context.Context, q oid.Request) (oid.Answer, error) {
	if b.after == 0 && (b.err != nil || b.empty) {
		return oid.Answer{}, b.err
	}
	b.after--
	if b.few && len(q.Names) > 0 {
		q.Names, q.Columns = q.Names[:1], nil
	}
	return b.Recording.Next(ctx, q)
}

func TestReaderFails(t *testing.T) {
	full := recordingFile(t, "testdata/full.snmprec")
	fault := errors.New("the cable is out")
	f, err := Read(context.Background(), &broken{Recording: full, err: fault})
	if !errors.Is(err, fault) || f.Partial || f.Printers() != nil {
		t.Errorf("at once: error %v, partial %v, printers %v", err, f.Partial, f.Printers())
	}
	f, err = Read(context.Background(), &broken{Recording: full, after: 2, err: fault})
	if !errors.Is(err, fault) || !f.Partial || !slices.Equal(f.Printers(), []int{1}) || len(f.Supplies) != 9 {
		t.Errorf("later: error %v, partial %v, printers %v, %d supplies", err, f.Partial, f.Printers(), len(f.Supplies))
	}
	f, err = Read(context.Background(), &broken{Recording: full, after: 2, empty: true})
	if err != nil || !f.Partial || len(f.Problems) != 1 {
		t.Errorf("empty answer: error %v, partial %v, problems %q", err, f.Partial, f.Problems)
	}
}

// A device that answers one name at a time is slow, not unreadable; and the
// state comes before the rest.
func TestOneNameAtATime(t *testing.T) {
	full := recordingFile(t, "testdata/full.snmprec")
	f := read(t, &broken{Recording: full, few: true})
	if m := missed(readable(full), f.Raw); len(m) > 0 {
		t.Errorf("not read: %v", m)
	}
}

// What ranks a device is read before sizes, languages and names.
func TestStatusFirst(t *testing.T) {
	full := recordingFile(t, "testdata/full.snmprec")
	asked := map[string]int{}
	n := 0
	r := watched{full, func(q oid.Request) {
		for _, a := range q.Names {
			n++
			for i := range tables {
				for _, c := range tables[i].columns {
					if a.Name.HasPrefix(tables[i].entry.Append(c.sub)) && asked[c.name] == 0 {
						asked[c.name] = n
					}
				}
			}
		}
	}}
	read(t, r)
	for _, early := range []string{"prtMarkerSuppliesMaxCapacity", "prtInputStatus", "prtAlertCode", "prtAlertDescription", "finDeviceType"} {
		for _, late := range []string{"prtInputMediaType", "prtOutputDescription", "prtInterpreterLangLevel", "sysDescr", "prtGeneralSerialNumber"} {
			if asked[early] == 0 || asked[late] == 0 || asked[early] > asked[late] {
				t.Errorf("%s asked as number %d, %s as %d", early, asked[early], late, asked[late])
			}
		}
	}
}

type watched struct {
	*Recording
	see func(oid.Request)
}

func (w watched) Next(ctx context.Context, q oid.Request) (oid.Answer, error) {
	w.see(q)
	return w.Recording.Next(ctx, q)
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Read(ctx, recordingFile(t, "testdata/full.snmprec")); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}
