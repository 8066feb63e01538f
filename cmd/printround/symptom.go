package main

import (
	"context"
	"fmt"
	"io"
	"net/netip"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/report"
	"printround/internal/survey"
	"printround/internal/symptom"
)

const symptomHelp = `Goes from what a person sees or hears, when the device itself reports nothing,
to the causes in order of likelihood, what to try first (cheap, safe and likely
before dear), what tells the two leading causes apart, and how to prove the fix.
Without a name it lists the symptoms by what is seen.

With --device the order follows that device: how it prints, its supplies and
their wear, paper, page languages, defaults, alerts, counters and queue. Only
facts that are known count. With --explain each cause shows its prior odds and
the likelihood ratio of each fact. The figures are common practice of the trade:
they say where to look first, not what it is. With --from the device is taken
from a saved survey and nothing is asked. A device that cannot be reached is no
reason to stop: the triage goes on without its facts, and says so.

For a mark that repeats, --interval takes what was measured, each value with its
unit, mm or in, all the same, decimals with a point:
  75.4mm                      one distance from a mark to the next
  75.4mm,150.9mm,226.1mm      distances from the first mark to each later one;
                              the interval is the slope of a straight line
  75.4mm,75.1mm,75.6mm        one distance measured several times: their mean
Values within three tenths of each other are taken as the last kind. The parts
named come from the roller table of the model in the site file; without one,
from general classes. Without --interval the intervals to expect are listed: of
the device's model, or of every model in the site file.

--format csv has one row for each cause.

Exit status:
  0  done
  1  failed or interrupted
  2  usage
  5  done, but without the device's facts: it did not answer
`

const symptomExamples = `  printround symptom
  printround symptom lengthwise-line
  printround symptom smear --device 10.1.2.17
  printround symptom jobs-pile-up --device front-desk.example --explain
  printround symptom repeating-mark --interval 75.4mm,150.9mm,226.1mm --device 10.1.2.17
  printround symptom no-feed --device serial:ABC123 --from monday.json --format markdown
  printround symptom ghost --lab --device NAME     (printround lab --list shows the names)`

func newSymptom(a *app) *cobra.Command {
	var flags lookFlags
	var query, interval string
	cmd := &cobra.Command{
		Use:     "symptom [NAME]",
		Short:   "From what is seen or heard to likely causes, what to try first, and how to prove the fix",
		Long:    symptomHelp,
		Example: symptomExamples,
		Args:    arguments(0, 1, "at most one symptom"),
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return symptom.Names(), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkSymptom(cmd, &flags, query, args); err != nil {
				return err
			}
			o, err := flags.show.options(a, cmd)
			if err != nil {
				return err
			}
			if len(args) == 0 {
				return a.write(flags.show.out, func(w io.Writer) error { return report.WriteSymptoms(w, symptom.Index(), o) })
			}
			name := symptom.Fold(args[0])
			if !symptom.Exists(name) {
				return unknownSymptom(a, args[0], o)
			}
			r, err := measured(cmd, name, interval)
			if err != nil {
				return err
			}
			from := flags.show.from
			flags.show.from = "" // the survey is not for finding the device again
			t := triage{a: a, name: name, query: query, from: from, interval: r, flags: &flags, options: o}
			return t.run(cmd.Context())
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&query, "device", "", "the `DEVICE` it happens on: address, host name, name, serial number or key")
	fl.StringVar(&interval, "interval", "", "with repeating-mark, what was measured: `DISTANCE[,…]` in mm or in")
	flags.add(cmd, false)
	fl.StringVar(&flags.show.from, "from", "", "take the device from this survey in JSON: `FILE`; nothing is asked")
	flags.show.addDocument(cmd, "a symptom")
	fl.BoolVar(&flags.show.explain, "explain", false, "show prior odds and likelihood ratios")
	return cmd
}

// checkSymptom refuses flags that cannot be meant.
func checkSymptom(cmd *cobra.Command, flags *lookFlags, query string, args []string) error {
	if err := flags.reach.check(false); err != nil {
		return err
	}
	if err := flags.choose.checkLab(cmd, "from"); err != nil {
		return err
	}
	named := cmd.Flags().Changed("device")
	switch {
	case named && strings.TrimSpace(query) == "":
		return usagef("--device is empty")
	case flags.choose.lab && !named:
		return usagef("--lab needs --device NAME; printround lab --list shows the names")
	case flags.show.from != "" && !named:
		return usagef("--from needs --device: which device of the survey is it?")
	case len(args) > 0:
		return nil
	case named, cmd.Flags().Changed("interval"):
		return &usageError{message: "which symptom is it?", hint: "'printround symptom' lists them"}
	case flags.show.format == string(report.JSON) || flags.show.format == string(report.CSV):
		return usagef("the list of symptoms is for people: --format %s needs a symptom", flags.show.format)
	}
	return nil
}

// unknownSymptom shows the index, and names what may have been meant.
func unknownSymptom(a *app, name string, o report.Options) error {
	near := symptom.Near(name)
	o.Format = report.Table
	o.Color = false
	if err := report.WriteSymptoms(a.stderr, symptom.Index(), o); err != nil {
		return err
	}
	e := &usageError{message: fmt.Sprintf("there is no symptom %q; the list is above", name)}
	if len(near) > 0 {
		e.hint = "did you mean " + strings.Join(near, " or ") + "?"
	}
	return e
}

// measured reads --interval; nil when it was not given.
func measured(cmd *cobra.Command, name, interval string) (*device.Repeat, error) {
	if !cmd.Flags().Changed("interval") {
		return nil, nil
	}
	if name != symptom.RepeatingMark {
		return nil, usagef("--interval goes with %s, not with %s", symptom.RepeatingMark, name)
	}
	mm, err := symptom.ParseInterval(interval)
	if err != nil {
		return nil, usagef("--interval: %v", err)
	}
	r, err := symptom.Fit(mm)
	if err != nil {
		return nil, usagef("--interval: %v", err)
	}
	return r, nil
}

// triage is one run of the command.
type triage struct {
	a           *app
	name, query string
	from        string // survey that holds the device; empty: ask it
	interval    *device.Repeat
	flags       *lookFlags
	options     report.Options
}

func (t *triage) run(ctx context.Context) error {
	p, err := newPlan(t.a, t.flags)
	if err != nil {
		return err
	}
	defer p.close()
	devices, err := t.devices(ctx, p)
	if err != nil {
		return err
	}
	if err := t.a.write(t.flags.show.out, func(w io.Writer) error { return t.write(w, p, devices) }); err != nil {
		return err
	}
	return end(namedStatus(devices))
}

// devices returns what --device names: none, one, or several printers behind
// one address.
func (t *triage) devices(ctx context.Context, p *plan) ([]device.Device, error) {
	switch {
	case t.query == "":
		return nil, nil
	case t.from != "":
		return t.saved()
	}
	s, err := p.lookAt(ctx, t.query)
	if err != nil {
		return nil, err
	}
	t.a.problems(s.Errors)
	t.a.partial(s)
	if survey.Answered(&s.Devices[0]) {
		s.Devices = slices.DeleteFunc(s.Devices, func(d device.Device) bool { return !survey.Answered(&d) })
	}
	return s.Devices, nil
}

// saved takes the device from a survey in a file.
func (t *triage) saved() ([]device.Device, error) {
	s, err := loadSurvey(t.from)
	if err != nil {
		return nil, err
	}
	addr, _ := netip.ParseAddr(t.query)
	var hits []device.Device
	var names []string
	for i := range s.Devices {
		d := &s.Devices[i]
		if called(d, t.query) || addr.IsValid() && slices.Contains(d.Addresses, addr) {
			hits, names = append(hits, *d), append(names, d.Key)
		}
	}
	switch {
	case len(hits) == 0:
		return nil, &usageError{message: fmt.Sprintf("--from %s holds no device %q", t.from, t.query), hint: "it holds: " + someNames(s.Devices)}
	case len(hits) > 1 && !addr.IsValid():
		return nil, ambiguous(t.query, names)
	}
	return hits, nil
}

func (t *triage) write(w io.Writer, p *plan, devices []device.Device) error {
	var catalogue *device.Catalogue
	if p.file != nil {
		catalogue = &p.file.Catalogue
	}
	one := func(d *device.Device) error {
		o := symptom.Options{Catalogue: catalogue}
		if t.interval != nil {
			r := *t.interval
			symptom.Match(&r, d, catalogue)
			o.Interval = &r
		}
		return report.WriteTriage(w, symptom.Triage(t.name, d, o), t.options)
	}
	if len(devices) == 0 {
		return one(nil)
	}
	for i := range devices {
		if i > 0 && t.options.Format != report.JSON && t.options.Format != report.CSV {
			if _, err := fmt.Fprintln(w); err != nil {
				return err
			}
		}
		if err := one(&devices[i]); err != nil {
			return err
		}
	}
	return nil
}

// someNames lists what the first devices are called.
func someNames(devices []device.Device) string {
	const most = 12
	var out []string
	for i := range devices {
		if i == most {
			out = append(out, fmt.Sprintf("and %d more", len(devices)-most))
			break
		}
		out = append(out, first(string(devices[i].Name), devices[i].Key))
	}
	return strings.Join(out, ", ")
}
