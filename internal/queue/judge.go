// Package queue tells from two readings of a queue whether it moves, waits for
// the device or is stalled, and which job blocks it. It goes by the states and
// reasons of jobs and printers in RFC 8011 (sections 5.3.7, 5.3.8, 5.4.11 and
// 5.4.12), knows no protocol and asks nobody.
package queue

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
)

// Times after which patience ends (common practice, no source).
const (
	// wakeS is how long a printer may take to wake up and begin, in seconds.
	wakeS = 60
	// quietS is how long a job may be processed before a stretch without any
	// progress means that it is stuck: large documents take minutes to be
	// interpreted before their first page.
	quietS = 10 * 60
)

// Bounds of the time between two readings, and what stands for a speed that is
// not known.
const (
	leastInterval = 5 * time.Second
	usualInterval = 10 * time.Second
	mostInterval  = 30 * time.Second
)

// Interval is the time to wait before the second reading: that in which the
// printer puts out three pages, so that a job which prints is seen to, 5 to 30
// seconds.
func Interval(r *device.QueueReading) time.Duration {
	if r.Speed == nil || *r.Speed <= 0 {
		return usualInterval
	}
	d := 3 * time.Minute / time.Duration(*r.Speed)
	return min(max(d.Round(time.Second), leastInterval), mostInterval)
}

// Settled reports that one reading is enough: there is nothing in the queue.
func Settled(r *device.QueueReading) bool {
	return len(r.Jobs) == 0 && (r.Queued == nil || *r.Queued == 0)
}

// Judge compares two readings of one queue. The same reading twice stands for a
// queue that was read once.
func Judge(first, last *device.QueueReading) *device.QueueReport {
	j := &judge{a: first, b: last}
	j.out = device.QueueReport{
		Schema: device.QueueSchema, First: first.At, QueueReading: *last,
		IntervalS: int(last.At.Sub(first.At).Round(time.Second) / time.Second),
	}
	j.verdict()
	j.context()
	j.out.Steps = j.steps()
	return &j.out
}

type judge struct {
	a, b *device.QueueReading
	out  device.QueueReport
	stop string // what holds the device, in words
}

func (j *judge) say(v device.QueueVerdict, blocking *device.QueueJob, format string, args ...any) {
	j.out.Verdict = v
	j.out.Why = append(j.out.Why, fmt.Sprintf(format, args...))
	if blocking != nil {
		id := blocking.ID
		j.out.Blocking = &id
	}
}

// verdict decides in the order in which one fact overrules the others: an empty
// queue, a device that holds it, progress, and then what the next job says.
func (j *judge) verdict() {
	if Settled(j.b) {
		j.say(device.QueueEmpty, nil, "no job waits or prints")
		if j.b.State == "stopped" {
			j.stop = strings.Join(j.holding(true), ", ")
			j.out.Why = append(j.out.Why, strings.TrimSuffix("the printer is stopped all the same: "+j.stop, ": "))
		}
		return
	}
	head := next(j.b)
	if j.stopped(head) {
		return
	}
	if moved := Progress(j.a, j.b); len(moved) > 0 {
		j.say(device.QueueMoving, nil, "%s", strings.Join(moved, "; "))
		return
	}
	switch {
	case head == nil && len(j.b.Jobs) > 0:
		held, it := "the only job is", "it"
		if n := len(j.b.Jobs); n > 1 {
			held, it = fmt.Sprintf("all %d jobs listed are", n), "them"
		}
		j.say(device.QueueWaiting, nil, "%s held and no candidate for printing until somebody releases %s (pending-held)", held, it)
	case head == nil:
		j.unlisted()
	case head.State == "processing-stopped":
		j.halted(head)
	case starved(head) != "":
		j.say(device.QueueStalled, head, "job %d %s", head.ID, starved(head))
	case head.State == "processing":
		j.processing(head)
	default:
		j.pending(head)
	}
}

// stopped judges a printer that processes nothing until somebody intervenes
// (printer-state stopped, RFC 8011 section 5.4.11).
func (j *judge) stopped(head *device.QueueJob) bool {
	if j.b.State != "stopped" {
		return false
	}
	if head != nil && head.State == "pending" {
		head = nil // it has not begun: it is not what stops the printer
	}
	reasons := j.holding(true)
	j.stop = strings.Join(reasons, ", ")
	switch {
	case j.b.Role == device.RoleServerQueue && slices.ContainsFunc(reasons, func(r string) bool { return r == "paused" || r == "moving-to-paused" }):
		j.say(device.QueueStalled, nil, "the queue is paused on its server: nothing is sent to the device until somebody resumes it")
	case len(reasons) > 0:
		j.say(device.QueueWaiting, head, "the printer is stopped and says why: %s", j.stop)
	default:
		j.say(device.QueueWaiting, head, "the printer is stopped and does not say why")
	}
	return true
}

// halted judges a job that stopped while it was processed and goes on by itself
// once the reasons are gone (processing-stopped, RFC 8011 section 5.3.7).
func (j *judge) halted(head *device.QueueJob) {
	needs := jobNeedsDevice(head)
	if reasons := j.holding(true); len(reasons) > 0 {
		j.stop = strings.Join(reasons, ", ")
		j.say(device.QueueWaiting, head, "job %d is interrupted (processing-stopped) and the printer says why: %s", head.ID, j.stop)
		return
	}
	if needs != "" {
		j.say(device.QueueWaiting, head, "job %d is interrupted (processing-stopped): %s", head.ID, needs)
		return
	}
	j.say(device.QueueStalled, head, "job %d is interrupted (processing-stopped), and neither it nor the printer says why", head.ID)
}

// processing judges a job that is worked on and made no progress that can be
// seen.
func (j *judge) processing(head *device.QueueJob) {
	if reasons := j.holding(false); len(reasons) > 0 {
		j.stop = strings.Join(reasons, ", ")
		j.say(device.QueueWaiting, head, "job %d is being processed, nothing came of it in %s, and the printer says: %s", head.ID, j.between(), j.stop)
		return
	}
	if needs := jobNeedsDevice(head); needs != "" {
		j.say(device.QueueWaiting, head, "job %d: %s", head.ID, needs)
		return
	}
	since := head.ActiveS
	if since == nil {
		since = head.AgeS
	}
	switch {
	case since != nil && *since >= quietS:
		j.say(device.QueueStalled, head, "job %d has been processed for %s, %s, and nothing came of it in %s", head.ID, device.Span(*since), done(head), j.between())
	case since == nil:
		j.say(device.QueueMoving, nil, "job %d is being processed, since when is not known; nothing came of it in %s, which is usual before a first page", head.ID, j.between())
	default:
		j.say(device.QueueMoving, nil, "job %d has been processed for %s; nothing came of it in %s, which is usual before a first page", head.ID, device.Span(*since), j.between())
	}
}

// pending judges a job that is ready to be processed and is not (pending, RFC
// 8011 section 5.3.7).
func (j *judge) pending(head *device.QueueJob) {
	if needs := jobNeedsDevice(head); needs != "" {
		j.say(device.QueueWaiting, head, "job %d has not begun: %s", head.ID, needs)
		return
	}
	if reasons := j.holding(false); len(reasons) > 0 {
		j.stop = strings.Join(reasons, ", ")
		j.say(device.QueueWaiting, nil, "job %d has not begun, and the printer says: %s", head.ID, j.stop)
		return
	}
	switch {
	case j.b.State == "processing":
		j.say(device.QueueWaiting, nil, "job %d has not begun: the printer is busy with something that is not in this queue, such as a copy or a job over another connection", head.ID)
	case head.AgeS != nil && *head.AgeS < wakeS:
		j.say(device.QueueWaiting, nil, "job %d came %s ago and has not begun: the printer may be waking up", head.ID, device.Span(*head.AgeS))
	case head.AgeS == nil && j.out.IntervalS < wakeS:
		j.say(device.QueueStalled, head, "job %d is next and did not begin in %s though the printer is %s; how old it is is not known", head.ID, j.between(), stateWord(j.b))
	default:
		j.say(device.QueueStalled, head, "job %d is next, %s old, and has not begun though the printer is %s", head.ID, device.Span(*head.AgeS), stateWord(j.b))
	}
}

// unlisted judges a printer that counts jobs and lists none.
func (j *judge) unlisted() {
	n := *j.b.Queued
	switch {
	case j.a.Queued != nil && *j.a.Queued > n:
		j.say(device.QueueMoving, nil, "the printer lists no job, and their number fell from %d to %d", *j.a.Queued, n)
	case j.b.State == "processing":
		j.say(device.QueueMoving, nil, "the printer lists no job, counts %d and is processing; it may list only the jobs of who asks", n)
	default:
		j.say(device.QueueWaiting, nil, "the printer counts %s and lists none, so which of them waits for what is not known", device.Counted(n, "job", "jobs"))
	}
}

// context adds what matters beside the verdict.
func (j *judge) context() {
	if j.b.Accepting != nil && !*j.b.Accepting {
		j.out.Why = append(j.out.Why, "no new jobs are accepted")
	}
	if n := j.b.Queued; n != nil && *n > len(j.b.Jobs) && len(j.b.Jobs) > 0 {
		j.out.Why = append(j.out.Why, fmt.Sprintf("%d jobs are counted and %d listed", *n, len(j.b.Jobs)))
	}
	behind := 0
	if j.out.Blocking != nil {
		for i := range j.b.Jobs {
			if candidate(&j.b.Jobs[i]) && j.b.Jobs[i].ID != *j.out.Blocking {
				behind++
			}
		}
	}
	if behind > 0 {
		j.out.Why = append(j.out.Why, fmt.Sprintf("%s behind job %d", device.Counted(behind, "job waits", "jobs wait"), *j.out.Blocking))
	}
}

func (j *judge) between() string {
	if j.out.IntervalS == 0 {
		return "this one reading"
	}
	return fmt.Sprintf("%d s", j.out.IntervalS)
}

// steps says what to do.
func (j *judge) steps() []string {
	switch j.out.Verdict {
	case device.QueueWaiting, device.QueueEmpty:
		if j.stop != "" {
			steps := []string{"Put right what the printer says; jobs then go on by themselves"}
			if j.b.Role == device.RolePrinter {
				steps = append(steps, "What that means and what to do step by step: printround check")
			}
			return steps
		}
	case device.QueueStalled:
		if j.out.Blocking == nil {
			return []string{"Resume the queue on its server"}
		}
		id := *j.out.Blocking
		return []string{
			fmt.Sprintf("Ask whose job %d is, and read at the panel whether it waits for something", id),
			fmt.Sprintf("Cancel it, which asks first, and see whether the next ones print: printround queue %s --cancel %d --watch 10m", j.b.URI, id),
			"If it comes back and stalls again, print that document as a PDF or with another driver",
		}
	}
	return nil
}

func done(job *device.QueueJob) string {
	switch {
	case job.Pages == nil:
		return "how many pages are done is not told"
	case job.Total != nil && *job.Total > 0:
		return fmt.Sprintf("%d of %d pages are done", *job.Pages, *job.Total)
	}
	return device.Counted(*job.Pages, "page is", "pages are") + " done"
}

func stateWord(r *device.QueueReading) string {
	if r.State == "" {
		return "in a state that it does not tell"
	}
	return string(r.State)
}
