package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/history"
	"printround/internal/site"
)

// sqliteFormat is a whole copy of the history in its own format.
const sqliteFormat = "sqlite"

// historyFlags say which history.
type historyFlags struct {
	site, history string
}

func (f *historyFlags) add(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.history, "history", "", "history `FILE`; default: as the site file says")
	fl.StringVar(&f.site, "site", "", "site `FILE`; default: printround/printround.toml in your configuration folder, if there")
}

// find fills in where the history is, and returns the site file if that had to
// be read.
func (f *historyFlags) find() (*site.File, error) {
	if f.history != "" && f.site == "" {
		return nil, nil
	}
	path := f.site
	if path == "" {
		var err error
		if path, err = site.DefaultPath(); err != nil || !isFile(path) {
			return nil, &usageError{message: "which history?", hint: "give --history FILE, or --site FILE whose [report] table names it"}
		}
	}
	file, err := site.Load(path)
	if err != nil {
		return nil, err
	}
	if f.history == "" {
		f.history = historyOf(file.Report)
	}
	if f.history == "" {
		return nil, &usageError{message: fmt.Sprintf("%s names no history", path), hint: "give --history FILE, or put history = \"FILE\" under [report] into it"}
	}
	return file, nil
}

func newHistory(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "history",
		Short: "Check, export or prune the nights that 'nightly' keeps",
		Long: `The history is one SQLite file. 'nightly' adds a night to it; these commands
check it, export it for other programs or to move it, and forget old nights.
`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return &usageError{message: fmt.Sprintf("there is no command 'history %s'", args[0]), hint: "choose one of: check, export, prune"}
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newHistoryCheck(a), newHistoryExport(a), newHistoryPrune(a))
	return cmd
}

const plainStatuses = `
Exit status:
  0  done
  1  failed, or something is wrong with the history
  2  usage
`

func newHistoryCheck(a *app) *cobra.Command {
	var f historyFlags
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Read all of the history and say whether it is sound",
		Long: `Reads every page of the file: SQLite's own checks of its structure, indexes and
references, and whether the readings of each night fit together. It changes
nothing and can run while a night is written.
` + plainStatuses,
		Example: `  printround history check --history /srv/reports/history.db
  printround history check --site offices.toml`,
		Args: arguments(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error { return checkHistory(cmd.Context(), a, &f) },
	}
	f.add(cmd)
	return cmd
}

func checkHistory(ctx context.Context, a *app, f *historyFlags) error {
	s, err := f.open(a)
	if err != nil {
		return err
	}
	defer s.Close()
	v, err := s.Check(ctx)
	if err != nil {
		return err
	}
	for _, q := range v.Problems {
		a.note(q)
	}
	if len(v.Problems) > 0 {
		a.notef("%s: %s; move it away and put the last copy back, or save what can be read with 'printround history export'",
			f.history, device.Counted(len(v.Problems), "problem", "problems"))
		return end(exitFailed)
	}
	if v.Runs == 0 {
		_, err = fmt.Fprintf(a.stdout, "%s: sound, no night in it yet\n", f.history)
		return err
	}
	zone := a.now().Location()
	return a.lines(f.history+": sound", fmt.Sprintf("%s of %s in %s, %s to %s, %.1f MB",
		device.Counted(int(v.Nights), "night", "nights"), device.Counted(int(v.Devices), "device", "devices"), device.Counted(int(v.Runs), "run", "runs"),
		v.First.In(zone).Format(time.DateOnly), v.Last.In(zone).Format(time.DateOnly), float64(v.Bytes)/1e6))
}

// open opens the history for reading.
func (f *historyFlags) open(a *app) (*history.Store, error) {
	if _, err := f.find(); err != nil {
		return nil, err
	}
	return history.Open(f.history, history.Options{ReadOnly: true, Now: a.now})
}

func isFile(path string) bool {
	info, err := os.Stat(path)
	return err == nil && !info.IsDir()
}

func newHistoryPrune(a *app) *cobra.Command {
	var f historyFlags
	var days int
	var yes bool
	cmd := &cobra.Command{
		Use:   "prune",
		Short: "Forget nights that are older than so many days",
		Long: `Forgets the nights of runs before the last --keep-days days, the findings and
alerts that ended then, and devices that have no night left, and gives the room
back to the disk. The last run stays whatever its age, and so does when a
finding began that still holds. It says what will go and asks first.

Where the site file has keep_days under [report], 'nightly' does so every night.
` + plainStatuses,
		Example: `  printround history prune --history history.db --keep-days 730
  printround history prune --site offices.toml --yes`,
		Args: arguments(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("keep-days") && days < 1 {
				return usagef("--keep-days %d: wanted 1 or more", days)
			}
			return pruneHistory(cmd.Context(), a, &f, days, yes)
		},
	}
	f.add(cmd)
	cmd.Flags().IntVar(&days, "keep-days", 0, "keep the last so many `days`; default: keep_days of the site file")
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask first")
	return cmd
}

func pruneHistory(ctx context.Context, a *app, f *historyFlags, days int, yes bool) (err error) {
	file, err := f.find()
	if err != nil {
		return err
	}
	if days == 0 && file != nil {
		days = file.Report.KeepDays
	}
	if days == 0 {
		return &usageError{message: "how many days are to be kept?", hint: "give --keep-days N, or put keep_days = N under [report] into the site file"}
	}
	if !isFile(f.history) {
		return fmt.Errorf("there is no history %s", f.history)
	}
	s, err := history.Open(f.history, history.Options{Now: a.now})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	before := a.now().AddDate(0, 0, -days)
	old, err := s.Older(ctx, before)
	if err != nil {
		return err
	}
	if old.Nights == 0 {
		_, err := fmt.Fprintf(a.stdout, "nothing is older than %s\n", before.Format(time.DateOnly))
		return err
	}
	what := fmt.Sprintf("%s of %s before %s", device.Counted(int(old.Nights), "night", "nights"), device.Counted(int(old.Runs), "run", "runs"), before.Format(time.DateOnly))
	if old.Devices > 0 {
		what += fmt.Sprintf(", and %s that were not read since", device.Counted(int(old.Devices), "device", "devices"))
	}
	if !yes {
		answer, err := a.ask(ctx, "Forget "+what+"?")
		if errors.Is(err, errNobodyToAsk) {
			return &usageError{message: "nothing was forgotten: there is nobody to ask", hint: "add --yes"}
		}
		if err != nil {
			return err
		}
		if !answer {
			return errors.New("nothing was forgotten")
		}
	}
	if _, err := s.Prune(ctx, before); err != nil {
		return err
	}
	if _, err := fmt.Fprintf(a.stdout, "forgotten: %s\n", what); err != nil {
		return err
	}
	return s.Compact(ctx)
}
