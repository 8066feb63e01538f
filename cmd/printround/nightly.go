package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/history"
	"printround/internal/nightly"
	"printround/internal/report"
	"printround/internal/site"
	"printround/internal/term"
)

// historyName is the history in the folder of the reports, where no other place
// is named.
const historyName = "history.db"

// nightlyFlags say where a run keeps its results; the site file says so where
// they do not.
type nightlyFlags struct {
	dir      string // --out
	history  string
	keepDays int
}

func newNightly(a *app) *cobra.Command {
	var flags lookFlags
	var f nightlyFlags
	cmd := &cobra.Command{
		Use:   "nightly",
		Short: "Survey every site, keep the night, say what changed, write the reports",
		Long: `Surveys every site of the site file, keeps levels, counters and findings in the
history, says what changed since the last run, and writes the reports into a
folder: CSV, JSON and documents for people, under the date and as latest-…. It
is made to be run by a scheduler, see 'printround schedule', and prints a short
summary. Two runs never overlap: the second one fails at once.

A device that gives no answer is silent after two misses in hours when it
normally answers; one miss is a note. A miss is never a reading of zero, and
nothing is made up for nights without a run.

The [report] table of the site file says where to (dir, history) and how long
nights are kept (keep_days); --out and --history go before it. Without a word on
the history it is history.db in that folder.

While a run is under way, and when it failed or was ended, the folder holds
run-not-finished.txt: what lies beside it is of an earlier night. When the
history cannot be used the reports are written all the same, marked partial.

Run it in the early evening rather than at night: many devices sleep or are
switched off then, and each read wakes one.
` + statuses + `  A run that read something exits with 0, with --exit-attention by the worst
  attention level (4, 5, 3, 0); one that is partial, could not be kept, or could
  not write its reports with 1; one that nothing answered with 5.
`,
		Example: `  printround nightly --site offices.toml
  printround nightly --site offices.toml --out /srv/reports --history /var/lib/printround/history.db
  printround nightly --lab --out nights`,
		Args: arguments(0, 0, "no arguments: it surveys the sites of the site file"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := flags.reach.check(true); err != nil {
				return err
			}
			if err := flags.choose.checkLab(cmd, "yes"); err != nil {
				return err
			}
			return runNightly(cmd.Context(), a, &flags, &f)
		},
	}
	flags.add(cmd, true)
	fl := cmd.Flags()
	fl.StringVar(&f.dir, "out", "", "`folder` of the reports; default: the site file's report.dir")
	fl.StringVar(&f.history, "history", "", "history `FILE`; default: the site file's report.history, else history.db in the folder of the reports")
	fl.BoolVar(&flags.show.bom, "bom", false, "begin CSV files with a byte order mark, for spreadsheets")
	fl.BoolVar(&flags.show.plain, "plain", false, "plain ASCII, no colour, on standard output")
	fl.BoolVar(&flags.show.exitAttention, "exit-attention", false, "let the exit status tell the worst attention level")
	for _, n := range []string{"community-file", "yes"} { // a site's credentials and targets are its own
		if err := fl.MarkHidden(n); err != nil {
			panic(err)
		}
	}
	return cmd
}

// places fills in what the site file says, and refuses what goes nowhere.
func (f *nightlyFlags) places(r site.Report) error {
	if f.dir != "" {
		r.Dir = f.dir
	}
	f.dir, f.keepDays = r.Dir, r.KeepDays
	if f.dir == "" {
		return &usageError{
			message: "where are the reports to go?",
			hint:    "give --out FOLDER, or put dir = \"FOLDER\" under [report] into the site file",
		}
	}
	if f.history == "" {
		f.history = historyOf(r)
	}
	return nil
}

// historyOf is where the history of a site file lies: where it says, else in
// the folder of the reports; empty when it names neither.
func historyOf(r site.Report) string {
	if r.History == "" && r.Dir != "" {
		return filepath.Join(r.Dir, historyName)
	}
	return r.History
}

func runNightly(ctx context.Context, a *app, flags *lookFlags, f *nightlyFlags) error {
	if flags.reach.communityFile != "" {
		return usagef("nightly takes the credentials of the site file: leave out --community-file")
	}
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	defer p.close()
	var of site.Report
	switch {
	case p.file != nil:
		of = p.file.Report
	case !flags.choose.lab:
		return &usageError{message: "there is no site file", hint: "printround nightly --site FILE"}
	}
	if err := f.places(of); err != nil {
		return err
	}
	n := &night{plan: p, flags: f, began: a.now(), folder: nightly.Folder{Dir: f.dir, BOM: flags.show.bom}}
	err = n.run(ctx)
	var o outcome
	if err != nil && !errors.As(err, &o) && n.marked {
		if e := n.folder.Failed(n.began, err); e != nil {
			err = fmt.Errorf("%w\n%w", err, e)
		}
	}
	return err
}

// night is one run.
type night struct {
	plan   *plan
	flags  *nightlyFlags
	began  time.Time
	folder nightly.Folder
	store  *history.Store // nil: it cannot be used
	unkept error          // why not
	marked bool           // the folder says that a run is under way
}

func (n *night) run(ctx context.Context) (err error) {
	a := n.plan.a
	if err := os.MkdirAll(filepath.Dir(n.flags.history), 0o755); err != nil {
		return fmt.Errorf("the folder of the history: %w", err)
	}
	n.store, n.unkept = history.Open(n.flags.history, history.Options{Now: a.now})
	if errors.Is(n.unkept, history.ErrBusy) {
		return n.unkept // and leave the folder to the run that is under way
	}
	if n.store != nil {
		defer func() {
			if n.store != nil { // else it was closed when it could not be used
				err = errors.Join(err, n.store.Close())
			}
		}()
	}
	earlier, err := n.folder.Begin(n.began)
	if err != nil {
		return err
	}
	n.marked = true
	if earlier != "" {
		a.notef("the run that began %s did not finish; what it read may be missing", earlier)
	}
	v, err := n.survey(ctx)
	if err != nil {
		return err
	}
	run := n.keep(ctx, v)
	n.foresee(ctx)
	return n.publish(v, run)
}

// survey looks at all sites. The history tells which devices are known.
func (n *night) survey(ctx context.Context) (*device.Survey, error) {
	p := n.plan
	if n.store != nil {
		var err error
		// An interrupt ends the survey below, not what is remembered.
		if p.known, err = nightly.Known(context.WithoutCancel(ctx), n.store, p.a.now()); err != nil {
			n.unkept = errors.Join(err, n.store.Close())
			n.store = nil
		}
	}
	jobs, err := p.sweepJobs(ctx, nil)
	if err != nil {
		return nil, err
	}
	v, err := p.survey(ctx, jobs)
	if err != nil {
		return nil, err
	}
	p.a.problems(v.Errors)
	if ctx.Err() != nil && nothingAnswered(v) {
		return nil, errInterrupted // nothing was read: what an earlier run wrote is worth more
	}
	if p.nothingAsked(v) {
		return nil, errors.New("no target of any site could be asked")
	}
	return v, nil
}

// keep puts the survey into the history and returns the number of its run, 0
// when it could not. An interrupt must not undo the night that was read.
func (n *night) keep(ctx context.Context, v *device.Survey) (run int64) {
	p := n.plan
	ctx = context.WithoutCancel(ctx)
	if nothingAnswered(v) {
		nightly.Spoil(v, "nothing answered at any site: look at this machine's own network first; no device is held to have missed")
	}
	err := n.unkept
	if n.store != nil {
		info := history.RunInfo{Kind: history.Nightly, NoMisses: p.lockedOut || p.cutShort(v) || nothingAnswered(v)}
		if p.choose.lab {
			info.Kind = history.Lab
		}
		run, err = nightly.Keep(ctx, n.store, v, info, p.a.now().Location())
		if err == nil && n.flags.keepDays > 0 {
			err = n.forget(ctx)
		}
	}
	if err != nil {
		n.unkept = err
		p.a.note(err.Error())
		nightly.Spoil(v, "this night was not kept: "+err.Error())
	}
	return run
}

// forget drops nights that are older than what is to be kept. The clock of one
// night does not decide that alone: it may be wrong.
func (n *night) forget(ctx context.Context) error {
	now, err := n.store.Settled(ctx)
	if err != nil || now.IsZero() {
		return err
	}
	_, err = n.store.Prune(ctx, now.AddDate(0, 0, -n.flags.keepDays))
	return err
}

// foresee adds forecasts and charts to the pages. Without them the pages are
// worth as much as a survey is.
func (n *night) foresee(ctx context.Context) {
	p := n.plan
	n.folder.Beside = &report.Beside{Visit: p.visitOptions(nil)}
	if n.store == nil {
		return
	}
	out, err := p.beside(context.WithoutCancel(ctx), n.store)
	if err != nil {
		p.a.notef("no forecasts: %v", err)
		return
	}
	n.folder.Beside = out
}

// publish writes the files and prints the summary.
func (n *night) publish(v *device.Survey, run int64) error {
	p, now := n.plan, n.plan.a.now()
	paths, err := n.folder.Write(v, now)
	if err != nil {
		return err
	}
	if run > 0 {
		// Until here a run that is ended is told by the next one's changes.
		if err := n.store.SetReported(context.Background(), run); err != nil {
			return err
		}
	}
	if err := n.folder.Done(); err != nil {
		return err
	}
	a := p.a
	o := report.Options{Plain: p.show.plain, Width: term.Width(a.stdout), Color: term.Color(a.stdout, a.getenv), Now: now}
	if err := report.WriteSummary(a.stdout, v, o); err != nil {
		return err
	}
	if err := a.lines("", device.Counted(len(paths), "file", "files")+" in "+n.flags.dir); err != nil {
		return err
	}
	a.partial(v)
	switch {
	case nothingAnswered(v):
		return end(exitSilent)
	case v.Partial:
		return end(exitFailed)
	case p.show.exitAttention:
		return end(attentionStatus(ranked(v.Devices))) // after the history has settled who is silent
	}
	return nil
}

func nothingAnswered(v *device.Survey) bool { return v.Scope.Answered == 0 && !anyAnswered(v.Devices) }

// cutShort reports whether a survey ended early, and not only for what was left
// out beforehand.
func (p *plan) cutShort(v *device.Survey) bool {
	return v.Partial && (len(p.problems) == 0 || string(v.PartialReason) != string(device.Clean(leftOut(p.problems))))
}
