package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/schedule"
	"printround/internal/site"
	"printround/internal/term"
)

// usualTime is when offices are still lit and most printing is done.
const usualTime = "17:30"

type scheduleFlags struct {
	at      string
	system  string
	site    string
	dir     string // --write
	out     string
	history string
}

func newSchedule(a *app) *cobra.Command {
	var f scheduleFlags
	cmd := &cobra.Command{
		Use:   "schedule",
		Short: "Print or write what makes this machine run 'nightly' every day",
		Long: `Prints what makes a system run 'printround nightly' every day: a timer for
systemd, a line for cron, a property list for launchd, or a task for the Windows
Task Scheduler. With --write it goes into files of a folder. Nothing is
installed: the steps that do so are printed on standard error.

The early evening or working hours are better than the night: printers sleep or
are switched off then, what they do not say is not known, and each read wakes
one. A run that was missed because the machine was off is not made up for.

Exit status:
  0  printed or written
  1  failed
  2  usage
`,
		Example: `  printround schedule --site offices.toml
  printround schedule --at 18:15 --site offices.toml --for cron
  printround schedule --site offices.toml --out /srv/reports --write units`,
		Args: arguments(0, 0, "no arguments"),
		RunE: func(*cobra.Command, []string) error { return runSchedule(a, &f) },
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.StringVar(&f.at, "at", usualTime, "`time` of day, HH:MM, local time")
	fl.StringVar(&f.site, "site", "", "site `FILE`; default: printround/printround.toml in your configuration folder")
	fl.StringVar(&f.system, "for", "", device.Listed(schedule.Systems())+"; default: what this system uses")
	complete(cmd, "for", schedule.Systems())
	fl.StringVar(&f.dir, "write", "", "write the files into this `folder`")
	fl.StringVar(&f.out, "out", "", "`folder` of the reports, as of 'nightly'")
	fl.StringVar(&f.history, "history", "", "history `FILE`, as of 'nightly'")
	return cmd
}

func runSchedule(a *app, f *scheduleFlags) error {
	hour, minute, err := schedule.Time(f.at)
	if err != nil {
		return usagef("--at %v", err)
	}
	system := nativeSystem()
	if f.system != "" {
		if system, err = oneOf("for", f.system, ": choose one of", schedule.Systems()); err != nil {
			return err
		}
	}
	j, err := f.job()
	if err != nil {
		return err
	}
	j.Hour, j.Minute = hour, minute
	u, err := j.For(system)
	if err != nil {
		if (system == schedule.Windows) != (nativeSystem() == schedule.Windows) {
			return fmt.Errorf("%w; for another system run 'printround schedule' there", err)
		}
		return err
	}
	if hour < 6 || hour >= 22 {
		a.notef("at %s offices are dark: devices that are off are not read, and those asleep are woken; %s would be better", f.at, usualTime)
	}
	return f.give(a, u)
}

// job is the command line that is to be run, with nothing left that depends on
// where it is started. What would fail every day fails now.
func (f *scheduleFlags) job() (schedule.Job, error) {
	program, err := os.Executable()
	if err != nil {
		return schedule.Job{}, fmt.Errorf("the path of this program: %w", err)
	}
	if f.site == "" {
		if f.site, err = site.DefaultPath(); err != nil {
			return schedule.Job{}, &usageError{message: "there is no site file", hint: "printround schedule --site FILE"}
		}
	}
	path, err := filepath.Abs(f.site)
	if err != nil {
		return schedule.Job{}, err
	}
	file, err := site.Load(path)
	if err != nil {
		return schedule.Job{}, err
	}
	n := nightlyFlags{dir: f.out, history: f.history}
	if err := n.places(file.Report); err != nil {
		return schedule.Job{}, err
	}
	args := []string{"nightly", "--site", path}
	for _, p := range []struct{ flag, path string }{{"--out", f.out}, {"--history", f.history}} {
		if p.path == "" {
			continue
		}
		whole, err := filepath.Abs(p.path)
		if err != nil {
			return schedule.Job{}, err
		}
		args = append(args, p.flag, whole)
	}
	return schedule.Job{Program: program, Args: args, Folder: filepath.Dir(path)}, nil
}

// give prints the files or writes them, and says how the system is told.
func (f *scheduleFlags) give(a *app, u schedule.Unit) error {
	dir := "."
	if f.dir != "" {
		dir = f.dir
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return fmt.Errorf("--write: %w", err)
		}
	}
	for i, x := range u.Files {
		if f.dir != "" {
			path := filepath.Join(dir, x.Name)
			if err := term.WriteFile(path, 0o644, func(w io.Writer) error {
				_, err := io.WriteString(w, x.Content)
				return err
			}); err != nil {
				return err
			}
			a.notef("written: %s", path)
			continue
		}
		heading := ""
		if len(u.Files) > 1 {
			heading = "# " + x.Name + "\n"
		}
		if i > 0 {
			heading = "\n" + heading
		}
		if _, err := io.WriteString(a.stdout, heading+x.Content); err != nil {
			return err
		}
	}
	if f.dir == "" {
		fmt.Fprintln(a.stderr, "To have files: --write FOLDER. Then:")
	} else {
		fmt.Fprintln(a.stderr, "Then:")
	}
	for _, line := range u.Steps(dir) {
		indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
		fmt.Fprintln(a.stderr, indent+term.Safe(line))
	}
	return nil
}
