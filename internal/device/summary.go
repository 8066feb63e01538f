package device

import (
	"cmp"
	"strings"
)

// Why says in one line why the device needs somebody: the summary of its
// worst finding. It is empty when nothing asks for attention.
func (d *Device) Why() string {
	if f := d.worst(); f != nil {
		return f.Summary
	}
	return ""
}

// NextStep is the first thing to do about the worst finding. It is empty when
// nothing asks for attention; a stale finding never gives a step.
func (d *Device) NextStep() string {
	if f := d.worst(); f != nil && len(f.Advice.Steps) > 0 {
		return f.Advice.Steps[0]
	}
	return ""
}

// Called returns what people call a device in a list that does not say where it
// stands: the first of name, host name, make and model, address and key that is
// known. A host name tells two of a model apart.
func (d *Device) Called() string { return d.firstOf(d.Name, d.Hostname, d.MakeModel) }

// Label returns what people call a device where its place is told beside it:
// make and model say more there than the host name.
func (d *Device) Label() string { return d.firstOf(d.Name, d.MakeModel, d.Hostname) }

func (d *Device) firstOf(names ...Text) string {
	return string(cmp.Or(append(names, Text(d.FirstAddress()), Text(d.Key))...))
}

// Place returns where a device stands, as far as anything says so: its location
// or, where that is unknown, what it is called on the network. withSite puts the
// site before it, unless the location begins with it.
func (d *Device) Place(withSite bool) string {
	where := string(cmp.Or(d.Location, d.Hostname, Text(d.FirstAddress())))
	site := string(d.Site)
	switch {
	case !withSite || site == "" || strings.HasPrefix(where, site):
		return where
	case where == "":
		return site
	}
	return site + ", " + where
}

// FirstAddress returns the first address that is one, empty when there is none.
func (d *Device) FirstAddress() string {
	for _, a := range d.Addresses {
		if a.IsValid() {
			return a.String()
		}
	}
	return ""
}

// Asks reports whether a finding asks for attention: notes and stale ones do
// not.
func (f *Finding) Asks() bool { return !f.Stale && f.Impact.Rank() < ImpactNote.Rank() }

// worst returns the finding that gives the device its attention level: the
// worst impact, then the greatest weight, then the first. Notes and stale
// findings are none; nil when nothing is left.
func (d *Device) worst() *Finding {
	var worst *Finding
	for i := range d.Findings {
		f := &d.Findings[i]
		if !f.Asks() {
			continue
		}
		if worst == nil || f.Impact.Rank() < worst.Impact.Rank() ||
			f.Impact == worst.Impact && f.Weight > worst.Weight {
			worst = f
		}
	}
	return worst
}

// Supply returns the supply of the marker with an index (prtMarkerSuppliesIndex),
// nil for none.
func (d *Device) Supply(index int) *Supply {
	for i := range d.Supplies {
		if d.Supplies[i].Index == index {
			return &d.Supplies[i]
		}
	}
	return nil
}

// Lowest returns the supply with the smallest known level, of those that are
// used up or filled; for both kinds a small percentage means that somebody has
// to act. ok is false when no such level is known.
func (d *Device) Lowest() (lowest Supply, ok bool) {
	var least float64
	for _, s := range d.Supplies {
		if s.Role != Consumed && s.Role != Receptacle {
			continue
		}
		p, known := s.Level.Percent()
		if known && (!ok || p < least) {
			lowest, least, ok = s, p, true
		}
	}
	return lowest, ok
}
