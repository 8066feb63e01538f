package survey

import (
	"strings"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/snmp"
)

// maxServices bounds the resource paths read at one address: print servers
// announce a few dozen queues, and a hostile host thousands.
const maxServices = 64

// maxMute is how often a device may be waited for in vain over IPP; then it is
// left alone for the run.
const maxMute = 2

// host is what the pipeline knows of one target. It is owned by the goroutine
// that runs the pipeline; readers get a copy of what they need.
type host struct {
	target discover.Target
	kind   discover.Kind
	answer *discover.SNMPAnswer
	hint   string

	service  *serviceInfo        // nil: nothing was announced
	services []*discover.Service // one for each resource path announced

	busy    bool
	askSNMP bool // wanted and not yet asked
	askIPP  bool
	didSNMP bool
	snmpOK  bool
	plain   bool  // the default paths were asked
	nextIPP int16 // services already asked
	mute    int16 // how often it was waited for in vain over IPP

	snmpViews []*sketch
	snmpReach *device.SNMPReach // nil: not asked, or it is in the views
	ippViews  []*sketch
	ippReach  device.IPPReach
	vain      []vain // paths that led to no printer
	problems  []device.Problem
}

// note takes in one piece of news from discovery and decides what to ask.
func (h *host) note(c discover.Candidate, o *Options) {
	if c.SNMP != nil {
		h.answer = c.SNMP
	}
	if c.Kind == discover.Printer || h.kind == discover.Possible {
		h.kind = c.Kind
	}
	if c.Reason != "" {
		h.hint = c.Reason
	}
	answers := c.SNMP != nil && (c.Kind == discover.Printer || c.Kind == discover.Possible)
	if (answers || c.AskSNMP) && !h.didSNMP && !o.NoSNMP {
		h.askSNMP = true
	}
	if o.NoIPP {
		return
	}
	if c.Kind == discover.Printer || c.IPPOpen {
		h.askIPP = true
	}
	if s := c.Service; s != nil {
		if h.service == nil {
			h.service = &serviceInfo{}
		}
		h.service.note(s)
		if s.Port == 0 && s.TLSPort == 0 {
			return
		}
		h.askIPP = true
		for _, old := range h.services {
			if old.TXT["rp"] == s.TXT["rp"] {
				return
			}
		}
		if len(h.services) < maxServices {
			h.services = append(h.services, s)
		}
	}
}

// ready reports whether there is something to ask and nobody asking.
func (h *host) ready() bool {
	return !h.busy && (h.askSNMP || (h.askIPP && h.ippPending()))
}

// ippPending reports whether an IPP path is left to ask: each announced one,
// and the default paths when none was announced. None is on a device that does
// not answer.
func (h *host) ippPending() bool {
	return h.mute < maxMute && (int(h.nextIPP) < len(h.services) || (len(h.services) == 0 && !h.plain))
}

// vain is what came of an IPP path that led to no printer.
type vain struct {
	problems []device.Problem
	closed   bool
}

// overSNMP returns how reading over SNMP went, unless that is in the views.
func (h *host) overSNMP() device.SNMPReach {
	if h.snmpReach == nil {
		return device.SNMPReach{}
	}
	return *h.snmpReach
}

// answered reports whether the host gave facts over any protocol.
func (h *host) answered() bool { return len(h.snmpViews)+len(h.ippViews) > 0 }

// heard reports whether the sweep had an answer to the credential that reading
// tries: see credentialsFor.
func (h *host) heard(all []snmp.Credential) bool {
	return h.answer != nil && h.answer.Credential >= 0 && h.answer.Credential < len(all)
}

// serviceInfo is what DNS-SD adds to a device.
type serviceInfo struct {
	instance string
	host     string
	remark   string
	model    string
	uuid     string
	seen     bool
	many     bool // several instances at one address: none names the device
}

func (s *serviceInfo) note(d *discover.Service) {
	if s.seen && s.instance != d.Instance {
		s.many = true
	}
	s.seen = true
	s.instance, s.host = d.Instance, strings.TrimSuffix(d.Host, ".")
	s.remark, s.model, s.uuid = d.TXT["note"], d.TXT["ty"], d.TXT["uuid"]
}

// elsewhere reports whether the announcement is another device's: a host name
// may have the address of this one by mistake.
func (s *serviceInfo) elsewhere(d *device.Device) bool {
	announced := usableUUID(strings.ToLower(s.uuid))
	return announced != "" && d.UUID != "" && !strings.EqualFold(announced, string(d.UUID))
}

// apply adds to a device what DNS-SD says and the device itself did not.
func (s *serviceInfo) apply(d *device.Device) {
	if s == nil || s.many || s.elsewhere(d) {
		return
	}
	d.Reached.MDNS = device.MDNSReach{OK: true, Instance: device.Clean(s.instance)}
	d.Name = first(device.Clean(s.instance), d.Name)
	d.Hostname = first(device.Clean(s.host), d.Hostname)
	d.Location = first(d.Location, device.Clean(s.remark))
	d.MakeModel = first(d.MakeModel, device.Clean(s.model))
	if d.UUID == "" {
		d.UUID = device.Clean(usableUUID(s.uuid))
	}
}
