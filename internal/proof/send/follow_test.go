package send

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/ipp"
	"printround/internal/ipp/act"
)

// story tells how a job is doing, one step a question; the last step stays.
type story struct {
	steps []act.JobStatus
	errs  map[int]error // by step
	at    int
	state act.PrinterStatus
}

func (s *story) Job(context.Context, int) (act.JobStatus, error) {
	i := s.at
	s.at++
	if err := s.errs[i]; err != nil {
		return act.JobStatus{}, err
	}
	return s.steps[min(i, len(s.steps)-1)], nil
}

func (s *story) Status(context.Context) (act.PrinterStatus, error) { return s.state, nil }

// clock goes on only when somebody waits.
type clock struct{ now time.Time }

func (c *clock) pause(_ context.Context, d time.Duration) error {
	c.now = c.now.Add(d)
	return nil
}

func step(state ipp.JobState, reasons ...string) act.JobStatus {
	return act.JobStatus{State: state, Reasons: reasons}
}

func always(err error, n int) map[int]error {
	m := map[int]error{}
	for i := range n {
		m[i] = err
	}
	return m
}

var errSilent = &ipp.Error{Stage: "tcp", Kind: ipp.ErrNoAnswer, Detail: "silent"}

// Jobs end as RFC 8011 section 5.3.7 has it; what does not end is told from
// what waits.
func TestFollow(t *testing.T) {
	tests := []struct {
		name  string
		story *story
		want  Verdict
		said  string
	}{
		{"printed", &story{steps: []act.JobStatus{step(ipp.JobStatePending), step(ipp.JobStateProcessing, "job-printing"), step(ipp.JobStateCompleted)}}, Printed,
			"job pending|job processing (job-printing)|job completed"},
		{"at once", &story{steps: []act.JobStatus{step(ipp.JobStateCompleted)}}, Printed, "job completed"},
		{"aborted", &story{steps: []act.JobStatus{step(ipp.JobStateProcessing), step(ipp.JobStateAborted, "document-format-error")}}, Aborted, "job aborted (document-format-error)"},
		{"canceled", &story{steps: []act.JobStatus{step(ipp.JobStateCanceled, "job-canceled-at-device")}}, Canceled, "job canceled (job-canceled-at-device)"},
		{"held", &story{steps: []act.JobStatus{step(ipp.JobStatePendingHeld, "job-hold-until-specified")}}, Held, "job pending-held"},
		{"held while it arrives", &story{steps: append(slices.Repeat([]act.JobStatus{step(ipp.JobStatePendingHeld, "job-incoming")}, 20), step(ipp.JobStateCompleted))}, Printed, "job completed"},
		{"released in time", &story{steps: []act.JobStatus{step(ipp.JobStatePendingHeld), step(ipp.JobStatePendingHeld), step(ipp.JobStateCompleted)}}, Printed, "job completed"},
		{"out of paper for good", &story{steps: []act.JobStatus{step(ipp.JobStateProcessingStopped, "printer-stopped")},
			state: act.PrinterStatus{State: ipp.PrinterStateStopped, Reasons: []string{"media-empty-error"}, Message: "Load A4\x1b[2J"}}, Waiting,
			`job processing-stopped (printer-stopped)|device stopped (media-empty-error): "Load A4"`},
		{"keeps no ended jobs", &story{steps: []act.JobStatus{step(ipp.JobStateProcessing)}, errs: map[int]error{3: &ipp.Error{Kind: ipp.ErrNotFound, Status: ipp.StatusClientErrorNotFound}}}, Gone, "job processing"},
		{"short silence", &story{steps: []act.JobStatus{step(ipp.JobStateCompleted)}, errs: always(errSilent, mostFails-1)}, Printed, "job completed"},
		{"long silence", &story{steps: []act.JobStatus{step(ipp.JobStateCompleted)}, errs: always(errSilent, mostFails)}, NoAnswer, ""},
		{"a state that is not registered", &story{steps: []act.JobStatus{step(77), step(ipp.JobStateCompleted)}}, Printed, "not registered (77)"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := &clock{now: time.Unix(1e9, 0)}
			var told []string
			f := Follower{Asker: tt.story, Pause: c.pause, Now: func() time.Time { return c.now }, Limit: 5 * time.Minute,
				Say: func(s Saying) { told = append(told, s.Text) }}
			if tt.name == "printed" {
				tt.story.state = act.PrinterStatus{State: ipp.PrinterStateProcessing}
			}
			o := f.Follow(t.Context(), 7)
			if o.Verdict != tt.want {
				t.Errorf("%s, want %s: %+v", o.Verdict, tt.want, o)
			}
			if all := strings.Join(told, "|"); !strings.Contains(all, tt.said) || strings.Contains(all, "\x1b") {
				t.Errorf("said %q, want %q", all, tt.said)
			}
			if len(told) != len(o.Said) || tt.story.at > 200 {
				t.Errorf("told %d, kept %d, asked %d times", len(told), len(o.Said), tt.story.at)
			}
		})
	}
}

// A device that changes its mind all the time does not fill the memory.
func TestFollowIsBounded(t *testing.T) {
	var steps []act.JobStatus
	for i := range 2000 {
		steps = append(steps, step(ipp.JobStateProcessing, fmt.Sprintf("reason-%d", i)))
	}
	c := &clock{now: time.Unix(1e9, 0)}
	f := Follower{Asker: &story{steps: steps}, Pause: c.pause, Now: func() time.Time { return c.now }, Limit: time.Hour}
	if o := f.Follow(t.Context(), 7); len(o.Said) != mostSaid || o.Verdict != Waiting {
		t.Errorf("%d, %s", len(o.Said), o.Verdict)
	}
}

func TestFollowInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	c := &clock{now: time.Unix(1e9, 0)}
	f := Follower{Asker: &story{steps: []act.JobStatus{step(ipp.JobStateProcessing)}}, Now: func() time.Time { return c.now }, Limit: time.Hour,
		Pause: func(ctx context.Context, _ time.Duration) error { cancel(stop); return context.Cause(ctx) }}
	if o := f.Follow(ctx, 7); o.Verdict != Waiting || !errors.Is(o.Err, stop) {
		t.Errorf("%+v", o)
	}
}

// Each failure has a line that says whether anything can have been printed.
func TestExplain(t *testing.T) {
	lost := &ipp.Error{Stage: "http", Kind: ipp.ErrUncertain, Detail: "closed"}
	for _, tt := range []struct {
		err      error
		what, do string
	}{
		{lost, "it may or may not have printed", "look at the device before you send it again"},
		{&act.JobError{ID: 12, Err: lost}, "(job 12): it may or may not have printed", "look at the device"},
		{&ipp.Error{Kind: ipp.ErrAuth}, "nothing was printed: the device wants a user name", "sends none"},
		{&ipp.Error{Kind: ipp.ErrForbidden}, "nothing was printed", "sends none"},
		{errSilent, "nothing was printed: no answer: silent", ""},
		{&act.Refusal{Status: ipp.StatusClientErrorDocumentFormatNotSupported, Message: "no\x1b[1m PDF"}, `nothing was printed: the device does not take this page language, whatever it lists (it says "no PDF")`, "--as"},
		{&act.Refusal{Status: ipp.StatusServerErrorNotAcceptingJobs}, "takes no jobs now", "panel"},
		{&act.Refusal{Status: ipp.StatusServerErrorBusy}, "busy", "later"},
		{&act.Refusal{Status: ipp.StatusClientErrorNotAuthorized}, "does not let everybody print", "sends none"},
		{&act.Refusal{Status: ipp.StatusClientErrorAttributesOrValuesNotSupported, Names: []string{"sides"}}, "together (sides)", "leave out"},
		{&act.Refusal{Status: ipp.StatusServerErrorInternalError}, "server-error-internal-error", ""},
	} {
		what, do := Explain(tt.err)
		if !strings.Contains(what, tt.what) || !strings.Contains(do, tt.do) {
			t.Errorf("%v: %q, %q", tt.err, what, do)
		}
	}
}
