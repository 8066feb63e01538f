package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/printport"
	"printround/internal/report"
	"printround/internal/survey"
	"printround/internal/term"
)

// lookFlags are those of a command that looks at devices.
type lookFlags struct {
	reach  reachFlags
	choose chooseFlags
	show   showFlags
}

// add adds how to reach devices and which; what is shown differs.
func (f *lookFlags) add(cmd *cobra.Command, sweep bool) {
	f.reach.add(cmd, sweep)
	f.choose.add(cmd, sweep)
}

// reachFlags say how to reach devices.
type reachFlags struct {
	site          string
	snmpPort      uint16
	ippPort       uint16
	communityFile string
	timeout       time.Duration
	retries       int
	pace          int // sweep only
	concurrency   int // sweep only
	noSNMP        bool
	noIPP         bool
	noMDNS        bool
	verbose       bool
}

func (f *reachFlags) add(cmd *cobra.Command, sweep bool) {
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.site, "site", "", "site `FILE`; default: printround/printround.toml in your configuration folder, if there")
	fl.StringVar(&f.communityFile, "community-file", "", "`FILE` that holds the SNMP community for the targets named")
	fl.Uint16Var(&f.snmpPort, "snmp-port", defaultSNMPPort, "UDP `port` of SNMP")
	fl.Uint16Var(&f.ippPort, "ipp-port", defaultIPPPort, "TCP `port` of IPP")
	fl.DurationVar(&f.timeout, "timeout", survey.DefaultTimeout, "wait this long for one answer; a sweep listens two and a half times as long after its last probe")
	retries := 1 // somebody waits for the one device
	if sweep {
		retries = 2
	}
	fl.IntVar(&f.retries, "retries", retries, "ask again this many times, 0 to 10")
	if sweep {
		fl.IntVar(&f.pace, "pace", discover.DefaultPace, "send at most this many probes a second, 1 to 100000")
		fl.IntVar(&f.concurrency, "concurrency", survey.DefaultConcurrency, "read at most this many devices at once, 1 to 1024")
	}
	fl.BoolVar(&f.noSNMP, "no-snmp", false, "do not ask over SNMP")
	fl.BoolVar(&f.noIPP, "no-ipp", false, "do not ask over IPP")
	fl.BoolVar(&f.noMDNS, "no-mdns", false, "do not browse DNS-SD")
	fl.BoolVar(&f.verbose, "verbose", false, "say on standard error what is being done")
}

func (f *reachFlags) check(sweep bool) error {
	switch {
	case f.snmpPort == 0:
		return usagef("--snmp-port 0: wanted 1 to 65535")
	case f.ippPort == 0:
		return usagef("--ipp-port 0: wanted 1 to 65535")
	case printport.Raw(f.ippPort):
		return usagef("--ipp-port %d: that port prints whatever it is sent and is never opened; IPP usually has %d", f.ippPort, defaultIPPPort)
	case f.timeout < 50*time.Millisecond || f.timeout > time.Minute:
		return usagef("--timeout %s: wanted 50ms to 1m", f.timeout)
	case f.retries < 0 || f.retries > 10:
		return usagef("--retries %d: wanted 0 to 10", f.retries)
	case sweep && (f.pace < 1 || f.pace > 100_000):
		return usagef("--pace %d: wanted 1 to 100000 probes a second", f.pace)
	case sweep && (f.concurrency < 1 || f.concurrency > 1024):
		return usagef("--concurrency %d: wanted 1 to 1024", f.concurrency)
	case f.noSNMP && f.noIPP:
		return usagef("--no-snmp and --no-ipp together leave nothing to ask with")
	}
	return nil
}

// passWait is how long the first pass of a sweep waits for its last answers;
// later passes wait longer, and a late answer to any pass counts.
func (f *reachFlags) passWait() time.Duration { return f.timeout / 2 }

// listen is how long a sweep listens after its last probe: 5 s by default,
// because printers wake slowly.
func (f *reachFlags) listen() time.Duration { return f.timeout * 5 / 2 }

// chooseFlags say which devices to look at.
type chooseFlags struct {
	skip        []string // sweep only
	allowPublic bool
	large       bool // sweep only
	yes         bool // sweep only
	lab         bool
}

func (f *chooseFlags) add(cmd *cobra.Command, sweep bool) {
	fl := cmd.Flags()
	if sweep {
		fl.StringSliceVar(&f.skip, "skip", nil, "never ask these `targets`; may be given several times")
		fl.BoolVar(&f.large, "large", false, "allow more than 65,536 addresses")
		fl.BoolVar(&f.yes, "yes", false, "sweep this machine's own networks without asking first")
	}
	fl.BoolVar(&f.allowPublic, "allow-public", false, "allow public addresses")
	fl.BoolVar(&f.lab, "lab", false, "use the simulated offices of 'printround lab'")
}

// elsewhere are flags that name another place to look at, or another way there.
var elsewhere = []string{"site", "community-file", "snmp-port", "ipp-port", "large", "allow-public"}

// checkLab refuses such flags beside --lab, and those that more names.
func (f *chooseFlags) checkLab(cmd *cobra.Command, more ...string) error {
	if !f.lab {
		return nil
	}
	for _, n := range append(more, elsewhere...) {
		if cmd.Flags().Changed(n) {
			return usagef("--lab brings its own devices and ports: leave out --%s", n)
		}
	}
	return nil
}

// showFlags say how results are shown.
type showFlags struct {
	format        string // empty: a table
	formats       []report.Format
	wanted        string // leads to them in an error
	rows          string // sweep only
	out           string
	plain         bool
	explain       bool
	bom           bool
	showJobNames  bool
	showOwners    bool
	exitAttention bool   // sweep only
	from          string // an earlier survey
	history       string // earlier nights
}

func (f *showFlags) add(cmd *cobra.Command, sweep bool) {
	fl := cmd.Flags()
	f.addFormat(cmd, notThere, report.Formats())
	if sweep {
		fl.StringVar(&f.rows, "rows", string(report.Devices), "with --format csv, one row for each of: "+device.Listed(report.RowKinds()))
		complete(cmd, "rows", report.RowKinds())
	}
	f.addFile(cmd)
	fl.BoolVar(&f.explain, "explain", false, "show how attention and urgency came about")
	f.addPersonal(cmd)
	fl.StringVar(&f.from, "from", "", "earlier survey in JSON: `FILE` to compare with and to know devices from")
	fl.StringVar(&f.history, "history", "", "history that 'nightly' keeps: `FILE` to know devices, first sightings and pages since the last night from")
	if sweep {
		fl.BoolVar(&f.exitAttention, "exit-attention", false, "let the exit status tell the worst attention level")
	}
}

// addFormat adds the choice of a format, of which the first is the default.
func (f *showFlags) addFormat(cmd *cobra.Command, wanted string, formats []report.Format) {
	f.wanted, f.formats = wanted, formats
	cmd.Flags().StringVar(&f.format, "format", string(formats[0]), device.Listed(formats))
	complete(cmd, "format", formats)
}

// addFile adds where to and in which characters.
func (f *showFlags) addFile(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.BoolVar(&f.bom, "bom", false, "with --format csv, begin with a byte order mark, for spreadsheets")
	fl.StringVar(&f.out, "out", "", "write the result to `FILE`, whole or not at all")
	fl.BoolVar(&f.plain, "plain", false, "plain ASCII, no colour")
}

// addPersonal adds what is kept back unless it is asked for.
func (f *showFlags) addPersonal(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.BoolVar(&f.showJobNames, "show-job-names", false, "show the names of jobs, which may be personal")
	fl.BoolVar(&f.showOwners, "show-owners", false, "show the owners of jobs")
}

// addDocument adds what documents have that are neither a survey nor a device.
func (f *showFlags) addDocument(cmd *cobra.Command, what string) {
	f.addFormat(cmd, ": "+what+" is written as", report.DocumentFormats())
	f.addFile(cmd)
}

// options checks the flags and turns them into those of a report.
func (f *showFlags) options(a *app, cmd *cobra.Command) (report.Options, error) {
	format := report.Table
	if f.format != "" {
		var err error
		if format, err = oneOf("format", f.format, f.wanted, f.formats); err != nil {
			return report.Options{}, err
		}
	}
	o := report.Options{Format: format, Plain: f.plain, Explain: f.explain, BOM: f.bom, Now: a.now()}
	if f.rows != "" {
		var err error
		if o.Rows, err = oneOf("rows", f.rows, notThere, report.RowKinds()); err != nil {
			return report.Options{}, err
		}
	}
	if format != report.CSV {
		for _, n := range []string{"rows", "bom"} {
			if cmd.Flags().Changed(n) {
				return report.Options{}, &usageError{
					message: fmt.Sprintf("--%s goes with --format csv only, not with %s", n, format),
					hint:    fmt.Sprintf("printround %s --format csv --%s …", cmd.Name(), n),
				}
			}
		}
	}
	if f.out == "" && format == report.Table {
		o.Width = term.Width(a.stdout)
		o.Color = term.Color(a.stdout, a.getenv)
	}
	return o, f.checkOut()
}

// checkWatch refuses --watch for what is no print on a terminal.
func (f *showFlags) checkWatch(o report.Options) error {
	switch {
	case o.Format != report.Table:
		return usagef("--watch prints for people, not in format %s", o.Format)
	case f.out != "":
		return usagef("--watch prints as it goes and does not go with --out")
	}
	return nil
}

// checkOut finds out before the work whether its result can be kept.
func (f *showFlags) checkOut() error {
	if f.out == "" {
		return nil
	}
	if info, err := os.Stat(f.out); err == nil && info.IsDir() {
		return usagef("--out %s is a folder: give a file name", f.out)
	}
	if info, err := os.Stat(filepath.Dir(f.out)); err != nil || !info.IsDir() {
		return usagef("--out %s: there is no folder %s", f.out, filepath.Dir(f.out))
	}
	return nil
}

// complete lets the shell offer the values of a flag.
func complete[T ~string](cmd *cobra.Command, flag string, values []T) {
	out := make([]cobra.Completion, len(values))
	for i, v := range values {
		out[i] = string(v)
	}
	// It fails for a flag that does not exist or has values already.
	if err := cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(out, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err)
	}
}

// notThere leads to the words of a flag where there is no more to say.
const notThere = " does not exist, choose one of:"

// oneOf reads the value of a flag that takes one of some words; wanted leads to
// them in the error.
func oneOf[T ~string](flag, value, wanted string, known []T) (T, error) {
	if v := T(value); slices.Contains(known, v) {
		return v, nil
	}
	return "", usagef("--%s %q%s %s", flag, value, wanted, device.Listed(known))
}
