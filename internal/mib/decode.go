package mib

import (
	"bytes"
	"math"
	"slices"

	"golang.org/x/text/encoding"

	"printround/internal/oid"
)

// facts turns what was read into typed rows.
func (e *engine) facts() *Facts {
	f := &Facts{PrinterMIB: e.printerMIB, Problems: e.problems}
	d := newDecoder(e)
	for i, t := range e.tables {
		d.fill(&f.Tables, i, e.shown(t))
		if t.device() {
			for _, r := range t.known {
				if d := int(r.at[0]); !slices.Contains(f.devices, d) {
					f.devices = append(f.devices, d)
				}
			}
		}
	}
	f.Values, _ = e.present()
	return f
}

// raw lists every value: by the order of the tables, of their columns and of
// their rows it comes sorted.
func (e *engine) raw(f *Facts) {
	values, arcs := e.present()
	f.Raw = make([]oid.VarBind, 0, values)
	names := make(oid.OID, 0, arcs)
	for _, i := range inOrder {
		t := e.tables[i]
		for c := range t.columns {
			for _, r := range t.known {
				if v := e.value(&r.cells[c]); v.Present() {
					begin := len(names)
					names = append(append(append(names, t.entry...), t.columns[c].sub), r.at...)
					f.Raw = append(f.Raw, oid.VarBind{Name: names[begin:len(names):len(names)], Value: v})
				}
			}
		}
	}
}

// present counts the values that there are, and the sub-identifiers of their
// names.
func (e *engine) present() (values, arcs int) {
	for _, t := range e.tables {
		for _, r := range t.known {
			for i := range r.cells {
				if (oid.Value{Kind: r.cells[i].kind}).Present() {
					values++
					arcs += len(t.entry) + 1 + len(r.at)
				}
			}
		}
	}
	return values, arcs
}

// decoder makes typed rows. Text is decoded by the character set that the
// printer of the row says it uses.
type decoder struct {
	e         *engine
	localized map[uint32]encoding.Encoding // by hrDeviceIndex; of prtGeneralCurrentLocalization
	console   map[uint32]encoding.Encoding // of prtConsoleLocalization
}

func newDecoder(e *engine) *decoder {
	d := &decoder{e: e, localized: map[uint32]encoding.Encoding{}, console: map[uint32]encoding.Encoding{}}
	sets := map[[2]uint32]int64{}
	for _, r := range e.tables[tableLocalization].known {
		sets[[2]uint32{r.at[0], r.at[1]}] = d.makeLocalization(r).CharacterSet.Or(0)
	}
	for _, r := range e.tables[tableGeneral].known {
		g := d.makeGeneral(r)
		d.localized[r.at[0]] = charset(sets[[2]uint32{r.at[0], uint32(g.CurrentLocalization.Or(0))}])
		d.console[r.at[0]] = charset(sets[[2]uint32{r.at[0], uint32(g.ConsoleLocalization.Or(0))}])
	}
	return d
}

// shown returns the rows that have a value. It lasts until the next call.
func (e *engine) shown(t *tableState) []*rowState {
	e.rows = e.rows[:0]
	for _, r := range t.known {
		if slices.ContainsFunc(r.cells, func(c cell) bool { return c.state == got }) {
			e.rows = append(e.rows, r)
		}
	}
	return e.rows
}

func (d *decoder) number(r *rowState, i int) Num {
	c := &r.cells[i]
	return Num{n: c.num, ok: c.state == got}
}

// enum returns 0 for what is not reported and for what is no Integer32.
func (d *decoder) enum(r *rowState, i int) int32 {
	c := &r.cells[i]
	if c.state != got || c.num > math.MaxInt32 || c.num < math.MinInt32 {
		return 0
	}
	return int32(c.num)
}

func (d *decoder) octets(r *rowState, i int) []byte { return bytes.Clone(d.passingOctets(r, i)) }

// passingOctets is octets for a moment.
func (d *decoder) passingOctets(r *rowState, i int) []byte {
	if r.cells[i].state != got {
		return nil
	}
	return d.e.bytes(&r.cells[i])
}

func (d *decoder) oid(r *rowState, i int) oid.OID {
	if r.cells[i].state != got {
		return nil
	}
	return d.e.id(&r.cells[i])
}

func (d *decoder) text(r *rowState, i int) string { return decodeText(d.passingOctets(r, i), nil) }

func (d *decoder) localizedText(r *rowState, i int) string {
	return decodeText(d.passingOctets(r, i), d.localized[r.at[0]])
}

func (d *decoder) consoleText(r *rowState, i int) string {
	return decodeText(d.passingOctets(r, i), d.console[r.at[0]])
}
