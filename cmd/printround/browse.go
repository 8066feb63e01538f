package main

import (
	"context"
	"net/netip"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
)

// browseFor bounds how long DNS-SD is asked for one name. Responders answer
// within half a second (RFC 6762 section 6); the rest is for sleepers.
const browseFor = 6 * time.Second

// byService browses DNS-SD for a device by the name of its service, its host
// name or its UUID. It stops as soon as the device has shown up.
func (p *plan) byService(ctx context.Context, query string) (*place, error) {
	scope, err := p.browseScope(ctx)
	if err != nil || scope.Len() == 0 {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, browseFor)
	defer cancel()
	found := make(chan discover.Candidate, 64)
	go func() {
		defer close(found)
		// An error leaves the name unknown, which is what the caller reports.
		_, err := discover.Run(ctx, discover.Config{
			Scope: scope, Pace: 1, Timeout: p.reach.timeout, Listen: time.Millisecond,
			NoSNMP: true, NoIPP: true, Interfaces: p.browseOn, Log: p.log(),
		}, found)
		if err != nil && ctx.Err() == nil {
			p.verbose("DNS-SD: " + err.Error())
		}
	}()
	var hit *discover.Candidate
	for c := range found { // to the end, so that the browser is never blocked
		if hit == nil && c.Service != nil && announces(c.Service, query) {
			hit = &c
			cancel()
		}
	}
	if hit == nil {
		return nil, nil
	}
	out, err := p.at(context.WithoutCancel(ctx), query, hit.Target.Addr)
	if out != nil {
		out.services = []*discover.Service{hit.Service}
	}
	return out, err
}

// browseScope is where a device may be that DNS-SD names: the sites, or this
// machine's own networks.
func (p *plan) browseScope(ctx context.Context) (*discover.Scope, error) {
	o := p.parseOptions()
	o.Large, o.AllowPublic = true, true
	var targets []string
	if p.file != nil {
		for i := range p.file.Sites {
			targets = append(targets, p.file.Sites[i].Targets...)
		}
	} else {
		prefixes, err := discover.LocalPrefixes()
		if err != nil {
			return nil, err
		}
		for _, q := range prefixes {
			targets = append(targets, q.String())
		}
	}
	scope, _, err := parseTargets(ctx, targets, o)
	return scope, err
}

// announces reports whether a service is that of the device that somebody
// calls by query.
func announces(s *discover.Service, query string) bool {
	if query == "" {
		return false
	}
	instance := string(device.Clean(s.Instance))
	host := strings.TrimSuffix(s.Host, ".")
	short, _, _ := strings.Cut(host, ".")
	uuid := strings.TrimPrefix(strings.ToLower(query), "uuid:")
	return strings.EqualFold(instance, query) || strings.EqualFold(host, query) || strings.EqualFold(short, query) ||
		uuid != "" && strings.EqualFold(strings.TrimPrefix(strings.ToLower(s.TXT["uuid"]), "urn:uuid:"), uuid)
}

// hostAddress reads an address written with or without brackets.
func hostAddress(s string) (netip.Addr, bool) {
	a, err := netip.ParseAddr(strings.Trim(strings.TrimPrefix(s, "addr:"), "[]"))
	return a.Unmap(), err == nil
}
