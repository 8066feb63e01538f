package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/term"
)

// watcher looks at a device again and again until it is clear.
type watcher struct {
	a       *app
	look    func(context.Context) (*device.Survey, error)
	every   time.Duration
	pause   func(context.Context, time.Duration) error
	options report.Options
}

// run prints the whole report once and then a line for each change. It returns
// when the device is clear, or with an error when it is interrupted.
func (w *watcher) run(ctx context.Context) error {
	var last *device.Survey
	for {
		now, err := w.look(ctx)
		if err != nil {
			return err
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if last == nil {
			w.a.problems(now.Errors)
			err = w.a.write("", func(out io.Writer) error { return writeDevices(out, now, w.options) })
		} else {
			err = w.changes(last, now)
		}
		if err != nil {
			return err
		}
		if attentionStatus(now.Devices) == exitDone {
			return nil
		}
		last = now
		if err := w.pause(ctx, w.every); err != nil {
			return err
		}
	}
}

func (w *watcher) changes(last, now *device.Survey) error {
	at := w.a.now().Format("15:04:05")
	for _, line := range changeLines(last, now) {
		if _, err := fmt.Fprintf(w.a.stdout, "%s  %s\n", at, term.Safe(line)); err != nil {
			return err
		}
	}
	return nil
}

// changeLines says in one line each what is different now.
func changeLines(last, now *device.Survey) []string {
	c := finding.Compare(last, now)
	var out []string
	say := func(what string, list []device.Change) {
		for _, x := range list {
			out = append(out, what+": "+x.What)
		}
	}
	say("new", c.New)
	say("cleared", c.Cleared)
	say("moved", c.Moved)
	say("appeared", c.Arrived)
	say("gone", c.Gone)
	if was, is := worst(last.Devices), worst(now.Devices); was != is {
		out = append(out, fmt.Sprintf("now %s, was %s", is, was))
	}
	return out
}

func worst(devices []device.Device) device.Attention {
	out := device.Clear
	for i := range devices {
		out = worse(out, devices[i].Attention)
	}
	return out
}

func worse(a, b device.Attention) device.Attention {
	if b.Rank() < a.Rank() {
		return b
	}
	return a
}

// lapse is how a watcher waits; tests do not.
func lapse(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
