package finding

import (
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// conclusion sees a condition that the tool concludes itself.
func (j *judge) conclusion(code string, impact device.Impact, summary, rule string, sub device.Subunit, proof ...device.Evidence) {
	for _, p := range proof {
		j.see(&sighting{term: known().term(code), impact: impact, near: 1, text: summary, rule: rule, sub: sub, proof: p})
	}
}

// queue sees jobs that wait at a printer that does nothing, and a printer that
// takes none (RFC 8011 sections 5.3.7 and 5.4.23).
func (j *judge) queue() {
	q := &j.d.Queue
	if q.Accepting != nil && !*q.Accepting {
		impact, summary, rule := device.ImpactImpaired, "", "printer-is-accepting-jobs is false"
		if j.spoolFull() {
			impact, summary = device.ImpactNote, "takes no more jobs until one has printed"
			rule += ", and the device says why: its spool area is full"
		}
		j.conclusion(NotAcceptingJobs, impact, summary, rule, device.Subunit{},
			device.Evidence{Source: device.SourceIPP, Object: "printer-is-accepting-jobs", Value: "false"})
	}
	idle := j.d.State.PrinterState == "idle" || j.d.State.PrinterState == "" && j.d.State.Printer == "idle"
	waiting := 0
	var first *device.Job
	rule := ""
	for i := range q.Jobs {
		job := &q.Jobs[i]
		old := job.AgeS != nil && *job.AgeS >= int64(j.o.QueueWaitMin)*60
		switch {
		case job.State == "processing-stopped":
			rule = "a job is processing-stopped"
			if first == nil || first.State != "processing-stopped" {
				first = job
			}
		case job.State == "processing" && job.Pages != nil && *job.Pages == 0 && job.AgeS != nil && *job.AgeS >= stuckS:
			if first == nil {
				first = job
				rule = "a job has been processing for half an hour and no page of it is done"
			}
		case idle && old && (job.State == "pending" || job.State == "processing"):
			if first == nil {
				first = job
				rule = fmt.Sprintf("a job has waited %d minutes or more and the printer is idle", j.o.QueueWaitMin)
			}
		case job.State != "pending" && job.State != "processing":
			continue
		}
		waiting++
	}
	if first == nil {
		return
	}
	value := string(first.State)
	if len(first.Reasons) > 0 {
		value += " (" + strings.Join(first.Reasons, ", ") + ")"
	}
	if first.AgeS != nil {
		value += ", " + device.Span(*first.AgeS)
	}
	summary := fmt.Sprintf("job %d is stuck", first.ID)
	if waiting > 1 {
		summary += ", " + device.Counted(waiting-1, "job waits", "jobs wait") + " behind it"
	}
	j.conclusion(QueueStalled, device.ImpactImpaired, summary, rule, device.Subunit{},
		device.Evidence{Source: device.SourceIPP, Object: fmt.Sprintf("job-state of job %d", first.ID), Value: value})
}

// spoolFull reports that the device itself says why it takes no more jobs: many
// hold one at a time.
func (j *judge) spoolFull() bool {
	return slices.ContainsFunc(j.d.State.Reasons, func(raw string) bool {
		code, _ := Reason(strings.TrimSpace(raw))
		return code == "spool-area-full"
	})
}

// stuckS is how long the first page of a job may take, in seconds (common
// practice, no source).
const stuckS = 30 * 60
