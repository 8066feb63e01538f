package finding

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"printround/internal/device"
)

// Compare says what changed between two surveys of judged devices. A device is
// the same when its key or any alias is. Notes and stale findings come and go
// with every sheet of paper and are left out; so are the queues of servers.
// When now is partial, a device that is not in it may simply not have been
// asked, so none is called gone.
func Compare(before, now *device.Survey) *device.Changes {
	c := &device.Changes{
		Since: before.Finished,
		New:   []device.Change{}, Cleared: []device.Change{}, Moved: []device.Change{},
		Arrived: []device.Change{}, Gone: []device.Change{},
	}
	if c.Since.IsZero() {
		c.Since = before.Started
	}
	earlier := aliasIndex(before)
	matched := map[*device.Device]bool{}
	for i := range now.Devices {
		d := &now.Devices[i]
		if d.Role == device.RoleServerQueue {
			continue
		}
		old := lookup(earlier, d)
		if old == nil || matched[old] {
			c.Arrived = append(c.Arrived, change(d, "", arrival(d)))
			continue
		}
		matched[old] = true
		compareDevice(c, old, d)
	}
	for i := range before.Devices {
		d := &before.Devices[i]
		if !now.Partial && !matched[d] && d.Role != device.RoleServerQueue {
			c.Gone = append(c.Gone, change(d, "", "not seen any more"))
		}
	}
	for _, list := range [][]device.Change{c.New, c.Cleared, c.Moved, c.Arrived, c.Gone} {
		slices.SortStableFunc(list, func(a, b device.Change) int {
			return cmp.Or(strings.Compare(a.Key, b.Key), strings.Compare(a.Code, b.Code), strings.Compare(a.What, b.What))
		})
	}
	return c
}

// Comparable returns as much of a judged device as Compare looks at.
func Comparable(d *device.Device) device.Device {
	out := device.Device{
		Key: d.Key, Aliases: d.Aliases, Role: d.Role, Name: d.Name, Hostname: d.Hostname, MakeModel: d.MakeModel,
		Addresses: d.Addresses, Attention: d.Attention,
	}
	for i := range d.Findings {
		if f := &d.Findings[i]; f.Asks() {
			out.Findings = append(out.Findings, device.Finding{
				Code: f.Code, Impact: f.Impact, Weight: f.Weight, Subunit: f.Subunit, Summary: f.Summary,
			})
		}
	}
	return out
}

func aliasIndex(s *device.Survey) map[string]*device.Device {
	m := map[string]*device.Device{}
	for i := range s.Devices {
		d := &s.Devices[i]
		for _, a := range append([]string{d.Key}, d.Aliases...) {
			if _, taken := m[a]; a != "" && !taken {
				m[a] = d
			}
		}
	}
	return m
}

// lookup prefers the key to the aliases, and strong aliases to an address:
// addresses are handed on from device to device.
func lookup(index map[string]*device.Device, d *device.Device) *device.Device {
	names := slices.Clone(d.Aliases)
	slices.SortStableFunc(names, func(a, b string) int {
		return cmp.Compare(rankBool(isAddress(a)), rankBool(isAddress(b)))
	})
	for _, a := range append([]string{d.Key}, names...) {
		old := index[a]
		if old == nil || isAddress(a) && strangers(old, d) {
			continue
		}
		return old
	}
	return nil
}

func isAddress(alias string) bool { return strings.HasPrefix(alias, "addr:") }

// strangers reports that two devices each have a strong identity and share
// none of it.
func strangers(a, b *device.Device) bool {
	strong := func(d *device.Device) []string {
		return slices.DeleteFunc(append([]string{d.Key}, d.Aliases...), func(s string) bool { return s == "" || isAddress(s) })
	}
	sa, sb := strong(a), strong(b)
	if len(sa) == 0 || len(sb) == 0 {
		return false
	}
	return !slices.ContainsFunc(sa, func(s string) bool { return slices.Contains(sb, s) })
}

func compareDevice(c *device.Changes, old, d *device.Device) {
	was, is := standing(old), standing(d)
	for _, f := range is {
		if !slices.ContainsFunc(was, same(f)) {
			c.New = append(c.New, change(d, f.Code, f.Summary))
		}
	}
	// A device that does not answer tells nothing of its earlier faults.
	if d.Attention != device.Silent {
		for _, f := range was {
			if !slices.ContainsFunc(is, same(f)) {
				c.Cleared = append(c.Cleared, change(d, f.Code, f.Summary))
			}
		}
	}
	fresh := slices.DeleteFunc(slices.Clone(d.Addresses), func(a netip.Addr) bool { return slices.Contains(old.Addresses, a) })
	if len(fresh) > 0 && len(old.Addresses) > 0 {
		c.Moved = append(c.Moved, change(d, "", fmt.Sprintf("%s, was %s", addresses(d.Addresses), addresses(old.Addresses))))
	}
}

// standing returns the findings that ask for attention.
func standing(d *device.Device) []device.Finding {
	var out []device.Finding
	for i := range d.Findings {
		if d.Findings[i].Asks() {
			out = append(out, d.Findings[i])
		}
	}
	return out
}

func same(f device.Finding) func(device.Finding) bool {
	return func(g device.Finding) bool {
		return f.Code == g.Code && f.Subunit.Group == g.Subunit.Group && f.Subunit.Index == g.Subunit.Index
	}
}

func arrival(d *device.Device) string {
	if why := d.Why(); why != "" {
		return "new here: " + why
	}
	return "new here"
}

func addresses(list []netip.Addr) string {
	words := make([]string, len(list))
	for i, a := range list {
		words[i] = a.String()
	}
	return strings.Join(words, ", ")
}

func change(d *device.Device, code, what string) device.Change {
	return device.Change{Key: d.Key, Device: d.Called(), Code: code, What: what}
}
