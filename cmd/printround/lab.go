package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"printround/internal/lab"
	"printround/internal/printport"
	"printround/internal/term"
)

type labFlags struct {
	list     bool
	listOdd  bool
	seed     int64
	faults   []string
	snmpPort uint16
	ippPort  uint16
	noMDNS   bool
	nights   int
	out      string
}

func newLab(a *app) *cobra.Command {
	var f labFlags
	cmd := &cobra.Command{
		Use:   "lab",
		Short: "Start simulated offices on this machine, without hardware",
		Long: `Starts an invented organisation with its printers on loopback addresses and
prints where they are and what to type. It runs until Ctrl-C. Its SNMP agents
and IPP printers answer other tools too.

--list prints the devices, their kind, where they answer, and the conditions
that a survey has to find on them. --fault lays a condition over a device, or
makes it misbehave on the network: --list-faults prints both kinds, the faults
that a printer reports and the ways to be a bad host, such as an answer without
end, a certificate that has expired or a name that is a spreadsheet formula.

--nights starts nothing: it writes a simulated history of 120 devices into a new
file, with weekdays and holidays, supplies replaced when empty or early, coarse
and bent gauges, nights without a reading, wrong readings, devices swapped and
counters set back. Beside it, as NAME.truth.json, lies when each supply was
really empty, for 'printround trend --backtest'.

Exit status:
  0  stopped by Ctrl-C, or listed
  1  failed
  2  usage
`,
		Example: `  printround lab --list
  printround lab
  printround lab --seed 7 --fault NAME=media-jam
  printround lab --list-faults
  printround lab --fault front-desk=snmp-endless-tables
  printround lab --nights 180 --out history.db`,
		Args: arguments(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := checkLabNights(cmd, &f); err != nil {
				return err
			}
			switch {
			case f.listOdd && cmd.Flags().NFlag() > 1:
				return usagef("--list-faults goes alone")
			case f.listOdd:
				return listEverything(a.stdout, term.Width(a.stdout))
			case printport.Raw(f.ippPort):
				return &usageError{
					message: fmt.Sprintf("--ipp-port %d: a port for raw print data, which is never opened", f.ippPort),
					hint:    "leave it out for a free port; 631 is that of IPP",
				}
			}
			if f.nights > 0 {
				return runLabNights(cmd.Context(), a, &f)
			}
			return runLab(cmd.Context(), a, &f)
		},
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.BoolVar(&f.list, "list", false, "print the devices and end")
	fl.BoolVar(&f.listOdd, "list-faults", false, "print the faults and misbehaviours that --fault takes, and end")
	fl.Int64Var(&f.seed, "seed", 0, "`number` that chooses levels, counters and serial numbers")
	fl.StringArrayVar(&f.faults, "fault", nil, "`DEVICE=CONDITION` to lay over the scenario; may be given several times")
	fl.Uint16Var(&f.snmpPort, "snmp-port", 0, "UDP `port` of SNMP; 0: a free one")
	fl.Uint16Var(&f.ippPort, "ipp-port", 0, "TCP `port` of IPP; 0: a free one")
	fl.IntVar(&f.nights, "nights", 0, "write a simulated history of this `number` of nights, 1 to 3650, into --out")
	fl.StringVar(&f.out, "out", "", "`FILE` of the simulated history; it must not exist")
	fl.BoolVar(&f.noMDNS, "no-mdns", false, "do not announce over DNS-SD")
	return cmd
}

func (f *labFlags) options() (lab.Options, error) {
	o := lab.Options{Seed: f.seed, SNMPPort: int(f.snmpPort), IPPPort: int(f.ippPort), NoMDNS: f.noMDNS || f.list, Stay: true, Faults: map[string]string{}}
	for _, s := range f.faults {
		device, condition, ok := strings.Cut(s, "=")
		if !ok || device == "" || condition == "" {
			return o, &usageError{message: fmt.Sprintf("--fault %q: wanted DEVICE=CONDITION", s), hint: "printround lab --fault NAME=media-jam"}
		}
		if _, twice := o.Faults[device]; twice {
			return o, usagef("--fault: two conditions for %q", device)
		}
		o.Faults[device] = condition
	}
	return o, nil
}

func runLab(ctx context.Context, a *app, f *labFlags) error {
	o, err := f.options()
	if err != nil {
		return err
	}
	r, err := startLab(ctx, o)
	if err != nil {
		return labError(err, o)
	}
	defer r.close(a)
	for _, n := range r.Notes() {
		a.note(n)
	}
	out := bufio.NewWriter(a.stdout)
	fmt.Fprintf(out, "%s (an invented organisation)\n\n", r.Organisation())
	width := term.Width(a.stdout)
	listLab(out, r.Devices(), width)
	if f.list {
		listFaults(out, width)
		return out.Flush()
	}
	labHints(out, r)
	if err := out.Flush(); err != nil {
		return err
	}
	<-ctx.Done()
	if cause := context.Cause(ctx); !errors.Is(cause, errInterrupted) {
		return cause
	}
	return nil
}

// labError makes a fault that does not exist or does not fit a usage error;
// what the system refuses, such as a port in use, is none.
func labError(err error, o lab.Options) error {
	var op *net.OpError
	var path *fs.PathError
	if len(o.Faults) == 0 || errors.As(err, &op) || errors.As(err, &path) {
		return err
	}
	return &usageError{message: err.Error(), hint: "printround lab --list shows devices and conditions"}
}

// labHints prints lines to paste into another terminal.
func labHints(w io.Writer, r *labRun) {
	devices := r.Devices()
	snmp, ipp, shared := sharedPorts(devices)
	fmt.Fprintf(w, "\nSite file: %s\n\nIn another terminal:\n", r.path)
	ports := fmt.Sprintf(" --snmp-port %d --ipp-port %d", snmp, ipp)
	if shared {
		fmt.Fprintf(w, "  printround sweep --site %s%s\n", r.path, ports)
	}
	one := func(fits func(lab.Device) bool) (lab.Device, bool) {
		i := slices.IndexFunc(devices, func(d lab.Device) bool { return d.Printer && !d.Silent && fits(d) })
		if i < 0 {
			return lab.Device{}, false
		}
		return devices[i], true
	}
	if d, ok := one(func(d lab.Device) bool { return d.SNMPPort != 0 && d.IPPPort != 0 && len(d.Conditions) > 0 }); ok {
		fmt.Fprintf(w, "  printround check %s --site %s --snmp-port %d --ipp-port %d\n", d.Addr, r.path, d.SNMPPort, d.IPPPort)
	}
	if d, ok := one(func(d lab.Device) bool { return d.SNMP == "2c" && r.communityFile(d) != "" }); ok {
		fmt.Fprintf(w, "  snmpbulkwalk -v2c -c \"$(cat %s)\" %s:%d 1.3.6.1.2.1.43\n", r.communityFile(d), d.Addr, d.SNMPPort)
	}
	if d, ok := one(func(d lab.Device) bool { return d.IPPPort != 0 }); ok {
		fmt.Fprintf(w, "  ipptool -tv ipp://%s:%d%s get-printer-attributes.test\n", d.Addr, d.IPPPort, d.IPPPath)
	}
	fmt.Fprintln(w, "\nCtrl-C stops the lab.")
}
