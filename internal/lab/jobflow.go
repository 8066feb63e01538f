package lab

import (
	"slices"
	"time"
)

// flow lets the jobs print as time goes by, at the speed of the machine, one
// after the other; since is the time since the lab began. A job that is stuck,
// or a machine that is stopped, holds up those behind. It reports whether the
// machine began or ended printing.
func (d *machine) flow(since time.Duration) (changed bool) {
	was := d.printing
	for {
		i := slices.IndexFunc(d.jobs, func(j job) bool { return j.state != jobHeld })
		if i < 0 {
			d.printing = false
			break
		}
		j := &d.jobs[i]
		if d.stopped() {
			if j.state == jobProcessing {
				j.state, j.reasons = jobProcessingStopped, []string{"printer-stopped"}
			}
			break
		}
		d.printing = true
		if j.state != jobProcessing {
			j.begin(max(since, 0))
		}
		if j.stuck {
			break
		}
		perPage := time.Minute / time.Duration(max(d.Speed, 1))
		if n := int((since + j.started) / perPage); n < j.pages {
			j.done = max(n, j.done)
			break
		}
		j.done, j.state, j.reasons = j.pages, jobCompleted, []string{"job-completed-successfully"}
		j.ended = j.started - time.Duration(j.pages)*perPage
		d.finish(i)
		// What comes next begins when this one ended.
		if k := slices.IndexFunc(d.jobs, func(j job) bool { return j.state == jobPending }); k >= 0 {
			d.jobs[k].begin(-d.finished[len(d.finished)-1].ended)
		}
	}
	if d.printing != was {
		d.console = nil
		if d.printing {
			d.console = []string{"Processing"}
		}
		return true
	}
	return false
}

// begin starts a job at a moment after the lab began.
func (j *job) begin(since time.Duration) {
	j.state, j.reasons = jobProcessing, []string{"job-printing"}
	if j.started == 0 {
		j.started = -max(since, 1)
	}
}

// finish takes a job that came to its end out of the queue and keeps it for who
// asks after it.
func (d *machine) finish(i int) {
	d.finished = append(d.finished, d.jobs[i])
	d.jobs = slices.Delete(d.jobs, i, i+1)
}
