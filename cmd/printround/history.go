package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/history"
	"printround/internal/report"
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

func newHistoryExport(a *app) *cobra.Command {
	var f historyFlags
	var format, out string
	var bom bool
	formats := append(report.HistoryFormats(), sqliteFormat)
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write the history for other programs, or a copy of it",
		Long: `Writes everything that is kept: as CSV one row for each reading, as JSON a
document with runs, devices, their nights, findings and alerts, or as a copy of
the file, compact and whole also while a night is written: to move it, or to
keep it elsewhere.

Of a damaged history CSV and JSON have what can be read; what cannot is said on
standard error, and the exit status is 1.
` + plainStatuses,
		Example: `  printround history export --history history.db --out readings.csv
  printround history export --site offices.toml --format json --out nights.json
  printround history export --site offices.toml --format sqlite --out copy.db`,
		Args: arguments(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if bom && format != string(report.CSV) {
				return usagef("--bom goes with --format csv only, not with %s", format)
			}
			if _, err := oneOf("format", format, notThere, formats); err != nil {
				return err
			}
			return exportHistory(cmd.Context(), a, &f, format, out, bom)
		},
	}
	f.add(cmd)
	fl := cmd.Flags()
	fl.StringVar(&format, "format", string(report.CSV), device.Listed(formats))
	complete(cmd, "format", formats)
	fl.BoolVar(&bom, "bom", false, "with --format csv, begin with a byte order mark, for spreadsheets")
	fl.StringVar(&out, "out", "", "write to `FILE`, whole or not at all")
	return cmd
}

func exportHistory(ctx context.Context, a *app, f *historyFlags, format, out string, bom bool) error {
	if format == sqliteFormat && out == "" {
		return &usageError{message: "a copy needs a name", hint: "printround history export --format sqlite --out FILE"}
	}
	show := showFlags{out: out}
	if err := show.checkOut(); err != nil {
		return err
	}
	s, err := f.open(a)
	if err != nil {
		return err
	}
	defer s.Close()
	if format == sqliteFormat {
		if err := s.CopyTo(ctx, out); err != nil {
			return err
		}
		a.notef("%s: a copy of %s", out, f.history)
		return nil
	}
	e := &exporter{ctx: ctx, store: s, a: a}
	o := report.Options{Format: report.Format(format), BOM: bom, Now: a.now()}
	if err := a.write(out, func(w io.Writer) error { return e.write(w, o) }); err != nil {
		return err
	}
	if out != "" {
		a.notef("%s: %s, %s", out, device.Counted(e.devices, "device", "devices"), device.Counted(e.nights, "night", "nights"))
	}
	if e.lost > 0 {
		a.notef("%s could not be read whole", device.Counted(e.lost, "device", "devices"))
		return end(exitFailed)
	}
	return nil
}

// exporter writes a history device by device.
type exporter struct {
	ctx             context.Context
	store           *history.Store
	a               *app
	devices, nights int
	lost            int // devices with something that could not be read
}

func (e *exporter) write(w io.Writer, o report.Options) error {
	head := report.KeptHistory{Exported: o.Now.Truncate(time.Second)}
	runs, err := e.store.Runs(e.ctx, time.Time{}, time.Time{})
	if err != nil {
		e.a.note(err.Error())
		e.lost++
	}
	for _, r := range runs {
		head.Runs = append(head.Runs, report.KeptRun{Started: r.Started, Finished: r.Finished, ToolVersion: r.ToolVersion,
			Partial: r.Partial, PartialReason: device.Text(r.PartialReason), Answered: r.Answered, Missed: r.Missed})
	}
	out, err := report.NewHistoryWriter(w, head, o)
	if err != nil {
		return err
	}
	known, err := e.store.Devices(e.ctx)
	if err != nil {
		return err
	}
	for i := range known {
		d, err := e.device(&known[i])
		if err != nil {
			if e.ctx.Err() != nil {
				return err
			}
			e.a.notef("%s: %v", known[i].Key, err)
			e.lost++
		}
		e.devices, e.nights = e.devices+1, e.nights+len(d.Nights)
		if err := out.Device(d); err != nil {
			return err
		}
	}
	return out.Close()
}

// device gathers what is kept of one device, as much of it as can be read.
func (e *exporter) device(k *history.Known) (*report.KeptDevice, error) {
	d := &report.KeptDevice{
		Key: k.Key, Aliases: k.Aliases, Site: k.Site, Name: k.Name, Location: k.Location, MakeModel: k.MakeModel, Serial: k.Serial,
		Technology: k.Technology, FirstSeen: stated(k.FirstSeen), LastSeen: stated(k.LastSeen), Misses: k.Misses,
	}
	for _, x := range k.Addresses {
		d.Addresses = append(d.Addresses, x.String())
	}
	nights, err1 := e.store.Readings(e.ctx, k.Key, time.Time{}, time.Time{})
	details, err2 := e.store.Details(e.ctx, k.Key, time.Time{}, time.Time{})
	findings, err3 := e.store.Findings(e.ctx, k.Key)
	alerts, err4 := e.store.Alerts(e.ctx, k.Key)
	at := map[time.Time]int{}
	for i := range nights {
		at[nights[i].At] = i
		d.Nights = append(d.Nights, keptNight(&nights[i]))
	}
	for _, x := range details {
		if i, ok := at[x.At]; ok {
			d.Nights[i].Readings = append(d.Nights[i].Readings, keptReading(x.Group, x.Parent, &x.SupplyReading))
		}
	}
	for _, x := range findings {
		d.Findings = append(d.Findings, keptInterval(x, string(x.Impact), x.Summary))
	}
	for _, x := range alerts {
		d.Alerts = append(d.Alerts, keptInterval(x, x.Severity, x.Name))
	}
	return d, errors.Join(err1, err2, err3, err4)
}

func keptNight(n *device.Night) report.KeptNight {
	out := report.KeptNight{At: n.At, Attention: n.Attention, Address: device.Text(n.Address), UptimeS: n.UptimeS}
	if n.LifeCount != nil {
		out.Readings = append(out.Readings, report.KeptReading{
			Group: "counter", Name: "life", Value: n.LifeCount, Unit: device.Text(n.LifeUnit), Source: n.LifeSource,
		})
	}
	for i := range n.Supplies {
		out.Readings = append(out.Readings, keptReading("supply", 0, &n.Supplies[i]))
	}
	return out
}

func keptReading(group string, parent int, r *device.SupplyReading) report.KeptReading {
	return report.KeptReading{
		Group: group, Parent: parent, Index: r.Index, Name: device.Text(r.Name), Kind: device.Text(r.Kind), Role: device.Text(r.Role),
		Colorant: device.Text(r.Colorant), Value: r.Value, Unit: device.Text(r.Unit), Capacity: r.Capacity, Percent: r.Percent,
		Reason: device.Text(r.Reason), Source: r.Source,
	}
}

func keptInterval(x history.Interval, level, what string) report.KeptInterval {
	return report.KeptInterval{
		Code: x.Code, Group: x.Group, Index: x.Index, Level: level, What: device.Text(what),
		FirstSeen: x.FirstSeen, LastSeen: x.LastSeen, Cleared: stated(x.Cleared),
	}
}

func isFile(path string) bool {
	info, err := os.Stat(path)
	return err == nil && !info.IsDir()
}

// stated is nil for a time that is not known.
func stated(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
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
