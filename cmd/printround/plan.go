package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/netip"
	"os"
	"slices"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/finding"
	"printround/internal/history"
	"printround/internal/nightly"
	"printround/internal/site"
	"printround/internal/snmp"
	"printround/internal/survey"
)

// plan is what all looks at devices of one command line have in common.
type plan struct {
	a        *app
	reach    *reachFlags
	choose   *chooseFlags
	show     *showFlags
	file     *site.File      // nil: no site file
	from     *device.Survey  // as loadEarlier reads it; nil: no earlier survey
	known    []device.Device // of the history
	notes    *history.Notes  // of the history; nil: none
	lab      *labRun         // nil: real devices
	browseOn []net.Interface // for DNS-SD; nil: all that are up and take multicast
	onePort  bool            // the lab as on systems with one loopback address
	names    resolver
	problems []device.Problem // what keeps the survey from being whole

	horizon   int  // days until the next visit; 0: the site file's
	lockedOut bool // a credential could not be used
	lowered   bool // it was said that fewer devices are read at once than asked for
}

// job is one survey: the devices of one site, or of none.
type job struct {
	site    *site.Site // nil: none
	scope   *discover.Scope
	options survey.Options
	judge   finding.Options
}

// newPlan reads the files that the flags name. The first error ends the
// command: a survey that ignored its site file would ask the wrong devices.
func newPlan(a *app, flags *lookFlags) (*plan, error) {
	p := &plan{a: a, reach: &flags.reach, choose: &flags.choose, show: &flags.show}
	if flags.show.from != "" {
		var err error
		if p.from, err = loadEarlier(flags.show.from); err != nil {
			return nil, err
		}
	}
	if flags.show.history != "" {
		if err := p.remember(flags.show.history); err != nil {
			return nil, err
		}
	}
	if flags.choose.lab {
		return p, nil
	}
	path := flags.reach.site
	if path == "" {
		byDefault, err := site.DefaultPath()
		if err != nil {
			return p, nil // no configuration folder, so no file in it
		}
		if _, err := os.Stat(byDefault); errors.Is(err, fs.ErrNotExist) {
			return p, nil
		}
		path = byDefault
		p.verbose("site file " + path)
	}
	var err error
	p.file, err = site.Load(path)
	return p, err
}

// close stops the lab, if it was started.
func (p *plan) close() {
	if p.lab != nil {
		p.lab.close(p.a)
	}
}

// remember reads what a history tells of devices.
func (p *plan) remember(path string) error {
	ctx := context.Background()
	s, err := history.Open(path, history.Options{ReadOnly: true, Now: p.a.now})
	if err != nil {
		return fmt.Errorf("--history: %w", err)
	}
	defer s.Close()
	if p.notes, err = s.Notes(ctx); err != nil {
		return err
	}
	p.known, err = nightly.Known(ctx, s, p.a.now())
	return err
}

// tell adds to a judged device what the history knows.
func (p *plan) tell(d *device.Device) {
	if p.notes != nil {
		p.notes.Tell(d)
	}
}

// newJob makes the survey of a scope. The site may be nil.
func (p *plan) newJob(s *site.Site, scope *discover.Scope) job {
	r := p.reach
	j := job{site: s, scope: scope, judge: finding.Defaults(), options: survey.Options{
		Discover: discover.Config{
			Scope: scope, Pace: r.pace, Retries: r.retries, Timeout: r.passWait(), Listen: r.listen(),
			NoSNMP: r.noSNMP, NoIPP: r.noIPP, NoMDNS: r.noMDNS, Log: p.log(),
			Interfaces: p.browseOn,
		},
		Concurrency: p.concurrency(), Timeout: r.timeout, Retries: r.retries,
		NoSNMP: r.noSNMP, NoIPP: r.noIPP,
		ShowJobNames: p.show.showJobNames, ShowOwners: p.show.showOwners,
		ToolVersion: toolVersion(), Now: p.a.now, Log: p.log(),
	}}
	if p.from != nil {
		j.options.Known = p.from.Devices
	}
	j.options.Known = append(j.options.Known[:len(j.options.Known):len(j.options.Known)], p.known...)
	p.judgeBySite(&j)
	j.options.Credentials = p.credentials(s)
	if len(j.options.Credentials) == 0 {
		// None could be read, and none is guessed.
		j.options.NoSNMP, j.options.Discover.NoSNMP = true, true
	}
	j.options.Discover.Credentials = j.options.Credentials
	return j
}

func (p *plan) judgeBySite(j *job) {
	if p.file != nil {
		set := func(to *float64, from *float64) {
			if from != nil {
				*to = *from
			}
		}
		set(&j.judge.ConsumableLow, p.file.Thresholds.ConsumableLow)
		set(&j.judge.LongLifeLow, p.file.Thresholds.LongLifeLow)
		set(&j.judge.WasteLow, p.file.Thresholds.WasteLow)
		set(&j.judge.TrayLow, p.file.Thresholds.TrayLow)
		if m := p.file.Thresholds.QueueWaitMin; m != nil {
			j.judge.QueueWaitMin = *m
		}
		if m := p.file.Thresholds.ClockOffMin; m != nil {
			j.judge.ClockOffMin = *m
		}
		if n := p.file.Thresholds.CertificateDays; n != nil {
			j.judge.CertificateDays = *n
		}
		if p.file.HorizonDays > 0 {
			j.judge.HorizonDays = p.file.HorizonDays
		}
		j.judge.Weights = p.file.Weights
	}
	if p.horizon > 0 {
		j.judge.HorizonDays = p.horizon
	}
	if j.site != nil {
		j.judge.ExpectedMedia = j.site.ExpectedMedia
		j.judge.ExpectedLanguages = j.site.ExpectedLanguages
		j.judge.Norms = j.site.Norms
		switch o := j.site.ExpectedOrientation; o {
		case "": // the default holds
		case site.AnyOrientation:
			j.judge.ExpectedOrientation = ""
		default:
			j.judge.ExpectedOrientation = o
		}
		j.options.Site = j.site.Name
	}
}

// credentials returns the ways in for a site's targets: the community named on
// the command line first, then the site's own.
func (p *plan) credentials(s *site.Site) []snmp.Credential {
	var creds []snmp.Credential
	if p.reach.communityFile != "" {
		c, err := site.ReadCommunity("community file", p.reach.communityFile)
		if err != nil {
			p.lockedOut = true
			p.problem(device.Problem{Stage: "file", Message: fmt.Sprintf("--community-file: %v", err)})
		} else {
			creds = append(creds, c)
		}
	}
	if s == nil {
		if p.reach.communityFile == "" {
			creds = append(creds, site.Default())
		}
		return creds
	}
	own, problems := s.Credentials(p.a.lookupEnv)
	for _, q := range problems {
		p.lockedOut = true
		p.problem(q)
	}
	return append(creds, own...)
}

// problem notes what keeps the survey from being whole, each thing once.
func (p *plan) problem(q device.Problem) {
	if !slices.Contains(p.problems, q) {
		p.problems = append(p.problems, q)
	}
}

// skip is what is never asked: the flags' list and that of every site.
func (p *plan) skip() []string {
	out := slices.Clone(p.choose.skip)
	if p.file != nil {
		for i := range p.file.Sites {
			out = append(out, p.file.Sites[i].Skip...)
		}
	}
	return out
}

func (p *plan) parseOptions() discover.ParseOptions {
	return discover.ParseOptions{
		Skip: p.skip(), AllowPublic: p.choose.allowPublic, Large: p.choose.large,
		SNMPPort: p.reach.snmpPort, IPPPort: p.reach.ippPort, Resolve: p.names.lookup,
	}
}

// siteScope returns the addresses of a site: its targets, and its expected
// devices outside them.
func (p *plan) siteScope(ctx context.Context, s *site.Site) (*discover.Scope, error) {
	scope, problems, err := parseTargets(ctx, s.Targets, p.parseOptions())
	if err == nil {
		var beyond []string
		for _, e := range p.expected(ctx, s) {
			a, bad := netip.ParseAddr(e.Address)
			if e.Address != "" && (bad != nil || !scope.Contains(a)) {
				beyond = append(beyond, e.Address)
			}
		}
		if len(beyond) > 0 {
			scope, problems, err = parseTargets(ctx, append(slices.Clone(s.Targets), beyond...), p.parseOptions())
		}
	}
	for _, q := range problems {
		q.Message = fmt.Sprintf("site %q: %s", s.Name, q.Message)
		p.problem(q)
	}
	if err != nil {
		return nil, fmt.Errorf("site %q: %w", s.Name, err)
	}
	return scope, nil
}

// expected returns the site's list with host names looked up, so that devices
// found by address are recognised.
func (p *plan) expected(ctx context.Context, s *site.Site) []device.Expected {
	out := slices.Clone(s.Expected)
	for i := range out {
		e := &out[i]
		if _, err := netip.ParseAddr(e.Address); err == nil || e.Address == "" {
			continue
		}
		scope, _, err := discover.Parse(ctx, []string{e.Address}, discover.ParseOptions{AllowPublic: true, Resolve: p.names.lookup})
		if err == nil && scope.Len() == 1 {
			e.Address = scope.At(0).Addr.String()
		}
	}
	return out
}

func (p *plan) verbose(line string) {
	if p.reach.verbose {
		p.a.note(line)
	}
}

func (p *plan) log() func(string) {
	if !p.reach.verbose {
		return nil
	}
	return p.verbose
}

// deadline bounds a whole run, so that every run ends: four times what the
// probes need at their pace, and ten minutes for waiting and reading.
func (p *plan) deadline(jobs []job) time.Duration {
	probes := 0
	for _, j := range jobs {
		probes += j.scope.Len() * (p.reach.retries + 1) * max(len(j.options.Credentials), 1)
	}
	patient := 2 * survey.DeviceLimit(p.reach.timeout, p.reach.retries)
	return 10*time.Minute + 4*time.Duration(probes/max(p.reach.pace, 1))*time.Second + patient
}

func pathless(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
