package survey

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"printround/internal/device"
)

// unit is one device as seen at one address: at most one view a protocol.
type unit struct {
	host      *host
	snmp, ipp *sketch
	suffix    string // "#3" or "#/path" when several printers answer at one address
	id        identity
}

// views returns the views of the unit, SNMP first.
func (u *unit) views() []*sketch {
	var out []*sketch
	for _, v := range []*sketch{u.snmp, u.ipp} {
		if v != nil {
			out = append(out, v)
		}
	}
	return out
}

// identify gathers the aliases of both views: the UUID from IPP, the serial
// and the MAC from the MIB where it has them.
func (u *unit) identify() {
	views := u.views()
	if len(views) == 1 {
		u.id = views[0].id
		if u.suffix != "" {
			u.id.mac = ""
		}
		return
	}
	u.id = identity{}
	for _, v := range views {
		id := &v.id
		if u.id.uuid == "" || (v == u.ipp && id.uuid != "") {
			u.id.uuid = id.uuid
		}
		if u.id.serial == "" {
			u.id.serial = id.serial
		}
		if u.id.model == "" {
			u.id.model = id.model
		}
		if u.id.mac == "" && u.suffix == "" {
			u.id.mac = id.mac
		}
		for _, a := range id.addrs {
			if !slices.Contains(u.id.addrs, a) {
				u.id.addrs = append(u.id.addrs, a)
			}
		}
	}
}

func (u *unit) life() (int64, bool) {
	for _, v := range u.views() {
		if v.life > 0 {
			return v.life, true
		}
	}
	return 0, false
}

// units pairs the views of one host. One printer over each protocol is one
// device; several stay apart, and an IPP view joins the SNMP view with the same
// serial, else the only one of the same model. A server's queue never joins.
func units(h *host) []*unit {
	var out []*unit
	for i := range h.snmpViews {
		u := &unit{host: h, snmp: h.snmpViews[i]}
		if len(h.snmpViews) > 1 {
			u.suffix = fmt.Sprintf("#%d", h.snmpViews[i].index)
		}
		out = append(out, u)
	}
	printers := 0
	for i := range h.ippViews {
		if h.ippViews[i].role != device.RoleServerQueue {
			printers++
		}
	}
	snmpUnits := out
	for i := range h.ippViews {
		v := h.ippViews[i]
		if v.role != device.RoleServerQueue {
			if u := partner(snmpUnits, v, printers); u != nil {
				u.ipp = v
				continue
			}
		}
		u := &unit{host: h, ipp: v}
		if len(h.ippViews) > 1 || len(h.snmpViews) > 0 {
			u.suffix = "#" + v.path
		}
		out = append(out, u)
	}
	for _, u := range out {
		u.identify()
	}
	return out
}

func partner(candidates []*unit, v *sketch, printers int) *unit {
	if len(candidates) == 1 && printers == 1 && candidates[0].ipp == nil {
		return candidates[0]
	}
	var model *unit
	models := 0
	serial := v.id.serial
	for _, u := range candidates {
		if u.ipp != nil {
			continue
		}
		own := u.snmp.id.serial
		if serial != "" && own == serial {
			return u
		}
		clash := serial != "" && own != ""
		if a, b := v.id.model, u.snmp.id.model; !clash && a != "" && a == b {
			model, models = u, models+1
		}
	}
	if models == 1 {
		return model
	}
	return nil
}

// resourcePath returns the path of an IPP URI.
func resourcePath(uri string) string {
	_, rest, ok := strings.Cut(uri, "://")
	if !ok {
		return uri
	}
	if i := strings.IndexByte(rest, '/'); i >= 0 {
		return rest[i:]
	}
	return "/"
}

// groups joins units of different hosts that are one device with several
// addresses. Aliases that devices show which are not the same stop being
// aliases; the problems name them.
func groups(all []*unit) ([][]*unit, []device.Problem) {
	g := &grouping{all: all, parent: make([]int, len(all))}
	for i := range g.parent {
		g.parent[i] = i
	}
	g.join("UUID", func(id *identity) *string { return &id.uuid }, sameByUUID)
	g.join("serial", func(id *identity) *string { return &id.serial }, sameBySerial)
	g.join("MAC", func(id *identity) *string { return &id.mac }, sameByMAC)

	place := map[int]int{}
	var out [][]*unit
	for i, u := range all {
		r := g.root(i)
		n, ok := place[r]
		if !ok {
			n = len(out)
			place[r], out = n, append(out, nil)
		}
		out[n] = append(out[n], u)
	}
	return out, g.problems
}

// grouping is a union of units: parent leads from each to the first of its
// group.
type grouping struct {
	all      []*unit
	parent   []int
	problems []device.Problem
}

func (g *grouping) root(i int) int {
	for g.parent[i] != i {
		i = g.parent[i]
	}
	return i
}

// join unites units that show the same alias and are the same device by it.
func (g *grouping) join(what string, alias func(*identity) *string, same func(a, b *unit) bool) {
	buckets := map[string][]int{}
	var order []string
	for i, u := range g.all {
		a := *alias(&u.id)
		if a == "" || u.queue() {
			continue
		}
		if buckets[a] == nil {
			order = append(order, a)
		}
		buckets[a] = append(buckets[a], i)
	}
	for _, a := range order {
		members := buckets[a]
		if g.unite(members, same) {
			continue
		}
		g.problems = append(g.problems, device.Problem{
			Address: g.all[members[0]].where(), Stage: "identity",
			Message: fmt.Sprintf("%s %s is shown by devices that are not the same (%s): not used to tell them apart", what, a, addresses(g.all, members)),
		})
		for _, i := range members {
			*alias(&g.all[i].id) = ""
		}
	}
}

// unite reports whether all members turned out to be one device.
func (g *grouping) unite(members []int, same func(a, b *unit) bool) bool {
	whole := true
	for n, i := range members {
		for _, j := range members[:n] {
			switch {
			case g.root(i) == g.root(j):
			case same(g.all[i], g.all[j]):
				g.parent[g.root(i)] = g.root(j)
			default:
				whole = false
			}
		}
	}
	return whole
}

func (u *unit) queue() bool { return u.ipp != nil && u.ipp.role == device.RoleServerQueue }

func (u *unit) where() string { return u.host.target.Addr.String() }

func addresses(all []*unit, members []int) string {
	var list []string
	for _, i := range members {
		list = append(list, all[i].where()+all[i].suffix)
	}
	if len(list) > 4 {
		list = append(list[:4], fmt.Sprintf("and %d more", len(list)-4))
	}
	return strings.Join(list, ", ")
}

func clash(a, b string) bool { return a != "" && b != "" && a != b }

func sameByUUID(a, b *unit) bool { return a.host != b.host && !clash(a.id.serial, b.id.serial) }

// sameBySerial is careful: some makes give every device the same serial. Two
// addresses with one serial are one device when nothing else speaks against it:
// neither UUID nor model, and where both show a MAC they show the same one or
// have printed the same number of pages.
func sameBySerial(a, b *unit) bool {
	if a.host == b.host || clash(a.id.uuid, b.id.uuid) || !sameModel(a.id.model, b.id.model) {
		return false
	}
	if clash(a.id.mac, b.id.mac) {
		la, okA := a.life()
		lb, okB := b.life()
		return okA && okB && la == lb
	}
	return true
}

func sameByMAC(a, b *unit) bool {
	return a.host != b.host && !clash(a.id.uuid, b.id.uuid) && !clash(a.id.serial, b.id.serial)
}

// unitAddresses returns the addresses of a group, in the order seen.
func unitAddresses(group []*unit) []netip.Addr {
	var out []netip.Addr
	for _, u := range group {
		for _, a := range append([]netip.Addr{u.host.target.Addr}, u.id.addrs...) {
			if !slices.Contains(out, a) {
				out = append(out, a)
			}
		}
	}
	return out
}
