package send

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/ipp/act"
)

// Asker is who tells how a job is doing.
type Asker interface {
	Job(ctx context.Context, id int) (act.JobStatus, error)
	Status(ctx context.Context) (act.PrinterStatus, error)
}

// Verdict is how a job ended, or how far it was followed.
type Verdict string

// Verdicts.
const (
	Printed  Verdict = "printed"
	Aborted  Verdict = "aborted"
	Canceled Verdict = "canceled"
	Held     Verdict = "held"      // waits for somebody to release it
	Waiting  Verdict = "waiting"   // not ended when the following did
	Gone     Verdict = "gone"      // the device does not list it any more
	NoAnswer Verdict = "no answer" // the device stopped answering
)

// Outcome is what became of a job. Texts are clean.
type Outcome struct {
	Verdict Verdict
	State   string // job-state keyword, the last one seen
	Reasons []string
	Message string
	Sheets  *int64
	Took    time.Duration
	Said    []Saying // what the device reported meanwhile
	Err     error    // why it is not known further; may be nil
}

// Saying is something that the device reported, and when, counted from sending.
type Saying struct {
	After time.Duration
	Text  string
}

// Follower follows one job.
type Follower struct {
	Asker Asker
	Pause func(context.Context, time.Duration) error // waits; an error ends the following
	Now   func() time.Time
	Say   func(Saying) // told at once; may be nil
	Limit time.Duration
}

// How often is asked, and how many times in a row a device may fail to answer:
// it may be busy with the page.
const (
	often     = time.Second
	seldom    = 3 * time.Second
	often4    = 15 * time.Second // asked often that long
	mostFails = 5
	// heldFor is how long a job may be held before it counts as held: some are
	// until their data have arrived.
	heldFor = 6 * time.Second
)

// Follow asks until the job has ended, somebody must release it, the device no
// longer answers, or the limit is reached.
func (f *Follower) Follow(ctx context.Context, id int) *Outcome {
	begin := f.Now()
	out := &Outcome{Verdict: Waiting}
	fails := 0
	var heldSince time.Time
	for {
		out.Took = f.Now().Sub(begin)
		s, err := f.Asker.Job(ctx, id)
		switch {
		case ctx.Err() != nil:
			out.Err = context.Cause(ctx)
			return out
		case gone(err):
			out.Verdict = Gone
			return out
		case err != nil:
			if fails++; fails >= mostFails {
				out.Verdict, out.Err = NoAnswer, err
				return out
			}
		default:
			fails = 0
			f.job(out, s)
			if end(out, s) {
				return out
			}
			held := s.State == ipp.JobStatePendingHeld && !arriving(s.Reasons)
			switch {
			case !held:
				heldSince = time.Time{}
			case heldSince.IsZero():
				heldSince = f.Now()
			case f.Now().Sub(heldSince) >= heldFor:
				out.Verdict = Held
				return out
			}
			f.printer(ctx, out)
		}
		if out.Took >= f.Limit {
			return out
		}
		every := often
		if out.Took >= often4 {
			every = seldom
		}
		if err := f.Pause(ctx, every); err != nil {
			out.Err = err
			return out
		}
	}
}

// gone reports that the device does not know the job any more.
func gone(err error) bool {
	var e *ipp.Error
	return errors.As(err, &e) && (e.Status == ipp.StatusClientErrorNotFound || e.Status == ipp.StatusClientErrorGone)
}

// arriving reports that a job is held only until its data are there
// (RFC 8011 section 5.3.8).
func arriving(reasons []string) bool {
	return slices.ContainsFunc(reasons, func(r string) bool {
		return r == "job-incoming" || r == "job-data-insufficient" || r == "submission-interrupted"
	})
}

// job takes in what is known of the job.
func (f *Follower) job(out *Outcome, s act.JobStatus) {
	out.State, out.Reasons, out.Message, out.Sheets = stateWord(s.State), words(s.Reasons), string(device.CleanTo(s.Message, 160)), s.Sheets
	if out.Sheets == nil {
		out.Sheets = s.Impressions
	}
	f.say(out, "job", "job "+out.State+reasons(s.Reasons, s.Message))
}

// printer takes in what the device says of itself.
func (f *Follower) printer(ctx context.Context, out *Outcome) {
	s, err := f.Asker.Status(ctx)
	if err != nil {
		return // the job is asked about again
	}
	state := "state not told"
	if s.State.Registered() {
		state = s.State.String()
	}
	if state == "processing" && len(s.Reasons) == 0 {
		return // that it prints is said by the job
	}
	f.say(out, "device", "device "+state+reasons(s.Reasons, s.Message))
}

// say keeps what is new: the last thing said of the same kind is not repeated.
func (f *Follower) say(out *Outcome, kind, text string) {
	for i := len(out.Said) - 1; i >= 0; i-- {
		if strings.HasPrefix(out.Said[i].Text, kind+" ") {
			if out.Said[i].Text == text {
				return
			}
			break
		}
	}
	s := Saying{out.Took, text}
	if len(out.Said) < mostSaid {
		out.Said = append(out.Said, s)
		if f.Say != nil {
			f.Say(s)
		}
	}
}

// mostSaid bounds what a device may report that changes its mind all the time.
const mostSaid = 200

// end judges a job that has ended (RFC 8011 section 5.3.7).
func end(out *Outcome, s act.JobStatus) bool {
	switch s.State {
	case ipp.JobStateCompleted:
		out.Verdict = Printed
	case ipp.JobStateAborted:
		out.Verdict = Aborted
	case ipp.JobStateCanceled:
		out.Verdict = Canceled
	default:
		return false
	}
	return true
}

func stateWord(s ipp.JobState) string {
	if s.Registered() {
		return s.String()
	}
	return fmt.Sprintf("in a state that is not registered (%d)", int(s))
}

func words(all []string) []string {
	var out []string
	for _, s := range all {
		if s = word(s); s != "" && len(out) < 32 {
			out = append(out, s)
		}
	}
	return out
}

// Explain says in one line what went wrong with a request, and whether anything
// can have been printed. The second text is what to do.
func Explain(err error) (what, do string) {
	var r *act.Refusal
	var j *act.JobError
	switch {
	case act.Uncertain(err):
		what = "the connection was lost while the page was being sent"
		if errors.As(err, &j) {
			what += fmt.Sprintf(" (job %d)", j.ID)
		}
		return what + ": it may or may not have printed", "look at the device before you send it again"
	case errors.As(err, &r):
		what, do = refusal(r)
		return "nothing was printed: " + what, do
	case errors.Is(err, ipp.ErrAuth), errors.Is(err, ipp.ErrForbidden):
		return "nothing was printed: the device wants a user name and password for printing, or does not let this computer print",
			"allow printing without a password from this computer; printround sends none"
	}
	return "nothing was printed: " + string(device.CleanTo(err.Error(), 300)), ""
}

func refusal(r *act.Refusal) (what, do string) {
	own := ""
	if m := device.CleanTo(r.Message, 160); m != "" {
		own = fmt.Sprintf(" (it says %q)", string(m))
	}
	switch r.Status {
	case ipp.StatusClientErrorDocumentFormatNotSupported:
		return "the device does not take this page language, whatever it lists" + own, "try another --as"
	case ipp.StatusServerErrorNotAcceptingJobs:
		return "the device takes no jobs now" + own, "find out why at its panel"
	case ipp.StatusServerErrorBusy, ipp.StatusServerErrorTemporaryError, ipp.StatusServerErrorServiceUnavailable:
		return "the device is busy" + own, "try again later"
	case ipp.StatusClientErrorForbidden, ipp.StatusClientErrorNotAuthenticated, ipp.StatusClientErrorNotAuthorized:
		return "the device does not let everybody print" + own, "allow printing from this computer without a password; printround sends none"
	case ipp.StatusClientErrorAttributesOrValuesNotSupported, ipp.StatusClientErrorConflictingAttributes:
		return "the device cannot do all that was asked for together (" + list(r.Names, "it does not say what") + ")" + own, "leave out --tray, --sides or --media"
	}
	return "the device refused with " + r.Status.String() + own, ""
}
