package mib

import (
	"slices"

	"printround/internal/oid"
)

// printerMIB is the root of the Printer and Finisher MIBs.
var printerMIB = oid.OID{1, 3, 6, 1, 2, 1, 43}

type rowKind uint8

const (
	scalar rowKind = iota // one row, instance 0
	dense                 // indices usually have no gaps: the next ones can be guessed
	sparse                // they have: only repetitions show them quickly
)

type valueClass uint8

const (
	isNumber valueClass = iota
	isOctets
	isOID
)

func (c valueClass) fits(v oid.Value) bool {
	switch c {
	case isOctets:
		return v.Kind == oid.OctetString || v.Kind == oid.Opaque
	case isOID:
		return v.Kind == oid.ObjectID
	}
	return v.Numeric()
}

func (c valueClass) String() string {
	return [...]string{"a number", "octets", "an object identifier"}[c]
}

// table is what is read of a table. The order of its columns is that of the
// standard.
type table struct {
	name    string
	entry   oid.OID
	arity   int // number of index sub-identifiers
	rows    rowKind
	leads   []int // columns that are followed to find the rows
	guess   int   // rows to ask for before any is known
	cap     int   // rows kept
	columns []column
}

type column struct {
	name  string
	sub   uint32
	class valueClass
	phase uint8 // 1: needed to rank the device; 2: the rest
	size  int   // usual octets of a value on the wire
}

// device reports whether the first index is hrDeviceIndex of a printer.
func (t *table) device() bool { return t.entry.HasPrefix(printerMIB) }

func (t *table) column(sub uint32) int {
	return slices.IndexFunc(t.columns, func(c column) bool { return c.sub == sub })
}

// locate finds the table that a name belongs to by its number, -1 for none, its
// column number in the standard, and the instance.
func locate(name oid.OID) (number int, sub uint32, at oid.OID) {
	if !name.HasPrefix(mib2) {
		return -1, 0, nil
	}
	below := name[len(mib2):]
	for i := range tables {
		entry := tables[i].entry[len(mib2):]
		if n := len(entry); len(below) > n+1 && below[0] == entry[0] && below.HasPrefix(entry) {
			return i, below[n], below[n+1:]
		}
	}
	return -1, 0, nil
}

// mib2 is the root of all tables read (RFC 2578 section 2, mib-2).
var mib2 = oid.OID{1, 3, 6, 1, 2, 1}

// inOrder has the numbers of the tables by their object identifiers: that of
// the values of a device.
var inOrder = func() []int {
	order := make([]int, len(tables))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return tables[a].entry.Compare(tables[b].entry) })
	return order
}()

type cellState uint8

const (
	unknown cellState = iota
	got
	missing // asked for, the device has none
)

// cell is a value in the form that takes least room: its octets or arcs lie
// with those of all others.
type cell struct {
	state      cellState
	kind       oid.Kind
	begin, end uint32 // of the octets, or of the arcs of an object identifier
	num        int64
}

type rowState struct {
	at    oid.OID
	cells []cell // parallel to table.columns
}

// lead is a column that is followed from row to row. Up to and including
// instance last, all of its rows are known.
type lead struct {
	sub   uint32
	size  int
	last  oid.OID // empty: no row is known; in a room of its own
	ended bool
	rows  rowKind
	ahead int // how many rows to ask for at once
}

type tableState struct {
	*table
	known  []*rowState // sorted
	spare  []*rowState // of earlier readings
	lead   []lead
	probed bool
	capped bool
	broken []bool // columns whose answers make no sense
	tailed []bool // columns whose end was looked at
}

func (s *tableState) init(t *table) {
	n := len(t.columns)
	marks := make([]bool, 2*n)
	s.table, s.broken, s.tailed = t, marks[:n:n], marks[n:]
	s.lead = make([]lead, max(len(t.leads), 1))
}

// reset forgets all rows.
func (s *tableState) reset() {
	clear(s.broken)
	clear(s.tailed)
	s.spare = append(s.spare, s.known...)
	s.known = s.known[:0]
	s.capped, s.probed = false, s.rows == scalar
	s.lead = s.lead[:len(s.leads)]
	for i, c := range s.leads {
		s.lead[i] = lead{sub: s.columns[c].sub, size: s.columns[c].size, rows: s.rows, ahead: 2, last: s.lead[i].last[:0]}
	}
}

// row returns a row of which nothing is known.
func (s *tableState) row(at oid.OID) *rowState {
	n := len(s.spare) - 1
	if n < 0 {
		return &rowState{at: at, cells: make([]cell, len(s.columns))}
	}
	r := s.spare[n]
	s.spare = s.spare[:n]
	r.at = at
	clear(r.cells)
	return r
}

func (s *tableState) find(at oid.OID) (int, bool) {
	if n := len(s.known); n == 0 || s.known[n-1].at.Compare(at) < 0 {
		return n, false // rows mostly come in order
	}
	return slices.BinarySearchFunc(s.known, at, func(r *rowState, at oid.OID) int { return r.at.Compare(at) })
}

// add makes sure that there is a row, and returns nil when the table is full.
// The instance of a new one is copied into arcs.
func (s *tableState) add(at oid.OID, arcs *oid.OID) *rowState {
	i, ok := s.find(at)
	if ok {
		return s.known[i]
	}
	if len(s.known) >= s.cap {
		s.capped = true
		return nil
	}
	begin := len(*arcs)
	*arcs = append(*arcs, at...)
	r := s.row((*arcs)[begin:len(*arcs):len(*arcs)])
	s.known = slices.Insert(s.known, i, r)
	for _, l := range s.lead {
		if c := s.column(l.sub); l.ended && c >= 0 {
			r.cells[c].state = missing
		}
	}
	return r
}

// giveUp marks what is unknown of a column, from row at on, as missing.
func (s *tableState) giveUp(col int, at oid.OID) {
	for _, r := range s.known {
		if r.cells[col].state == unknown && (at == nil || r.at.Compare(at) >= 0) {
			r.cells[col].state = missing
		}
	}
}

// endLead notes that a lead column has no rows beyond those known.
func (s *tableState) endLead(l *lead) {
	l.ended = true
	if c := s.column(l.sub); c >= 0 {
		s.giveUp(c, nil)
	}
}

// explored reports whether all rows are known as far as the leads tell.
func (s *tableState) explored() bool {
	for _, l := range s.lead {
		if !l.ended {
			return false
		}
	}
	return true
}

// leadless reports whether no lead column has any row.
func (s *tableState) leadless() bool {
	for _, l := range s.lead {
		if len(l.last) > 0 {
			return false
		}
	}
	return true
}
