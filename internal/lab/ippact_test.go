package lab

import (
	"slices"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

// withJob adds the job-id of an operation on a job.
func withJob(op goipp.Op, id int) *goipp.Message {
	m := ippRequest(op, "ipp://h/ipp/print")
	m.Operation.Add(goipp.MakeAttribute("job-id", goipp.TagInteger, goipp.Integer(id)))
	return m
}

// jobsOf are id and state of the jobs of a printer.
func jobsOf(t *testing.T, d Device, which string) (ids, states []int) {
	t.Helper()
	m := ippRequest(goipp.OpGetJobs, "ipp://h/ipp/print")
	m.Operation.Add(goipp.MakeAttribute("which-jobs", goipp.TagKeyword, goipp.String(which)))
	m.Operation.Add(goipp.MakeAttr("requested-attributes", goipp.TagKeyword, goipp.String("job-id"), goipp.String("job-state")))
	for _, g := range exchange(t, d, m).Groups {
		if g.Tag == goipp.TagJobGroup {
			ids = append(ids, int(find(g.Attrs, "job-id")[0].V.(goipp.Integer)))
			states = append(states, int(find(g.Attrs, "job-state")[0].V.(goipp.Integer)))
		}
	}
	return ids, states
}

// TestCancelJob follows RFC 8011 section 4.3.3: the job ends as canceled(7) and
// stays known; one that has ended cannot be canceled; one that never was is not
// found. What waited behind it goes on.
func TestCancelJob(t *testing.T) {
	l := start(t, Options{NoMDNS: true})
	d := named(t, l, "harbour-copy")
	ids, states := jobsOf(t, d, "not-completed")
	if !slices.Equal(states, []int{jobProcessing, jobPending, jobPending, jobPending}) {
		t.Fatalf("job-state %v, want one in processing and three behind it", states)
	}
	status := func(id int) goipp.Status { return goipp.Status(exchange(t, d, withJob(goipp.OpCancelJob, id)).Code) }
	if got := status(1); got != goipp.StatusErrorNotFound {
		t.Errorf("a job that is not there: %s", got)
	}
	if got := status(ids[0]); got != goipp.StatusOk {
		t.Errorf("the stuck job: %s", got)
	}
	if got := status(ids[0]); got != goipp.StatusErrorNotPossible {
		t.Errorf("once more: %s", got)
	}
	if done, states := jobsOf(t, d, "completed"); !slices.Equal(done, ids[:1]) || !slices.Equal(states, []int{jobCanceled}) {
		t.Errorf("completed jobs %v in states %v", done, states)
	}
	if left, states := jobsOf(t, d, "not-completed"); !slices.Equal(left, ids[1:]) || states[0] != jobProcessing {
		t.Errorf("jobs left %v in states %v, want the next one in processing", left, states)
	}
	if got := l.Received(); len(got) != 3 || got[0] != "harbour-copy: IPP Cancel-Job" {
		t.Errorf("received %v", got)
	}
	if got := l.Asked(); got["Cancel-Job"] != 3 || got["Get-Jobs"] != 3 {
		t.Errorf("asked %v", got)
	}
}

// The clock of the lab is passed in: nobody waits for pages.
func TestJobsPrintAsTimeGoesBy(t *testing.T) {
	d := &machine{model: &model{Speed: 60}, place: &placement{}}
	d.jobs = []job{{id: 1, state: jobPending, pages: 2}, {id: 2, state: jobHeld, pages: 9}, {id: 3, state: jobPending, pages: 5}}
	at := func(s time.Duration) { d.flow(s * time.Second) }
	at(10)
	if d.jobs[0].state != jobProcessing || !d.printing {
		t.Fatalf("it does not begin: %+v", d.jobs)
	}
	at(11)
	if d.jobs[0].done != 1 {
		t.Errorf("after a second at 60 a minute %d pages are done", d.jobs[0].done)
	}
	at(14)
	if len(d.finished) != 1 || d.finished[0].id != 1 || d.finished[0].state != jobCompleted || d.jobs[1].done != 2 {
		t.Errorf("after four seconds: ended %+v, left %+v", d.finished, d.jobs)
	}
	d.alerts = []alert{{severity: "critical"}}
	at(15)
	if d.jobs[1].state != jobProcessingStopped || d.jobs[1].reasons[0] != "printer-stopped" {
		t.Errorf("stopped: %+v", d.jobs[1])
	}
	d.alerts = nil
	at(16)
	at(60)
	if len(d.jobs) != 1 || d.jobs[0].id != 2 || d.printing {
		t.Errorf("only the held job should be left, and nothing print: %+v", d.jobs)
	}
	d.jobs = []job{{id: 4, state: jobPending, pages: 1, stuck: true}}
	at(100)
	at(100_000)
	if len(d.jobs) != 1 || d.jobs[0].done != 0 {
		t.Errorf("a stuck job moved: %+v", d.jobs)
	}
}

// TestIdentifyPrinter follows PWG 5100.13 sections 4.1.1 and 5.4.5 (from
// memory): actions are those offered, others are refused.
func TestIdentifyPrinter(t *testing.T) {
	l := start(t, Options{NoMDNS: true})
	ask := func(name string, actions ...string) goipp.Status {
		m := ippRequest(opIdentify, "ipp://h/ipp/print")
		if len(actions) > 0 {
			words := make([]goipp.Value, len(actions))
			for i, a := range actions {
				words[i] = goipp.String(a)
			}
			m.Operation.Add(goipp.MakeAttr("identify-actions", goipp.TagKeyword, words[0], words[1:]...))
		}
		return goipp.Status(exchange(t, named(t, l, name), m).Code)
	}
	if got := ask("copy-1", "flash", "display"); got != goipp.StatusOk || !slices.Equal(l.Identified("copy-1"), []string{"flash", "display"}) {
		t.Errorf("flash and display: %s, done %v", got, l.Identified("copy-1"))
	}
	if got := ask("front-desk", "sound"); got != goipp.StatusErrorAttributesOrValues || l.Identified("front-desk") != nil {
		t.Errorf("sound where there is none: %s", got)
	}
	if got := ask("front-desk"); got != goipp.StatusOk || !slices.Equal(l.Identified("front-desk"), []string{"flash"}) {
		t.Errorf("its own choice: %s, done %v", got, l.Identified("front-desk"))
	}
}
