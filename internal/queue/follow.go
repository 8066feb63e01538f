package queue

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
)

// Follower watches a queue reading by reading, as a rule after a job was
// removed from it.
type Follower struct {
	removed int  // job-id; 0: none
	blocked bool // it was seen to block the queue
	start   time.Time
	last    *device.QueueReading
	verdict device.QueueVerdict
	at      *device.QueueReport
	moved   time.Time    // when something last moved
	through map[int]bool // other jobs that came through or put out pages
	trouble []string     // what kept the queue from moving, in order, each once
}

// Outcome is how a queue did while it was followed.
type Outcome struct {
	Healthy bool
	Culprit string // of the removed job: yes, no, unknown; empty: none was removed
	Words   string
	Last    *device.QueueReport
}

// Follow begins with a reading. removed is the job that was taken out before
// it, 0 for none, and blocked says that it was seen to block the queue.
func Follow(first *device.QueueReading, removed int, blocked bool) *Follower {
	f := &Follower{removed: removed, blocked: blocked, start: first.At, last: first, moved: first.At, through: map[int]bool{}}
	f.at = Judge(first, first)
	return f
}

// See takes the next reading and says in lines what changed.
func (f *Follower) See(r *device.QueueReading) []string {
	moved := f.withoutRemoved(r)
	lines := slices.Clone(moved)
	for i := range r.Jobs {
		if !slices.ContainsFunc(f.last.Jobs, func(x device.QueueJob) bool { return x.ID == r.Jobs[i].ID }) && candidate(&r.Jobs[i]) {
			lines = append(lines, fmt.Sprintf("job %d came", r.Jobs[i].ID))
		}
	}
	if len(moved) > 0 {
		f.moved = r.At
	}
	f.at = Judge(f.last, r)
	v := f.at.Verdict
	if len(moved) == 0 && v == device.QueueMoving && r.At.Sub(f.moved) >= patience {
		v = device.QueueStalled
		f.at.Verdict = v
		f.at.Why = append([]string{fmt.Sprintf("nothing has come out for %s", device.Span(int64(r.At.Sub(f.moved)/time.Second)))}, f.at.Why...)
		if head := next(r); head != nil {
			id := head.ID
			f.at.Blocking = &id
		}
	}
	if v != f.verdict && (v != device.QueueMoving || len(moved) == 0) {
		lines = append(lines, fmt.Sprintf("%s: %s", v, strings.Join(f.at.Why, "; ")))
	}
	// Waiting for a job that has just come is no trouble yet.
	if v == device.QueueStalled || v == device.QueueWaiting && (f.at.Blocking != nil || r.State == "stopped") {
		if why := f.at.Why[0]; !slices.Contains(f.trouble, why) {
			f.trouble = append(f.trouble, why)
		}
	}
	f.verdict, f.last = v, r
	return lines
}

// patience is how long a followed queue may go on without a page before that
// counts as stalled (common practice, no source).
const patience = 2 * time.Minute

// withoutRemoved is the progress of the other jobs.
func (f *Follower) withoutRemoved(r *device.QueueReading) []string {
	rest := *f.last
	rest.Jobs = slices.DeleteFunc(slices.Clone(f.last.Jobs), func(x device.QueueJob) bool { return f.removed != 0 && x.ID == f.removed })
	for i := range rest.Jobs {
		if progressOf(i, &rest, r) != "" {
			f.through[rest.Jobs[i].ID] = true
		}
	}
	return Progress(&rest, r)
}

// End says how the queue did, and whether the removed job was the culprit.
func (f *Follower) End() Outcome {
	o := Outcome{Last: f.at, Healthy: f.verdict != device.QueueStalled && f.verdict != device.QueueWaiting && len(f.trouble) == 0}
	lasted := device.Span(int64(f.last.At.Sub(f.start) / time.Second))
	n := len(f.through)
	switch {
	case o.Healthy && n > 0:
		o.Words = fmt.Sprintf("The queue stayed healthy for %s: %s.", lasted, device.Counted(n, "job moved", "jobs moved"))
	case o.Healthy:
		o.Words = fmt.Sprintf("The queue stayed healthy for %s; no job came through meanwhile.", lasted)
	case f.verdict == device.QueueMoving || f.verdict == device.QueueEmpty:
		o.Words = fmt.Sprintf("The queue is %s now, after trouble in between: %s.", f.verdict, strings.Join(f.trouble, "; "))
	default:
		o.Words = fmt.Sprintf("The queue is %s after %s: %s.", f.verdict, lasted, strings.Join(f.at.Why, "; "))
	}
	if f.removed == 0 {
		return o
	}
	switch {
	case o.Healthy && n > 0 && !f.blocked:
		o.Culprit = "unknown"
		o.Words += fmt.Sprintf(" Job %d was not seen to block it before, so it need not have been the culprit.", f.removed)
	case o.Healthy && n > 0:
		o.Culprit = "yes"
		o.Words += fmt.Sprintf(" Job %d was the culprit.", f.removed)
	case o.Healthy:
		o.Culprit = "unknown"
		o.Words += fmt.Sprintf(" Whether job %d was the culprit shows with the next job.", f.removed)
	case n > 0 && f.verdict == device.QueueMoving:
		o.Culprit = "unknown"
		o.Words += fmt.Sprintf(" Job %d may not have been the only culprit.", f.removed)
	default:
		o.Culprit = "no"
		o.Words += fmt.Sprintf(" Job %d was not the culprit, or not the only one.", f.removed)
	}
	return o
}
