package lab

import (
	"fmt"
	"slices"
	"time"

	"github.com/OpenPrinting/goipp"
)

// jobAttributes are the attributes of one job (RFC 8011 section 5.3). Times
// are printer-up-time seconds.
func (d *machine) jobAttributes(j job, s service, since time.Duration) goipp.Attributes {
	var a attrs
	up := d.up() // when the lab began
	a.ints("job-id", goipp.TagInteger, j.id)
	a.words("job-uri", goipp.TagURI, fmt.Sprintf("%s/%d", s.uris[0], j.id))
	a.words("job-printer-uri", goipp.TagURI, s.uris[0])
	a.words("job-name", goipp.TagName, j.name)
	a.words("job-originating-user-name", goipp.TagName, j.owner)
	a.ints("job-state", goipp.TagEnum, j.state)
	a.words("job-state-reasons", goipp.TagKeyword, j.reasons...)
	a.ints("job-printer-up-time", goipp.TagInteger, int((up+since)/time.Second))
	a.ints("time-at-creation", goipp.TagInteger, int((up-j.created)/time.Second))
	if j.started != 0 {
		a.ints("time-at-processing", goipp.TagInteger, int((up-j.started)/time.Second))
	} else {
		a.put("time-at-processing", goipp.TagNoValue, goipp.Void{})
	}
	if j.state >= jobCanceled {
		a.ints("time-at-completed", goipp.TagInteger, int((up-j.ended)/time.Second))
	} else {
		a.put("time-at-completed", goipp.TagNoValue, goipp.Void{})
	}
	a.ints("job-impressions", goipp.TagInteger, j.pages)
	a.ints("job-impressions-completed", goipp.TagInteger, j.done)
	a.ints("job-media-sheets-completed", goipp.TagInteger, d.sheets(j))
	a.ints("job-k-octets", goipp.TagInteger, j.pages*37)
	a.ints("job-priority", goipp.TagInteger, 50)
	return a.Attributes
}

// Values of job-state (RFC 8011 section 5.3.7); from canceled(7) on a job is
// completed in the words of which-jobs.
const (
	jobPending           = 3
	jobHeld              = 4
	jobProcessing        = 5
	jobProcessingStopped = 6
	jobCanceled          = 7
	jobAborted           = 8
	jobCompleted         = 9
)

// getJobs answers Get-Jobs (RFC 8011 section 4.2.6).
func (d *machine) getJobs(request *goipp.Message, s service, since time.Duration) *goipp.Message {
	which := text(request.Operation, "which-jobs")
	switch which {
	case "", "not-completed", "completed", "all":
	default:
		return response(request, goipp.StatusErrorAttributesOrValues, "which-jobs")
	}
	all := slices.Concat(d.jobs, d.finished)
	limit := len(all)
	if v := find(request.Operation, "limit"); len(v) > 0 {
		if n, ok := v[0].V.(goipp.Integer); ok {
			limit = min(limit, max(int(n), 0))
		}
	}
	names := requested(request, "job-uri", "job-id")
	// The groups carry everything: one job group for each job.
	m := response(request, goipp.StatusOk, "")
	groups := goipp.Groups{{Tag: goipp.TagOperationGroup, Attrs: m.Operation}}
	for _, j := range all {
		completed := j.state >= jobCanceled
		if which != "all" && completed != (which == "completed") || limit == 0 {
			continue
		}
		limit--
		groups = append(groups, goipp.Group{Tag: goipp.TagJobGroup, Attrs: chooseJob(d.jobAttributes(j, s, since), names)})
	}
	return goipp.NewMessageWithGroups(m.Version, m.Code, m.RequestID, groups)
}

func chooseJob(all goipp.Attributes, names []string) goipp.Attributes {
	if slices.Contains(names, "all") || slices.Contains(names, "job-description") {
		return all
	}
	var out goipp.Attributes
	for _, a := range all {
		if slices.Contains(names, a.Name) {
			out.Add(a)
		}
	}
	return out
}

// getJob answers Get-Job-Attributes (RFC 8011 section 4.3.4).
func (d *machine) getJob(request *goipp.Message, s service, since time.Duration) *goipp.Message {
	id, known := jobID(request)
	for _, j := range slices.Concat(d.jobs, d.finished) {
		if !known || j.id != id {
			continue
		}
		m := response(request, goipp.StatusOk, "")
		m.Job = chooseJob(d.jobAttributes(j, s, since), requested(request, "all"))
		return m
	}
	return response(request, goipp.StatusErrorNotFound, "no such job")
}
