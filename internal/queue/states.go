package queue

import (
	"fmt"
	"slices"

	"printround/internal/device"
)

// candidate reports a job that the printer may process (RFC 8011 section
// 5.3.7): pending, processing or processing-stopped. A held one is not, and one
// that is canceled, aborted or completed is over. A job without a state that is
// registered is taken for one.
func candidate(job *device.QueueJob) bool {
	switch job.State {
	case "pending-held", "canceled", "aborted", "completed":
		return false
	}
	return true
}

// over reports a job that has come to its end.
func over(job *device.QueueJob) bool {
	return job.State == "canceled" || job.State == "aborted" || job.State == "completed"
}

// next returns the job that everything behind waits for: the one that was
// begun, else the first candidate in the printer's order.
func next(r *device.QueueReading) *device.QueueJob {
	var first *device.QueueJob
	for i := range r.Jobs {
		job := &r.Jobs[i]
		switch {
		case !candidate(job):
		case job.State == "processing" || job.State == "processing-stopped":
			return job
		case first == nil:
			first = job
		}
	}
	return first
}

// Progress says what moved between two readings, nil when nothing did: a job
// that was begun or was next and has left the queue, or one that has begun, gone
// on, or put out something. Jobs that came, were held, or were withdrawn from
// behind others mean nothing.
func Progress(a, b *device.QueueReading) []string {
	var moved []string
	for i := range a.Jobs {
		if what := progressOf(i, a, b); what != "" {
			moved = append(moved, fmt.Sprintf("job %d %s", a.Jobs[i].ID, what))
		}
	}
	return moved
}

// progressOf says how job i of the first reading moved, empty when it did not.
func progressOf(i int, a, b *device.QueueReading) string {
	was := &a.Jobs[i]
	if !candidate(was) {
		return ""
	}
	k := slices.IndexFunc(b.Jobs, func(x device.QueueJob) bool { return x.ID == was.ID })
	switch {
	case k >= 0 && !over(&b.Jobs[k]):
		return step(was, &b.Jobs[k])
	case was.State != "pending" || was == next(a):
		return "has left the queue"
	}
	return ""
}

// step says how far one job came.
func step(was, is *device.QueueJob) string {
	grew := func(a, b *int64) bool { return a != nil && b != nil && *b > *a }
	switch {
	case grew(was.Pages, is.Pages):
		return "put out " + device.Counted(*is.Pages-*was.Pages, "page", "pages")
	case grew(was.Sheets, is.Sheets):
		return "put out " + device.Counted(*is.Sheets-*was.Sheets, "sheet", "sheets")
	case grew(was.Octets, is.Octets):
		return "is being interpreted: more of its data is processed"
	case was.State == "pending" && is.State == "processing":
		return "has begun"
	case was.State == "processing-stopped" && is.State == "processing":
		return "goes on"
	}
	return ""
}

// deviceReasons are job-state-reasons by which a job waits for the device (RFC
// 8011 section 5.3.8), in words.
var deviceReasons = map[string]string{
	"printer-stopped":         "the printer is stopped",
	"printer-stopped-partly":  "a part of the printer is stopped",
	"resources-are-not-ready": "something that it needs, such as its medium, is not ready at the printer",
	"service-off-line":        "the printer is off-line",
}

// senderReasons are job-state-reasons by which a job has not got what it is to
// print (RFC 8011 section 5.3.8), in words.
var senderReasons = map[string]string{
	"job-data-insufficient":  "waits for data from its sender (job-data-insufficient)",
	"submission-interrupted": "was never sent to its end (submission-interrupted)",
	"document-access-error":  "is printed by reference and its document cannot be fetched (document-access-error)",
}

func jobNeedsDevice(job *device.QueueJob) string {
	for _, r := range job.Reasons {
		if words, ok := deviceReasons[r]; ok {
			return words + " (" + r + ")"
		}
	}
	return ""
}

func starved(job *device.QueueJob) string {
	for _, r := range job.Reasons {
		if words, ok := senderReasons[r]; ok {
			return words
		}
	}
	return ""
}

// holding returns the printer's reasons that can hold up a job (RFC 8011
// section 5.4.12): those with the suffix -error, those by which a server does
// not reach its device, and, when the printer or the job says that it is
// stopped, all that are no mere report.
func (j *judge) holding(stopped bool) []string {
	var list []string
	for _, r := range j.b.Reasons {
		bare, severity := device.CutSeverity(r)
		switch {
		case slices.Contains(unreached, bare) && (severity != "report" || j.b.Role == device.RoleServerQueue):
			list = append(list, r)
		case severity == "report":
		case stopped && severity != "warning", severity == "error":
			list = append(list, r)
		}
	}
	if stopped && len(list) == 0 {
		for _, r := range j.b.Reasons {
			if _, severity := device.CutSeverity(r); severity == "warning" {
				list = append(list, r)
			}
		}
	}
	return list
}

// unreached are reasons of a server whose device takes nothing (RFC 8011
// section 5.4.12).
var unreached = []string{"connecting-to-device", "timed-out", "shutdown", "offline", "paused", "moving-to-paused", "stopping"}
