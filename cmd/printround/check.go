package main

import (
	"context"
	"fmt"
	"io"
	"net/netip"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/survey"
)

// leastWatch is the shortest interval of --watch: each look is some requests
// to a device that may be busy.
const leastWatch = 5 * time.Second

func newCheck(a *app) *cobra.Command {
	var flags lookFlags
	var every time.Duration
	var audit settingsFlags
	cmd := &cobra.Command{
		Use:   "check DEVICE",
		Short: "Look at one device: the verdict, what its panel says, what to do, the facts",
		Long: `Looks at one device and says first whether it needs somebody, what its panel
shows word for word, and what to do; then the facts. The device is named by
address, host name, name, serial number or key; names, serial numbers and keys
are looked for in the site file, in the survey given by --from, among host
names and over DNS-SD. Several printers behind one address are all shown.

Without an answer it says which step failed: the name, the route, SNMP, the TCP
port, TLS, or IPP.

--watch repeats until the device is clear and prints a line for each change.

--settings shows how the device is set beside the norms of its site ([[site.norm]]
in the site file), what differs, and what to do; --settings --diff DEVICE DEVICE
what differs between two. Both exit with 3 when something differs.
` + statuses,
		Example: `  printround check 10.1.2.17
  printround check front-desk.example --explain
  printround check serial:ABC123 --from monday.json
  printround check 10.1.2.17 --watch 30s
  printround check 10.1.2.17 --format json --out front-desk.json
  printround check 10.1.2.17 --settings --site offices.toml
  printround check --settings --diff 10.1.2.17 10.1.2.18
  printround check --lab NAME          (printround lab --list shows the names)`,
		Args: arguments(1, 2, "one device: an address, host name, name, serial number or key"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := flags.reach.check(false); err != nil {
				return err
			}
			if err := flags.choose.checkLab(cmd); err != nil {
				return err
			}
			if err := audit.check(cmd, args, &flags.show); err != nil {
				return err
			}
			o, err := flags.show.options(a, cmd)
			if err != nil {
				return err
			}
			if audit.settings {
				return runSettings(cmd.Context(), a, args, &flags, o)
			}
			if err := checkWatch(cmd, every, o, &flags.show); err != nil {
				return err
			}
			return runCheck(cmd.Context(), a, args[0], every, &flags, o)
		},
	}
	cmd.Flags().DurationVar(&every, "watch", 0, "look again at this `interval`, 5s or longer, until the device is clear")
	audit.add(cmd)
	flags.add(cmd, false)
	flags.show.add(cmd, false)
	return cmd
}

func checkWatch(cmd *cobra.Command, every time.Duration, o report.Options, show *showFlags) error {
	switch {
	case !cmd.Flags().Changed("watch"):
		return nil
	case every < leastWatch:
		return usagef("--watch %s: wanted %s or longer", every, leastWatch)
	}
	return show.checkWatch(o)
}

func runCheck(ctx context.Context, a *app, query string, every time.Duration, flags *lookFlags, o report.Options) error {
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	defer p.close()
	look, err := p.looker(ctx, query)
	if err != nil {
		return err
	}
	if every > 0 {
		w := watcher{a: a, look: look, every: every, pause: lapse, options: o}
		return w.run(ctx)
	}
	s, err := look(ctx)
	if err != nil {
		return err
	}
	a.problems(s.Errors)
	if err := a.write(flags.show.out, func(w io.Writer) error { return writeDevices(w, s, o) }); err != nil {
		return err
	}
	a.partial(s)
	if s.Partial {
		return end(exitFailed)
	}
	return end(attentionStatus(s.Devices))
}

// writeDevices writes each device of a survey: one after the other, in JSON a
// document each, in CSV rows under one heading, in HTML on one page.
func writeDevices(w io.Writer, s *device.Survey, o report.Options) error {
	if o.Format == report.CSV || o.Format == report.HTML && len(s.Devices) != 1 {
		return report.Write(w, s, o)
	}
	for i := range s.Devices {
		if i > 0 && o.Format != report.JSON {
			if _, err := fmt.Fprintln(w); err != nil {
				return err
			}
		}
		if err := report.WriteDevice(w, &s.Devices[i], o); err != nil {
			return err
		}
	}
	return nil
}

// lookAt finds the device and looks at it once.
func (p *plan) lookAt(ctx context.Context, query string) (*device.Survey, error) {
	look, err := p.looker(ctx, query)
	if err != nil {
		return nil, err
	}
	return look(ctx)
}

// looker finds the device and returns the function that looks at it.
func (p *plan) looker(ctx context.Context, query string) (func(context.Context) (*device.Survey, error), error) {
	look, _, err := p.lookerOf(ctx, query)
	return look, err
}

// lookerOf is looker with the job that says how the device is judged.
func (p *plan) lookerOf(ctx context.Context, query string) (func(context.Context) (*device.Survey, error), job, error) {
	var at *place
	var err error
	if p.choose.lab {
		at, err = p.labPlace(ctx, query)
	} else {
		at, err = p.find(ctx, query)
	}
	if notFound(err) {
		return func(context.Context) (*device.Survey, error) { return p.unknown(query, err), nil }, job{judge: finding.Defaults()}, nil
	}
	if err != nil {
		return nil, job{}, err
	}
	target := survey.CheckTarget{Query: query, Targets: at.targets, Services: at.services}
	j := p.newJob(at.site, discover.NewScope(target.Targets))
	if at.site != nil {
		j.options.Expected = p.expected(ctx, at.site)
	}
	return func(ctx context.Context) (*device.Survey, error) { return p.look(ctx, query, target, j) }, j, nil
}

// look reads the device once, judges it and puts the worst first.
func (p *plan) look(ctx context.Context, query string, t survey.CheckTarget, j job) (*device.Survey, error) {
	ctx, cancel := context.WithTimeout(ctx, 2*survey.DeviceLimit(p.reach.timeout, p.reach.retries))
	defer cancel()
	s, err := survey.Check(ctx, t, j.options)
	if err != nil {
		return nil, err
	}
	for i := range s.Devices {
		if _, err := netip.ParseAddr(query); err != nil && s.Devices[i].Hostname == "" && !survey.Answered(&s.Devices[i]) {
			s.Devices[i].Hostname = device.Clean(query)
		}
		finding.Judge(&s.Devices[i], j.judge)
		p.tell(&s.Devices[i])
	}
	if p.lockedOut && !overSNMP(s.Devices) && !s.Partial {
		// The credential that could not be used may be the one it wanted.
		s.Partial, s.PartialReason = true, "a credential could not be used: see the errors"
	}
	finding.Rank(s.Devices)
	s.Errors = append(slices.Clone(p.problems), s.Errors...)
	return s, nil
}

func overSNMP(devices []device.Device) bool {
	return slices.ContainsFunc(devices, func(d device.Device) bool { return d.Reached.SNMP.OK })
}

// unknown is the outcome for a name that nobody knows: the first step failed.
func (p *plan) unknown(query string, err error) *device.Survey {
	now := p.a.now().UTC()
	name := string(device.Clean(query))
	q := device.Problem{Address: name, Stage: "name", Message: err.Error()}
	d := device.Device{
		Key: name, Role: device.RolePrinter, Hostname: device.Text(name), ObservedAt: now, Errors: []device.Problem{q},
	}
	finding.Judge(&d, finding.Defaults())
	return &device.Survey{
		Schema: device.SurveySchema, Started: now, Finished: now, ToolVersion: toolVersion(),
		Devices: []device.Device{d}, Errors: []device.Problem{q},
	}
}
