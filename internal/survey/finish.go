package survey

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/discover"
)

// finish groups the views of the hosts into devices and says what was and was
// not seen.
func (p *pipeline) finish(stats discover.Stats) *Fleet {
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

	f := &Fleet{Head: s}
	n := p.newNaming()
	for _, g := range grouped {
		lead(g)
		e := p.entryOf(g, n, s)
		e.readings = readingsOf(g, p.o.Shelf)
		f.entries = append(f.entries, e)
	}
	if p.o.single {
		p.unanswered(f, n)
	} else {
		p.lost(f, n)
		if !p.cut {
			p.silent(f, n)
		}
	}
	for _, r := range f.entries {
		s.Errors = append(s.Errors, r.problems()...)
	}
	s.Scope.Unconfirmed = len(s.Unconfirmed)
	return f
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

// naming is what gives devices their names: what is known from before, and
// which keys are taken.
type naming struct {
	register  *register
	known     map[string]int // key -> the first of Options.Known
	aliases   map[string]int // key or alias -> the first of Options.Known
	expected  map[string]int // key -> the first of Options.Expected
	addresses map[netip.Addr]int
	taken     map[string]bool
}

func (p *pipeline) newNaming() *naming {
	n := &naming{
		register: newRegister(p.o.Known), known: map[string]int{}, aliases: map[string]int{},
		expected: map[string]int{}, addresses: map[netip.Addr]int{}, taken: map[string]bool{},
	}
	for i := range p.o.Known {
		k := &p.o.Known[i]
		firstOf(n.known, k.Key, i)
		firstOf(n.aliases, k.Key, i)
		for _, a := range k.Aliases {
			firstOf(n.aliases, a, i)
		}
	}
	for i := range p.o.Expected {
		e := &p.o.Expected[i]
		if e.Key != "" {
			firstOf(n.expected, e.Key, i)
		} else if a, err := netip.ParseAddr(e.Address); err == nil {
			firstOf(n.addresses, a, i)
		}
	}
	return n
}

// firstOf notes where a key occurs first.
func firstOf[K comparable](m map[K]int, key K, i int) {
	if _, ok := m[key]; !ok {
		m[key] = i
	}
}

// entryOf gives the device of a group its key, its aliases and what its site has
// for it.
func (p *pipeline) entryOf(g []*unit, n *naming, s *device.Survey) *entry {
	id := mergedIdentity(g)
	key, conflict := n.register.key(id, g[0].suffix)
	if conflict != "" {
		s.Errors = append(s.Errors, device.Problem{Address: g[0].where(), Stage: "identity", Message: conflict})
	}
	if n.taken[key] {
		s.Errors = append(s.Errors, device.Problem{
			Address: g[0].where(), Stage: "identity",
			Message: fmt.Sprintf("%s is already the key of another device in this survey: kept apart by address", key),
		})
		key = "addr:" + g[0].where() + g[0].suffix
	}
	n.taken[key] = true
	r := &entry{key: key, aliases: id.aliases(), addrs: groupAddresses(g), site: device.Clean(p.o.Site)}
	if i, ok := n.known[key]; ok {
		for _, a := range p.o.Known[i].Aliases {
			if !strings.HasPrefix(a, "addr:") && !slices.Contains(r.aliases, a) {
				r.aliases = append(r.aliases, a)
			}
		}
	}
	if r.expected = p.expected(r, n, len(g[0].suffix) == 0); r.expected != nil {
		r.site = first(device.Clean(r.expected.Site), r.site)
		r.sole = r.expected.Sole
	}
	return r
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
func (p *pipeline) expected(r *entry, n *naming, byAddress bool) *device.Expected {
	at := -1
	note := func(i int, ok bool) {
		if ok && (at < 0 || i < at) {
			at = i
		}
	}
	for _, a := range append([]string{r.key}, r.aliases...) {
		i, ok := n.expected[a]
		note(i, ok)
	}
	if at < 0 && byAddress {
		for _, a := range r.addrs {
			i, ok := n.addresses[a]
			note(i, ok)
		}
	}
	if at < 0 {
		return nil
	}
	return &p.o.Expected[at]
}

// lost adds a row for a printer that the sweep found and that then could not
// be read: a device found once is never dropped from the report.
func (p *pipeline) lost(f *Fleet, n *naming) {
	for _, h := range p.order {
		if h.kind != discover.Printer || h.answered() {
			continue
		}
		d := device.Device{
			Role: device.RolePrinter, ObservedAt: p.o.Now().UTC(), MakeModel: h.description(),
			Addresses: []netip.Addr{h.target.Addr}, Errors: h.problems,
		}
		d.Reached.SNMP = h.overSNMP()
		d.Reached.IPP = h.ippReach
		h.service.apply(&d)
		f.entries = append(f.entries, p.madeEntry(&d, h, n, f.Head))
	}
}

// madeEntry is the row of a device that no view was read of.
func (p *pipeline) madeEntry(d *device.Device, h *host, n *naming, s *device.Survey) *entry {
	r := p.entryOf([]*unit{{host: h, id: identityOf(d)}}, n, s)
	r.made, r.addrs = d, d.Addresses
	return r
}

// unanswered adds the row of the one device that was looked at, when no printer
// answered at any of its addresses: what its site calls it, how far each step
// came, and what failed.
func (p *pipeline) unanswered(f *Fleet, n *naming) {
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
			d.Reached.SNMP = h.overSNMP()
		}
		d.Reached.IPP.Tried = d.Reached.IPP.Tried || h.ippReach.Tried
		h.service.apply(&d)
	}
	if len(f.entries) > 0 || p.cut {
		return
	}
	f.entries = append(f.entries, p.madeEntry(&d, p.order[0], n, f.Head))
}

// silent adds a row for each device that its site or an earlier survey knows
// and that did not answer now.
func (p *pipeline) silent(f *Fleet, n *naming) {
	here := map[string]bool{}
	for _, r := range f.entries {
		here[r.key] = true
		for _, a := range r.aliases {
			here[a] = true
		}
	}
	add := func(d device.Device) {
		d.Role, d.ObservedAt = device.RolePrinter, p.o.Now().UTC()
		here[d.Key] = true
		f.entries = append(f.entries, heldEntry(&d))
		f.Head.Scope.SilentExpected++
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
		known := p.earlier(e, n)
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

// earlier returns the device of an earlier survey that an expected entry means:
// the one with its key or, where the entry has none, the one that was at its
// address then.
func (p *pipeline) earlier(e device.Expected, n *naming) *device.Device {
	alias := e.Key
	if alias == "" {
		alias = "addr:" + e.Address
	}
	if i, ok := n.aliases[alias]; ok {
		return &p.o.Known[i]
	}
	return nil
}

func (p *pipeline) inScope(addrs []netip.Addr) bool {
	scope := p.o.Discover.Scope
	return scope != nil && slices.ContainsFunc(addrs, scope.Contains)
}
