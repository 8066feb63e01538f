package main

import (
	"context"
	"net/netip"
	"strings"

	"printround/internal/site"
)

// siteOf returns the first site that an address belongs to, nil for none: the
// site that names it as query does, else one with the address among its own,
// else one with a host name of that address.
func (p *plan) siteOf(ctx context.Context, query string, a netip.Addr) *site.Site {
	if p.file == nil {
		return nil
	}
	for i := range p.file.Sites {
		if namedBy(&p.file.Sites[i], query) {
			return &p.file.Sites[i]
		}
	}
	// Most sites are subnets: host names are looked up only when no subnet
	// holds the address, and not for long.
	notNow := func(context.Context, string) ([]netip.Addr, error) { return nil, context.Canceled }
	ctx, cancel := context.WithTimeout(ctx, lookUpFor)
	defer cancel()
	for _, resolve := range []func(context.Context, string) ([]netip.Addr, error){notNow, p.names.lookup} {
		for i := range p.file.Sites {
			s := &p.file.Sites[i]
			o := p.parseOptions()
			o.Skip, o.Resolve = nil, resolve
			// Targets that cannot be meant hold no address; a sweep reports them.
			scope, _, err := parseTargets(ctx, append(addresses(s), s.Targets...), o)
			if err == nil && scope.Contains(a) {
				return s
			}
		}
	}
	return nil
}

// namedBy reports whether a site has the host name or address in its list.
func namedBy(s *site.Site, query string) bool {
	for _, t := range append(addresses(s), s.Targets...) {
		if strings.EqualFold(t, query) {
			return true
		}
	}
	return false
}

func addresses(s *site.Site) []string {
	var out []string
	for _, e := range s.Expected {
		if e.Address != "" {
			out = append(out, e.Address)
		}
	}
	return out
}
