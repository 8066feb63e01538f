package survey

import (
	"net/netip"
	"slices"

	"printround/internal/device"
)

// Fleet is a survey whose devices are made when they are asked for, of what
// lies on a shelf: in memory are some hundred octets of each.
type Fleet struct {
	Head *device.Survey // all but the devices

	entries []*entry
	owned   []*Shelf // closed with the fleet; nil: others look after it
}

// entry is one device of a fleet: what it is called, and where the rest is.
type entry struct {
	key      string
	aliases  []string
	addrs    []netip.Addr
	site     device.Text
	sole     bool
	expected *device.Expected // what its site says of it; nil: nothing
	made     *device.Device   // all there is of it; nil: it is made of readings
	readings
}

// readings are what a device is made of.
type readings struct {
	shelf     *Shelf
	snmp, ipp ref // none: no view
	role      device.Role
	makeModel device.Text
	firmware  device.Text
	languages []device.Language
	reached   [2]bool // over SNMP, IPP
	rest      *rest   // nil: nothing
}

// rest is what was learnt of a device and is in no view.
type rest struct {
	snmp     device.SNMPReach // when there is no view over SNMP
	ipp      device.IPPReach  // the same
	services []*serviceInfo
	problems []device.Problem
}

// readingsOf keeps of a group what its device is made of: the views of its
// leaders, and how else its addresses were reached.
func readingsOf(group []*unit, shelf *Shelf) readings {
	snmp, ipp := leaders(group)
	r := readings{shelf: shelf, snmp: none, ipp: none}
	if snmp != nil {
		r.snmp, r.role, r.makeModel, r.languages, r.reached[0] = snmp.at, snmp.role, snmp.makeModel, snmp.languages, snmp.answered
		r.firmware = snmp.firmware
	}
	if ipp != nil {
		r.ipp, r.role, r.makeModel, r.reached[1] = ipp.at, ipp.role, first(ipp.makeModel, r.makeModel), ipp.answered
		r.firmware = first(r.firmware, ipp.firmware)
		if snmp == nil {
			r.languages = ipp.languages
		} else {
			r.languages = joinLanguages(snmp.languages, ipp.languages)
		}
	}
	x := rest{problems: groupErrors(group)}
	for _, u := range group {
		if !r.reached[0] && !u.host.snmpOK {
			x.snmp = u.host.overSNMP()
		}
		if !r.reached[1] && !u.host.ippReach.OK {
			x.ipp = u.host.ippReach
		}
		if u.host.service != nil {
			x.services = append(x.services, u.host.service)
		}
	}
	if len(x.problems) > 0 || len(x.services) > 0 || x.snmp != (device.SNMPReach{}) || x.ipp != (device.IPPReach{}) {
		r.rest = &x
	}
	return r
}

// Hold makes a fleet of a survey whose devices are in memory.
func Hold(s *device.Survey) *Fleet {
	head := *s
	head.Devices = nil
	f := &Fleet{Head: &head}
	for i := range s.Devices {
		f.entries = append(f.entries, heldEntry(&s.Devices[i]))
	}
	return f
}

// heldEntry is the row of a device that has its names already.
func heldEntry(d *device.Device) *entry {
	return &entry{key: d.Key, aliases: d.Aliases, addrs: d.Addresses, site: d.Site, sole: d.Sole, made: d}
}

// Len is the number of devices.
func (f *Fleet) Len() int { return len(f.entries) }

// Device makes device i. It may be called from several goroutines; the lists in
// devices are theirs to read, not to change.
func (f *Fleet) Device(i int) (device.Device, error) { return f.entries[i].device() }

// Outline returns what is in memory of device i: key, aliases, site, role,
// addresses, make and model, firmware, the families of its page languages, whether it is
// the sole one, and over which protocols it answered.
func (f *Fleet) Outline(i int) device.Device { return f.entries[i].outline() }

// Survey takes all devices into memory.
func (f *Fleet) Survey() (*device.Survey, error) {
	s := *f.Head
	for i := range f.entries {
		d, err := f.Device(i)
		if err != nil {
			return nil, err
		}
		s.Devices = append(s.Devices, d)
	}
	return &s, nil
}

// Close gives back what the fleet keeps. Its devices cannot be made any more.
func (f *Fleet) Close() {
	for _, s := range f.owned {
		s.Close()
	}
}

func (e *entry) device() (device.Device, error) {
	d, err := e.facts()
	if err != nil {
		return d, err
	}
	d.Key, d.Aliases, d.Addresses = e.key, e.aliases, e.addrs
	if x := e.expected; x != nil {
		d.Name = first(device.Clean(x.Name), d.Name)
		d.Location = first(device.Clean(x.Location), d.Location)
	}
	d.Site, d.Sole = e.site, e.sole
	return d, nil
}

// facts returns what was read of the device.
func (e *entry) facts() (device.Device, error) {
	if e.made != nil {
		return *e.made, nil
	}
	var views [2]*device.Device
	for i, at := range []ref{e.snmp, e.ipp} {
		if at == none {
			continue
		}
		v, err := e.shelf.get(at)
		if err != nil {
			return device.Device{}, err
		}
		views[i] = &v
	}
	d := joinViews(views[0], views[1])
	d.Errors = nil
	if x := e.rest; x != nil {
		if !d.Reached.SNMP.OK {
			d.Reached.SNMP = x.snmp
		}
		if !d.Reached.IPP.OK {
			d.Reached.IPP = x.ipp
		}
		for _, s := range x.services {
			s.apply(&d)
		}
		d.Errors = x.problems
	}
	distrustWaste(&d)
	return d, nil
}

// outline follows facts as far as it goes without the views.
func (e *entry) outline() device.Device {
	d := device.Device{Key: e.key, Aliases: e.aliases, Addresses: e.addrs, Site: e.site, Sole: e.sole}
	if m := e.made; m != nil {
		d.Role, d.MakeModel, d.Languages, d.Firmware = m.Role, m.MakeModel, families(m.Languages), m.Firmware
		d.Reached.SNMP.OK, d.Reached.IPP.OK, d.Reached.MDNS.OK = m.Reached.SNMP.OK, m.Reached.IPP.OK, m.Reached.MDNS.OK
		return d
	}
	d.Role, d.MakeModel, d.Languages, d.Firmware = e.role, e.makeModel, e.languages, e.firmware
	d.Reached.SNMP.OK, d.Reached.IPP.OK = e.reached[0], e.reached[1]
	if e.rest != nil {
		for _, s := range e.rest.services {
			s.apply(&d)
		}
	}
	d.Name, d.Hostname, d.Location, d.UUID, d.Reached.MDNS.Instance = "", "", "", "", ""
	return d
}

// problems returns what went wrong while reading the device.
func (e *entry) problems() []device.Problem {
	switch {
	case e.made != nil:
		return e.made.Errors
	case e.rest != nil:
		return e.rest.problems
	}
	return nil
}

// named is what tells entries of one device.
func (e *entry) named() named {
	if e.made != nil {
		return named{e.made.Role, e.key, e.aliases}
	}
	return named{e.role, e.key, e.aliases}
}

// answered reports whether the device gave any sign over any protocol.
func (e *entry) answered() bool {
	d := e.outline()
	return Answered(&d)
}

// withAddresses returns the row of the same device with further addresses.
func (e *entry) withAddresses(more []netip.Addr) *entry {
	out := *e
	out.addrs = slices.Clone(e.addrs)
	for _, a := range more {
		out.addrs = appendNew(out.addrs, a)
	}
	return &out
}
