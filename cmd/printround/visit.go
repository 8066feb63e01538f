package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/forecast"
	"printround/internal/history"
	"printround/internal/report"
	"printround/internal/visit"
)

func newVisit(a *app) *cobra.Command {
	var flags lookFlags
	var horizon days
	cmd := &cobra.Command{
		Use:   "visit [TARGET…]",
		Short: "Plan the day: whom to call, what to bring, where to go and why",
		Long: `Makes a plan of a survey: what somebody on site can do by phone, with the words
to say; which parts to bring, how many, and for what; where to go, in the order
of the places, with the time it takes; and what to keep an eye on. The survey is
the one given by --from, or a new one of the same targets as 'sweep' takes.

With nights of history (--history, or the history that the site file names) a
part is also on the list when it will probably be needed before the visit after
next; the plan shows how probably.

Part numbers come from the catalogue in the site file. Each thing to do is in
the plan once. A part is left out when nobody knows the level; such supplies are
listed to be looked at. It prints well with --format markdown or on plain paper.
` + statuses + `  A plan that could be made exits with 0, whatever is in it; one of a partial
  survey with 1.
`,
		Example: `  printround visit --lab
  printround visit --site offices.toml --horizon 7d
  printround visit --from monday.json --site offices.toml
  printround visit --site offices.toml --history history.db
  printround visit 10.1.2.0/24 --format markdown --out tuesday.md
  printround visit --from monday.json --format csv --bom --out tuesday.csv`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := flags.reach.check(true); err != nil {
				return err
			}
			if err := checkVisit(cmd, &flags.choose, &flags.show, args); err != nil {
				return err
			}
			o, err := flags.show.options(a, cmd)
			if err != nil {
				return err
			}
			from := flags.show.from
			flags.show.from = "" // nothing to compare with: it is the survey itself
			return runVisit(cmd.Context(), a, args, from, int(horizon), &flags, o)
		},
	}
	cmd.Flags().Var(&horizon, "horizon", "`days` until the next visit, such as 14d or 2w; default: the site file's, else 14d")
	flags.add(cmd, true)
	fl := cmd.Flags()
	fl.StringVar(&flags.show.from, "from", "", "plan from this survey in JSON: `FILE`; nothing is asked")
	fl.StringVar(&flags.show.history, "history", "", "history that 'nightly' keeps: `FILE` to foresee from; default: as the site file says, if there")
	flags.show.addDocument(cmd, "a plan")
	return cmd
}

// checkVisit refuses flags that contradict each other.
func checkVisit(cmd *cobra.Command, choose *chooseFlags, show *showFlags, args []string) error {
	if err := checkTargets(cmd, choose, args, "from"); err != nil {
		return err
	}
	if show.from != "" && len(args) > 0 {
		return usagef("--from is the survey to plan from, so nothing is asked: leave out %q", args[0])
	}
	return nil
}

// days is a number of days on the command line: 14d, 2w, or 14.
type days int

// mostDays is the farthest horizon, as in the site file.
const mostDays = 366

func (d *days) String() string {
	if *d == 0 {
		return ""
	}
	return fmt.Sprintf("%dd", int(*d))
}

func (d *days) Type() string { return "days" }

func (d *days) Set(s string) error {
	number, unit := strings.CutSuffix(s, "d")
	each := 1
	if !unit {
		if n, weeks := strings.CutSuffix(s, "w"); weeks {
			number, each = n, 7
		}
	}
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 || n > mostDays || n*each > mostDays {
		return fmt.Errorf("wanted 1d to %dd, or weeks such as 2w", mostDays)
	}
	*d = days(n * each)
	return nil
}

func runVisit(ctx context.Context, a *app, args []string, from string, horizon int, flags *lookFlags, o report.Options) error {
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	p.horizon = horizon
	if err := p.keptNights(); err != nil {
		return err
	}
	defer p.close()
	s, status, err := p.surveyed(ctx, args, from)
	if err != nil {
		return err
	}
	a.problems(s.Errors)
	if s.Scope.Addresses == 0 && len(s.Devices) == 0 && len(p.problems) > 0 {
		return end(status)
	}
	forecasts, err := p.outlook(ctx)
	if err != nil {
		return err
	}
	v := visit.Make(s, p.visitOptions(forecasts))
	if err := a.write(flags.show.out, func(w io.Writer) error { return report.WriteVisit(w, v, o) }); err != nil {
		return err
	}
	if flags.show.out != "" {
		a.notef("%s: %s, %s", flags.show.out, device.Counted(len(v.ByPhone), "call", "calls"), device.Counted(len(v.Visit), "stop", "stops"))
	}
	a.partial(s)
	return end(status)
}

// keptNights takes the history that the site file names, where the command line
// names none and there is one.
func (p *plan) keptNights() error {
	if p.show.history != "" || p.file == nil {
		return nil
	}
	path := historyOf(p.file.Report)
	if path == "" || !isFile(path) {
		return nil
	}
	p.show.history = path
	return p.remember(path)
}

// outlook foresees what the history has nights of; nothing without one.
func (p *plan) outlook(ctx context.Context) ([]forecast.Device, error) {
	if p.show.history == "" {
		return nil, nil
	}
	s, err := history.Open(p.show.history, history.Options{ReadOnly: true, Now: p.a.now})
	if err != nil {
		return nil, fmt.Errorf("--history: %w", err)
	}
	b, err := p.beside(context.WithoutCancel(ctx), s)
	if err = errors.Join(err, s.Close()); err != nil {
		return nil, fmt.Errorf("--history: %w", err)
	}
	return b.Visit.Forecasts, nil
}

// surveyed returns the survey to plan from: the one in a file, else a new one;
// and the exit status that it calls for.
func (p *plan) surveyed(ctx context.Context, args []string, from string) (*device.Survey, int, error) {
	if from != "" {
		s, err := loadSurvey(from)
		if err != nil {
			return nil, 0, err
		}
		s.Errors = nil // they were said when it was made
		status := exitDone
		if s.Partial {
			status = exitFailed
		}
		return s, status, nil
	}
	jobs, err := p.sweepJobs(ctx, args)
	if err != nil {
		return nil, 0, err
	}
	s, err := p.survey(ctx, jobs)
	if err != nil {
		return nil, 0, err
	}
	return s, p.sweepStatus(s), nil
}

func loadSurvey(path string) (*device.Survey, error) { return fromFile(path, report.Read) }

// fromFile reads what --from names.
func fromFile(path string, read func(io.Reader) (*device.Survey, error)) (*device.Survey, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("--from %s: %w", path, pathless(err))
	}
	defer f.Close()
	s, err := read(f)
	if err != nil {
		return nil, fmt.Errorf("--from %s: %w", path, err)
	}
	return s, nil
}

// visitOptions takes horizon, catalogue, contacts and the chance from which a
// part is brought from the command line and the site file.
func (p *plan) visitOptions(forecasts []forecast.Device) visit.Options {
	o := visit.Options{
		HorizonDays: finding.Defaults().HorizonDays, BringProbability: visit.DefaultBring,
		Forecasts: forecasts, Foresee: finding.Foreseen, Now: p.a.now(), Contacts: map[string]string{},
	}
	if f := p.file; f != nil {
		o.Catalogue = f.Catalogue
		if f.HorizonDays > 0 {
			o.HorizonDays = f.HorizonDays
		}
		if f.Thresholds.BringProbability != nil {
			o.BringProbability = *f.Thresholds.BringProbability
		}
		for i := range f.Sites {
			o.Contacts[f.Sites[i].Name] = f.Sites[i].Contact
		}
	}
	if p.horizon > 0 {
		o.HorizonDays = p.horizon
	}
	return o
}
