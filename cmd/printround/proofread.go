package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"printround/internal/device"
	"printround/internal/proof"
	"printround/internal/symptom"
	"printround/internal/term"
)

// proofRead asks a person what is on a page. Answers come from standard input,
// a line each, from a terminal or not; questions go to standard error.
type proofRead struct {
	a        *app
	lines    <-chan string
	seen     []string // names of symptoms, in the order of the page
	interval *device.Repeat
}

// errNoMore means that there are no more answers.
var errNoMore = errors.New("no more answers")

func runProofRead(ctx context.Context, a *app, cmd *cobra.Command, args []string, flags *lookFlags) error {
	o, err := flags.show.options(a, cmd)
	if err != nil {
		return err
	}
	from := flags.show.from
	flags.show.from = "" // the survey is not for finding the device again
	p, err := newPlan(a, flags)
	if err != nil {
		return err
	}
	t := &triage{a: a, from: from, flags: flags, options: o}
	if len(args) > 0 {
		t.query = args[0]
	}
	defer p.close()
	devices, err := t.devices(ctx, p)
	if err != nil {
		return err
	}
	if len(devices) > 1 {
		var names []string
		for i := range devices {
			names = append(names, devices[i].Key)
		}
		return ambiguous(t.query, names)
	}
	r := &proofRead{a: a, lines: readLines(ctx, a.stdin)}
	if err := r.page(ctx, devices); err != nil && !errors.Is(err, errNoMore) {
		return err
	}
	if err := r.triage(t, p, devices); err != nil {
		return err
	}
	return end(namedStatus(devices))
}

// readLines reads in a goroutine of its own, so that Ctrl-C is not kept waiting
// for a line.
func readLines(ctx context.Context, in io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		s := bufio.NewScanner(in)
		for s.Scan() {
			select {
			case lines <- strings.TrimSpace(s.Text()):
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

func (r *proofRead) line(ctx context.Context) (string, error) {
	select {
	case s, ok := <-r.lines:
		if !ok {
			fmt.Fprintln(r.a.stderr)
			return "", errNoMore
		}
		return s, nil
	case <-ctx.Done():
		return "", context.Cause(ctx)
	}
}

func (r *proofRead) say(format string, args ...any) {
	fmt.Fprintf(r.a.stderr, format, args...)
}

// tries is how often a question is put again after an answer that cannot be
// meant.
const tries = 3

// yes asks for yes or no.
func (r *proofRead) yes(ctx context.Context, question string) (bool, error) {
	for range tries {
		r.say("%s [y/n] ", question)
		s, err := r.line(ctx)
		if err != nil {
			return false, err
		}
		switch strings.ToLower(s) {
		case "y", "yes":
			return true, nil
		case "n", "no", "":
			return false, nil
		}
	}
	return false, nil
}

// page goes through the elements.
func (r *proofRead) page(ctx context.Context, devices []device.Device) error {
	what := "the page"
	if len(devices) == 1 {
		d := devices[0]
		what = "the page of " + term.Safe(first(first(string(d.Name), string(d.Hostname)), d.Key))
	}
	r.say("About %s, element by element. Enter: as it should be. Numbers: what you see,\nsuch as 1 or 1,3. q: no more questions.\n", what)
	color, known := colored(devices)
	if !known {
		var err error
		if color, err = r.yes(ctx, "Has it patches in colour, or should it have?"); err != nil {
			return err
		}
	}
	both, err := r.yes(ctx, "Was it printed on both sides, or should it be?")
	if err != nil {
		return err
	}
	list := proof.Questions(color, both)
	for i, e := range list {
		last, err := r.element(ctx, e, i+1, len(list))
		if err != nil || last {
			return err
		}
	}
	return nil
}

// colored reports whether the device prints in colour, as its supplies tell.
func colored(devices []device.Device) (color, known bool) {
	for i := range devices {
		for _, s := range devices[i].Supplies {
			switch s.Colorant {
			case "cyan", "magenta", "yellow":
				return true, true
			case "black":
				known = true
			}
		}
	}
	return false, known
}

// element asks about one element, and whether there is no page to look at any
// further.
func (r *proofRead) element(ctx context.Context, e proof.Element, n, of int) (last bool, err error) {
	r.say("\n%d of %d: %s\n   %s\n", n, of, e.Title, e.Ask)
	for i, a := range e.Answers {
		r.say("   %2d  %s\n", i+1, a.Text)
	}
	for range tries {
		r.say("   > ")
		s, err := r.line(ctx)
		if err != nil {
			return false, err
		}
		if s == "q" {
			return true, nil
		}
		picked, err := picks(s, len(e.Answers))
		if err != nil {
			r.say("   %v\n", err)
			continue
		}
		for _, i := range picked {
			a := e.Answers[i]
			last = last || a.Last
			r.seen = appendNew(r.seen, a.Symptom)
			if a.Symptom == symptom.RepeatingMark && r.interval == nil {
				if err := r.measure(ctx); err != nil {
					return false, err
				}
			}
		}
		return last, nil
	}
	r.say("   not understood: taken as not looked at\n")
	return false, nil
}

// picks reads numbers of answers, such as 1 or 1,3; none means that all is as
// it should be.
func picks(s string, most int) ([]int, error) {
	var out []int
	for _, f := range strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ' ' }) {
		n, err := strconv.Atoi(f)
		if err != nil || n < 1 || n > most {
			return nil, fmt.Errorf("%q is none of 1 to %d", term.Safe(f), most)
		}
		if !slices.Contains(out, n-1) {
			out = append(out, n-1)
		}
	}
	return out, nil
}

// measure asks for the interval of a mark that repeats.
func (r *proofRead) measure(ctx context.Context) error {
	for range tries {
		r.say("   From one mark to the next, with its unit, such as 75.4mm or 75.4mm,150.9mm (Enter: not measured) > ")
		s, err := r.line(ctx)
		if err != nil {
			return err
		}
		if s == "" {
			return nil
		}
		mm, err := symptom.ParseInterval(s)
		if err == nil {
			if r.interval, err = symptom.Fit(mm); err == nil {
				return nil
			}
		}
		r.say("   %v\n", term.Safe(err.Error()))
	}
	return nil
}

// triage hands what was seen over, one symptom after the other.
func (r *proofRead) triage(t *triage, p *plan, devices []device.Device) error {
	return r.a.write("", func(w io.Writer) error {
		if len(r.seen) == 0 {
			_, err := fmt.Fprintln(w, "Nothing on the page is wrong. If something else is: printround symptom lists what it may be.")
			return err
		}
		if _, err := fmt.Fprintf(w, "Seen: %s\n", strings.Join(r.seen, ", ")); err != nil {
			return err
		}
		for _, name := range r.seen {
			if _, err := fmt.Fprintln(w); err != nil {
				return err
			}
			one := *t
			one.name = name
			if name == symptom.RepeatingMark {
				one.interval = r.interval
			}
			if err := one.write(w, p, devices); err != nil {
				return err
			}
		}
		return nil
	})
}
