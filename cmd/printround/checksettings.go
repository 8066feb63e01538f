package main

import (
	"context"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/survey"
)

// settingsFlags turn check to the settings of a device.
type settingsFlags struct {
	settings bool
	diff     bool
}

func (f *settingsFlags) add(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&f.settings, "settings", false, "show how the device is set, beside the norms of its site")
	cmd.Flags().BoolVar(&f.diff, "diff", false, "with --settings, show what differs between two devices")
}

// check refuses what does not go with settings; without them nothing changes.
func (f *settingsFlags) check(cmd *cobra.Command, args []string, show *showFlags) error {
	changed := cmd.Flags().Changed
	switch {
	case f.diff && !f.settings:
		return &usageError{message: "--diff goes with --settings", hint: "printround check --settings --diff DEVICE DEVICE"}
	case f.diff && len(args) != 2:
		return usagef("--diff needs two devices, not %d", len(args))
	case !f.diff && len(args) > 1:
		return &usageError{message: fmt.Sprintf("check takes one device: an address, host name, name, serial number or key; %q is too much", args[1]), hint: "to compare two: printround check --settings --diff " + args[0] + " " + args[1]}
	case f.settings && changed("watch"):
		return usagef("--settings does not go with --watch")
	case f.settings && show.format == string(report.HTML):
		return usagef("--format %s: settings are written as %s", show.format, device.Listed(report.DocumentFormats()))
	}
	return nil
}

// runSettings shows the settings of one device, or compares those of two.
func runSettings(ctx context.Context, a *app, args []string, flags *lookFlags, o report.Options) error {
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	defer p.close()
	audits := make([]*device.Audit, len(args))
	for i, query := range args {
		d, options, err := p.lookSettings(ctx, query)
		if err != nil {
			return err
		}
		if d == nil {
			return end(exitSilent)
		}
		audits[i] = finding.Audit(d, options)
	}
	if len(audits) == 2 {
		diff := finding.CompareSettings(audits[0], audits[1])
		if err := a.write(flags.show.out, func(w io.Writer) error { return report.WriteSettingsDiff(w, diff, o) }); err != nil {
			return err
		}
		if len(diff.Differ) > 0 {
			return end(exitAttention)
		}
		return nil
	}
	if err := a.write(flags.show.out, func(w io.Writer) error { return report.WriteAudit(w, audits[0], o) }); err != nil {
		return err
	}
	if slices.ContainsFunc(audits[0].Findings, func(f device.Finding) bool { return f.Impact != device.ImpactNote }) {
		return end(exitAttention)
	}
	return nil
}

// lookSettings reads and judges one device, by the firmware of its model in the
// earlier survey if there is one; nil when nothing answered.
func (p *plan) lookSettings(ctx context.Context, query string) (*device.Device, finding.Options, error) {
	look, j, err := p.lookerOf(ctx, query)
	if err != nil {
		return nil, finding.Options{}, err
	}
	s, err := look(ctx)
	if err != nil {
		return nil, finding.Options{}, err
	}
	if ctx.Err() != nil {
		return nil, finding.Options{}, context.Cause(ctx)
	}
	p.a.problems(s.Errors)
	i := slices.IndexFunc(s.Devices, func(d device.Device) bool { return survey.Answered(&d) })
	if i < 0 {
		return nil, finding.Options{}, nil
	}
	if n := len(s.Devices); n > 1 {
		p.a.notef("%s: %d printers answer there; the settings are those of %s", query, n, s.Devices[i].Key)
	}
	d := &s.Devices[i]
	var peers finding.Peers
	peers.Add(d)
	for k := range p.earlier() {
		if e := &p.earlier()[k]; !survey.SameDevice(e, d) {
			peers.Add(e)
		}
	}
	options := peers.Options(d, j.judge)
	finding.Judge(d, options)
	return d, options, nil
}

// earlier are devices of an earlier survey or of the history.
func (p *plan) earlier() []device.Device {
	if p.from != nil {
		return p.from.Devices
	}
	return p.known
}
