package mib

import (
	"fmt"
	"slices"
	"sync"

	"printround/internal/oid"
)

// wantKind says what an ask is for.
type wantKind uint8

const (
	wantAnchor wantKind = iota // is there a Printer MIB at all
	wantLead                   // the next row of a lead column
	wantProbe                  // any row of a table whose lead columns are empty
	wantValue                  // one cell
	wantTail                   // rows that only one column has
	wantClock                  // sysUpTime once more, after the alerts
)

type want struct {
	kind wantKind
	t    *tableState
	lead int
	col  int
	row  *rowState
}

// wants is parallel to a request. The last optional names are asked only if
// there is room for them.
type wants struct {
	names, columns []want
	optional       int
}

// engine is the state of one reading.
//
// It is used again for other readings: what a reading leaves behind must not
// point into it, but for the arcs.
type engine struct {
	tables     []*tableState
	anchored   bool
	clocked    bool // sysUpTime was asked for again
	printerMIB bool
	problems   []string
	single     int         // how often a repeated column had one row
	reps       int         // how often lead columns of sparse tables are repeated in one answer
	plans      planner     // the present plan; what plan returned lasts until the next
	scratch    oid.OID     // a name that is needed for a moment only
	arcs       oid.OID     // where the instances of rows and the values that are object identifiers lie
	octets     []byte      // where the octets of values lie
	rows       []*rowState // of one table, for a moment
}

var engines = sync.Pool{New: func() any {
	e := &engine{tables: make([]*tableState, len(tables)), scratch: make(oid.OID, 0, oid.MaxLen)}
	e.plans.q.Names = make([]oid.Ask, 0, mostNames)
	e.plans.w.names = make([]want, 0, mostNames)
	states := make([]tableState, len(tables))
	for i := range tables {
		e.tables[i] = &states[i]
		states[i].init(&tables[i])
	}
	return e
}}

// usualArcs is how many sub-identifiers the rows of a full device have.
const usualArcs = 320

// newEngine returns an engine that knows nothing. It is to be released.
func newEngine() *engine {
	e := engines.Get().(*engine)
	e.anchored, e.clocked, e.printerMIB = false, false, false
	e.single, e.reps = 0, firstReps
	e.arcs, e.octets = make(oid.OID, 0, usualArcs), e.octets[:0]
	for _, t := range e.tables {
		t.reset()
		if t.rows == scalar {
			t.add(oid.OID{0}, &e.arcs)
		}
	}
	return e
}

// maxKeptOctets bounds the room that waits for the next reading. A full device
// takes a tenth of it.
const maxKeptOctets = 1 << 16

// release lets others use the engine.
func (e *engine) release() {
	e.problems, e.arcs = nil, nil // they went with the Facts
	if cap(e.octets) > maxKeptOctets {
		e.octets = nil
	}
	engines.Put(e)
}

// maxProblems bounds the list of oddities of one host.
const maxProblems = 20

func (e *engine) problem(format string, args ...any) {
	if p := fmt.Sprintf(format, args...); len(e.problems) < maxProblems && !slices.Contains(e.problems, p) {
		e.problems = append(e.problems, p)
	}
}

// planner collects the asks of one exchange.
type planner struct {
	q    oid.Request
	w    wants
	room oid.OID // where the names of this exchange lie

	stepwise bool // columns are answered by one row at a time: guess the next ones
}

// reset begins a new plan in the room of the one before.
func (p *planner) reset(reps int) {
	p.q = oid.Request{Names: p.q.Names[:0], Columns: p.q.Columns[:0], Reps: reps}
	p.w = wants{names: p.w.names[:0], columns: p.w.columns[:0]}
	p.room = p.room[:0]
}

// cell is table.cell for a name of this exchange.
func (p *planner) cell(t *tableState, sub uint32, at oid.OID) oid.OID {
	n := len(t.entry) + 1 + len(at)
	if cap(p.room)-len(p.room) < n {
		p.room = make(oid.OID, 0, max(n, mostNames*usualName)) // names made until now keep theirs
	}
	begin := len(p.room)
	p.room = append(append(append(p.room, t.entry...), sub), at...)
	return p.room[begin:len(p.room):len(p.room)]
}

// usualName is the number of sub-identifiers of most names.
const usualName = 14

// mostNames is more than a reader can take in one exchange: planning further
// ahead would be wasted.
const mostNames = 128

func (p *planner) full() bool { return len(p.q.Names) >= mostNames }

func (p *planner) name(name oid.OID, size int, w want) {
	p.q.Names = append(p.q.Names, oid.Ask{Name: name, Size: size})
	p.w.names = append(p.w.names, w)
}

func (p *planner) repeat(name oid.OID, size int, w want) {
	p.q.Columns = append(p.q.Columns, oid.Ask{Name: name, Size: size})
	p.w.columns = append(p.w.columns, w)
}

// Most devices have few alerts and few devices in hrDeviceTable. Where there
// are more, answers hold as many rows as fit.
const (
	firstReps = 4
	mostReps  = 64
)

// maxSingle is how often a column that goes on may be answered by one row
// where more was asked for: in SNMPv1, and by agents that bear no GetBulk.
const maxSingle = 2

// plan lists what is still unknown, most important first: the rows there are,
// the values that tell the state of the device, the rest, and last what could
// only show that a table is more ragged than it looks.
//
// Every cell is asked for by the name of the cell before it. The answer is the
// same as to its own name, but a row that nobody knew of shows itself.
func (e *engine) plan() (oid.Request, wants) {
	p := &e.plans
	p.reset(e.reps)
	p.stepwise = e.single >= maxSingle
	if !e.anchored {
		p.name(printerMIB, 8, want{kind: wantAnchor})
	}
	e.planValues(p, 0)
	for _, t := range e.tables {
		t.planRows(p)
	}
	e.planValues(p, 1)
	if e.anchored && !p.full() {
		e.planValues(p, 2)
		e.planClock(p)
		mandatory := len(p.w.names)
		if !p.full() {
			e.planTails(p)
		}
		p.w.optional = len(p.w.names) - mandatory
	}
	return p.q, p.w
}

// planClock asks for the clock again once all alert times are read, or asked
// for in the same exchange: a device that restarted in between would make a
// fresh alert look as old as its last run.
func (e *engine) planClock(p *planner) {
	alerts, clock := e.tables[tableAlert], e.clock()
	if !e.clocked && clock.state == got && len(alerts.known) > 0 && alerts.explored() && !p.full() {
		p.name(p.cell(e.tables[tableSystem], sysUpTime, nil), 6, want{kind: wantClock})
	}
}

// sysUpTime is its column number in the system group (RFC 3418 section 2).
const sysUpTime = 3

func (e *engine) clock() *cell {
	t := e.tables[tableSystem]
	return &t.known[0].cells[t.column(sysUpTime)]
}

// planRows asks for rows that are not known yet.
func (t *tableState) planRows(p *planner) {
	for i := range t.lead {
		l := &t.lead[i]
		if l.ended {
			continue
		}
		w := want{kind: wantLead, t: t, lead: i}
		size := l.size + t.arity
		switch {
		case l.rows == sparse && !(p.stepwise && len(l.last) > 0):
			p.repeat(p.cell(t, l.sub, l.last), size, w)
		case len(l.last) == 0:
			p.name(p.cell(t, l.sub, nil), size, w)
			for n := 1; n < t.guess; n++ {
				p.name(p.guess(t, l.sub, uint32(n)), size, w)
			}
		default:
			for n := range l.ahead {
				p.name(ahead(p.cell(t, l.sub, l.last), uint32(n)), size, w)
			}
		}
	}
	if t.explored() && !t.probed && t.leadless() {
		p.name(t.entry, 8+t.arity, want{kind: wantProbe, t: t})
	}
}

// guess names a cell of the n-th row of a table on the usual device, whose
// hrDeviceIndex is 1.
func (p *planner) guess(t *tableState, sub, n uint32) oid.OID {
	name := p.cell(t, sub, usualRow[:t.arity])
	name[len(name)-1] = n
	return name
}

var usualRow = oid.OID{1, 1, 1, 1}

// ahead makes the name of a cell that of the cell n rows after it if there are
// no gaps.
func ahead(name oid.OID, n uint32) oid.OID {
	if last := len(name) - 1; name[last] <= 1<<31 {
		name[last] += n
	}
	return name
}

// planValues asks for the cells of one phase that are still unknown. Phase 0
// is the clock, which alert times are measured by.
func (e *engine) planValues(p *planner, phase uint8) {
	for i, t := range e.tables {
		clock := i == tableSystem && phase < 2
		if clock != (phase == 0) {
			continue
		}
		for c := range t.columns {
			if p.full() {
				return
			}
			if t.broken[c] || t.columns[c].phase != max(phase, 1) {
				continue
			}
			for r, row := range t.known {
				if row.cells[c].state == unknown && e.wanted(i, row, c) {
					p.name(p.before(t, c, r), t.columns[c].size, want{kind: wantValue, t: t, col: c, row: row})
				}
			}
		}
	}
}

// wanted reports whether an unknown cell is to be asked for. A lead column that
// is being followed fills itself. Of the devices of the host only printers
// count.
func (e *engine) wanted(table int, r *rowState, col int) bool {
	t := e.tables[table]
	for _, l := range t.lead {
		if l.sub == t.columns[col].sub {
			return false
		}
	}
	if table == tableHostDevice && r.cells[0].state == got && !e.id(&r.cells[0]).Equal(hrDevicePrinter) {
		return e.hasPrinterRows(r.at[0])
	}
	return true
}

func (e *engine) hasPrinterRows(device uint32) bool {
	for _, t := range e.tables {
		if !t.device() {
			continue
		}
		for _, r := range t.known {
			if r.at[0] == device {
				return true
			}
		}
	}
	return false
}

// before returns the name after which the cell of column c and known row r
// must come: the cell of the row before, or for the first row the last cell of
// the column before when that column is read too, else the column itself.
func (p *planner) before(t *tableState, c, r int) oid.OID {
	sub := t.columns[c].sub
	if r > 0 {
		return p.cell(t, sub, t.known[r-1].at)
	}
	if t.rows != scalar && t.explored() && c > 0 && t.columns[c-1].sub == sub-1 && !t.broken[c-1] {
		return p.cell(t, sub-1, t.known[len(t.known)-1].at)
	}
	return p.cell(t, sub, nil)
}

// planTails asks what follows the last known row in columns where before did
// not ask it already.
func (e *engine) planTails(p *planner) {
	for _, t := range e.tables {
		if t.rows == scalar || len(t.known) == 0 || !t.explored() {
			continue
		}
		for c := range t.columns {
			followed := c+1 < len(t.columns) && t.columns[c+1].sub == t.columns[c].sub+1
			if followed || slices.Contains(t.leads, c) || t.broken[c] || t.tailed[c] {
				continue
			}
			last := t.known[len(t.known)-1]
			p.name(p.cell(t, t.columns[c].sub, last.at), 8, want{kind: wantTail, t: t, col: c})
		}
	}
}
