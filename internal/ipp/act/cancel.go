package act

import (
	"context"
	"errors"

	"github.com/OpenPrinting/goipp"
	goippreq "github.com/phin1x/go-ipp"

	"printround/internal/ipp"
)

// CanCancel reports whether the printer offers Cancel-Job.
func (p *Printer) CanCancel() bool { return p.can(goippreq.OperationCancelJob) }

// ErrNoSuchJob means that the printer does not know the job, any more or at all.
var ErrNoSuchJob = errors.New("no such job")

// Cancel asks the printer to take a job out of its queue (Cancel-Job, RFC 8011
// section 4.3.3). nil: it accepted; the job may still come to a stopping point
// first. The printer decides who may cancel: usually the job's owner and an
// operator.
func (p *Printer) Cancel(ctx context.Context, id int) error {
	var op goipp.Attributes
	op.Add(goipp.MakeAttribute("job-id", goipp.TagInteger, goipp.Integer(id)))
	a, err := p.s.Operate(ctx, ipp.Command{Code: goippreq.OperationCancelJob, Operation: op, Wait: patience})
	if err != nil {
		return err
	}
	return gone(refusal(a))
}

// Find asks how a job is doing, as Job does; a job that is not there any more
// is ErrNoSuchJob.
func (p *Printer) Find(ctx context.Context, id int) (JobStatus, error) {
	s, err := p.Job(ctx, id)
	var e *ipp.Error
	if errors.As(err, &e) && unknownJob(e.Status) {
		err = ErrNoSuchJob
	}
	return s, err
}

// gone tells a job that is not there from other refusals.
func gone(err error) error {
	var r *Refusal
	if errors.As(err, &r) && unknownJob(r.Status) {
		return ErrNoSuchJob
	}
	return err
}

func unknownJob(s ipp.Status) bool {
	return s == ipp.StatusClientErrorNotFound || s == ipp.StatusClientErrorGone
}

// NotAllowed reports a refusal because of who asks.
func NotAllowed(err error) bool {
	var r *Refusal
	if !errors.As(err, &r) {
		return errors.Is(err, ipp.ErrAuth) || errors.Is(err, ipp.ErrForbidden)
	}
	switch r.Status {
	case ipp.StatusClientErrorForbidden, ipp.StatusClientErrorNotAuthenticated, ipp.StatusClientErrorNotAuthorized:
		return true
	}
	return false
}

// NotPossible reports that the job has come to its end already, or is at a point
// where it cannot be canceled.
func NotPossible(err error) bool {
	var r *Refusal
	return errors.As(err, &r) && r.Status == ipp.StatusClientErrorNotPossible
}
