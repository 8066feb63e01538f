package survey

import (
	"slices"
	"strings"

	"printround/internal/device"
)

// Merge joins the surveys of several sites into one. A device that two of them
// saw, by one of its lasting aliases, is in it once. The parts are closed with
// the whole.
func Merge(parts []*Fleet) *Fleet {
	out := &device.Survey{Schema: device.SurveySchema}
	m := &merger{whole: &Fleet{Head: out}}
	var sites, reasons []string
	for _, part := range parts {
		s := part.Head
		if out.Started.IsZero() || s.Started.Before(out.Started) {
			out.Started = s.Started
		}
		if s.Finished.After(out.Finished) {
			out.Finished = s.Finished
		}
		out.ToolVersion = s.ToolVersion
		sites = appendNew(sites, string(s.Site))
		if s.Partial {
			out.Partial = true
			reasons = appendNew(reasons, reasonOf(s))
		}
		addScope(&out.Scope, s.Scope)
		for _, u := range s.Unconfirmed {
			if !slices.ContainsFunc(out.Unconfirmed, func(v device.Unconfirmed) bool { return v.Address == u.Address }) {
				out.Unconfirmed = append(out.Unconfirmed, u)
			}
		}
		for _, q := range s.Errors {
			m.tell(q)
		}
		for _, e := range part.entries {
			m.add(e)
		}
		m.whole.owned = append(m.whole.owned, part.owned...)
	}
	out.Site = device.Clean(strings.Join(sites, ", "))
	out.PartialReason = device.Clean(strings.Join(reasons, "; "))
	out.Scope.Unconfirmed = len(out.Unconfirmed)
	return m.whole
}

// merger is a merged survey in the making.
type merger struct {
	whole *Fleet
	seen  directory
	told  map[device.Problem]bool
}

// tell adds a problem once.
func (m *merger) tell(q device.Problem) {
	if m.told[q] {
		return
	}
	if m.told == nil {
		m.told = map[device.Problem]bool{}
	}
	m.told[q] = true
	m.whole.Head.Errors = append(m.whole.Head.Errors, q)
}

func reasonOf(s *device.Survey) string {
	if s.Site == "" {
		return string(s.PartialReason)
	}
	return string(s.Site) + ": " + string(s.PartialReason)
}

func addScope(to *device.Scope, s device.Scope) {
	to.Targets = append(to.Targets, s.Targets...)
	to.Addresses += s.Addresses
	to.Probed += s.Probed
	to.Answered += s.Answered
	to.NotPrinters += s.NotPrinters
	to.SilentExpected += s.SilentExpected
	to.Prefixes = append(to.Prefixes, s.Prefixes...)
	for _, n := range s.Notes {
		// What is outside the targets of one site is usually within another's.
		if !strings.Contains(n, "outside the targets") {
			to.Notes = appendNew(to.Notes, n)
		}
	}
}

// add adds a device, or joins it to the one that is there: the one that
// answered stays, with all addresses of both.
func (m *merger) add(e *entry) {
	i := m.seen.find(e.named())
	if i < 0 {
		m.seen.add(e.named())
		m.whole.entries = append(m.whole.entries, e)
		return
	}
	kept, other := m.whole.entries[i], e
	if !kept.answered() && other.answered() {
		kept, other = other, kept
	}
	if !other.answered() {
		m.whole.Head.Scope.SilentExpected = max(m.whole.Head.Scope.SilentExpected-1, 0)
	}
	kept = kept.withAddresses(other.addrs)
	kept.sole = kept.sole || other.sole
	m.whole.entries[i] = kept
	m.seen.set(i, kept.named())
}

// named is what tells whether two rows are of one device.
type named struct {
	role    device.Role
	key     string
	aliases []string
}

func nameOf(d *device.Device) named { return named{d.Role, d.Key, d.Aliases} }

// SameDevice reports whether two rows are of one device: it goes by the key, or
// by an alias that is not just an address.
func SameDevice(a, b *device.Device) bool { return nameOf(a).same(nameOf(b)) }

func (a named) same(b named) bool {
	if a.role != b.role {
		return false
	}
	if a.key == b.key {
		return true
	}
	for _, alias := range a.aliases {
		if lasting(alias) && slices.Contains(b.aliases, alias) && subunit(a.key) == subunit(b.key) {
			return true
		}
	}
	return false
}

func lasting(alias string) bool { return !strings.HasPrefix(alias, "addr:") }

// directory finds the first of many rows that is the same device as another.
// The zero directory is empty.
type directory struct {
	rows      []named
	byKey     map[string][]int
	byAliases map[string][]int
}

func (x *directory) add(n named) {
	x.rows = append(x.rows, named{})
	x.set(len(x.rows)-1, n)
}

// set puts another row in the place of row i. What the old one was found by
// stays: each find is checked.
func (x *directory) set(i int, n named) {
	if x.byKey == nil {
		x.byKey, x.byAliases = map[string][]int{}, map[string][]int{}
	}
	x.rows[i] = n
	x.byKey[n.key] = appendNew(x.byKey[n.key], i)
	for _, a := range n.aliases {
		if lasting(a) {
			x.byAliases[a] = appendNew(x.byAliases[a], i)
		}
	}
}

// find returns the place of the first row that is the same device, -1 when
// there is none.
func (x *directory) find(n named) int {
	found := -1
	try := func(list []int) {
		for _, i := range list {
			if (found < 0 || i < found) && x.rows[i].same(n) {
				found = i
			}
		}
	}
	try(x.byKey[n.key])
	for _, a := range n.aliases {
		if lasting(a) {
			try(x.byAliases[a])
		}
	}
	return found
}

// Directory says whether a device is among others, by SameDevice. The zero
// Directory is empty.
type Directory struct{ rows directory }

// Add adds a device. Of it, only role, key and aliases are looked at.
func (x *Directory) Add(d *device.Device) { x.rows.add(nameOf(d)) }

// Has reports whether a device is there.
func (x *Directory) Has(d *device.Device) bool { return x.rows.find(nameOf(d)) >= 0 }

// subunit is what keeps several printers behind one address apart in a key.
func subunit(key string) string {
	_, after, _ := strings.Cut(key, "#")
	return after
}

// Answered reports whether a device gave any sign over any protocol.
func Answered(d *device.Device) bool {
	return d.Reached.SNMP.OK || d.Reached.IPP.OK || d.Reached.MDNS.OK
}

func appendNew[T comparable](list []T, v T) []T {
	if slices.Contains(list, v) {
		return list
	}
	return append(list, v)
}
