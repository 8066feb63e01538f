package survey

import (
	"context"
	"net/url"
	"strings"

	"printround/internal/device"
	"printround/internal/ipp"
)

// QueueSession reads the queue of one printer again and again, over one
// connection. It is for one goroutine.
type QueueSession struct {
	s    *ipp.Session
	o    ReadOptions
	base device.QueueReading // what does not change
}

// OpenQueue finds the printer or queue and reads what it says of itself. exact
// wants the resource path given and no other: on a print server another path is
// another queue.
func OpenQueue(ctx context.Context, t IPPTarget, exact bool, o ReadOptions) (*QueueSession, error) {
	s := openIPP(t, o)
	answer, err := s.Printer(ctx)
	if err != nil {
		s.Close()
		return nil, err
	}
	if exact && unescaped(resourcePath(answer.URI)) != unescaped("/"+strings.TrimLeft(t.Path, "/")) {
		s.Close()
		return nil, &ipp.Error{Stage: "ipp", Kind: ipp.ErrNotFound, Detail: "the host answers at " + answer.URI + ": give that URI if you mean it"}
	}
	a := answer.First(ipp.PrinterGroup)
	d, _ := ippDevice(a, answer.URI)
	q := &QueueSession{s: s, o: o, base: device.QueueReading{
		URI: device.Clean(answer.URI), Name: d.Name, MakeModel: d.MakeModel, Serial: d.Serial, Location: d.Location, Role: d.Role,
	}}
	return q, nil
}

// unescaped makes two spellings of one path equal.
func unescaped(path string) string {
	if p, err := url.PathUnescape(path); err == nil {
		return p
	}
	return path
}

// Close ends the connection.
func (q *QueueSession) Close() { q.s.Close() }

// queuePrinter are the printer attributes of a reading.
var queuePrinter = []string{
	"printer-state", "printer-state-reasons", "printer-state-message", "printer-is-accepting-jobs", "queued-job-count",
	"printer-up-time", "printer-current-time", "pages-per-minute",
}

// queueJobs are the job attributes of a reading, beside names and owners.
var queueJobs = []string{
	"job-id", "job-state", "job-state-reasons", "job-state-message", "time-at-creation", "time-at-processing",
	"job-printer-up-time", "date-time-at-creation", "job-impressions", "job-impressions-completed",
	"job-media-sheets-completed", "job-k-octets-processed",
}

// Read reads the queue as it is now.
func (q *QueueSession) Read(ctx context.Context) (*device.QueueReading, error) {
	answer, err := q.s.Ask(ctx, queuePrinter)
	if err != nil {
		return nil, err
	}
	a := answer.First(ipp.PrinterGroup)
	r := q.base
	state := ippState(a)
	r.State, r.Reasons, r.Message = state.PrinterState, state.Reasons, state.Message
	queue := ippQueue(a)
	r.Accepting, r.Queued = queue.Accepting, queue.Queued
	if n, ok := a.Int("pages-per-minute"); ok && n > 0 {
		r.Speed = &n
	}
	jobs, err := q.s.JobList(ctx, queueJobs, q.o.ShowJobNames, q.o.ShowOwners)
	if err != nil {
		return nil, err
	}
	r.Jobs = queueOf(jobs.Message, clockOf(a), q.o)
	r.At = q.o.Now().UTC()
	return &r, nil
}

// queueOf maps the job groups as ippJobs does, with what tells whether they
// move. Of several with one id the first counts.
func queueOf(m *ipp.Message, clock ippClock, o ReadOptions) []device.QueueJob {
	seen := map[int]bool{}
	var out []device.QueueJob
	for _, a := range jobGroups(m) {
		j := ippJob(a, clock, o)
		if seen[j.ID] {
			continue
		}
		seen[j.ID] = true
		out = append(out, device.QueueJob{
			Job: j, Total: counted(a, "job-impressions"), Sheets: counted(a, "job-media-sheets-completed"),
			Octets: counted(a, "job-k-octets-processed"), ActiveS: since(a, clock, "time-at-processing"),
			Message: device.CleanTo(a.Text("job-state-message"), 255),
		})
	}
	return out
}
