package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"time"

	"printround/internal/term"
)

// Exit statuses of all commands.
const (
	exitDone      = 0 // done, and nothing needs attention
	exitFailed    = 1 // failed, interrupted, or partial
	exitUsage     = 2 // the command line cannot be meant
	exitAttention = 3 // something is impaired or due
	exitStopped   = 4 // something cannot print
	exitSilent    = 5 // no answer
)

var errInterrupted = errors.New("interrupted")

// app is what the commands share: the standard streams and the clock.
type app struct {
	stdin          *os.File
	stdout, stderr *os.File
	now            func() time.Time
	lookupEnv      func(string) (string, bool)
}

// run executes a command line and is the one place where an error becomes a
// message and an exit status.
func (a *app) run(ctx context.Context, args []string) int {
	root := newRoot(a)
	root.SetArgs(args)
	root.SetIn(a.stdin)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	cmd, err := root.ExecuteContextC(ctx)
	var o outcome
	if err == nil || errors.As(err, &o) {
		return int(o)
	}
	for _, line := range strings.Split(err.Error(), "\n") {
		a.note(line)
	}
	var u *usageError
	if !errors.As(err, &u) {
		return exitFailed
	}
	hint := u.hint
	if hint == "" {
		hint = "see '" + cmd.CommandPath() + " --help'"
	}
	a.note(hint)
	return exitUsage
}

// note says one line about the work on standard error; results go to standard
// output. The line may hold text from devices and from the command line.
func (a *app) note(line string) {
	fmt.Fprintf(a.stderr, "printround: %s\n", term.Safe(line))
}

func (a *app) notef(format string, args ...any) { a.note(fmt.Sprintf(format, args...)) }

// relayed is a panic of another goroutine on its way to the main one, with
// the places where it happened.
type relayed struct {
	value  any
	places []uintptr
}

// relay catches a panic in a goroutine; what it stores is to be raised again
// in the main one.
func relay(to **relayed) {
	if p := recover(); p != nil {
		pc := make([]uintptr, 64)
		*to = &relayed{p, pc[:runtime.Callers(2, pc)]}
	}
}

// crashed reports a panic. The value may hold anything, secrets included, so
// only the runtime's own errors are shown; the places in the code always are.
func (a *app) crashed(p any) int {
	r, ok := p.(*relayed)
	if !ok {
		pc := make([]uintptr, 64)
		r = &relayed{p, pc[:runtime.Callers(2, pc)]}
	}
	what := fmt.Sprintf("a %T", r.value)
	if e, ok := r.value.(runtime.Error); ok {
		what = e.Error()
	}
	a.notef("internal error: %s; please report it with these places:", what)
	frames := runtime.CallersFrames(r.places)
	for {
		f, more := frames.Next()
		if strings.HasPrefix(f.Function, "printround/") || strings.HasPrefix(f.Function, "main.") {
			a.notef("  %s, line %d", f.Function, f.Line)
		}
		if !more {
			return exitFailed
		}
	}
}

// write puts a result into a file, whole or not at all, or on standard output.
func (a *app) write(path string, result func(io.Writer) error) error {
	if path != "" {
		return term.WriteFile(path, 0o644, result)
	}
	b := bufio.NewWriterSize(a.stdout, 64<<10)
	if err := result(b); err != nil {
		return err
	}
	return b.Flush()
}

// lines prints lines as a result, broken where a terminal is too narrow.
func (a *app) lines(list ...string) error {
	width := term.Width(a.stdout)
	for _, line := range list {
		parts := []string{line}
		if width > 0 {
			parts = term.Wrap(term.Safe(line), width, len(line)+1, "")
		}
		for _, part := range parts {
			if _, err := fmt.Fprintln(a.stdout, part); err != nil {
				return err
			}
		}
	}
	return nil
}

func (a *app) getenv(name string) string {
	v, _ := a.lookupEnv(name)
	return v
}

// usageError is a command line that cannot be meant.
type usageError struct {
	message string
	hint    string // what to type instead; empty: where the help is
}

func (e *usageError) Error() string { return e.message }

func usagef(format string, args ...any) error {
	return &usageError{message: fmt.Sprintf(format, args...)}
}

// outcome is the exit status of a command that did its work; there is nothing
// left to say.
type outcome int

func (o outcome) Error() string { return fmt.Sprintf("exit status %d", int(o)) }

// end turns an exit status into what a command returns.
func end(status int) error {
	if status == exitDone {
		return nil
	}
	return outcome(status)
}
