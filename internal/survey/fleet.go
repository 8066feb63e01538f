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

// entry is one device of a fleet.
type entry struct {
	key      string
	aliases  []string
	addrs    []netip.Addr
	site     device.Text
	sole     bool
	expected *device.Expected // what its site says of it; nil: nothing
	group    []*unit          // the one with the most facts first
	shelf    *Shelf
	made     *device.Device // no reading, all there is; nil: it is made of the group
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
// addresses, make and model, the families of its page languages, whether it is
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
	snmp, ipp := leaders(e.group)
	for i, s := range []*sketch{snmp, ipp} {
		if s == nil {
			continue
		}
		v, err := e.shelf.get(s.at)
		if err != nil {
			return device.Device{}, err
		}
		views[i] = &v
	}
	return join(e.group, views[0], views[1]), nil
}

// outline follows join for the facts that are sketched.
func (e *entry) outline() device.Device {
	d := device.Device{Key: e.key, Aliases: e.aliases, Addresses: e.addrs, Site: e.site, Sole: e.sole}
	if m := e.made; m != nil {
		d.Role, d.MakeModel, d.Languages = m.Role, m.MakeModel, families(m.Languages)
		d.Reached.SNMP.OK, d.Reached.IPP.OK, d.Reached.MDNS.OK = m.Reached.SNMP.OK, m.Reached.IPP.OK, m.Reached.MDNS.OK
		return d
	}
	switch snmp, ipp := leaders(e.group); {
	case ipp == nil:
		d.Role, d.MakeModel, d.Languages, d.Reached.SNMP.OK = snmp.role, snmp.makeModel, snmp.languages, snmp.answered
	case snmp == nil:
		d.Role, d.MakeModel, d.Languages, d.Reached.IPP.OK = ipp.role, ipp.makeModel, ipp.languages, ipp.answered
	default:
		d.Role, d.MakeModel = ipp.role, first(ipp.makeModel, snmp.makeModel)
		d.Languages = joinLanguages(snmp.languages, ipp.languages)
		d.Reached.SNMP.OK, d.Reached.IPP.OK = snmp.answered, ipp.answered
	}
	for _, u := range e.group {
		u.host.service.apply(&d)
	}
	d.Name, d.Hostname, d.Location, d.UUID, d.Reached.MDNS.Instance = "", "", "", "", ""
	return d
}

// problems returns what went wrong while reading the device.
func (e *entry) problems() []device.Problem {
	if e.made != nil {
		return e.made.Errors
	}
	return groupErrors(e.group)
}

// named is what tells entries of one device.
func (e *entry) named() named {
	role := device.RolePrinter
	switch snmp, ipp := leaders(e.group); {
	case e.made != nil:
		role = e.made.Role
	case ipp != nil:
		role = ipp.role
	default:
		role = snmp.role
	}
	return named{role, e.key, e.aliases}
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
