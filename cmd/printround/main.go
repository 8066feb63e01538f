// Command printround surveys the printers of several offices: which of them
// need somebody, in what order, why, and what to do first.
package main

import (
	"context"
	"io"
	"log"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	os.Exit(start())
}

// start runs the command line and returns the exit status. A panic would end
// the process with status 2, which means a usage error here, so it is caught.
func start() (status int) {
	// Libraries write there what a device sent.
	log.SetOutput(io.Discard)
	a := &app{stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, now: time.Now, lookupEnv: os.LookupEnv}
	defer func() {
		if p := recover(); p != nil {
			status = a.crashed(p)
		}
	}()
	ctx, stop := interruptible(a)
	defer stop()
	return a.run(ctx, os.Args[1:])
}

// interruptible returns a context that the first Ctrl-C or termination signal
// cancels, so that what is known can still be written. The second one ends the
// process at once.
func interruptible(a *app) (context.Context, func()) {
	ctx, cancel := context.WithCancelCause(context.Background())
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	finished := make(chan struct{})
	go func() {
		select {
		case <-signals:
		case <-finished:
			return
		}
		cancel(errInterrupted)
		a.note("stopping; once more to end at once")
		select {
		case <-signals:
			os.Exit(exitFailed)
		case <-finished:
		}
	}()
	return ctx, func() {
		signal.Stop(signals)
		close(finished)
		cancel(nil)
	}
}
