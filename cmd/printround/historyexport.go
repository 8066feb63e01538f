package main

import (
	"context"
	"errors"
	"io"
	"time"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/history"
	"printround/internal/report"
)

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

// stated is nil for a time that is not known.
func stated(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
