package survey

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/snmp"
)

// Defaults of a survey, where the caller names none.
const (
	DefaultConcurrency   = 64
	DefaultTimeout       = 2 * time.Second
	DefaultDeviceTimeout = 45 * time.Second
)

// readers are the ways to read a device; tests put others in their place.
type readers struct {
	discover func(context.Context, discover.Config, chan<- discover.Candidate) (discover.Stats, error)
	snmp     func(context.Context, netip.AddrPort, []snmp.Credential, ReadOptions) SNMPResult
	ipp      func(context.Context, IPPTarget, ReadOptions) IPPResult
}

var network = readers{discover: discover.Run, snmp: ReadSNMP, ipp: ReadIPP}

// Run is Collect with all devices in memory.
func Run(ctx context.Context, o Options) (*device.Survey, error) {
	return run(ctx, o, network)
}

func run(ctx context.Context, o Options, via readers) (*device.Survey, error) {
	return whole(collect(ctx, o, via))
}

// whole takes a fleet into memory.
func whole(f *Fleet, err error) (*device.Survey, error) {
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return f.Survey()
}

// Collect finds the devices in scope and reads each as soon as it is found: the
// wall time is near the longer of the sweep and the slowest device. At most
// Options.Concurrency devices are read at once, each over SNMP and IPP side by
// side, so that no device has more than two requests in flight.
//
// A cancelled context ends the run early; what was read until then is returned
// in a survey marked partial, with a nil error. An error means that nothing
// could be looked at.
//
// What was read lies on the shelf of the options; the fleet is to be closed.
func Collect(ctx context.Context, o Options) (*Fleet, error) {
	return collect(ctx, o, network)
}

func collect(ctx context.Context, o Options, via readers) (*Fleet, error) {
	own := o.Shelf == nil
	o = o.withDefaults()
	f, err := gather(ctx, o, via)
	switch {
	case err != nil && own:
		o.Shelf.Close()
	case err == nil && own:
		f.owned = []*Shelf{o.Shelf}
	}
	return f, err
}

func gather(ctx context.Context, o Options, via readers) (*Fleet, error) {
	p := &pipeline{o: o, via: via, hosts: map[discover.Target]*host{}, byAddr: map[netip.Addr][]*host{}}
	started := o.Now()
	stats, err := p.run(ctx)
	p.hosts, p.byAddr, p.words = nil, nil, words{} // room for what follows
	if err != nil && !errors.Is(err, context.Canceled) && !errors.Is(err, context.DeadlineExceeded) {
		return nil, err
	}
	p.cut = ctx.Err() != nil
	f := p.finish(stats)
	s := f.Head
	s.Started, s.Finished = started.UTC(), o.Now().UTC()
	if ctx.Err() != nil {
		s.Partial = true
		s.PartialReason = "interrupted: " + device.Text(fmt.Sprintf("%d of %d devices found were read", p.read, p.found))
		if errors.Is(context.Cause(ctx), context.DeadlineExceeded) {
			s.PartialReason = "the time for the whole run is over: " + device.Text(fmt.Sprintf("%d of %d devices found were read", p.read, p.found))
		}
	}
	if !s.Partial && slices.ContainsFunc(s.Errors, func(q device.Problem) bool { return q.Stage == ownLimit }) {
		s.Partial, s.PartialReason = true, "this system let the program open too few files and sockets to ask every device: see the errors"
	}
	return f, nil
}

// ownLimit is the stage of a problem that is this computer's: devices could not
// be asked, and a survey without them is not whole.
const ownLimit = "local"

func (o Options) withDefaults() Options {
	if o.Shelf == nil {
		o.Shelf = NewShelf("", DefaultKeep)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Concurrency <= 0 {
		o.Concurrency = DefaultConcurrency
	}
	if o.Timeout <= 0 {
		o.Timeout = DefaultTimeout
	}
	if o.DeviceTimeout <= 0 {
		o.DeviceTimeout = DeviceLimit(o.Timeout, o.Retries)
	}
	if o.Retries < 0 {
		o.Retries = 0
	}
	if o.Discover.Credentials == nil {
		o.Discover.Credentials = o.Credentials
	}
	return o
}

func (o Options) reading() ReadOptions {
	return ReadOptions{
		Timeout: o.Timeout, Retries: o.Retries, Now: o.Now,
		ShowJobNames: o.ShowJobNames, ShowOwners: o.ShowOwners, Log: o.Log,
	}
}

// pipeline owns the hosts. Its loop is the only goroutine that touches them;
// finder and readers talk to it over channels.
type pipeline struct {
	o      Options
	via    readers
	hosts  map[discover.Target]*host
	byAddr map[netip.Addr][]*host
	order  []*host
	queue  []*host
	words  words

	sweep       discover.Progress
	found, read int
	cut         bool // the run ended early: who is missing may just not have been asked
}

type foundAll struct {
	stats discover.Stats
	err   error
}

func (p *pipeline) run(ctx context.Context) (discover.Stats, error) {
	news := make(chan discover.Candidate, 64)
	progress := make(chan discover.Progress, 1)
	finished := make(chan foundAll, 1)
	results := make(chan result)
	go func() {
		cfg := p.o.Discover
		cfg.Progress = func(g discover.Progress) {
			select {
			case progress <- g:
			default:
			}
		}
		stats, err := p.via.discover(ctx, cfg, news)
		finished <- foundAll{stats, err}
		close(news)
	}()

	var done foundAll
	running := 0
	for news != nil || running > 0 || len(p.queue) > 0 {
		for running < p.o.Concurrency && len(p.queue) > 0 && ctx.Err() == nil {
			h := p.queue[0]
			p.queue = p.queue[1:]
			running++
			p.start(ctx, h, results)
		}
		if ctx.Err() != nil {
			p.queue = nil
		}
		select {
		case c, ok := <-news:
			if !ok {
				news, done = nil, <-finished
				break
			}
			p.take(c)
		case r := <-results:
			running--
			p.settle(r)
		case g := <-progress:
			p.sweep = g
		}
		p.report(false)
	}
	p.report(true)
	return done.stats, done.err
}

// take files a piece of news with its host and queues the host for reading.
func (p *pipeline) take(c discover.Candidate) {
	h := p.lookup(c)
	h.note(c, &p.o)
	p.enqueue(h)
}

func (p *pipeline) enqueue(h *host) {
	if !h.ready() {
		return
	}
	if !h.answered() && !h.didSNMP && h.nextIPP == 0 && !h.plain {
		p.found++
	}
	h.busy = true
	p.queue = append(p.queue, h)
}

// lookup finds the host a candidate speaks of. A DNS-SD service knows the IPP
// port only, so it is matched by port among the hosts at its address.
func (p *pipeline) lookup(c discover.Candidate) *host {
	if h := p.hosts[c.Target]; h != nil {
		return h
	}
	if at := p.byAddr[c.Target.Addr]; c.Service != nil && len(at) > 0 {
		for _, h := range at {
			if h.target.IPPPort == c.Service.Port || h.target.IPPPort == c.Service.TLSPort {
				return h
			}
		}
		if len(at) == 1 {
			return at[0]
		}
	}
	h := &host{target: c.Target, kind: c.Kind}
	p.hosts[c.Target] = h
	p.byAddr[c.Target.Addr] = append(p.byAddr[c.Target.Addr], h)
	p.order = append(p.order, h)
	return h
}

// report tells the caller how far the run is.
func (p *pipeline) report(done bool) {
	if p.o.Progress != nil {
		p.o.Progress(Progress{Discover: p.sweep, Found: p.found, Read: p.read, Done: done})
	}
}

// result is what reading one host brought. The views are on the shelf.
type result struct {
	h    *host
	snmp *read[SNMPResult]
	ipp  []read[IPPResult]
}

// read is the outcome over one protocol, with sketches in place of its views.
type read[T any] struct {
	got   T
	views []*sketch
}

// start reads a host in its own goroutine, both protocols side by side.
func (p *pipeline) start(ctx context.Context, h *host, results chan<- result) {
	var creds []snmp.Credential
	if h.askSNMP {
		creds = credentialsFor(h, p.o.Credentials)
		h.askSNMP, h.didSNMP = false, true
	}
	var targets []IPPTarget
	if h.askIPP {
		targets = h.ippTargets()
	}
	at := netip.AddrPortFrom(h.target.Addr, h.target.SNMPPort)
	left := maxMute - int(h.mute)
	share := p.newSharing(h)
	go func() {
		ctx, cancel := context.WithTimeout(ctx, p.o.DeviceTimeout)
		defer cancel()
		defer share.close()
		r := result{h: h}
		bySNMP := make(chan *read[SNMPResult], 1)
		go func() {
			if len(creds) == 0 {
				bySNMP <- nil
				return
			}
			got := p.guardSNMP(ctx, at, creds, share)
			if !got.Reach.OK && len(creds) == discover.MaxCredentials && len(p.o.Credentials) > len(creds) {
				got.Problems = append(got.Problems, device.Problem{Address: at.Addr().String(), Stage: "snmp",
					Message: fmt.Sprintf("of %d credentials %d were tried, more are not at one device: put the right one first", len(p.o.Credentials), len(creds))})
			}
			views := sketchesOf(got.Views, p.o.Shelf)
			got.Views = nil
			bySNMP <- &read[SNMPResult]{got, views}
		}()
		r.ipp = p.readIPP(ctx, targets, left, share)
		r.snmp = <-bySNMP
		results <- r
	}()
}

// readIPP asks the targets in turn until so many were waited for in vain.
func (p *pipeline) readIPP(ctx context.Context, targets []IPPTarget, left int, share sharing) []read[IPPResult] {
	var all []read[IPPResult]
	for i, t := range targets {
		got := p.guardIPP(ctx, t, share)
		if got.Mute {
			left--
		}
		if rest := len(targets) - i - 1; left == 0 && rest > 0 {
			got.Problems = append(got.Problems, device.Problem{Address: t.Addr.String(), Stage: "ipp",
				Message: fmt.Sprintf("left alone after %d reads without an answer: %d more announced paths were not asked", maxMute, rest)})
		}
		views := sketchesOf(got.Views, p.o.Shelf)
		got.Views = nil
		if all = append(all, read[IPPResult]{got, views}); left == 0 {
			break
		}
	}
	return all
}

// credentialsFor returns the credential that already answered; else those that
// can be the host's, at most as many as discovery tries at one address.
func credentialsFor(h *host, all []snmp.Credential) []snmp.Credential {
	if h.answer == nil {
		return all[:min(len(all), discover.MaxCredentials)]
	}
	if i := h.answer.Credential; i >= 0 && i < len(all) {
		c := all[i]
		if h.answer.Version == snmp.V1 {
			c.Version = snmp.V1
		}
		return []snmp.Credential{c}
	}
	var v3 []snmp.Credential
	for _, c := range all {
		if c.Version == snmp.V3 && len(v3) < discover.MaxCredentials {
			v3 = append(v3, c)
		}
	}
	return v3
}

// ippTargets returns what is to be asked over IPP now and marks it asked.
func (h *host) ippTargets() []IPPTarget {
	base := IPPTarget{Addr: h.target.Addr, Port: h.target.IPPPort}
	if len(h.services) == 0 {
		if h.plain {
			return nil
		}
		h.plain = true
		return []IPPTarget{base}
	}
	var out []IPPTarget
	for ; int(h.nextIPP) < len(h.services); h.nextIPP++ {
		s, t := h.services[h.nextIPP], base
		if s.Port != 0 {
			t.Port = s.Port
		}
		t.TLSPort = s.TLSPort
		t.Path, t.Host = s.TXT["rp"], s.Host
		if h.covers(s) || (h.plain && t.Path == "") {
			continue
		}
		t.TLS = &s.TLS
		out = append(out, t)
	}
	return out
}

// settle files the outcome of a reading with its host. A path that leads to a
// printer already read is not kept twice.
func (p *pipeline) settle(r result) {
	h := r.h
	h.busy = false
	first := !h.answered()
	if r.snmp != nil {
		p.words.share(r.snmp.views)
		for i, v := range r.snmp.views {
			v.index = r.snmp.got.Indices[i]
		}
		h.snmpViews = r.snmp.views
		if h.snmpOK = r.snmp.got.Reach.OK; !h.snmpOK || len(h.snmpViews) == 0 {
			h.snmpReach = &r.snmp.got.Reach
		}
		h.problems = append(h.problems, r.snmp.got.Problems...)
	}
	for _, one := range r.ipp {
		got := &one.got
		if got.Mute {
			h.mute++
		}
		if got.Reach.OK || h.ippReach.URI == "" {
			h.ippReach = got.Reach
		}
		if len(one.views) == 0 {
			h.vain = append(h.vain, vain{got.Problems, got.Closed})
		} else {
			h.problems = append(h.problems, got.Problems...)
		}
		p.words.share(one.views)
		for _, v := range one.views {
			if h.hasView(v) {
				p.o.Shelf.drop(v.at)
				continue
			}
			h.ippViews = append(h.ippViews, v)
		}
	}
	if first && h.answered() {
		p.read++
	}
	p.enqueue(h)
}

// ippProblems returns what went wrong on paths that led nowhere, when it
// matters: not once another path led to a printer, and not for a closed port on
// a host that SNMP showed to be a printer, for many printers have none.
func (h *host) ippProblems(single bool) []device.Problem {
	if len(h.ippViews) > 0 {
		return nil
	}
	var out []device.Problem
	for _, got := range h.vain {
		if got.closed && !single && (h.kind == discover.Printer || len(h.snmpViews) > 0) {
			continue
		}
		out = append(out, got.problems...)
	}
	return out
}

// hasView reports whether an IPP view is of a printer that another path already
// led to.
func (h *host) hasView(v *sketch) bool {
	for _, o := range h.ippViews {
		switch {
		case o.path == v.path:
			return true
		case v.role == device.RoleServerQueue || o.role == device.RoleServerQueue:
		case v.uuid != "" && o.uuid != "":
			if v.uuid == o.uuid {
				return true
			}
		case v.serial != "" && o.serial != "":
			if v.serial == o.serial {
				return true
			}
		case v.makeModel != "" && v.makeModel == o.makeModel && v.name == o.name:
			return true
		}
	}
	return false
}

// covers reports whether a service announces a printer that was already read.
func (h *host) covers(s *discover.Service) bool {
	path := "/" + strings.TrimPrefix(s.TXT["rp"], "/")
	uuid := usableUUID(s.TXT["uuid"])
	for _, o := range h.ippViews {
		if o.path == path || (uuid != "" && string(o.uuid) == uuid) {
			return true
		}
	}
	return false
}
