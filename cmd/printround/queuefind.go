package main

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"net/url"
	"strconv"
	"strings"

	"printround/internal/device"
	"printround/internal/lab"
	"printround/internal/printport"
	"printround/internal/survey"
)

// queuePlace is where a queue may be read, in the order to try.
type queuePlace struct {
	targets []survey.IPPTarget
	exact   bool // only the path given is meant: on a print server another one is another queue
}

// queueTargets turns what somebody calls a queue into places: the URI of a
// queue, or whatever find takes for a device.
func (p *plan) queueTargets(ctx context.Context, query string) (*queuePlace, error) {
	switch {
	case p.choose.lab:
		return p.labQueue(ctx, query)
	case strings.Contains(query, "://"):
		return p.byURI(ctx, query)
	}
	at, err := p.find(ctx, query)
	if err != nil {
		return nil, err
	}
	out := &queuePlace{}
	for _, t := range at.targets {
		base := survey.IPPTarget{Addr: t.Addr, Port: t.IPPPort}
		announced := false
		for _, s := range at.services {
			if s.Port == 0 && s.TLSPort == 0 {
				continue // announced for other ways of printing only
			}
			x := base
			x.TLSPort, x.Path, x.Host, x.TLS = s.TLSPort, s.TXT["rp"], s.Host, &s.TLS
			if s.Port != 0 {
				x.Port = s.Port
			}
			out.targets, announced = append(out.targets, x), true
		}
		if !announced {
			out.targets = append(out.targets, base)
		}
	}
	return out, nil
}

// labQueue finds a printer of the lab, or the queue that one of its hosts
// shares.
func (p *plan) labQueue(ctx context.Context, query string) (*queuePlace, error) {
	at, err := p.labPlace(ctx, query)
	if err != nil {
		return nil, err
	}
	out := &queuePlace{}
	for _, d := range p.lab.Devices() {
		if !named(d, query) {
			continue
		}
		if d.IPPPort == 0 {
			return nil, fmt.Errorf("%s does not speak IPP; printround lab --list shows which devices do", query)
		}
		for _, t := range at.targets {
			out.targets = append(out.targets, survey.IPPTarget{Addr: t.Addr, Port: t.IPPPort, Path: d.IPPPath})
		}
	}
	return out, nil
}

func named(d lab.Device, query string) bool {
	return strings.EqualFold(d.Name, query) || d.Addr.String() == query
}

// byURI reads the URI of a queue: ipp and ipps (RFC 8010 section 4, RFC 7472),
// or http and https as print servers write them.
func (p *plan) byURI(ctx context.Context, raw string) (*queuePlace, error) {
	u, err := url.Parse(raw)
	if err != nil || u.Hostname() == "" {
		return nil, usagef("%q is no URI of a queue", raw)
	}
	if u.User != nil {
		return nil, &usageError{message: "a URI with a user name and password is not taken: others on this machine could read it", hint: "leave them out; no password is sent to print servers"}
	}
	t := survey.IPPTarget{Path: u.RequestURI()}
	port, plain := uint16(defaultIPPPort), false
	switch u.Scheme {
	case "ipp":
		plain = true
	case "ipps":
	case "http":
		port, plain = 80, true
	case "https":
		port = 443
	default:
		return nil, &usageError{message: fmt.Sprintf("%q: a queue is read over ipp, ipps, http or https", raw), hint: "printround queue ipp://print-server.example/printers/NAME"}
	}
	if s := u.Port(); s != "" {
		n, err := strconv.ParseUint(s, 10, 16)
		if err != nil || n == 0 {
			return nil, usagef("%q has no port that there is", raw)
		}
		port = uint16(n)
	}
	if printport.Raw(port) {
		return nil, usagef("port %d prints whatever it is sent and is never opened", port)
	}
	t.Port, t.TLSPort = port, port
	if plain {
		no := false
		t.TLS = &no
	}
	addrs, err := p.addressesOf(ctx, u.Hostname())
	if err != nil {
		return nil, err
	}
	out := &queuePlace{exact: strings.Trim(u.Path, "/") != ""}
	for _, a := range addrs {
		x := t
		x.Addr, x.Host = a, u.Hostname()
		out.targets = append(out.targets, x)
	}
	return out, nil
}

// addressesOf looks up a host and checks its addresses as targets are.
func (p *plan) addressesOf(ctx context.Context, host string) ([]netip.Addr, error) {
	if a, ok := hostAddress(host); ok {
		if _, err := p.at(ctx, host, a); err != nil {
			return nil, err
		}
		return []netip.Addr{a}, nil
	}
	ctx, cancel := context.WithTimeout(ctx, lookUpFor)
	defer cancel()
	found, err := p.names.lookup(ctx, host)
	if err != nil || len(found) == 0 {
		return nil, &errNotFound{query: host, tried: []string{"host names"}}
	}
	addrs := make([]netip.Addr, len(found))
	for i, a := range found {
		addrs[i] = a.Unmap()
	}
	if _, err := p.at(ctx, host, addrs...); err != nil {
		return nil, err
	}
	return addrs, nil
}

// openQueue tries the places in turn. The error is that of the first.
func (p *plan) openQueue(ctx context.Context, at *queuePlace) (*survey.QueueSession, error) {
	o := survey.ReadOptions{
		Timeout: p.reach.timeout, Retries: p.reach.retries, Now: p.a.now,
		ShowJobNames: p.show.showJobNames, ShowOwners: p.show.showOwners, Log: p.log(),
	}
	var first error
	for _, t := range at.targets {
		s, err := survey.OpenQueue(ctx, t, at.exact, o)
		if err == nil {
			return s, nil
		}
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if first == nil {
			first = fmt.Errorf("%s: %w", t.Addr, err)
		}
	}
	if first == nil {
		first = errors.New("no address to ask")
	}
	return nil, first
}

// unreachable is a queue that did not answer: it is said on standard error and
// in the exit status.
func (a *app) unreachable(query string, err error) error {
	a.note(problemLine(device.Problem{Address: query, Message: err.Error()}))
	return end(exitSilent)
}
