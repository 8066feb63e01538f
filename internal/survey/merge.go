package survey

import (
	"slices"
	"strings"

	"printround/internal/device"
)

// Merge joins the surveys of several sites into one. A device that two of them
// saw, by one of its lasting aliases, is in it once.
func Merge(parts []*device.Survey) *device.Survey {
	out := &device.Survey{Schema: device.SurveySchema}
	var sites, reasons []string
	for _, s := range parts {
		if out.Started.IsZero() || s.Started.Before(out.Started) {
			out.Started = s.Started
		}
		if s.Finished.After(out.Finished) {
			out.Finished = s.Finished
		}
		out.ToolVersion = s.ToolVersion
		sites = appendNew(sites, string(s.Site))
		if s.Partial {
			out.Partial = true
			reasons = appendNew(reasons, reasonOf(s))
		}
		addScope(&out.Scope, s.Scope)
		for _, u := range s.Unconfirmed {
			if !slices.ContainsFunc(out.Unconfirmed, func(v device.Unconfirmed) bool { return v.Address == u.Address }) {
				out.Unconfirmed = append(out.Unconfirmed, u)
			}
		}
		for _, q := range s.Errors {
			out.Errors = appendNew(out.Errors, q)
		}
		for i := range s.Devices {
			addDevice(out, &s.Devices[i])
		}
	}
	out.Site = device.Clean(strings.Join(sites, ", "))
	out.PartialReason = device.Clean(strings.Join(reasons, "; "))
	out.Scope.Unconfirmed = len(out.Unconfirmed)
	return out
}

func reasonOf(s *device.Survey) string {
	if s.Site == "" {
		return string(s.PartialReason)
	}
	return string(s.Site) + ": " + string(s.PartialReason)
}

func addScope(to *device.Scope, s device.Scope) {
	to.Targets = append(to.Targets, s.Targets...)
	to.Addresses += s.Addresses
	to.Probed += s.Probed
	to.Answered += s.Answered
	to.NotPrinters += s.NotPrinters
	to.SilentExpected += s.SilentExpected
	to.Prefixes = append(to.Prefixes, s.Prefixes...)
	for _, n := range s.Notes {
		// What is outside the targets of one site is usually within another's.
		if !strings.Contains(n, "outside the targets") {
			to.Notes = appendNew(to.Notes, n)
		}
	}
}

// addDevice adds a device, or joins it to the one that is there: the one that
// answered stays, with all addresses of both.
func addDevice(s *device.Survey, d *device.Device) {
	i := slices.IndexFunc(s.Devices, func(o device.Device) bool { return SameDevice(&o, d) })
	if i < 0 {
		s.Devices = append(s.Devices, *d)
		return
	}
	kept, other := s.Devices[i], *d
	if !Answered(&kept) && Answered(&other) {
		kept, other = other, kept
	}
	if !Answered(&other) {
		s.Scope.SilentExpected = max(s.Scope.SilentExpected-1, 0)
	}
	kept.Addresses = slices.Clone(kept.Addresses)
	for _, a := range other.Addresses {
		kept.Addresses = appendNew(kept.Addresses, a)
	}
	kept.Sole = kept.Sole || other.Sole
	s.Devices[i] = kept
}

// SameDevice reports whether two rows are of one device: it goes by the key, or by an alias that is not just an address.
func SameDevice(a, b *device.Device) bool {
	if a.Role != b.Role {
		return false
	}
	if a.Key == b.Key {
		return true
	}
	for _, alias := range a.Aliases {
		if !strings.HasPrefix(alias, "addr:") && slices.Contains(b.Aliases, alias) && subunit(a.Key) == subunit(b.Key) {
			return true
		}
	}
	return false
}

// subunit is what keeps several printers behind one address apart in a key.
func subunit(key string) string {
	_, after, _ := strings.Cut(key, "#")
	return after
}

// Answered reports whether a device gave any sign over any protocol.
func Answered(d *device.Device) bool {
	return d.Reached.SNMP.OK || d.Reached.IPP.OK || d.Reached.MDNS.OK
}

func appendNew[T comparable](list []T, v T) []T {
	if slices.Contains(list, v) {
		return list
	}
	return append(list, v)
}
