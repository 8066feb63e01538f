package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/ipp/act"
	"printround/internal/report"
	"printround/internal/survey"
)

func newIdentify(a *app) *cobra.Command {
	var flags lookFlags
	var yes bool
	cmd := &cobra.Command{
		Use:   "identify DEVICE",
		Short: "Which box is it? Let it flash, sound or show a message, else what to look for",
		Long: `Finds out which of several boxes a device is. Where the device offers it
(Identify-Printer), it flashes its lamps or panel, sounds, or shows a message,
whichever of these it has; that is shown and asked for first, and where there is
nobody to ask it wants --yes. Nothing is printed and no setting changed.

A device that does not offer it is described: model, serial number, location,
addresses, and what its panel shows at this moment.

Exit status:
  0  it showed itself, or what to look for is said
  1  failed or interrupted; the device refused
  2  usage
  5  no answer
`,
		Example: `  printround identify 10.1.2.17
  printround identify front-desk.example --yes
  printround identify --lab copy-1`,
		Args: arguments(1, 1, "one device: an address, host name, name, serial number or key"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := flags.reach.check(false); err != nil {
				return err
			}
			if err := flags.choose.checkLab(cmd, "from"); err != nil {
				return err
			}
			o, err := flags.show.options(a, cmd)
			if err != nil {
				return err
			}
			return runIdentify(cmd.Context(), a, args[0], yes, &flags, o)
		},
	}
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask before the device shows itself")
	flags.add(cmd, false)
	cmd.Flags().StringVar(&flags.show.from, "from", "", "earlier survey in JSON: `FILE` to know devices from")
	cmd.Flags().BoolVar(&flags.show.plain, "plain", false, "plain ASCII, no colour")
	return cmd
}

func runIdentify(ctx context.Context, a *app, query string, yes bool, flags *lookFlags, o report.Options) error {
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	defer p.close()
	s, err := p.lookAt(ctx, query)
	if err != nil {
		return err
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	a.problems(s.Errors)
	for i := range s.Devices {
		if survey.Answered(&s.Devices[i]) {
			return p.identify(ctx, s.Devices, yes, o)
		}
	}
	return end(exitSilent)
}

// identify lets the devices at one address show themselves; of several the ones
// that can.
func (p *plan) identify(ctx context.Context, devices []device.Device, yes bool, o report.Options) error {
	for i := range devices {
		d := &devices[i]
		why := "it does not answer over IPP"
		if d.Reached.IPP.OK && d.Role == device.RolePrinter {
			done, err := p.showItself(ctx, d, yes)
			if done || err != nil {
				return err
			}
			why = "it does not offer Identify-Printer"
		}
		if err := p.a.write("", func(w io.Writer) error { return report.WriteLookFor(w, d, why, o) }); err != nil {
			return err
		}
	}
	return nil
}

// showItself sends Identify-Printer once, after asking. done is false when the
// device does not offer it.
func (p *plan) showItself(ctx context.Context, d *device.Device, yes bool) (done bool, err error) {
	pr, err := act.Open(ctx, string(d.Reached.IPP.URI), ipp.Options{Timeout: p.reach.timeout, Log: p.log()})
	if err != nil {
		return false, fmt.Errorf("nothing was sent: %w", err)
	}
	defer pr.Close()
	actions, err := pr.IdentifyActions(ctx)
	if err != nil {
		return false, fmt.Errorf("nothing was sent: %w", err)
	}
	if actions == nil {
		return false, nil
	}
	lines := append([]string{"this makes the device " + actionWords(actions) + ", and changes nothing"},
		aboutBox("device", d.Name, d.MakeModel, d.Serial, d.Location, d.Reached.IPP.URI)...)
	if err := p.a.confirm(ctx, yes, lines, "Let it show itself?"); err != nil {
		return true, err
	}
	var refused *act.Refusal
	switch err := pr.Identify(ctx, actions, "printround looks for this printer"); {
	case err == nil:
		_, err = fmt.Fprintf(p.a.stdout, "The device accepted: it should %s now.\n", actionWords(actions))
		return true, err
	case act.Uncertain(err):
		return true, fmt.Errorf("no answer came; the device may be showing itself all the same: %w", err)
	case errors.As(err, &refused):
		return true, fmt.Errorf("the device does not show itself: %w%s", err, ownWords(refused.Message))
	default:
		return true, fmt.Errorf("the device does not show itself: %w", err)
	}
}

// actionWords says what the actions do; without any the device decides.
func actionWords(actions []string) string {
	if len(actions) == 0 {
		return "show itself in its own way"
	}
	words := map[string]string{"flash": "flash", "sound": "sound", "display": "show a message on its panel"}
	out := make([]string, len(actions))
	for i, a := range actions {
		out[i] = words[a]
	}
	if n := len(out); n > 1 {
		return strings.Join(out[:n-1], ", ") + " and " + out[n-1]
	}
	return out[0]
}
