package main

import (
	"context"
	"fmt"
	"time"

	"printround/internal/device"
	"printround/internal/queue"
	"printround/internal/term"
)

// follow reads the queue again and again, prints a line for each change, and at
// the end whether it stayed healthy.
func (q *queueRun) follow(ctx context.Context, first *device.QueueReading) error {
	f := queue.Follow(first, q.f.cancel, q.blocked)
	every := queue.Interval(first)
	if err := q.say(first.At, fmt.Sprintf("following %s for %s, a reading every %s; %s now", first.URI, q.f.watch, every, jobsNow(first))); err != nil {
		return err
	}
	until := first.At.Add(q.f.watch)
	for last := first; last.At.Before(until); {
		if err := q.pause(ctx, min(every, until.Sub(last.At))); err != nil {
			return q.interrupted(f, err)
		}
		r, err := q.s.Read(ctx)
		if err != nil {
			if ctx.Err() != nil {
				return q.interrupted(f, context.Cause(ctx))
			}
			return q.failed(ctx, err)
		}
		for _, l := range f.See(r) {
			if err := q.say(r.At, l); err != nil {
				return err
			}
		}
		last = r
	}
	return q.outcome(f.End())
}

func jobsNow(r *device.QueueReading) string { return device.Counted(len(r.Jobs), "job", "jobs") }

func (q *queueRun) say(at time.Time, line string) error {
	_, err := fmt.Fprintf(q.a.stdout, "%s  %s\n", at.In(q.a.now().Location()).Format("15:04:05"), term.Safe(line))
	return err
}

// interrupted says what is known so far.
func (q *queueRun) interrupted(f *queue.Follower, err error) error {
	if _, werr := fmt.Fprintf(q.a.stdout, "So far: %s\n", term.Safe(f.End().Words)); werr != nil {
		return werr
	}
	return err
}

func (q *queueRun) outcome(o queue.Outcome) error {
	if _, err := fmt.Fprintln(q.a.stdout, term.Safe(o.Words)); err != nil {
		return err
	}
	switch {
	case o.Healthy:
		return nil
	case o.Last.State == "stopped":
		return end(exitStopped)
	}
	return end(exitAttention)
}
