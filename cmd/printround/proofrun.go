package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/ipp/act"
	"printround/internal/media"
	"printround/internal/proof"
	"printround/internal/proof/send"
	"printround/internal/survey"
	"printround/internal/term"
)

// proofFlags are those of proof alone.
type proofFlags struct {
	wish send.Wish
	as   string
	yes  bool
	read bool
}

// proofRun is one page on one device.
type proofRun struct {
	a     *app
	p     *plan
	f     *proofFlags
	query string
	made  time.Time
	pause func(context.Context, time.Duration) error // between two looks at the job
	now   func() time.Time                           // by which it is followed
}

func runProof(ctx context.Context, a *app, args []string, f *proofFlags, flags *lookFlags) error {
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	r := &proofRun{a: a, p: p, f: f, made: a.now(), pause: lapse, now: a.now}
	if len(args) == 0 {
		return r.blank()
	}
	r.query = args[0]
	defer p.close()
	s, err := p.lookAt(ctx, r.query)
	if err != nil {
		return err
	}
	d, err := r.device(s)
	if err != nil {
		return err
	}
	return r.on(ctx, d)
}

// blank writes a page for no device.
func (r *proofRun) blank() error {
	as := r.f.wish.As
	if as == "" {
		as = proof.PDF
	}
	name := r.f.wish.Media
	if name == "" {
		name = "iso_a4_210x297mm"
	}
	size, ok := media.ByName(name)
	switch {
	case r.f.wish.Tray != "":
		return usagef("--tray goes with a device")
	case !ok:
		return usagef("--media %q tells no size; such as iso_a4_210x297mm or na_letter_8.5x11in does", name)
	}
	s := proof.Spec{
		Width: size.Width, Length: size.Length, Color: true, Sides: r.f.wish.Sides, Made: r.made, Version: toolVersion(),
		Settings: []proof.Fact{{Name: "made as", Value: as.Title()}, {Name: "media", Value: size.Name}, {Name: "colours", Value: "colour, as sRGB"}},
	}
	return r.write(func(w io.Writer) error { return proof.Write(w, as, s, proof.Raster{Media: size.Name}) }, as)
}

func (r *proofRun) write(page func(io.Writer) error, as proof.Format) error {
	if err := r.a.write(r.p.show.out, page); err != nil {
		return err
	}
	r.a.notef("%s: the page as %s; nothing was sent", r.p.show.out, as.Title())
	return nil
}

// device returns the one device of a look that prints over IPP.
func (r *proofRun) device(s *device.Survey) (*device.Device, error) {
	var able []*device.Device
	answered := false
	for i := range s.Devices {
		d := &s.Devices[i]
		answered = answered || survey.Answered(d)
		if d.Reached.IPP.OK {
			able = append(able, d)
		}
	}
	if len(able) > 1 {
		// Several printers behind one address: the one that was named.
		if meant := slices.DeleteFunc(slices.Clone(able), func(d *device.Device) bool { return !called(d, r.query) }); len(meant) == 1 {
			able = meant
		}
	}
	switch {
	case len(able) == 1 && able[0].Role == device.RoleServerQueue:
		return nil, fmt.Errorf("%s is a queue of a print server and no device: what is seen there may come from either; name the device", r.query)
	case len(able) == 1:
		return able[0], nil
	case len(able) > 1:
		var names []string
		for _, d := range able {
			names = append(names, d.Key)
		}
		return nil, ambiguous(r.query, names)
	}
	r.a.problems(s.Errors)
	if answered {
		return nil, fmt.Errorf("%s does not answer over IPP, and a page is sent no other way: see whether IPP is switched on", r.query)
	}
	return nil, end(exitSilent)
}

// on settles what to print, and writes it or prints it.
func (r *proofRun) on(ctx context.Context, d *device.Device) error {
	pr, err := act.Open(ctx, string(d.Reached.IPP.URI), ipp.Options{Timeout: r.p.reach.timeout, Retries: r.p.reach.retries, Log: r.p.log()})
	if err != nil {
		return r.failed(ctx, err)
	}
	defer pr.Close()
	plan, err := send.Settle(pr.Offer(), d, r.f.wish)
	if err != nil {
		return r.failed(ctx, err)
	}
	document, err := plan.Document(d, r.made, toolVersion())
	if err != nil {
		return fmt.Errorf("making the page: %w", err)
	}
	if r.p.show.out != "" {
		return r.write(func(w io.Writer) error { _, err := w.Write(document); return err }, plan.Format)
	}
	if err := r.validate(ctx, pr, plan); err != nil {
		return err
	}
	if err := r.ask(ctx, d, plan, len(document)); err != nil {
		return err
	}
	return r.print(ctx, pr, plan, document)
}

// validate asks whether the device would take the job; nothing prints by it.
func (r *proofRun) validate(ctx context.Context, pr *act.Printer, plan *send.Plan) error {
	if !pr.CanValidate() {
		return nil
	}
	ignored, err := pr.Validate(ctx, plan.Settings)
	if act.Uncertain(err) {
		return fmt.Errorf("%s: the connection was lost while it was asked whether it would take the page; nothing was printed: %w", r.query, err)
	}
	if err != nil {
		return r.failed(ctx, err)
	}
	if err := plan.Ignored(ignored); err != nil {
		return r.failed(ctx, err)
	}
	return nil
}

// failed turns what kept a page from being printed into a line and what to do.
func (r *proofRun) failed(ctx context.Context, err error) error {
	var refused *send.Refused
	if errors.As(err, &refused) {
		if refused.Hint == "" {
			return fmt.Errorf("%s: %w; nothing was printed", r.query, err)
		}
		return fmt.Errorf("%s: %w; nothing was printed\n%s", r.query, err, refused.Hint)
	}
	if ctx.Err() != nil && !act.Uncertain(err) {
		return context.Cause(ctx)
	}
	what, do := send.Explain(err)
	if do != "" {
		what += "\n" + do
	}
	return fmt.Errorf("%s: %s", r.query, what)
}

// ask says what will be printed where, and asks.
func (r *proofRun) ask(ctx context.Context, d *device.Device, plan *send.Plan, size int) error {
	sheets := "one page, on one side of a sheet"
	if strings.HasPrefix(plan.Sides, "two-sided") {
		sheets = "two pages, on both sides of a sheet"
	}
	lines := append([]string{"this prints " + sheets + ", and changes nothing"},
		aboutBox("device", d.Name, d.MakeModel, d.Serial, d.Location, d.Reached.IPP.URI)...)
	var parts []string
	for _, f := range plan.Facts() {
		parts = append(parts, f.Name+": "+f.Value)
	}
	const perLine = 3
	parts[0] += fmt.Sprintf(", %d kB", (size+1023)/1024)
	for some := range slices.Chunk(parts, perLine) {
		lines = append(lines, "page: "+strings.Join(some, "; "))
	}
	for _, n := range plan.Notes {
		lines = append(lines, "note: "+n)
	}
	return r.a.confirm(ctx, r.f.yes, lines, "Print it?")
}

// named is the device as a further command line names it.
func (r *proofRun) named() string {
	if r.p.choose.lab {
		return "--lab " + r.query
	}
	return r.query
}

// followFor bounds the following: somebody may have to bring paper first.
const followFor = 10 * time.Minute

// print sends the page and follows it.
func (r *proofRun) print(ctx context.Context, pr *act.Printer, plan *send.Plan, document []byte) error {
	id, err := pr.Print(ctx, plan.Settings, document)
	var known *act.JobError
	switch {
	case err == nil:
	case act.Uncertain(err) && errors.As(err, &known) && ctx.Err() == nil:
		// The job has a number, so that its fate can be asked for.
		what, do := send.Explain(err)
		r.a.notef("%s: %s", r.query, what)
		r.a.note(do)
		r.a.notef("asking what became of job %d", id)
	default:
		return r.failed(ctx, err)
	}
	if id == 0 {
		return fmt.Errorf("%s took the page and told no job number, so it cannot be followed: look at the device", r.query)
	}
	f := send.Follower{Asker: pr, Pause: r.pause, Now: r.now, Limit: followFor, Say: func(s send.Saying) {
		fmt.Fprintf(r.a.stdout, "%5s  %s\n", s.After.Round(time.Second), term.Safe(s.Text))
	}}
	return r.ended(f.Follow(ctx, id), id)
}

// ended says how the job ended, and what to do next.
func (r *proofRun) ended(o *send.Outcome, id int) error {
	took := o.Took.Round(time.Second)
	switch o.Verdict {
	case send.Printed:
		sheets := ""
		if o.Sheets != nil {
			sheets = ", " + device.Counted(*o.Sheets, "sheet", "sheets")
		}
		fmt.Fprintf(r.a.stdout, "printed: job %d, %s%s\n", id, took, sheets)
		fmt.Fprintf(r.a.stdout, "next:    printround proof --read %s\n", r.named())
		if slices.Contains(o.Reasons, "job-completed-with-errors") {
			return fmt.Errorf("the device says that job %d had errors: look at the page", id)
		}
		return nil
	case send.Aborted:
		return fmt.Errorf("the device gave job %d up after %s (%s); another --as tells whether it is the page language", id, took, strings.Join(o.Reasons, ", "))
	case send.Canceled:
		return fmt.Errorf("job %d was canceled after %s (%s)", id, took, strings.Join(o.Reasons, ", "))
	case send.Held:
		return fmt.Errorf("the device holds job %d (%s): release it at the panel, or take it out with\nprintround queue %s --cancel %d", id, strings.Join(o.Reasons, ", "), r.named(), id)
	case send.Gone:
		return fmt.Errorf("the device does not list job %d any more and keeps no ended jobs: how it ended is not known, look at the device", id)
	case send.NoAnswer:
		return fmt.Errorf("the device stopped answering after %s (%w): job %d may or may not have printed; look at the device before you print again", took, o.Err, id)
	}
	if o.Err != nil {
		r.a.notef("job %d stays with the device: printround queue %s shows it", id, r.named())
		return o.Err
	}
	return fmt.Errorf("job %d has not ended after %s (%s); it stays with the device: printround queue %s shows it", id, took, o.State, r.named())
}
