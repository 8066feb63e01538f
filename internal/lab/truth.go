package lab

import (
	"fmt"
	"net/netip"
	"slices"
)

// Devices lists every machine of the organisation and what must be found on
// it, in the order of the branches.
func (l *Lab) Devices() []Device {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []Device
	for _, b := range l.scenario.Branches {
		for _, n := range l.nodes {
			for _, d := range n.machines {
				if d.place.Branch == b.ID {
					out = append(out, l.truth(n, d, b.Name))
				}
			}
			if n.other != nil && n.other.Branch == b.ID {
				out = append(out, l.otherTruth(n, b.Name))
			}
		}
	}
	return out
}

func (l *Lab) base(n *node, site string) Device {
	d := Device{Addr: n.addrs[0], Addrs: slices.Clone(n.addrs), Site: site}
	if n.host != nil && !n.snmpOff.Load() {
		d.SNMPPort, d.SNMPPorts = n.ports[0], slices.Clone(n.ports)
		d.Values = n.host.Tree().Len()
		if len(n.host.Communities) > 0 {
			d.Community = n.host.Communities[0]
		}
		switch {
		case n.host.V2c:
			d.SNMP = "2c"
		case n.host.V1:
			d.SNMP = "1"
		default:
			d.SNMP, d.Community = "3", ""
		}
	}
	if n.hasIPP && !n.ippOff.Load() {
		d.IPPPort = n.ippPorts[0]
	}
	if !l.options.OnePort {
		d.SNMPPorts = nil
	}
	d.Addrs = slices.CompactFunc(d.Addrs, func(a, b netip.Addr) bool { return a == b })
	return d
}

func (l *Lab) truth(n *node, m *machine, site string) Device {
	d := l.base(n, site)
	d.Name, d.Kind, d.Printer, d.Silent = m.place.Name, m.Kind, true, m.silent
	d.Conditions, d.Notes = slices.Clone(m.conditions), slices.Clone(m.notes)
	d.Model, d.Title, d.Hostname, d.Location = m.Name, m.place.Title, m.place.Hostname, m.place.Location
	d.Serial, d.UUID, d.Index, d.Expected = m.serial, m.uuid, m.index, m.place.Expected
	d.MAC = macText(m.mac)
	if d.IPPPort != 0 {
		d.IPPPath = m.path()
	}
	return d
}

func (l *Lab) otherTruth(n *node, site string) Device {
	d := l.base(n, site)
	o := n.other
	d.Name, d.Kind, d.Model, d.Hostname, d.Location = o.Name, o.Kind, o.Description, o.Name, o.Location
	if o.Serves != "" {
		d.Queue, d.IPPPath = true, queuePath(o)
	}
	return d
}

func macText(b [6]byte) string {
	return fmt.Sprintf("%02x:%02x:%02x:%02x:%02x:%02x", b[0], b[1], b[2], b[3], b[4], b[5])
}

// path is the resource path of the machine's IPP service.
func (d *machine) path() string {
	if d.place.Path != "" {
		return d.place.Path
	}
	return "/ipp/print"
}

func queuePath(o *other) string { return "/printers/" + o.Serves }
