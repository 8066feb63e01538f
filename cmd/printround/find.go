package main

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/site"
)

// place is where the device that somebody named was found.
type place struct {
	targets  []discover.Target
	services []*discover.Service
	site     *site.Site // nil: none
}

// errNotFound says at which step a name led nowhere.
type errNotFound struct {
	query string
	tried []string
}

func (e *errNotFound) Error() string {
	return fmt.Sprintf("%s: name: no device of this name or key (asked: %s); give its address, or with --from a survey that holds it",
		e.query, strings.Join(e.tried, ", "))
}

// find turns what somebody calls a device (its name, serial number, key, host
// name or address) into addresses. It asks the site file, an earlier survey,
// the resolver, and then DNS-SD, and stops at the first that knows it.
func (p *plan) find(ctx context.Context, query string) (*place, error) {
	if strings.TrimSpace(query) == "" {
		return nil, usagef("the name of the device is empty")
	}
	if a, ok := hostAddress(query); ok {
		return p.at(ctx, query, a)
	}
	e := &errNotFound{query: query}
	if p.file != nil {
		e.tried = append(e.tried, "site file")
		if got, err := p.inSiteFile(ctx, query); got != nil || err != nil {
			return got, err
		}
	}
	if p.from != nil {
		e.tried = append(e.tried, "earlier survey")
		if got, err := p.among(ctx, query, p.from.Devices); got != nil || err != nil {
			return got, err
		}
	}
	if p.notes != nil {
		e.tried = append(e.tried, "history")
		if got, err := p.among(ctx, query, p.known); got != nil || err != nil {
			return got, err
		}
	}
	if !looksLikeKey(query) {
		e.tried = append(e.tried, "host names")
		if got, err := p.byHostName(ctx, query); got != nil || err != nil {
			return got, err
		}
	}
	if !p.reach.noMDNS {
		e.tried = append(e.tried, "DNS-SD")
		if got, err := p.byService(ctx, query); got != nil || err != nil {
			return got, err
		}
	}
	return nil, e
}

// at checks an address as a target and finds its site.
func (p *plan) at(ctx context.Context, query string, addrs ...netip.Addr) (*place, error) {
	var out place
	for _, a := range addrs {
		if _, _, err := discover.Parse(ctx, []string{a.String()}, p.parseOptions()); err != nil {
			return nil, &usageError{message: err.Error()}
		}
		out.targets = append(out.targets, discover.Target{Addr: a, SNMPPort: p.reach.snmpPort, IPPPort: p.reach.ippPort})
		if out.site == nil {
			out.site = p.siteOf(ctx, query, a)
		}
	}
	if len(out.targets) == 0 {
		return nil, fmt.Errorf("%s: no address is known of it", query)
	}
	return &out, nil
}

func (p *plan) inSiteFile(ctx context.Context, query string) (*place, error) {
	type entry struct {
		site *site.Site
		e    device.Expected
	}
	var hits []entry
	for i := range p.file.Sites {
		s := &p.file.Sites[i]
		for _, e := range s.Expected {
			if strings.EqualFold(e.Name, query) || keyMatches(e.Key, query) || strings.EqualFold(e.Address, query) {
				hits = append(hits, entry{s, e})
			}
		}
	}
	if len(hits) == 0 {
		return nil, nil
	}
	if len(hits) > 1 {
		var names []string
		for _, h := range hits {
			names = append(names, fmt.Sprintf("%s (%s)", first(h.e.Address, h.e.Key), h.site.Name))
		}
		return nil, ambiguous(query, names)
	}
	h := hits[0]
	if h.e.Address == "" {
		return nil, nil // an earlier survey or DNS-SD may know where it is
	}
	if a, err := netip.ParseAddr(h.e.Address); err == nil {
		return p.at(ctx, query, a)
	}
	got, err := p.byHostName(ctx, h.e.Address)
	if got == nil && err == nil {
		err = fmt.Errorf("%s: name: the site file says %s, and no such host name is known", query, h.e.Address)
	}
	return got, err
}

// among looks for the device among those of earlier surveys.
func (p *plan) among(ctx context.Context, query string, devices []device.Device) (*place, error) {
	var hits []*device.Device
	for i := range devices {
		if called(&devices[i], query) {
			hits = append(hits, &devices[i])
		}
	}
	switch {
	case len(hits) == 0 || len(hits) == 1 && len(hits[0].Addresses) == 0:
		return nil, nil
	case len(hits) > 1:
		var names []string
		for _, d := range hits {
			names = append(names, d.Key)
		}
		return nil, ambiguous(query, names)
	}
	return p.at(ctx, query, hits[0].Addresses...)
}

// called reports whether somebody may mean the device by query.
func called(d *device.Device, query string) bool {
	for _, t := range []device.Text{d.Name, d.Hostname, d.Serial, d.MAC, d.UUID, d.Reached.MDNS.Instance} {
		if t != "" && strings.EqualFold(string(t), query) {
			return true
		}
	}
	return keyMatches(d.Key, query) || slices.ContainsFunc(d.Aliases, func(a string) bool { return keyMatches(a, query) })
}

// keyMatches takes a whole key or alias, or what follows its kind.
func keyMatches(key, query string) bool {
	if key == "" {
		return false
	}
	_, value, _ := strings.Cut(key, ":")
	return strings.EqualFold(key, query) || strings.EqualFold(value, query)
}

func looksLikeKey(s string) bool {
	for _, prefix := range []string{"uuid:", "serial:", "mac:", "addr:"} {
		if strings.HasPrefix(s, prefix) {
			return true
		}
	}
	return false
}

func (p *plan) byHostName(ctx context.Context, name string) (*place, error) {
	scope, problems, err := discover.Parse(ctx, []string{name}, p.parseOptions())
	for _, q := range problems {
		if q.Stage != "name" {
			return nil, &usageError{message: q.Message}
		}
	}
	if err != nil || scope.Len() == 0 {
		if _, no := meant(ctx, name, p.parseOptions()); no == nil && err != nil {
			return nil, &usageError{message: err.Error()} // in the skip list
		}
		return nil, nil // no host name: it may still be the name of a device
	}
	if scope.Len() > 1 {
		return nil, &usageError{
			message: fmt.Sprintf("check looks at one device; %s has %d addresses", name, scope.Len()),
			hint:    "printround sweep " + name,
		}
	}
	return p.at(ctx, name, scope.At(0).Addr)
}

func ambiguous(query string, names []string) error {
	if len(names) > 8 {
		names = append(names[:8:8], "…")
	}
	return &usageError{
		message: fmt.Sprintf("%q may be any of: %s", query, strings.Join(names, ", ")),
		hint:    "give one of these instead",
	}
}

func first(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// notFound tells a name that led nowhere from other errors.
func notFound(err error) bool {
	var e *errNotFound
	return errors.As(err, &e)
}
