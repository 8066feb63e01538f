package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/ipp/act"
	"printround/internal/queue"
	"printround/internal/report"
	"printround/internal/survey"
)

// queueFlags are those of queue alone.
type queueFlags struct {
	cancel int // job-id; 0: none
	watch  time.Duration
	yes    bool
}

func newQueue(a *app) *cobra.Command {
	var flags lookFlags
	var f queueFlags
	cmd := &cobra.Command{
		Use:   "queue DEVICE | URI",
		Short: "Is the queue moving, and if not, which job blocks it? Take that one out on request",
		Long: `Reads the queue of a device, or any IPP queue of a print server by its URI
(ipp, ipps, http or https), twice, and says whether it is
  moving   pages come out, or a job is being worked on
  waiting  for the device (paper, a cover, a jam), or for somebody to release it
  stalled  nothing moves and the device is not the reason: a job blocks the rest
  empty
with the job that blocks and why. The time between the readings is that in which
the printer puts out three pages, 5 to 30 s; the answer says which.

Names and owners of jobs are not even asked for unless --show-job-names and
--show-owners want them. At most ` + fmt.Sprint(ipp.MaxJobs) + ` jobs are read.

--cancel JOB takes one job out (Cancel-Job). It first shows what it will do and
to which device, and asks; where there is nobody to ask, it wants --yes. Nothing
else is ever changed. --watch follows the queue for that long afterwards, and
says whether it stayed healthy: whether the job was the culprit.

Exit status:
  0  moving or empty; followed and healthy
  1  failed or interrupted; the job was not canceled
  2  usage
  3  waiting or stalled
  4  the printer is stopped
  5  no answer
`,
		Example: `  printround queue 10.1.2.17
  printround queue ipp://print-server.example/printers/front-desk --show-owners
  printround queue 10.1.2.17 --cancel 1071 --watch 10m
  printround queue 10.1.2.17 --format json
  printround queue --lab harbour-copy`,
		Args: arguments(1, 1, "one device or the URI of one queue"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o, err := f.check(cmd, a, &flags)
			if err != nil {
				return err
			}
			return runQueue(cmd.Context(), a, args[0], &f, &flags, o)
		},
	}
	fl := cmd.Flags()
	fl.SortFlags = false
	fl.IntVar(&f.cancel, "cancel", 0, "take `JOB` (a job-id) out of the queue, after asking")
	fl.BoolVar(&f.yes, "yes", false, "with --cancel, do not ask")
	fl.DurationVar(&f.watch, "watch", 0, "follow the queue for this `time`, 10s to 24h")
	addQueueFlags(cmd, &flags)
	return cmd
}

// addQueueFlags adds those flags of reaching and showing that mean something
// where only IPP is spoken.
func addQueueFlags(cmd *cobra.Command, flags *lookFlags) {
	fl := cmd.Flags()
	flags.reach.snmpPort = defaultSNMPPort
	fl.StringVar(&flags.reach.site, "site", "", "site `FILE`; default: printround/printround.toml in your configuration folder, if there")
	fl.Uint16Var(&flags.reach.ippPort, "ipp-port", defaultIPPPort, "TCP `port` of IPP, of a device that is not named by a URI")
	fl.DurationVar(&flags.reach.timeout, "timeout", survey.DefaultTimeout, "wait this long for one answer")
	fl.IntVar(&flags.reach.retries, "retries", 1, "ask again this many times, 0 to 10; never for --cancel")
	fl.BoolVar(&flags.reach.noMDNS, "no-mdns", false, "do not browse DNS-SD")
	fl.BoolVar(&flags.reach.verbose, "verbose", false, "say on standard error what is being done")
	flags.choose.add(cmd, false)
	flags.show.addDocument(cmd, "a queue")
	flags.show.addPersonal(cmd)
	fl.StringVar(&flags.show.from, "from", "", "earlier survey in JSON: `FILE` to know devices from")
}

const (
	leastFollow = 10 * time.Second
	mostFollow  = 24 * time.Hour
)

func (f *queueFlags) check(cmd *cobra.Command, a *app, flags *lookFlags) (report.Options, error) {
	if err := flags.reach.check(false); err != nil {
		return report.Options{}, err
	}
	if err := flags.choose.checkLab(cmd, "from"); err != nil {
		return report.Options{}, err
	}
	o, err := flags.show.options(a, cmd)
	changed := cmd.Flags().Changed
	switch {
	case err != nil:
		return o, err
	case changed("cancel") && f.cancel < 1:
		return o, usagef("--cancel %d: a job-id is a whole number above 0", f.cancel)
	case f.yes && !changed("cancel"):
		return o, usagef("--yes goes with --cancel")
	case !changed("watch"):
		return o, nil
	case f.watch < leastFollow || f.watch > mostFollow:
		return o, usagef("--watch %s: wanted %s to 24h", f.watch, leastFollow)
	}
	return o, flags.show.checkWatch(o)
}

// queueRun is one look at a queue, with what follows.
type queueRun struct {
	a       *app
	p       *plan
	f       *queueFlags
	query   string
	pause   func(context.Context, time.Duration) error
	options report.Options
	s       *survey.QueueSession
	blocked bool // the job that was canceled was seen to block the queue
}

func runQueue(ctx context.Context, a *app, query string, f *queueFlags, flags *lookFlags, o report.Options) error {
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	defer p.close()
	at, err := p.queueTargets(ctx, query)
	if notFound(err) {
		return a.unreachable(query, err)
	}
	if err != nil {
		return err
	}
	q := &queueRun{a: a, p: p, f: f, query: query, pause: lapse, options: o}
	if q.s, err = p.openQueue(ctx, at); err != nil {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		return a.unreachable(query, err)
	}
	defer q.s.Close()
	return q.run(ctx)
}

func (q *queueRun) run(ctx context.Context) error {
	first, err := q.s.Read(ctx)
	if err != nil {
		return q.failed(ctx, err)
	}
	if q.f.cancel != 0 {
		before := queue.Judge(first, first)
		q.blocked = before.Blocking != nil && *before.Blocking == q.f.cancel
		if err := q.cancel(ctx, first); err != nil {
			return err
		}
		if first, err = q.s.Read(ctx); err != nil {
			return q.failed(ctx, err)
		}
	}
	if q.f.watch > 0 {
		return q.follow(ctx, first)
	}
	r := queue.Judge(first, first)
	if !queue.Settled(first) {
		wait := queue.Interval(first)
		q.p.verbose(fmt.Sprintf("second reading in %s", wait))
		if err := q.pause(ctx, wait); err != nil {
			return err
		}
		last, err := q.s.Read(ctx)
		if err != nil {
			return q.failed(ctx, err)
		}
		r = queue.Judge(first, last)
	}
	if err := q.a.write(q.p.show.out, func(w io.Writer) error { return report.WriteQueue(w, r, q.options) }); err != nil {
		return err
	}
	return end(queueStatus(r))
}

// failed is a queue that answered and then did not.
func (q *queueRun) failed(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return fmt.Errorf("%s: reading the queue: %w", q.query, err)
}

func queueStatus(r *device.QueueReport) int {
	switch {
	case r.Verdict == device.QueueEmpty && r.State != "stopped", r.Verdict == device.QueueMoving:
		return exitDone
	case r.State == "stopped":
		return exitStopped
	}
	return exitAttention
}

// cancel takes the job out of the queue, after asking.
func (q *queueRun) cancel(ctx context.Context, r *device.QueueReading) error {
	id := q.f.cancel
	job := jobOf(r, id)
	if job == nil {
		return fmt.Errorf("job %d is not in the queue, nothing was sent; its jobs: %s", id, jobIDs(r))
	}
	lines := append([]string{fmt.Sprintf("this takes job %d out of the queue and changes nothing else", id)}, aboutQueue(r)...)
	lines = append(lines, "job: "+aboutJob(job))
	if err := q.a.confirm(ctx, q.f.yes, lines, fmt.Sprintf("Cancel job %d?", id)); err != nil {
		return err
	}
	o := ipp.Options{Timeout: q.p.reach.timeout, Log: q.p.log()}
	pr, err := act.Open(ctx, string(r.URI), o)
	if err != nil {
		return q.failed(ctx, fmt.Errorf("nothing was sent: %w", err))
	}
	defer pr.Close()
	if !pr.CanCancel() {
		return errors.New("the printer does not offer Cancel-Job: cancel the job at its panel or where it was sent from; nothing was sent")
	}
	// Somebody may have thought about the answer for a while.
	before, err := pr.Find(ctx, id)
	switch {
	case errors.Is(err, act.ErrNoSuchJob), err == nil && before.State >= ipp.JobStateCanceled:
		q.a.notef("job %d has left the queue by itself meanwhile; nothing was sent", id)
		return nil
	}
	return q.send(ctx, pr, id)
}

// send sends Cancel-Job once and says what came of it.
func (q *queueRun) send(ctx context.Context, pr *act.Printer, id int) error {
	err := pr.Cancel(ctx, id)
	var refused *act.Refusal
	switch {
	case err == nil:
	case errors.Is(err, act.ErrNoSuchJob):
		q.a.notef("job %d has left the queue by itself meanwhile", id)
		return nil
	case act.NotPossible(err):
		return fmt.Errorf("job %d cannot be canceled any more: it has ended or is about to", id)
	case act.NotAllowed(err):
		return fmt.Errorf("the printer lets only the owner of job %d or an operator cancel it (%w): cancel it at the panel, where it was sent from, or at the print server", id, err)
	case act.Uncertain(err):
		q.a.notef("no answer came to the request, which is not repeated: %v", err)
	case errors.As(err, &refused):
		return fmt.Errorf("job %d was not canceled: %w%s", id, err, ownWords(refused.Message))
	default:
		return fmt.Errorf("job %d was not canceled: %w", id, err)
	}
	return q.confirmGone(ctx, pr, id, err)
}

func ownWords(message string) string {
	if t := device.Clean(message); t != "" {
		return fmt.Sprintf(" (%s)", t)
	}
	return ""
}

// Looks after a cancel, and the time between them: a printer stops at the next
// point where it can.
const (
	goneLooks = 5
	goneEvery = 2 * time.Second
)

// confirmGone looks whether the job has come to its end. uncertain is the error
// of a request whose outcome is not known.
func (q *queueRun) confirmGone(ctx context.Context, pr *act.Printer, id int, uncertain error) error {
	for n := range goneLooks {
		if n > 0 {
			if err := q.pause(ctx, goneEvery); err != nil {
				return err
			}
		}
		s, err := pr.Find(ctx, id)
		switch {
		case errors.Is(err, act.ErrNoSuchJob):
			q.a.notef("job %d is out of the queue", id)
			return nil
		case err != nil:
			return q.failed(ctx, fmt.Errorf("whether job %d is out of the queue is not known: %w", id, err))
		case s.State == ipp.JobStateCompleted:
			q.a.notef("job %d came to its end before it could be canceled", id)
			return nil
		case s.State >= ipp.JobStateCanceled:
			q.a.notef("job %d is %s", id, s.State)
			return nil
		}
	}
	if uncertain != nil {
		return fmt.Errorf("job %d is still in the queue: the request was lost", id)
	}
	q.a.notef("the printer accepted, and job %d is still on its way to a point where it can stop", id)
	return nil
}

func jobOf(r *device.QueueReading, id int) *device.QueueJob {
	for i := range r.Jobs {
		if r.Jobs[i].ID == id {
			return &r.Jobs[i]
		}
	}
	return nil
}

func jobIDs(r *device.QueueReading) string {
	if len(r.Jobs) == 0 {
		return "none"
	}
	const most = 10
	var ids []string
	for i := range r.Jobs[:min(len(r.Jobs), most)] {
		ids = append(ids, fmt.Sprint(r.Jobs[i].ID))
	}
	if len(r.Jobs) > most {
		ids = append(ids, "…")
	}
	return strings.Join(ids, ", ")
}

// aboutQueue says whose queue it is, for who has to decide.
func aboutQueue(r *device.QueueReading) []string {
	what := "device"
	if r.Role == device.RoleServerQueue {
		what = "queue"
	}
	return aboutBox(what, r.Name, r.MakeModel, r.Serial, r.Location, r.URI)
}

// aboutBox says which device is meant: name, model, serial number, location and
// where it answers; what is not known is said to be.
func aboutBox(what string, name, model, serial, location, uri device.Text) []string {
	or := func(t device.Text, none string) string {
		if t == "" {
			return none
		}
		return string(t)
	}
	return []string{
		fmt.Sprintf("%s: %s, %s, serial number %s", what, or(name, "no name"), or(model, "model not told"), or(serial, "not told")),
		"where: " + or(location, "location not told"),
		"at: " + or(uri, "not told"),
	}
}

func aboutJob(j *device.QueueJob) string {
	parts := []string{string(j.State)}
	if j.State == "" {
		parts[0] = "state not told"
	}
	if j.AgeS != nil {
		parts = append(parts, device.Span(*j.AgeS)+" old")
	}
	switch {
	case j.Pages != nil && j.Total != nil && *j.Total > 0:
		parts = append(parts, fmt.Sprintf("%d of %d pages done", *j.Pages, *j.Total))
	case j.Pages != nil:
		parts = append(parts, fmt.Sprintf("%d pages done", *j.Pages))
	}
	for _, t := range []device.Text{j.Name, j.Owner} {
		if t != "" {
			parts = append(parts, fmt.Sprintf("%q", t))
		}
	}
	return strings.Join(parts, ", ")
}
