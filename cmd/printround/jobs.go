package main

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"strings"

	"printround/internal/device"
	"printround/internal/discover"
)

// jobs turns targets into surveys. Each address is surveyed with the
// credentials, names and expectations of the site that it belongs to.
func (p *plan) jobs(ctx context.Context, args []string) ([]job, error) {
	if len(args) == 0 {
		return p.siteJobs(ctx)
	}
	scope, problems, err := parseTargets(ctx, args, p.parseOptions())
	for _, q := range problems {
		p.problem(q)
	}
	if err != nil {
		return nil, &usageError{message: err.Error()}
	}
	if p.file == nil {
		return []job{p.newJob(nil, scope)}, nil
	}
	sites := make([]*discover.Scope, len(p.file.Sites))
	for i := range p.file.Sites {
		if sites[i], err = p.siteScope(ctx, &p.file.Sites[i]); err != nil {
			return nil, err
		}
	}
	return p.divide(ctx, scope, sites)
}

// siteJobs surveys every site of the file.
func (p *plan) siteJobs(ctx context.Context) ([]job, error) {
	var out []job
	for i := range p.file.Sites {
		s := &p.file.Sites[i]
		scope, err := p.siteScope(ctx, s)
		if err != nil {
			return nil, err
		}
		j := p.newJob(s, scope)
		j.options.Expected = p.expected(ctx, s)
		out = append(out, j)
	}
	return out, nil
}

// divide splits a scope among the sites that its addresses belong to; what
// belongs to none is a job of its own.
func (p *plan) divide(ctx context.Context, scope *discover.Scope, sites []*discover.Scope) ([]job, error) {
	none := len(sites)
	runs := make([][]string, none+1)
	owners := 0
	for _, r := range consecutive(scope, sites) {
		if len(runs[r.owner]) == 0 {
			owners++
		}
		runs[r.owner] = append(runs[r.owner], r.String())
	}
	var out []job
	for owner, targets := range runs {
		if len(targets) == 0 {
			continue
		}
		part := scope // whole, so that its targets are named as they were typed
		if owners > 1 {
			o := p.parseOptions()
			o.Skip, o.AllowPublic, o.Large = nil, true, true // checked already
			var err error
			if part, _, err = discover.Parse(ctx, targets, o); err != nil {
				return nil, err
			}
		}
		if owner == none {
			out = append(out, p.newJob(nil, part))
			continue
		}
		s := &p.file.Sites[owner]
		j := p.newJob(s, part)
		j.options.Expected = within(part, sites[owner], p.expected(ctx, s))
		out = append(out, j)
	}
	if len(out) == 0 {
		return []job{p.newJob(nil, scope)}, nil
	}
	return out, nil
}

// run is a run of consecutive addresses of one owner.
type run struct {
	owner    int
	from, to netip.Addr
}

func (r run) String() string {
	if r.from == r.to {
		return r.from.String()
	}
	return r.from.String() + "-" + r.to.String()
}

// consecutive cuts a scope into runs of addresses that belong to the same
// site; len(sites) stands for none.
func consecutive(scope *discover.Scope, sites []*discover.Scope) []run {
	var out []run
	for i := range scope.Len() {
		a := scope.At(i).Addr
		owner := 0
		for owner < len(sites) && !sites[owner].Contains(a) {
			owner++
		}
		if n := len(out); n > 0 && out[n-1].owner == owner && a.Is4() && out[n-1].to.Next() == a {
			out[n-1].to = a
			continue
		}
		out = append(out, run{owner, a, a})
	}
	return out
}

// within returns the expected devices that a survey of part of a site can
// miss: all of them when the part is the whole site, else those with an
// address in it. A device known by its key alone may be elsewhere.
func within(part, whole *discover.Scope, all []device.Expected) []device.Expected {
	complete := true
	for i := 0; i < whole.Len() && complete; i++ {
		complete = part.Contains(whole.At(i).Addr)
	}
	if complete {
		return all
	}
	var out []device.Expected
	for _, e := range all {
		if a, err := netip.ParseAddr(e.Address); err == nil && part.Contains(a) {
			out = append(out, e)
		}
	}
	return out
}

// ownNetworks offers this machine's own networks as targets when none are
// named, after asking.
func (p *plan) ownNetworks(ctx context.Context) ([]string, error) {
	prefixes, err := discover.LocalPrefixes()
	if err != nil {
		return nil, err
	}
	if len(prefixes) == 0 {
		return nil, &usageError{message: "no targets given, and this machine has no network of its own to offer", hint: "name what to sweep: printround sweep 192.168.1.0/24"}
	}
	var targets []string
	for _, q := range prefixes {
		targets = append(targets, q.String())
	}
	line := "printround sweep " + strings.Join(targets, " ")
	if p.choose.yes {
		p.a.notef("sweeping %s", strings.Join(targets, " "))
		return targets, nil
	}
	answer, err := p.a.ask(ctx, fmt.Sprintf("No targets given. This machine's own networks: %s. Sweep them?", strings.Join(targets, ", ")))
	switch {
	case errors.Is(err, errNobodyToAsk):
		return nil, &usageError{message: "no targets given, and nobody to ask", hint: "to sweep this machine's own networks: " + line}
	case err != nil:
		return nil, err
	case !answer:
		return nil, errors.New("nothing was swept; name targets, or answer y")
	}
	return targets, nil
}
