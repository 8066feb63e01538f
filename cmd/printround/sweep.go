package main

import (
	"context"
	"errors"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/survey"
	"printround/internal/term"
)

// sitesAtOnce is how many sites are surveyed at the same time. They share the
// pace and the number of devices read at once.
const sitesAtOnce = 4

func newSweep(a *app) *cobra.Command {
	var flags lookFlags
	cmd := &cobra.Command{
		Use:   "sweep [TARGET…]",
		Short: "Find the printers, read each, and list them with the neediest first",
		Long: `Finds the printers among the targets, reads each over SNMP and IPP, and prints
a ranked table: which of them need somebody, why, and what to do first. Without
targets it sweeps the sites of the site file or, where there is none, offers
this machine's own networks.

A target is an address (10.1.2.3 or 2001:db8::3), a subnet (10.1.2.0/24), a
range with both ends in full (10.1.2.10-10.1.2.40), a host name, or @FILE with
one of these a line. Progress and problems go to standard error, the result to
standard output or to the file named by --out.
` + statuses + `  A sweep that nothing answered exits with 5, any other complete one with 0;
  with --exit-attention the worst attention level decides (4, 5, 3, 0).
`,
		Example: `  printround sweep --lab
  printround sweep 10.1.2.0/24
  printround sweep 10.1.2.0/24 --skip 10.1.2.200-10.1.2.220 --out monday.json --format json
  printround sweep --site offices.toml --from monday.json
  printround sweep 10.1.2.0/24 --format csv --rows supplies --bom --out supplies.csv
  printround sweep --site offices.toml --format html --out monday.html`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := flags.reach.check(true); err != nil {
				return err
			}
			if err := checkTargets(cmd, &flags.choose, args); err != nil {
				return err
			}
			o, err := flags.show.options(a, cmd)
			if err != nil {
				return err
			}
			return runSweep(cmd.Context(), a, args, &flags, o)
		},
	}
	flags.add(cmd, true)
	flags.show.add(cmd, true)
	return cmd
}

// checkTargets refuses targets beside --lab, and flags that name others.
func checkTargets(cmd *cobra.Command, choose *chooseFlags, args []string, more ...string) error {
	if choose.lab && len(args) > 0 {
		return usagef("--lab brings its own targets: leave out %q", args[0])
	}
	return choose.checkLab(cmd, append(more, "yes")...)
}

func runSweep(ctx context.Context, a *app, args []string, flags *lookFlags, o report.Options) error {
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	defer p.close()
	jobs, err := p.sweepJobs(ctx, args)
	if err != nil {
		return err
	}
	f, err := p.fleet(ctx, jobs)
	if err != nil {
		return err
	}
	defer f.Close()
	s, status := f.Head, p.statusOf(f.Head, f.answered, f.worst)
	// On a terminal the table that follows lists the problems; not twice.
	if flags.show.out != "" || o.Format != report.Table || !term.IsTerminal(a.stdout) || p.nothingAsked(s) {
		a.problems(s.Errors)
	}
	if p.nothingAsked(s) && (o.Format != report.JSON || flags.show.out != "") {
		// There is no survey to show, and none to put over an earlier one; a
		// program that reads JSON still gets a document with the errors.
		return end(status)
	}
	forget, err := p.setBeside(ctx, &o)
	if err != nil {
		return err
	}
	defer forget()
	if err := a.write(flags.show.out, func(w io.Writer) error { return f.write(w, o) }); err != nil {
		return err
	}
	if flags.show.out != "" {
		a.notef("%s: %s", flags.show.out, device.Counted(f.Len(), "device", "devices"))
	}
	a.partial(s)
	return end(status)
}

// sweepJobs finds out what is to be surveyed. It starts the lab when that is
// asked for; the caller stops it.
func (p *plan) sweepJobs(ctx context.Context, args []string) ([]job, error) {
	switch {
	case p.choose.lab:
		return p.labJobs(ctx)
	case len(args) == 0 && p.file == nil:
		var err error
		if args, err = p.ownNetworks(ctx); err != nil {
			return nil, err
		}
	case len(args) == 0 && p.reach.communityFile != "":
		return nil, &usageError{
			message: "--community-file goes with targets on the command line; a site's credentials are its own",
			hint:    "put community_file into the site file, or name targets",
		}
	}
	return p.jobs(ctx, args)
}

// survey runs the jobs and makes one judged, ranked survey of them, all in
// memory. What went wrong beforehand makes it partial.
func (p *plan) survey(ctx context.Context, jobs []job) (*device.Survey, error) {
	f, err := p.fleet(ctx, jobs)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return f.load(entire)
}

// fleet is survey for those who need not have all devices in memory.
func (p *plan) fleet(ctx context.Context, jobs []job) (*fleet, error) {
	shelf := survey.NewShelf("", survey.DefaultKeep)
	s, err := p.collect(ctx, jobs, shelf)
	if err != nil {
		shelf.Close()
		return nil, err
	}
	if why := shelf.Problem(); why != "" {
		p.a.note(why)
	}
	f := &fleet{Fleet: s, shelf: shelf, options: judgeBySite(jobs), tell: p.tell}
	ranked, err := f.rank(p.from != nil)
	if err != nil {
		f.Close()
		return nil, err
	}
	p.finish(f.Head)
	if p.from != nil {
		now := *f.Head
		now.Devices = ranked
		compare(p.from, &now, jobs)
		f.Head.Changes = now.Changes
	}
	return f, nil
}

// collect runs the jobs; what they read lies on the shelf.
func (p *plan) collect(ctx context.Context, jobs []job, shelf *survey.Shelf) (*survey.Fleet, error) {
	ctx, cancel := context.WithTimeout(ctx, p.deadline(jobs))
	defer cancel()
	parts := make([]*survey.Fleet, len(jobs))
	errs := make([]error, len(jobs))
	crashes := make([]*relayed, len(jobs))
	m := newMeter(p.a, len(jobs))
	atOnce := min(len(jobs), sitesAtOnce)
	var g errgroup.Group
	g.SetLimit(max(atOnce, 1))
	for i, j := range jobs {
		j.options.Discover.Pace = max(j.options.Discover.Pace/atOnce, 1)
		j.options.Concurrency = max(j.options.Concurrency/atOnce, 1)
		j.options.Progress = m.part(i)
		j.options.Shelf = shelf
		g.Go(func() error {
			defer relay(&crashes[i])
			// One site that cannot be surveyed does not end the others.
			parts[i], errs[i] = p.runJob(ctx, j)
			return nil
		})
	}
	_ = g.Wait() // no job returns an error
	m.done()
	for _, c := range crashes {
		if c != nil {
			panic(c)
		}
	}
	var whole []*survey.Fleet
	for i, s := range parts {
		if errs[i] != nil {
			p.problem(device.Problem{Stage: "survey", Message: siteName(jobs[i]) + errs[i].Error()})
			continue
		}
		whole = append(whole, s)
	}
	if len(whole) == 0 {
		return nil, errors.Join(errs...)
	}
	if len(whole) > 1 {
		return survey.Merge(whole), nil
	}
	return whole[0], nil
}

// judgeBySite gives each device the thresholds and norms of its site.
func judgeBySite(jobs []job) func(*device.Device) finding.Options {
	bySite := map[device.Text]finding.Options{}
	for _, j := range jobs {
		bySite[device.Clean(j.options.Site)] = j.judge
	}
	return func(d *device.Device) finding.Options {
		if o, ok := bySite[d.Site]; ok {
			return o
		}
		return finding.Defaults()
	}
}

func (p *plan) runJob(ctx context.Context, j job) (*survey.Fleet, error) {
	if j.scope.Len() == 0 && len(j.options.Expected) == 0 {
		// Nothing is left of its targets: the problems say why.
		now := p.a.now().UTC()
		return survey.Hold(&device.Survey{
			Schema: device.SurveySchema, Started: now, Finished: now, ToolVersion: toolVersion(), Site: device.Clean(j.options.Site),
		}), nil
	}
	return survey.Collect(ctx, j.options)
}

// finish adds what went wrong before the survey.
func (p *plan) finish(s *device.Survey) {
	if len(p.problems) == 0 {
		return
	}
	s.Errors = append(append([]device.Problem{}, p.problems...), s.Errors...)
	why := leftOut(p.problems)
	if s.Partial {
		why = string(s.PartialReason) + "; " + why
	}
	s.Partial, s.PartialReason = true, device.Clean(why)
}

// leftOut says in a few words what a survey had to do without.
func leftOut(problems []device.Problem) string {
	targets := 0
	for _, q := range problems {
		if q.Stage == "target" || q.Stage == "name" {
			targets++
		}
	}
	var words []string
	if targets > 0 {
		words = append(words, device.Counted(targets, "target", "targets")+" left out")
	}
	if others := len(problems) - targets; others > 0 {
		words = append(words, device.Counted(others, "file or site", "files or sites")+" not usable")
	}
	return strings.Join(words, ", ") + ": see the errors"
}

// mostProblems bounds what is said of problems on standard error; the JSON
// document has all of them.
const mostProblems = 40

// problems says on standard error what went wrong, one line each.
func (a *app) problems(list []device.Problem) {
	for i, q := range list {
		if i == mostProblems {
			a.notef("and %d more problems; --format json lists them all", len(list)-i)
			return
		}
		a.note(problemLine(q))
	}
}

// partial says on standard error that a survey is not whole, and why.
func (a *app) partial(s *device.Survey) {
	if s.Partial {
		a.notef("partial: %s", s.PartialReason)
	}
}

// problemLine says where and what; the message often says where already.
func problemLine(q device.Problem) string {
	if q.Address == "" || len(q.Message) > len(q.Address) && q.Message[:len(q.Address)] == q.Address {
		return q.Message
	}
	return q.Address + ": " + q.Message
}
