package act

import (
	"context"
	"errors"
	"time"

	"github.com/OpenPrinting/goipp"
	goippreq "github.com/phin1x/go-ipp"

	"printround/internal/ipp"
)

// Operations that a job takes (RFC 8011 section 5.4.15).
const (
	opPrintJob     = goippreq.OperationPrintJob
	opValidateJob  = goippreq.OperationValidateJob
	opCreateJob    = goippreq.OperationCreateJob
	opSendDocument = goippreq.OperationSendDocument
)

// Slowest that a printer may take its data before it counts as gone: some take
// them only as fast as they print (common practice, no source).
const (
	slowest    = 8 << 10 // octets a second
	leastToGet = 2 * time.Minute
)

// Settings are what a job asks for. Empty ones are left to the printer.
type Settings struct {
	Name       string // job-name
	Format     string // document-format
	Media      string // media keyword; not with Size
	Size       Size   // media-col media-size; not with Media
	Source     string // media-col media-source; needs Size
	Sides      string
	ColorMode  string // print-color-mode
	Scaling    string // print-scaling
	Resolution int    // printer-resolution, dots an inch; 0: the printer's
}

// Size is a medium's size in 1/100 mm.
type Size struct{ Width, Length int }

// operation are the operation attributes that describe the job.
func (s Settings) operation(format bool) goipp.Attributes {
	var a goipp.Attributes
	a.Add(goipp.MakeAttribute("job-name", goipp.TagName, goipp.String(s.Name)))
	if format {
		a.Add(goipp.MakeAttribute("document-format", goipp.TagMimeType, goipp.String(s.Format)))
	}
	return a
}

// template are the job template attributes.
func (s Settings) template() goipp.Attributes {
	var a goipp.Attributes
	word := func(name, value string) {
		if value != "" {
			a.Add(goipp.MakeAttribute(name, goipp.TagKeyword, goipp.String(value)))
		}
	}
	word("media", s.Media)
	if s.Size != (Size{}) {
		a.Add(goipp.MakeAttribute("media-col", goipp.TagBeginCollection, s.mediaCol()))
	}
	word("sides", s.Sides)
	word("print-color-mode", s.ColorMode)
	word("print-scaling", s.Scaling)
	if s.Resolution > 0 {
		r := goipp.Resolution{Xres: s.Resolution, Yres: s.Resolution, Units: goipp.UnitsDpi}
		a.Add(goipp.MakeAttribute("printer-resolution", goipp.TagResolution, r))
	}
	return a
}

func (s Settings) mediaCol() goipp.Collection {
	var size, col goipp.Collection
	size.Add(goipp.MakeAttribute("x-dimension", goipp.TagInteger, goipp.Integer(s.Size.Width)))
	size.Add(goipp.MakeAttribute("y-dimension", goipp.TagInteger, goipp.Integer(s.Size.Length)))
	col.Add(goipp.MakeAttribute("media-size", goipp.TagBeginCollection, size))
	if s.Source != "" {
		col.Add(goipp.MakeAttribute("media-source", goipp.TagKeyword, goipp.String(s.Source)))
	}
	return col
}

// Validate asks whether the printer would take such a job (RFC 8011 section
// 4.2.3). Nothing is printed. It returns the names of attributes that the
// printer would ignore or replace.
func (p *Printer) Validate(ctx context.Context, s Settings) (ignored []string, err error) {
	a, err := p.s.Operate(ctx, ipp.Command{Code: opValidateJob, Operation: s.operation(true), Job: s.template(), Wait: leastToGet})
	if err != nil {
		return nil, err
	}
	return unsupported(a), refusal(a)
}

// JobError is a job that the printer had accepted when something went wrong.
type JobError struct {
	ID  int
	Err error
}

func (e *JobError) Error() string { return e.Err.Error() }
func (e *JobError) Unwrap() error { return e.Err }

// Print sends a job with one document, once, and returns its job-id, 0 when the
// printer did not tell one. Where the printer can, the job is made first and the
// document sent to it (RFC 8011 sections 4.2.4 and 4.3.1), so that the job has an
// id if the connection is lost meanwhile: the error is then a JobError.
func (p *Printer) Print(ctx context.Context, s Settings, document []byte) (id int, err error) {
	wait := max(leastToGet, time.Duration(len(document)/slowest)*time.Second)
	o := p.Offer()
	if o.Can(opCreateJob) && o.Can(opSendDocument) {
		id, err := p.createAndSend(ctx, s, document, wait)
		var r *Refusal
		if id != 0 || !errors.As(err, &r) || r.Status != ipp.StatusServerErrorOperationNotSupported || !o.Can(opPrintJob) {
			return id, err
		}
	}
	a, err := p.s.Operate(ctx, ipp.Command{Code: opPrintJob, Operation: s.operation(true), Job: s.template(), Document: document, Wait: wait})
	if err == nil {
		err = refusal(a)
	}
	if err != nil {
		return 0, err
	}
	return jobID(a), nil
}

func (p *Printer) createAndSend(ctx context.Context, s Settings, document []byte, wait time.Duration) (int, error) {
	a, err := p.s.Operate(ctx, ipp.Command{Code: opCreateJob, Operation: s.operation(false), Job: s.template(), Wait: leastToGet})
	if err == nil {
		err = refusal(a)
	}
	if err != nil {
		return 0, empty(err)
	}
	id := jobID(a)
	if id == 0 {
		return 0, &ipp.Error{Stage: "ipp", Kind: ipp.ErrNotIPP, Detail: "the printer made a job and did not tell its number; no document was sent"}
	}
	var op goipp.Attributes
	op.Add(goipp.MakeAttribute("job-id", goipp.TagInteger, goipp.Integer(id)))
	op.Add(goipp.MakeAttribute("document-format", goipp.TagMimeType, goipp.String(s.Format)))
	op.Add(goipp.MakeAttribute("last-document", goipp.TagBoolean, goipp.Boolean(true)))
	a, err = p.s.Operate(ctx, ipp.Command{Code: opSendDocument, Operation: op, Document: document, Wait: wait})
	if err == nil {
		err = refusal(a)
	}
	if err != nil {
		return id, &JobError{id, err}
	}
	return id, nil
}

// empty is an error of making a job: without a document nothing prints, so the
// outcome is certain even if the answer was lost.
func empty(err error) error {
	var e *ipp.Error
	if Uncertain(err) && errors.As(err, &e) {
		return &ipp.Error{Stage: e.Stage, Kind: ipp.ErrClosed, Detail: e.Detail + "; no document had been sent, so nothing prints", Cause: e.Cause}
	}
	return err
}

func jobID(a *ipp.Answer) int {
	id, _ := a.First(ipp.JobGroup).Int("job-id")
	return int(id)
}

// JobStatus is how a job is doing. Texts are foreign and not cleaned.
type JobStatus struct {
	State       ipp.JobState
	Reasons     []string // job-state-reasons without none
	Message     string   // job-state-message
	Impressions *int64   // job-impressions-completed
	Sheets      *int64   // job-media-sheets-completed
}

var jobAttributes = []string{
	"job-id", "job-state", "job-state-reasons", "job-state-message", "job-impressions-completed", "job-media-sheets-completed",
}

// Job asks how a job is doing.
func (p *Printer) Job(ctx context.Context, id int) (JobStatus, error) {
	a, err := p.s.Job(ctx, id, jobAttributes)
	if err != nil {
		return JobStatus{}, err
	}
	attrs := a.First(ipp.JobGroup)
	n, ok := attrs.Int("job-state")
	if !ok {
		return JobStatus{}, &ipp.Error{Stage: "ipp", Kind: ipp.ErrNotIPP, Detail: "the answer holds no job-state", Cause: a.Incomplete}
	}
	s := JobStatus{State: ipp.JobState(n), Reasons: withoutNone(attrs.Texts("job-state-reasons")), Message: attrs.Text("job-state-message")}
	if n, ok := attrs.Int("job-impressions-completed"); ok {
		s.Impressions = &n
	}
	if n, ok := attrs.Int("job-media-sheets-completed"); ok {
		s.Sheets = &n
	}
	return s, nil
}

// PrinterStatus is how the printer is doing. Texts are foreign and not cleaned.
type PrinterStatus struct {
	State   ipp.PrinterState
	Reasons []string // printer-state-reasons without none
	Message string   // printer-state-message
}

// Status asks how the printer is doing.
func (p *Printer) Status(ctx context.Context) (PrinterStatus, error) {
	a, err := p.s.Ask(ctx, []string{"printer-state", "printer-state-reasons", "printer-state-message"})
	if err != nil {
		return PrinterStatus{}, err
	}
	attrs := a.First(ipp.PrinterGroup)
	n, _ := attrs.Int("printer-state")
	return PrinterStatus{State: ipp.PrinterState(n), Reasons: withoutNone(attrs.Texts("printer-state-reasons")), Message: attrs.Text("printer-state-message")}, nil
}

func withoutNone(words []string) []string {
	var out []string
	for _, w := range words {
		if w != "none" && w != "" {
			out = append(out, w)
		}
	}
	return out
}

// CanValidate reports whether the printer offers Validate-Job.
func (p *Printer) CanValidate() bool { return p.can(opValidateJob) }
