package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"printround/internal/finding"
	"printround/internal/forecast"
	"printround/internal/history"
	"printround/internal/report"
	"printround/internal/site"
)

func newTrend(a *app) *cobra.Command {
	var f historyFlags
	var show showFlags
	var backtest bool
	cmd := &cobra.Command{
		Use:   "trend [DEVICE]",
		Short: "Levels and pages of the nights, and when supplies and parts will end",
		Long: `Shows what the nights that 'nightly' keeps let expect: for all devices what ends
first and when; for one device each supply with its level and the way it went,
parts with a life in pages, and how much is printed. It asks no device.

Each end is given as a day that is as likely too early as too late, the span in
which it falls four times in five, and the chance that it comes before the next
visit; the site file says how many days away that is (horizon_days, else 14).
Replacements, coarse gauges, weekdays, lost nights and wrong readings are seen
to. Supplies that were in the device before, and those of others of its model,
teach what a young one cannot know yet. Where the nights do not carry a date,
it says what is missing. Parts come from the catalogue in the site file.

--backtest goes back through the nights, foresees from what was known then, and
compares with what followed and with two simple rules: the line through the last
two readings that differ, and the line since the replacement. A history that
'printround lab --nights' wrote is compared with the truth beside it.

Exit status:
  0  done
  1  failed
  2  usage
`,
		Example: `  printround trend --site offices.toml
  printround trend front-desk --history /srv/reports/history.db
  printround trend --history history.db --format csv --out trend.csv
  printround trend --backtest --history history.db`,
		Args: arguments(0, 1, "at most one device: a name, serial number, key, host name or address"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if backtest {
				for _, n := range []string{"format", "bom"} {
					if cmd.Flags().Changed(n) {
						return usagef("--backtest prints for people: leave out --%s", n)
					}
				}
				if len(args) > 0 {
					return usagef("--backtest is of all devices: leave out %q", args[0])
				}
			}
			o, err := show.options(a, cmd)
			if err != nil {
				return err
			}
			t := &trend{app: a, flags: &f, show: &show, options: o}
			if backtest {
				return t.backtest(cmd.Context())
			}
			return t.run(cmd.Context(), args)
		},
	}
	f.add(cmd)
	fl := cmd.Flags()
	show.addFormat(cmd, ": an outlook is written as", report.TrendFormats())
	show.addFile(cmd)
	fl.BoolVar(&backtest, "backtest", false, "try the forecasts on the past")
	return cmd
}

// trend is one run of the command.
type trend struct {
	app     *app
	flags   *historyFlags
	show    *showFlags
	options report.Options
	store   *history.Store
	site    *site.File // nil: none
}

func (t *trend) open() error {
	var err error
	if t.site, err = t.flags.find(); err != nil {
		return err
	}
	if t.site == nil {
		// A history that was named needs no site file to be read; what is
		// foreseen gets better with one.
		if path, e := site.DefaultPath(); e == nil && isFile(path) {
			if t.site, err = site.Load(path); err != nil {
				return err
			}
		}
	}
	t.store, err = history.Open(t.flags.history, history.Options{ReadOnly: true})
	return err
}

// forecasts says how to foresee, as of the last run.
func (t *trend) forecasts(asOf time.Time) forecast.Options {
	o := forecast.Options{Zone: t.app.now().Location(), Now: asOf}
	if t.site != nil {
		o.Catalogue = &t.site.Catalogue
	}
	return o
}

func (t *trend) horizon() int {
	if t.site != nil && t.site.HorizonDays > 0 {
		return t.site.HorizonDays
	}
	return int(finding.Defaults().HorizonDays)
}

func (t *trend) run(ctx context.Context, args []string) error {
	v, err := t.outlook(ctx, args)
	if err != nil {
		return err
	}
	if len(v.Devices) == 0 {
		t.app.note("no night was kept of any device yet: 'printround nightly' keeps them")
	}
	return t.app.write(t.show.out, func(w io.Writer) error { return report.WriteTrend(w, v, t.options) })
}

// outlook foresees the device that is named, or all.
func (t *trend) outlook(ctx context.Context, args []string) (*report.Trend, error) {
	if err := t.open(); err != nil {
		return nil, err
	}
	defer t.store.Close()
	known, err := t.store.Devices(ctx)
	if err != nil {
		return nil, err
	}
	v := &report.Trend{HorizonDays: t.horizon()}
	if r, ok, err := t.store.LastRun(ctx); err != nil {
		return nil, err
	} else if ok {
		v.AsOf = r.Finished
	}
	if len(args) == 0 {
		return v, t.all(ctx, known, v)
	}
	return v, t.one(ctx, args[0], known, v)
}

// one foresees the devices that a query names.
func (t *trend) one(ctx context.Context, query string, known []history.Known, v *report.Trend) error {
	found := match(known, query)
	if len(found) == 0 {
		return &usageError{message: fmt.Sprintf("the history knows no device %q", query), hint: "printround trend shows all of them"}
	}
	for i := range found {
		k := &found[i]
		company := companyOf(modelMates(known, k))
		if !slices.ContainsFunc(company, func(c history.Known) bool { return c.Key == k.Key }) {
			company = append(company, *k)
		}
		list, err := t.series(ctx, company)
		if err != nil {
			return err
		}
		at := slices.IndexFunc(list, func(s forecast.Series) bool { return s.Key == k.Key })
		v.Devices = append(v.Devices, report.TrendDevice{
			Device: k.Device(), Nights: list[at].Nights, Forecast: forecast.One(list[at], list, t.forecasts(v.AsOf)),
		})
	}
	return nil
}

// all foresees every device that has a night, one model after the other, so
// that the nights of a few devices are in memory at a time.
func (t *trend) all(ctx context.Context, known []history.Known, v *report.Trend) error {
	place := map[string]int{}
	for i, k := range known {
		place[k.Key] = i
	}
	found := make([]*report.TrendDevice, len(known))
	var work errgroup.Group
	work.SetLimit(readers)
	for _, members := range byModel(known) {
		company := companyOf(members)
		list, err := t.series(ctx, company)
		if err != nil {
			return err
		}
		lessons := forecast.Learn(list, t.forecasts(v.AsOf))
		for _, k := range members {
			work.Go(func() error {
				one, err := t.series(ctx, []history.Known{k})
				if err != nil || len(one[0].Nights) == 0 {
					return err
				}
				found[place[k.Key]] = &report.TrendDevice{Device: k.Device(), Forecast: lessons.Foresee(one[0], t.forecasts(v.AsOf))}
				return nil
			})
		}
	}
	err := work.Wait()
	for _, d := range found {
		if d != nil {
			v.Devices = append(v.Devices, *d)
		}
	}
	return err
}

// readers is how many devices are read from the history at once.
const readers = 4

// series reads the nights of some devices.
func (t *trend) series(ctx context.Context, list []history.Known) ([]forecast.Series, error) {
	out := make([]forecast.Series, len(list))
	var work errgroup.Group
	work.SetLimit(readers)
	for i, k := range list {
		work.Go(func() error {
			nights, err := t.store.Readings(ctx, k.Key, time.Time{}, time.Time{})
			out[i] = forecast.Series{Key: k.Key, MakeModel: string(k.MakeModel), Nights: nights}
			return err
		})
	}
	return out, work.Wait()
}

// modelMates returns the devices of the model of one, itself among them.
func modelMates(known []history.Known, of *history.Known) []history.Known {
	var out []history.Known
	for _, k := range known {
		if k.Key == of.Key || k.MakeModel != "" && strings.EqualFold(string(k.MakeModel), string(of.MakeModel)) {
			out = append(out, k)
		}
	}
	return out
}

// companyOf picks the devices of a model that teach about it.
func companyOf(list []history.Known) []history.Known {
	list = slices.Clone(list)
	slices.SortFunc(list, func(a, b history.Known) int { return strings.Compare(a.Key, b.Key) })
	return list[:min(len(list), forecast.Company)]
}

// match finds devices by key or alias, else by name, serial number, host name
// or address.
func match(known []history.Known, query string) []history.Known {
	var out []history.Known
	for _, k := range known {
		if k.Key == query || slices.Contains(k.Aliases, query) {
			return []history.Known{k}
		}
		names := []string{string(k.Name), string(k.Serial), string(k.Hostname)}
		for _, a := range k.Addresses {
			names = append(names, a.String())
		}
		if slices.ContainsFunc(names, func(n string) bool { return n != "" && strings.EqualFold(n, query) }) {
			out = append(out, k)
		}
	}
	return out
}

// byModel groups devices by model, in order of their first. One that does not
// say what it is has only itself to learn from.
func byModel(known []history.Known) [][]history.Known {
	at := map[string]int{}
	var out [][]history.Known
	for _, k := range known {
		m := strings.ToLower(strings.TrimSpace(string(k.MakeModel)))
		i, ok := at[m]
		if !ok || m == "" {
			i = len(out)
			at[m], out = i, append(out, nil)
		}
		out[i] = append(out[i], k)
	}
	return out
}

// past is the whole history, read device by device.
func (t *trend) past(ctx context.Context, known []history.Known) forecast.Past {
	slices.SortFunc(known, func(a, b history.Known) int { return strings.Compare(a.Key, b.Key) })
	byKey := map[string]history.Known{}
	var p forecast.Past
	for _, members := range byModel(known) {
		keys := make([]string, len(members))
		for i, k := range members {
			keys[i], byKey[k.Key] = k.Key, k
		}
		p.Models = append(p.Models, keys)
	}
	p.Read = func(key string) (forecast.Series, error) {
		one, err := t.series(ctx, []history.Known{byKey[key]})
		return one[0], err
	}
	return p
}

func (t *trend) backtest(ctx context.Context) error {
	if err := t.open(); err != nil {
		return err
	}
	defer t.store.Close()
	known, err := t.store.Devices(ctx)
	if err != nil {
		return err
	}
	truth, err := readTruth(truthPath(t.flags.history))
	if err != nil {
		return err
	}
	b, err := forecast.RunBacktest(t.past(ctx, known), truth, forecast.BacktestOptions{Options: t.forecasts(time.Time{})})
	if err != nil {
		return err
	}
	simulated := truth != nil
	return t.app.write(t.show.out, func(w io.Writer) error { return report.WriteBacktest(w, b, simulated, t.options) })
}

// readTruth reads the truth beside a simulated history, nil when there is none.
func readTruth(path string) (*forecast.Truth, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	t, err := forecast.ReadTruth(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return t, nil
}
