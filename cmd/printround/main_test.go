package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"printround/internal/device"
	"printround/internal/report"
)

// The scripts run the test binary itself as the program.
func TestMain(m *testing.M) {
	// Scripts wait for the network more than they work: more of them at once than
	// there are processors, unless -parallel says otherwise.
	if f := flag.Lookup("test.parallel"); f != nil {
		_ = f.Value.Set("5")
	}
	testscript.Main(m, map[string]func(){"printround": main})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Setup: func(env *testscript.Env) error {
			// The machine's own settings must not reach the program.
			env.Setenv("HOME", filepath.Join(env.WorkDir, "home"))
			env.Setenv("XDG_CONFIG_HOME", filepath.Join(env.WorkDir, "config"))
			env.Setenv("NO_COLOR", "1")
			return os.MkdirAll(filepath.Join(env.WorkDir, ".tmp"), 0o777)
		},
		Condition: func(name string) (bool, error) {
			if name == "root" {
				return os.Geteuid() == 0, nil
			}
			return false, fmt.Errorf("unknown condition %q", name)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits":       cmdExits,
			"jsonerror":   cmdJSONError,
			"device":      cmdDevice,
			"survey":      cmdSurvey,
			"clean":       cmdClean,
			"serve":       cmdServe,
			"asked":       cmdAsked,
			"labready":    cmdLabReady,
			"samedevices": cmdSameDevices,
		},
	})
}

// cmdExits runs a program and wants one exact exit status:
// exits STATUS PROGRAM [ARG…].
func cmdExits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS PROGRAM [ARG…]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d\nstdout:\n%s\nstderr:\n%s", got, want, ts.ReadFile("stdout"), ts.ReadFile("stderr"))
	}
}

func readSurvey(ts *testscript.TestScript, file string) *device.Survey {
	s, err := report.Read(bytes.NewReader([]byte(ts.ReadFile(file))))
	ts.Check(err)
	return s
}

// cmdJSONError wants an error in the survey of FILE whose stage is STAGE and
// whose message matches PATTERN: jsonerror FILE STAGE PATTERN.
func cmdJSONError(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 3 {
		ts.Fatalf("usage: jsonerror FILE STAGE PATTERN")
	}
	pattern := regexp.MustCompile(args[2])
	s := readSurvey(ts, args[0])
	found := slices.ContainsFunc(s.Errors, func(q device.Problem) bool {
		return q.Stage == args[1] && pattern.MatchString(q.Message) && !strings.Contains(q.Message, "\n")
	})
	if found == neg {
		ts.Fatalf("errors: %+v", s.Errors)
	}
}

// cmdSurvey wants something of the survey in FILE: survey FILE partial|whole,
// survey FILE devices N, survey FILE changes N.
func cmdSurvey(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) < 2 {
		ts.Fatalf("usage: survey FILE partial | whole | devices N | changes N")
	}
	s := readSurvey(ts, args[0])
	number := func() int {
		n, err := strconv.Atoi(args[2])
		ts.Check(err)
		return n
	}
	var ok bool
	switch args[1] {
	case "partial":
		ok = s.Partial && s.PartialReason != ""
	case "whole":
		ok = !s.Partial && s.PartialReason == ""
	case "devices":
		ok = len(s.Devices) == number()
	case "changes":
		c := s.Changes
		ok = c != nil && len(c.New)+len(c.Cleared)+len(c.Moved)+len(c.Arrived)+len(c.Gone) == number()
	default:
		ts.Fatalf("unknown question %q", args[1])
	}
	if ok == neg {
		ts.Fatalf("partial %v %q, %d devices, changes %+v, errors %+v", s.Partial, s.PartialReason, len(s.Devices), s.Changes, s.Errors)
	}
}

// cmdDevice wants a device in the survey of FILE at ADDRESS with an attention
// level and finding codes: device FILE ADDRESS ATTENTION [CODE…].
func cmdDevice(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) < 3 || neg {
		ts.Fatalf("usage: device FILE ADDRESS ATTENTION [CODE…]")
	}
	for _, d := range readSurvey(ts, args[0]).Devices {
		if !slices.ContainsFunc(d.Addresses, func(a netip.Addr) bool { return a.String() == args[1] }) {
			continue
		}
		if string(d.Attention) != args[2] {
			ts.Fatalf("%s is %s, want %s", args[1], d.Attention, args[2])
		}
		for _, code := range args[3:] {
			if !slices.ContainsFunc(d.Findings, func(f device.Finding) bool { return f.Code == code }) {
				ts.Fatalf("%s has no finding %s", args[1], code)
			}
		}
		return
	}
	ts.Fatalf("no device at %s", args[1])
}

// cmdClean wants texts in none of stdout, stderr and the files named by
// in=FILE: clean [in=FILE…] TEXT….
func cmdClean(ts *testscript.TestScript, neg bool, args []string) {
	if neg {
		ts.Fatalf("usage: clean [in=FILE…] TEXT…")
	}
	places := []string{"stdout", "stderr"}
	for _, a := range args {
		if f, ok := strings.CutPrefix(a, "in="); ok {
			places = append(places, f)
			continue
		}
		for _, p := range places {
			if strings.Contains(ts.ReadFile(p), a) {
				ts.Fatalf("%s shows %q", p, a)
			}
		}
	}
}

// cmdSameDevices wants the same keys in the same order in two surveys.
func cmdSameDevices(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 2 || neg {
		ts.Fatalf("usage: samedevices FILE FILE")
	}
	keys := func(file string) []string {
		var out []string
		for _, d := range readSurvey(ts, file).Devices {
			out = append(out, d.Key)
		}
		return out
	}
	if a, b := keys(args[0]), keys(args[1]); !slices.Equal(a, b) {
		ts.Fatalf("devices differ:\n%v\n%v", a, b)
	}
}
