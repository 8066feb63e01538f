package survey

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/discover"
)

// finish joins the hosts into devices and says what was and was not seen.
func (p *pipeline) finish(stats discover.Stats) *device.Survey {
	s := &device.Survey{
		Schema: device.SurveySchema, ToolVersion: p.o.ToolVersion, Site: device.Clean(p.o.Site),
		Scope: scopeOf(p.o.Discover.Scope, stats),
	}
	for _, q := range stats.Problems {
		s.Errors = append(s.Errors, device.Problem{Address: string(device.Clean(q.Address)), Stage: q.Stage, Message: string(device.Clean(q.Message))})
	}
	var all []*unit
	for _, h := range p.order {
		h.problems = append(h.problems, h.ippProblems(p.o.single)...)
		all = append(all, units(h)...)
		p.unread(h, s)
	}
	grouped, odd := groups(all)
	s.Errors = append(s.Errors, odd...)

	known := newRegister(p.o.Known)
	taken := map[string]bool{}
	for _, g := range grouped {
		d := join(g)
		p.name(&d, g, known, taken, s)
		s.Devices = append(s.Devices, d)
	}
	if p.o.single {
		p.unanswered(s, known, taken)
	} else {
		p.lost(s, known, taken)
		if !p.cut {
			p.silent(s, taken)
		}
	}
	for i := range s.Devices {
		s.Errors = append(s.Errors, s.Devices[i].Errors...)
	}
	s.Scope.Unconfirmed = len(s.Unconfirmed)
	return s
}

func scopeOf(scope *discover.Scope, stats discover.Stats) device.Scope {
	out := device.Scope{
		Addresses: stats.Addresses, Probed: stats.Probed, Answered: stats.Answered,
		NotPrinters: stats.OtherHosts, Notes: stats.Notes,
	}
	if scope != nil {
		out.Targets = scope.Targets()
	}
	for _, x := range stats.Prefixes {
		q := device.Prefix{Target: x.Target, Probed: x.Probed, Answered: x.Answered, Printers: x.Printers}
		if x.Answered == 0 {
			q.Note = "no route, firewall or empty"
		}
		out.Prefixes = append(out.Prefixes, q)
	}
	return out
}

// unread accounts for a host that gave no view: a hint of a printer is listed,
// anything else is counted, and what went wrong is said.
func (p *pipeline) unread(h *host, s *device.Survey) {
	if h.answered() || h.kind == discover.Printer || p.o.single {
		return // its row carries its problems
	}
	s.Errors = append(s.Errors, h.problems...)
	switch {
	case h.kind == discover.Hinted:
		s.Unconfirmed = append(s.Unconfirmed, device.Unconfirmed{
			Address: h.target.Addr, Description: h.description(), Reason: h.hint,
		})
	case h.kind == discover.Possible && h.answer != nil && h.didSNMP && len(h.problems) > 0:
		s.Unconfirmed = append(s.Unconfirmed, device.Unconfirmed{
			Address: h.target.Addr, Reason: "answers SNMPv3; none of the users configured was let in",
		})
	case h.kind == discover.Possible:
		s.Scope.NotPrinters++
	}
}

func (h *host) description() device.Text {
	if h.answer == nil {
		return ""
	}
	return device.CleanTo(h.answer.Description, 200)
}

// name gives a device its key, its aliases and the names that its site has for
// it.
func (p *pipeline) name(d *device.Device, g []*unit, known *register, taken map[string]bool, s *device.Survey) {
	id := mergedIdentity(g)
	key, conflict := known.key(id, g[0].suffix)
	if conflict != "" {
		s.Errors = append(s.Errors, device.Problem{Address: g[0].where(), Stage: "identity", Message: conflict})
	}
	if taken[key] {
		s.Errors = append(s.Errors, device.Problem{
			Address: g[0].where(), Stage: "identity",
			Message: fmt.Sprintf("%s is already the key of another device in this survey: kept apart by address", key),
		})
		key = "addr:" + g[0].where() + g[0].suffix
	}
	taken[key] = true
	d.Key, d.Aliases = key, id.aliases()
	if i := slices.IndexFunc(p.o.Known, func(k device.Device) bool { return k.Key == key }); i >= 0 {
		for _, a := range p.o.Known[i].Aliases {
			if !strings.HasPrefix(a, "addr:") && !slices.Contains(d.Aliases, a) {
				d.Aliases = append(d.Aliases, a)
			}
		}
	}
	d.Site = device.Clean(p.o.Site)
	if e := p.expected(d, len(g[0].suffix) == 0); e != nil {
		d.Name = first(device.Clean(e.Name), d.Name)
		d.Location = first(device.Clean(e.Location), d.Location)
		d.Site = first(device.Clean(e.Site), d.Site)
		d.Sole = e.Sole
	}
}

func mergedIdentity(g []*unit) identity {
	id := g[0].id
	for _, u := range g[1:] {
		for _, f := range []struct{ to, from *string }{
			{&id.uuid, &u.id.uuid}, {&id.serial, &u.id.serial}, {&id.model, &u.id.model}, {&id.mac, &u.id.mac},
		} {
			if *f.to == "" {
				*f.to = *f.from
			}
		}
	}
	id.addrs = unitAddresses(g)
	return id
}

// expected finds the site file's entry for a device: by any of its aliases,
// else by address.
func (p *pipeline) expected(d *device.Device, byAddress bool) *device.Expected {
	for i := range p.o.Expected {
		e := &p.o.Expected[i]
		if e.Key != "" && (e.Key == d.Key || slices.Contains(d.Aliases, e.Key)) {
			return e
		}
	}
	if !byAddress {
		return nil
	}
	for i := range p.o.Expected {
		e := &p.o.Expected[i]
		if a, err := netip.ParseAddr(e.Address); err == nil && e.Key == "" && slices.Contains(d.Addresses, a) {
			return e
		}
	}
	return nil
}

// lost adds a row for a printer that the sweep found and that then could not
// be read: a device found once is never dropped from the report.
func (p *pipeline) lost(s *device.Survey, known *register, taken map[string]bool) {
	for _, h := range p.order {
		if h.kind != discover.Printer || h.answered() {
			continue
		}
		d := device.Device{
			Role: device.RolePrinter, ObservedAt: p.o.Now().UTC(), MakeModel: h.description(),
			Addresses: []netip.Addr{h.target.Addr}, Errors: h.problems,
		}
		d.Reached.SNMP = h.snmpReach
		d.Reached.IPP = h.ippReach
		h.service.apply(&d)
		u := &unit{host: h, id: identityOf(&d)}
		p.name(&d, []*unit{u}, known, taken, s)
		s.Devices = append(s.Devices, d)
	}
}

// unanswered adds the row of the one device that was looked at, when no printer
// answered at any of its addresses: what its site calls it, how far each step
// came, and what failed.
func (p *pipeline) unanswered(s *device.Survey, known *register, taken map[string]bool) {
	if len(p.order) == 0 {
		return
	}
	d := device.Device{Role: device.RolePrinter, ObservedAt: p.o.Now().UTC()}
	for _, h := range p.order {
		if h.answered() {
			continue // its row carries its problems
		}
		d.Addresses = append(d.Addresses, h.target.Addr)
		d.Errors = append(d.Errors, h.problems...)
		if d.Reached.SNMP.Version == "" {
			d.Reached.SNMP = h.snmpReach
		}
		d.Reached.IPP.Tried = d.Reached.IPP.Tried || h.ippReach.Tried
		h.service.apply(&d)
	}
	if len(s.Devices) > 0 || p.cut {
		return
	}
	u := &unit{host: p.order[0], id: identityOf(&d)}
	p.name(&d, []*unit{u}, known, taken, s)
	s.Devices = append(s.Devices, d)
}

// silent adds a row for each device that its site or an earlier survey knows
// and that did not answer now.
func (p *pipeline) silent(s *device.Survey, taken map[string]bool) {
	here := map[string]bool{}
	for i := range s.Devices {
		here[s.Devices[i].Key] = true
		for _, a := range s.Devices[i].Aliases {
			here[a] = true
		}
	}
	add := func(d device.Device) {
		d.Role, d.ObservedAt = device.RolePrinter, p.o.Now().UTC()
		taken[d.Key], here[d.Key] = true, true
		s.Devices = append(s.Devices, d)
		s.Scope.SilentExpected++
	}
	for _, e := range p.o.Expected {
		d := device.Device{
			Key: e.Key, Name: device.Clean(e.Name), Location: device.Clean(e.Location),
			Site: first(device.Clean(e.Site), device.Clean(p.o.Site)), Sole: e.Sole,
		}
		if a, err := netip.ParseAddr(e.Address); err == nil {
			d.Addresses = []netip.Addr{a}
		} else if e.Address != "" {
			d.Hostname = device.Clean(e.Address)
		}
		known := p.earlier(e)
		if known != nil {
			d.MakeModel, d.Serial, d.Aliases = known.MakeModel, known.Serial, known.Aliases
			d.Name, d.Location = first(d.Name, known.Name), first(d.Location, known.Location)
		}
		if d.Key == "" {
			d.Key = "addr:" + e.Address
			if known != nil {
				d.Key = known.Key
			}
		}
		if !here[d.Key] && !(e.Address != "" && e.Key == "" && here["addr:"+e.Address]) {
			add(d)
		}
	}
	for _, k := range p.o.Known {
		if k.Role == device.RoleServerQueue || here[k.Key] || !p.inScope(k.Addresses) {
			continue
		}
		add(device.Device{
			Key: k.Key, Aliases: k.Aliases, Name: k.Name, Location: k.Location, Site: k.Site,
			Addresses: k.Addresses, MakeModel: k.MakeModel, Serial: k.Serial, Hostname: k.Hostname, Sole: k.Sole,
		})
	}
}

// earlier returns the device of an earlier survey that an expected entry means.
func (p *pipeline) earlier(e device.Expected) *device.Device {
	for i := range p.o.Known {
		k := &p.o.Known[i]
		if e.Key != "" && (k.Key == e.Key || slices.Contains(k.Aliases, e.Key)) {
			return k
		}
	}
	return nil
}

func (p *pipeline) inScope(addrs []netip.Addr) bool {
	scope := p.o.Discover.Scope
	return scope != nil && slices.ContainsFunc(addrs, scope.Contains)
}
