// Package mib reads the tables that printers show over SNMP: the Printer MIB
// (RFC 3805), the Finisher MIB (RFC 3806), and what belongs to them of the
// Host Resources MIB (RFC 2790), of IF-MIB and of the system group. It plans
// what to ask in which order, copes with tables that are sparse, odd or
// wrong, and returns typed rows. It runs over anything that answers like an
// SNMP agent, a recording included, and opens no connection itself.
package mib

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"printround/internal/oid"
)

// Reader answers for the instances that follow given names. One call is one
// exchange with the device. It answers at least one name or column, or
// returns an error; see oid.Answer. The question and the answer last until the
// next call: their room is used again.
type Reader interface {
	Next(ctx context.Context, q oid.Request) (oid.Answer, error)
}

// Num is a number that a device may not have reported. Special values of the
// standard, such as -2 for unknown, are still in it.
type Num struct {
	n  int64
	ok bool
}

// Get returns the number and whether it was reported.
func (n Num) Get() (int64, bool) { return n.n, n.ok }

// Or returns the number, or other when it was not reported.
func (n Num) Or(other int64) int64 {
	if n.ok {
		return n.n
	}
	return other
}

// Row is the part that all rows have.
type Row struct {
	at oid.OID
}

// Device is the first index, which is hrDeviceIndex in all tables of the
// Printer and Finisher MIBs and in hrDeviceTable and hrPrinterTable.
func (r Row) Device() int { return int(r.at[0]) }

// Index is the last index.
func (r Row) Index() int { return int(r.at[len(r.at)-1]) }

// At is the whole instance.
func (r Row) At() oid.OID { return r.at }

// Instance names an object of the row, such as prtMarkerSuppliesLevel.1.3.
func (r Row) Instance(object string) string {
	return string(r.at.AppendText(append(append(make([]byte, 0, 64), object...), '.')))
}

// hrDevicePrinter is the hrDeviceType of printers (RFC 2790, appendix
// HOST-RESOURCES-TYPES).
var hrDevicePrinter = oid.OID{1, 3, 6, 1, 2, 1, 25, 3, 1, 5}

// Facts is what one host showed.
type Facts struct {
	Tables
	PrinterMIB bool          // something of 1.3.6.1.2.1.43 exists
	Values     int           // how many values of the tables were read
	Raw        []oid.VarBind // all of them, in order; nil from ReadRows
	Problems   []string      // oddities of the answers, each in one line
	Partial    bool          // the host stopped answering before all was read

	devices []int // hrDeviceIndex of the rows of the Printer MIB, with values or not
}

// ErrNotPrinter says that a host answers but shows nothing of the Printer MIB.
var ErrNotPrinter = errors.New("the host shows no Printer MIB")

// maxRounds bounds the exchanges of one reading.
const maxRounds = 600

// Read reads one host. With an error after the first answers the Facts so far
// are returned beside it, marked Partial. The error is ErrNotPrinter, or what
// the Reader returned.
func Read(ctx context.Context, r Reader) (*Facts, error) {
	e := newEngine()
	f, err := e.read(ctx, r)
	e.raw(f)
	e.release()
	return f, err
}

// ReadRows is Read without Facts.Raw, for those who need the typed rows alone:
// the list takes more memory than all the rest.
func ReadRows(ctx context.Context, r Reader) (*Facts, error) {
	e := newEngine()
	f, err := e.read(ctx, r)
	e.release()
	return f, err
}

func (e *engine) read(ctx context.Context, r Reader) (*Facts, error) {
	for round := 0; ; round++ {
		q, w := e.plan()
		if len(w.names)+len(w.columns) == 0 || w.optional == len(w.names) && len(w.columns) == 0 && round > 0 {
			break
		}
		if round == maxRounds {
			e.problem("stopped after %d exchanges: the tables do not end", maxRounds)
			break
		}
		a, err := r.Next(ctx, q)
		if err != nil {
			f := e.facts()
			f.Partial = round > 0
			return f, fmt.Errorf("reading the Printer MIB: %w", err)
		}
		if !e.take(q, w, a) {
			e.problem("an answer was empty: stopped there")
			f := e.facts()
			f.Partial = true
			return f, nil
		}
		if e.anchored && !e.printerMIB {
			return e.facts(), ErrNotPrinter
		}
	}
	return e.facts(), nil
}

// Printers returns the hrDeviceIndex of every printer, in order: the devices
// with rows in the Printer MIB, without those that hrDeviceType calls
// something else (RFC 3805 section 2.2.2). A host whose Printer MIB shows none
// of the tables read is one printer; its index comes from hrPrinterTable or
// hrDeviceTable, else it is 1.
func (f *Facts) Printers() []int {
	if !f.PrinterMIB {
		return nil
	}
	typed := map[int]oid.OID{}
	for _, d := range f.HostDevices {
		if d.Type != nil {
			typed[d.Device()] = d.Type
		}
	}
	seen := map[int]bool{}
	for _, d := range f.devices {
		seen[d] = true
	}
	var all, printers []int
	for d := range seen {
		all = append(all, d)
		if t, ok := typed[d]; !ok || t.Equal(hrDevicePrinter) {
			printers = append(printers, d)
		}
	}
	if len(printers) == 0 {
		printers = all // hrDeviceType is wrong then: the tables speak louder
	}
	if len(printers) == 0 {
		printers = f.fallbackIndex()
	}
	slices.Sort(printers)
	return printers
}

func (f *Facts) fallbackIndex() []int {
	var found []int
	for _, p := range f.HostPrinters {
		found = append(found, p.Device())
	}
	for _, d := range f.HostDevices {
		if len(found) == 0 && d.Type.Equal(hrDevicePrinter) {
			found = append(found, d.Device())
		}
	}
	if len(found) == 0 {
		return []int{1}
	}
	return found
}
