package lab

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/OpenPrinting/goipp"
)

// cancelJob answers Cancel-Job (RFC 8011 section 4.3.3): a job that came to its
// end cannot be canceled, one that is not there is not found. The lab lets
// everybody cancel.
func (d *machine) cancelJob(request *goipp.Message, since time.Duration) *goipp.Message {
	id, known := jobID(request)
	is := func(j job) bool { return known && j.id == id }
	if slices.ContainsFunc(d.finished, is) {
		return response(request, goipp.StatusErrorNotPossible, "the job has ended")
	}
	i := slices.IndexFunc(d.jobs, is)
	if i < 0 {
		return response(request, goipp.StatusErrorNotFound, "no such job")
	}
	j := &d.jobs[i]
	j.state, j.reasons, j.ended = jobCanceled, []string{"job-canceled-by-user"}, -since
	d.finish(i)
	return response(request, goipp.StatusOk, "")
}

// jobID is the job that a request is about: job-id, or the end of job-uri.
func jobID(request *goipp.Message) (id int, ok bool) {
	if v := find(request.Operation, "job-id"); len(v) > 0 {
		if n, is := v[0].V.(goipp.Integer); is {
			return int(n), true
		}
	}
	uri := text(request.Operation, "job-uri")
	_, err := fmt.Sscanf(uri[strings.LastIndexByte(uri, '/')+1:], "%d", &id)
	return id, err == nil
}

// identifyActions is identify-actions-supported (PWG 5100.13 section 5.4.5):
// machines with a panel of several lines can be found by it, the simplest ones
// cannot.
func (d *machine) identifyActions() []string {
	switch {
	case d.Lines >= 4:
		return []string{"flash", "sound", "display"}
	case d.Lines >= 2:
		return []string{"flash", "display"}
	}
	return nil
}

// opIdentify is Identify-Printer (PWG 5100.13 section 4.1.1).
const opIdentify = 0x003c

// identify answers Identify-Printer; actions that the machine has not got are
// refused, none named means its own choice.
func (d *machine) identify(request *goipp.Message) *goipp.Message {
	have := d.identifyActions()
	if have == nil {
		return response(request, goipp.StatusErrorOperationNotSupported, "not supported")
	}
	var actions []string
	for _, v := range find(request.Operation, "identify-actions") {
		a := v.V.String()
		if !slices.Contains(have, a) {
			return response(request, goipp.StatusErrorAttributesOrValues, "identify-actions")
		}
		actions = append(actions, a)
	}
	if len(actions) == 0 {
		actions = have[:1]
	}
	d.identified = actions
	return response(request, goipp.StatusOk, "")
}

// Asked counts the IPP operations that arrived, by name.
func (l *Lab) Asked() map[string]int {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := map[string]int{}
	for name, n := range l.asked {
		out[name] = n
	}
	return out
}

// Identified is what a printer was last asked to show itself by.
func (l *Lab) Identified(name string) []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	if _, d := l.machine(name); d != nil {
		return slices.Clone(d.identified)
	}
	return nil
}
