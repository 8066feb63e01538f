// Command bench measures printround against simulated printers, says for each
// scenario what was aimed at and whether it was met, and compares commits:
//
//	go run ./internal/bench                        # about nine minutes
//	go run ./internal/bench --quick                # about two
//	go run ./internal/bench --only thousand,loss5
//	go run ./internal/bench --json new.json --compare old.json
//	go run ./internal/bench --program ./printround  # one that is built already
//
// The program is built and run as a process of its own, so that its memory and
// processor time are not those of the simulated printers. As root on Linux each
// scenario has a network namespace of its own, which ends with its process;
// elsewhere everything runs on loopback and what cannot is named.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"syscall"
	"time"
)

// limit bounds the whole run.
const limit = 30 * time.Minute

func main() {
	if len(os.Args) > 2 {
		if role, ok := roles[os.Args[1]]; ok {
			os.Exit(play(role, os.Args[2]))
		}
	}
	os.Exit(run())
}

// roles are the parts that this program plays in processes of its own. Each gets
// one argument in JSON and writes its result in JSON.
var roles = map[string]func(context.Context, string) error{
	"stage": stageRole, "lab": labRole, "naive": naiveRole, "device": deviceRole, "render": renderRole,
}

func play(role func(context.Context, string) error, arg string) int {
	ctx, stop := interruptible()
	defer stop()
	if err := role(ctx, arg); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		return 1
	}
	return 0
}

// interruptible is a context that ends with the first interrupt.
func interruptible() (context.Context, context.CancelFunc) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	bounded, cancel := context.WithTimeout(ctx, limit)
	return bounded, func() { cancel(); stop() }
}

// bench is one run.
type bench struct {
	self, tool string // paths of this program and of printround
	own        bool   // every scenario has a network of its own
}

func run() int {
	quick := flag.Bool("quick", false, "leave out what takes long")
	only := flag.String("only", "", "the `names` of the scenarios to run, with commas")
	list := flag.Bool("list", false, "list the scenarios")
	out := flag.String("json", "", "write the result to `FILE`")
	compare := flag.String("compare", "", "print the ratios to an earlier result in `FILE`")
	ready := flag.String("program", "", "measure this printround in `FILE`; default: build it")
	flag.Parse()
	if *list {
		for _, s := range scenarios {
			fmt.Printf("%-12s %s%s\n", s.name, s.about, map[bool]string{true: " (not with --quick)"}[s.slow])
		}
		return 0
	}
	chosen, err := choose(*only, *quick)
	if err == nil && flag.NArg() > 0 {
		err = fmt.Errorf("%q: this takes flags only", flag.Arg(0))
	}
	var old *result
	if err == nil && *compare != "" {
		old, err = readResult(*compare)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		return 2
	}
	ctx, stop := interruptible()
	defer stop()
	b, remove, err := prepare(ctx, *ready)
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		return 1
	}
	defer remove()
	r := b.all(ctx, chosen)
	r.print(os.Stdout)
	if old != nil {
		r.compare(os.Stdout, old)
	}
	if *out != "" {
		if err := r.write(*out); err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			return 1
		}
	}
	if ctx.Err() != nil {
		fmt.Fprintln(os.Stderr, "bench: interrupted: what was measured until then is above")
		return 1
	}
	return 0
}

// choose picks scenarios.
func choose(only string, quick bool) ([]scenario, error) {
	var out []scenario
	names := strings.FieldsFunc(only, func(r rune) bool { return r == ',' || r == ' ' })
	for _, s := range scenarios {
		if len(names) > 0 && !slices.Contains(names, s.name) || len(names) == 0 && quick && s.slow {
			continue
		}
		out = append(out, s)
	}
	for _, n := range names {
		if !slices.ContainsFunc(scenarios, func(s scenario) bool { return s.name == n }) {
			return nil, fmt.Errorf("there is no scenario %q; --list names them", n)
		}
	}
	return out, nil
}

// prepare builds printround, unless one is ready. remove takes away what was
// made.
func prepare(ctx context.Context, ready string) (b *bench, remove func(), err error) {
	if ready != "" {
		b = &bench{own: canIsolate()}
		if b.tool, err = filepath.Abs(ready); err == nil {
			b.self, err = os.Executable()
		}
		if err == nil {
			_, err = os.Stat(b.tool)
		}
		return b, func() {}, err
	}
	dir, err := os.MkdirTemp("", "printround-bench-")
	if err != nil {
		return nil, nil, err
	}
	remove = func() { _ = os.RemoveAll(dir) }
	b = &bench{tool: filepath.Join(dir, "printround.exe"), own: canIsolate()}
	if b.self, err = os.Executable(); err == nil {
		cmd := exec.CommandContext(ctx, "go", "build", "-buildvcs=false", "-tags", "gosnmp_nodebug", "-o", b.tool, "printround/cmd/printround")
		var out []byte
		if out, err = cmd.CombinedOutput(); err != nil {
			err = fmt.Errorf("building printround: %w: %s", err, out)
		}
	}
	if err != nil {
		remove()
		return nil, nil, err
	}
	return b, remove, nil
}

// all runs the scenarios one after the other.
func (b *bench) all(ctx context.Context, chosen []scenario) *result {
	r := &result{Started: time.Now(), Cores: runtime.NumCPU(), System: system(), Commit: commit(ctx), Isolated: b.own}
	for _, s := range chosen {
		if ctx.Err() != nil {
			break
		}
		fmt.Fprintf(os.Stderr, "%s  %s: %s\n", time.Now().Format("15:04:05"), s.name, s.about)
		rows, err := s.run(ctx, b)
		var skip skipped
		switch {
		case errors.As(err, &skip):
			rows = []row{{Scenario: s.name, Left: string(skip)}}
		case err != nil:
			rows = []row{{Scenario: s.name, Failed: err.Error()}}
		}
		for i := range rows {
			if rows[i].Scenario == "" {
				rows[i].Scenario = s.name
			}
		}
		r.Rows = append(r.Rows, rows...)
	}
	r.across()
	r.Seconds = time.Since(r.Started).Seconds()
	return r
}

// skipped is the reason why a scenario cannot run here.
type skipped string

func (s skipped) Error() string { return string(s) }

// system is what this was built for.
func system() string {
	var os, arch string
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			switch s.Key {
			case "GOOS":
				os = s.Value
			case "GOARCH":
				arch = s.Value
			}
		}
	}
	return os + "/" + arch
}

func commit(ctx context.Context) string {
	out, err := exec.CommandContext(ctx, "git", "describe", "--always", "--dirty").Output()
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(out))
}

// start runs one role of this program and decodes its result.
func (b *bench) start(ctx context.Context, isolate bool, role string, arg, into any) error {
	text, err := json.Marshal(arg)
	if err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, b.self, role, string(text))
	// An interrupt lets a role end its own children; only then is it killed.
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	cmd.WaitDelay = 5 * time.Second
	cmd.Stderr = os.Stderr
	tie(cmd, isolate && b.own)
	out, err := cmd.Output()
	if err != nil {
		return fmt.Errorf("%s: %w", role, err)
	}
	return json.Unmarshal(out, into)
}
