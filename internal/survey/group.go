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
	snmp, ipp *device.Device
	suffix    string // "#3" or "#/path" when several printers answer at one address
	id        identity
}

// views returns the views of the unit, SNMP first.
func (u *unit) views() []*device.Device {
	var out []*device.Device
	for _, v := range []*device.Device{u.snmp, u.ipp} {
		if v != nil {
			out = append(out, v)
		}
	}
	return out
}

// identify gathers the aliases of both views: the UUID from IPP, the serial
// and the MAC from the MIB where it has them.
func (u *unit) identify() {
	u.id = identity{}
	for _, v := range u.views() {
		id := identityOf(v)
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
		if c := v.Counters.Life; c.Value != nil && *c.Value > 0 {
			return *c.Value, true
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
		u := &unit{host: h, snmp: &h.snmpViews[i]}
		if len(h.snmpViews) > 1 {
			u.suffix = fmt.Sprintf("#%d", h.snmpIndices[i])
		}
		out = append(out, u)
	}
	printers := 0
	for i := range h.ippViews {
		if h.ippViews[i].Role != device.RoleServerQueue {
			printers++
		}
	}
	snmpUnits := out
	for i := range h.ippViews {
		v := &h.ippViews[i]
		if v.Role != device.RoleServerQueue {
			if u := partner(snmpUnits, v, printers); u != nil {
				u.ipp = v
				continue
			}
		}
		u := &unit{host: h, ipp: v}
		if len(h.ippViews) > 1 || len(h.snmpViews) > 0 {
			u.suffix = "#" + resourcePath(string(v.Reached.IPP.URI))
		}
		out = append(out, u)
	}
	for _, u := range out {
		u.identify()
	}
	return out
}

func partner(candidates []*unit, v *device.Device, printers int) *unit {
	if len(candidates) == 1 && printers == 1 && candidates[0].ipp == nil {
		return candidates[0]
	}
	var model *unit
	models := 0
	serial := usableSerial(string(v.Serial))
	for _, u := range candidates {
		if u.ipp != nil {
			continue
		}
		own := usableSerial(string(u.snmp.Serial))
		if serial != "" && own == serial {
			return u
		}
		clash := serial != "" && own != ""
		if a, b := modelSlug(string(v.MakeModel)), modelSlug(string(u.snmp.MakeModel)); !clash && a != "" && a == b {
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
// addresses. Serials that several devices show stop being aliases. The
// problems name what was found at odds.
func groups(all []*unit) ([][]*unit, []device.Problem) {
	parent := make([]int, len(all))
	for i := range parent {
		parent[i] = i
	}
	root := func(i int) int {
		for parent[i] != i {
			i = parent[i]
		}
		return i
	}
	var problems []device.Problem
	join := func(alias func(identity) string, same func(a, b *unit) bool, atOdds func(alias string, members []int)) {
		buckets := map[string][]int{}
		var order []string
		for i, u := range all {
			if u.queue() {
				continue
			}
			if a := alias(u.id); a != "" {
				if buckets[a] == nil {
					order = append(order, a)
				}
				buckets[a] = append(buckets[a], i)
			}
		}
		for _, a := range order {
			members, odd := buckets[a], false
			for n, i := range members {
				for _, j := range members[:n] {
					if root(i) == root(j) {
						continue
					}
					if same(all[i], all[j]) {
						parent[root(i)] = root(j)
					} else {
						odd = true
					}
				}
			}
			if odd {
				atOdds(a, members)
			}
		}
	}
	report := func(what string) func(string, []int) {
		return func(alias string, members []int) {
			problems = append(problems, device.Problem{
				Address: all[members[0]].where(), Stage: "identity",
				Message: fmt.Sprintf("%s %s is shown by devices that are not the same (%s): not used to tell them apart", what, alias, addresses(all, members)),
			})
			for _, i := range members {
				switch what {
				case "serial":
					all[i].id.serial = ""
				case "UUID":
					all[i].id.uuid = ""
				case "MAC":
					all[i].id.mac = ""
				}
			}
		}
	}
	join(func(id identity) string { return id.uuid }, sameByUUID, report("UUID"))
	join(func(id identity) string { return id.serial }, sameBySerial, report("serial"))
	join(func(id identity) string { return id.mac }, sameByMAC, report("MAC"))

	byRoot := map[int][]*unit{}
	var order []int
	for i, u := range all {
		r := root(i)
		if byRoot[r] == nil {
			order = append(order, r)
		}
		byRoot[r] = append(byRoot[r], u)
	}
	var out [][]*unit
	for _, r := range order {
		out = append(out, byRoot[r])
	}
	return out, problems
}

func (u *unit) queue() bool { return u.ipp != nil && u.ipp.Role == device.RoleServerQueue }

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
