package mib

import (
	"bytes"
	"slices"

	"printround/internal/oid"
)

// take learns from an answer to what plan asked, and reports whether there was
// anything in it.
func (e *engine) take(q oid.Request, w wants, a oid.Answer) bool {
	n := min(len(a.Names), len(w.names))
	for i := range n {
		if a.Names[i].Name != nil {
			e.takeName(&w.names[i], q.Names[i].Name, &a.Names[i])
		}
	}
	columns := min(len(a.Columns), len(w.columns))
	longest, open := 0, false
	for i := range columns {
		c := w.columns[i]
		e.takeColumn(c, q.Columns[i].Name, a.Columns[i])
		longest = max(longest, len(a.Columns[i]))
		open = open || len(a.Columns[i]) > 0 && !c.t.lead[c.lead].ended
	}
	switch {
	case !open:
	case longest == 1:
		e.single++
	case longest >= q.Reps:
		e.reps = min(4*e.reps, mostReps)
	}
	return n+columns > 0
}

// next sorts out what the answer to one name is: follows reports that it is a
// name behind the asked one, as it must be (RFC 3416 section 4.2.2).
func (e *engine) next(asked oid.OID, vb *oid.VarBind) (follows bool) {
	if vb.Value.Kind == oid.EndOfMibView || vb.Name.Equal(asked) && vb.Value.Kind == oid.Invalid {
		return false
	}
	if vb.Name.Compare(asked) <= 0 {
		e.problem("asked for what follows %s, the device answered with %s: left that column", asked, vb.Name)
		return false
	}
	e.record(vb)
	return true
}

func (e *engine) takeName(w *want, asked oid.OID, vb *oid.VarBind) {
	if w.kind == wantValue {
		e.takeValue(w, asked, vb)
		return
	}
	follows := e.next(asked, vb)
	switch w.kind {
	case wantAnchor:
		e.anchored = true
		e.printerMIB = e.printerMIB || follows && vb.Name.HasPrefix(printerMIB)
	case wantLead:
		e.takeLead(w.t, &w.t.lead[w.lead], asked, vb, follows)
	case wantProbe:
		w.t.probed = true
		if follows && vb.Name.HasPrefix(w.t.entry) && len(vb.Name) > len(w.t.entry)+1 {
			at := vb.Name[len(w.t.entry)+1:]
			w.t.lead = append(w.t.lead, lead{sub: vb.Name[len(w.t.entry)], size: 8, last: slices.Clone(at), rows: w.t.rows, ahead: 2})
		}
	case wantTail:
		w.t.tailed[w.col] = true
	case wantClock:
		e.clocked = true
		if follows && vb.Name.Equal(asked.Append(0)) {
			e.takeClock(vb.Value)
		}
	}
}

// takeClock compares the clock with its first reading. After a restart alert
// times count from the new start, and so does the clock that is kept.
func (e *engine) takeClock(v oid.Value) {
	if c := e.clock(); v.Numeric() && v.Num < c.num {
		e.problem("sysUpTime went back from %d to %d: the device restarted while it was read", c.num, v.Num)
		c.kind, c.num = v.Kind, v.Num
	}
}

// passing names a column of a table and the cell of the row at in it. Both last
// until the next call.
func (e *engine) passing(t *tableState, sub uint32, at oid.OID) (column, cell oid.OID) {
	e.scratch = append(append(append(e.scratch[:0], t.entry...), sub), at...)
	return e.scratch[:len(t.entry)+1], e.scratch
}

// takeLead follows a lead column by one answer. A name beyond the last row
// known so far was a guess: its answer proves nothing about the rows between.
func (e *engine) takeLead(t *tableState, l *lead, asked oid.OID, vb *oid.VarBind, follows bool) {
	base, last := e.passing(t, l.sub, l.last)
	guess := len(l.last) == 0 && len(asked) > len(base) || len(l.last) > 0 && asked.Compare(last) > 0
	if guess || l.ended {
		return
	}
	if !follows || !vb.Name.HasPrefix(base) || len(vb.Name) == len(base) {
		t.endLead(l)
		return
	}
	at := vb.Name[len(base):]
	switch {
	case at.Compare(l.last) > 0:
		if len(asked) > len(base) {
			l.ahead = min(2*l.ahead, 8)
		}
		l.last = append(l.last[:0], at...)
	case len(asked) == len(base)+len(at) && slices.Equal(asked[len(base):len(asked)-1], at[:len(at)-1]):
		l.rows = sparse // a guess fell into a gap
	}
	if t.capped {
		t.endLead(l)
		e.problem("%s has more than %d rows: the others were not read", t.name, t.cap)
	}
}

func (t *tableState) has(at oid.OID) bool {
	_, ok := t.find(at)
	return ok
}

// takeColumn follows a lead column by repeated answers.
func (e *engine) takeColumn(w want, asked oid.OID, answers []oid.VarBind) {
	l := &w.t.lead[w.lead]
	for i := range answers {
		vb := &answers[i]
		if l.ended {
			e.next(asked, vb) // beyond the column, but perhaps of use
		} else {
			e.takeLead(w.t, l, asked, vb, e.next(asked, vb))
		}
		if vb.Name.Compare(asked) <= 0 {
			w.t.endLead(l)
			return
		}
		asked = vb.Name
	}
}

// takeValue notes a cell. The value itself was recorded if it was there; what
// matters here is to know when it is not.
func (e *engine) takeValue(w *want, asked oid.OID, vb *oid.VarBind) {
	column, target := e.passing(w.t, w.t.columns[w.col].sub, w.row.at)
	if vb.Name.Equal(target) && vb.Value.Kind != oid.EndOfMibView {
		e.printerMIB = e.printerMIB || w.t.device()
		e.keep(w.t, w.row, w.col, &vb.Value)
		return // nearly always
	}
	follows := e.next(asked, vb)
	c := &w.row.cells[w.col]
	if c.state != unknown {
		return
	}
	switch {
	case vb.Value.Kind == oid.Invalid && vb.Name.Equal(asked):
		c.state = missing
		e.problem("the device could not read %s", target)
	case vb.Value.Kind != oid.EndOfMibView && vb.Name.Compare(asked) <= 0:
		w.t.broken[w.col] = true
		w.t.giveUp(w.col, nil)
	case !follows || !vb.Name.HasPrefix(column) && vb.Name.Compare(column) > 0:
		w.t.giveUp(w.col, w.row.at) // the column has ended
	case vb.Name.Compare(target) > 0:
		c.state = missing
	default: // a cell before it that was not known of
		if i, _, at := locate(vb.Name); i < 0 || e.tables[i] != w.t || !w.t.has(at) {
			c.state = missing // and that cannot be kept: do not ask for ever
		}
	}
}

// maxOctets bounds a kept value. The objects read have at most 255 octets (RFC
// 3805, RFC 2790, RFC 3418); a hostile host can send 64 kB for each.
const maxOctets = 1024

// record keeps a value of any table read.
func (e *engine) record(vb *oid.VarBind) {
	if vb.Name.HasPrefix(printerMIB) {
		e.printerMIB = true
	}
	i, sub, at := locate(vb.Name)
	if i < 0 {
		return
	}
	s := e.tables[i]
	t := s.table
	if t.rows == scalar && !(len(at) == 1 && at[0] == 0) {
		return
	}
	if len(at) != t.arity {
		e.problem("%s has %d index numbers instead of %d: left out", vb.Name, len(at), t.arity)
		return
	}
	r := s.add(at, &e.arcs)
	if r == nil {
		return
	}
	if c := t.column(sub); c >= 0 {
		e.keep(s, r, c, &vb.Value)
	}
}

// keep fills a cell. Of values that change while they are read the first counts.
func (e *engine) keep(t *tableState, r *rowState, col int, v *oid.Value) {
	if r.cells[col].state == got {
		return
	}
	c := cell{state: missing, kind: v.Kind, num: v.Num}
	switch v.Kind {
	case oid.OctetString, oid.Opaque, oid.IPAddress:
		if len(v.Bytes) > maxOctets {
			e.problem("%s.%s has %d octets: only the first %d are kept", t.columns[col].name, r.at, len(v.Bytes), maxOctets)
		}
		c.begin = uint32(len(e.octets))
		e.octets = append(e.octets, v.Bytes[:min(len(v.Bytes), maxOctets)]...)
		c.end = uint32(len(e.octets))
	case oid.ObjectID:
		c.begin = uint32(len(e.arcs))
		e.arcs = append(e.arcs, v.ID...)
		c.end = uint32(len(e.arcs))
	}
	switch {
	case v.Kind == oid.Invalid:
		e.problem("%s.%s could not be decoded: left out", t.columns[col].name, r.at)
	case !v.Present():
	case !t.columns[col].class.fits(*v):
		e.problem("%s.%s is %s instead of %s: left out", t.columns[col].name, r.at, v.Kind, t.columns[col].class)
	default:
		c.state = got
	}
	r.cells[col] = c
}

// bytes returns the octets of a value. They last as long as the engine does.
func (e *engine) bytes(c *cell) []byte { return e.octets[c.begin:c.end:c.end] }

// id returns the value of a cell that is an object identifier. It stays.
func (e *engine) id(c *cell) oid.OID { return e.arcs[c.begin:c.end:c.end] }

// value returns what was read into a cell, for good.
func (e *engine) value(c *cell) oid.Value {
	v := oid.Value{Kind: c.kind, Num: c.num}
	switch c.kind {
	case oid.OctetString, oid.Opaque, oid.IPAddress:
		v.Bytes = bytes.Clone(e.bytes(c))
	case oid.ObjectID:
		v.ID = e.id(c)
	}
	return v
}
