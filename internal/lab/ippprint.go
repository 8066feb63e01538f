package lab

import (
	"bytes"
	"io"
	"math/rand/v2"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/OpenPrinting/goipp"
)

// taking is how a machine takes jobs.
type taking struct {
	holds    bool // every job waits for somebody to release it
	aborts   bool // every job ends with an error
	refuses  bool // takes no jobs
	password bool // wants a user name for what prints
	loses    bool // takes documents, and closes the connection instead of answering
}

// Printed is a document that a printer of the lab took, and what the job asked
// for.
type Printed struct {
	Job        int
	State      int // RFC 8011 section 5.3.7
	Name       string
	Format     string
	Document   []byte
	Media      string // media, or the name of what media-col describes
	Size       [2]int // media-size of media-col, 1/100 mm
	Source     string // media-source of media-col
	Sides      string
	ColorMode  string
	Scaling    string
	Resolution int
}

// mostPrinted is how many documents a machine keeps.
const mostPrinted = 16

// Printed lists the documents that a printer took, oldest first.
func (l *Lab) Printed(name string) []Printed {
	l.mu.Lock()
	defer l.mu.Unlock()
	n, d := l.machine(name)
	if d == nil {
		return nil
	}
	if d.flow(l.now().Sub(l.started)) {
		n.serve(l)
	}
	out := slices.Clone(d.printed)
	for i := range out {
		for _, j := range slices.Concat(d.jobs, d.finished) {
			if j.id == out[i].Job {
				out[i].State = j.state
			}
		}
	}
	return out
}

// Operations that print, by number (RFC 8011 section 5.4.15).
const (
	opPrintJob     = 0x0002
	opValidateJob  = 0x0004
	opCreateJob    = 0x0005
	opSendDocument = 0x0006
)

// operationOf is the operation of a request that is not decoded yet.
func operationOf(body []byte) int {
	if len(body) < 4 {
		return 0
	}
	return int(body[2])<<8 | int(body[3])
}

// refusedUnnamed answers what prints when a user name is wanted; false if none
// is.
func (l *Lab) refusedUnnamed(w http.ResponseWriter, n *node, d *machine, body []byte) bool {
	switch op := operationOf(body); op {
	case opPrintJob, opValidateJob, opCreateJob, opSendDocument:
		if d.taking.password {
			l.received = append(l.received, n.name+": IPP "+goipp.Op(op).String())
			w.Header().Set("WWW-Authenticate", `Basic realm="printer"`)
			http.Error(w, "a user name is wanted", http.StatusUnauthorized)
			return true
		}
	}
	return false
}

// lost reports that the connection is closed instead of an answer.
func (d *machine) lost(body []byte) bool {
	op := operationOf(body)
	return d.taking.loses && (op == opPrintJob || op == opSendDocument)
}

// createsJobs reports whether a job can be made before its document is sent;
// the simplest machines only take both at once.
func (d *machine) createsJobs() bool { return d.Lines >= 3 }

// takeJob answers the operations that print (RFC 8011 sections 4.2.1, 4.2.3,
// 4.2.4 and 4.3.1); body holds the request, with the document behind it.
func (d *machine) takeJob(body []byte, s service, since time.Duration) *goipp.Message {
	var request goipp.Message
	rest := bytes.NewReader(body)
	if err := request.Decode(rest); err != nil {
		return response(&request, goipp.StatusErrorBadRequest, "the request cannot be decoded")
	}
	document, _ := io.ReadAll(rest) // from memory
	code := int(request.Code)
	switch {
	case (code == opCreateJob || code == opSendDocument) && !d.createsJobs():
		return response(&request, goipp.StatusErrorOperationNotSupported, "not supported")
	case d.taking.refuses:
		return response(&request, goipp.StatusErrorNotAcceptingJobs, "no jobs are taken")
	case code == opSendDocument:
		return d.takeDocument(&request, document, s, since)
	}
	format := text(request.Operation, "document-format")
	if code != opCreateJob && format != "" && !slices.Contains(d.formats(), format) {
		return response(&request, goipp.StatusErrorDocumentFormatNotSupported, format)
	}
	wrong := d.unsupported(request.Job)
	if len(wrong) > 0 && fidelity(&request) {
		m := response(&request, goipp.StatusErrorAttributesOrValues, "")
		m.Unsupported = wrong
		return m
	}
	if code == opValidateJob {
		return finishTaking(&request, wrong)
	}
	if code == opPrintJob && len(document) == 0 {
		return response(&request, goipp.StatusErrorBadRequest, "no document")
	}
	j := job{id: d.nextJob(), name: text(request.Operation, "job-name"), owner: text(request.Operation, "requesting-user-name"), created: -since, pages: 1}
	if strings.HasPrefix(text(request.Job, "sides"), "two-sided") {
		j.pages = 2
	}
	p := printedOf(&request)
	p.Job = j.id
	d.printed = append(d.printed, p)
	if n := len(d.printed); n > mostPrinted {
		d.printed = slices.Delete(d.printed, 0, n-mostPrinted)
	}
	j.state, j.reasons = jobHeld, []string{"job-incoming"}
	d.jobs = append(d.jobs, j)
	if code == opPrintJob {
		d.receive(j.id, format, document, since)
	}
	return d.withJob(finishTaking(&request, wrong), j.id, s, since)
}

// takeDocument adds the document to a job that was made before.
func (d *machine) takeDocument(request *goipp.Message, document []byte, s service, since time.Duration) *goipp.Message {
	id, known := jobID(request)
	waiting := func(j job) bool { return known && j.id == id && slices.Contains(j.reasons, "job-incoming") }
	format := text(request.Operation, "document-format")
	switch {
	case !slices.ContainsFunc(d.jobs, waiting):
		return response(request, goipp.StatusErrorNotPossible, "no job waits for a document")
	case !slices.Contains(d.formats(), format):
		return response(request, goipp.StatusErrorDocumentFormatNotSupported, format)
	}
	d.receive(id, format, document, since)
	return d.withJob(response(request, goipp.StatusOk, ""), id, s, since)
}

// receive lets a job go on once its document is there.
func (d *machine) receive(id int, format string, document []byte, since time.Duration) {
	i := slices.IndexFunc(d.jobs, func(j job) bool { return j.id == id })
	for k := range d.printed {
		if d.printed[k].Job == id {
			d.printed[k].Format, d.printed[k].Document = format, document
		}
	}
	j := &d.jobs[i]
	switch {
	case d.taking.holds:
		j.reasons = []string{"job-hold-until-specified"}
	case d.taking.aborts:
		j.state, j.reasons, j.ended = jobAborted, []string{"document-format-error", "aborted-by-system"}, -since
		d.finish(i)
	default:
		j.state, j.reasons = jobPending, []string{"none"}
	}
}

// sheets is how many sheets of a job came out.
func (d *machine) sheets(j job) int {
	for _, p := range d.printed {
		if p.Job == j.id && strings.HasPrefix(p.Sides, "two-sided") {
			return (j.done + 1) / 2
		}
	}
	return j.done
}

// nextJob is a job-id that was not used before.
func (d *machine) nextJob() int {
	last := 0
	for _, j := range slices.Concat(d.jobs, d.finished) {
		last = max(last, j.id)
	}
	return last + 1
}

// withJob adds what the answer tells of a job, behind what was not supported
// (RFC 8011 section 4.2.1.2).
func (d *machine) withJob(m *goipp.Message, id int, s service, since time.Duration) *goipp.Message {
	d.flow(since)
	groups := goipp.Groups{{Tag: goipp.TagOperationGroup, Attrs: m.Operation}}
	if len(m.Unsupported) > 0 {
		groups = append(groups, goipp.Group{Tag: goipp.TagUnsupportedGroup, Attrs: m.Unsupported})
	}
	for _, j := range slices.Concat(d.jobs, d.finished) {
		if j.id == id {
			told := chooseJob(d.jobAttributes(j, s, since), []string{"job-id", "job-uri", "job-state", "job-state-reasons"})
			groups = append(groups, goipp.Group{Tag: goipp.TagJobGroup, Attrs: told})
		}
	}
	return goipp.NewMessageWithGroups(m.Version, m.Code, m.RequestID, groups)
}

func finishTaking(request *goipp.Message, wrong goipp.Attributes) *goipp.Message {
	if len(wrong) == 0 {
		return response(request, goipp.StatusOk, "")
	}
	m := response(request, goipp.StatusOkIgnoredOrSubstituted, "")
	m.Unsupported = wrong
	return m
}

// fidelity is ipp-attribute-fidelity (RFC 8011 section 4.2.1.1).
func fidelity(m *goipp.Message) bool {
	v := find(m.Operation, "ipp-attribute-fidelity")
	return len(v) > 0 && v[0].V == goipp.Value(goipp.Boolean(true))
}

// unsupported returns the job template attributes that the machine cannot do.
func (d *machine) unsupported(asked goipp.Attributes) goipp.Attributes {
	var all attrs
	d.putMedia(&all)
	d.putDefaults(&all)
	d.putPrinting(&all)
	var wrong goipp.Attributes
	for _, a := range asked {
		able := find(all.Attributes, a.Name+"-supported")
		if len(a.Values) > 0 && a.Name != "media-col" && !allows(able, a.Values[0].V) {
			wrong.Add(a)
		}
	}
	return wrong
}

// allows reports whether a value is among those supported, or in their range.
func allows(able goipp.Values, want goipp.Value) bool {
	for _, v := range able {
		r, isRange := v.V.(goipp.Range)
		n, isNumber := want.(goipp.Integer)
		if isRange && isNumber && int(n) >= r.Lower && int(n) <= r.Upper || v.V.String() == want.String() {
			return true
		}
	}
	return false
}

// printedOf reads what a job asks for.
func printedOf(m *goipp.Message) Printed {
	p := Printed{
		Name: text(m.Operation, "job-name"), Media: text(m.Job, "media"), Sides: text(m.Job, "sides"),
		ColorMode: text(m.Job, "print-color-mode"), Scaling: text(m.Job, "print-scaling"),
	}
	if v := find(m.Job, "printer-resolution"); len(v) > 0 {
		if r, ok := v[0].V.(goipp.Resolution); ok {
			p.Resolution = r.Xres
		}
	}
	if v := find(m.Job, "media-col"); len(v) > 0 {
		if c, ok := v[0].V.(goipp.Collection); ok {
			p.Source = text(goipp.Attributes(c), "media-source")
			p.Size = sizeOf(goipp.Attributes(c))
		}
	}
	return p
}

func sizeOf(col goipp.Attributes) (size [2]int) {
	v := find(col, "media-size")
	if len(v) == 0 {
		return size
	}
	c, ok := v[0].V.(goipp.Collection)
	if !ok {
		return size
	}
	for i, name := range []string{"x-dimension", "y-dimension"} {
		if d := find(goipp.Attributes(c), name); len(d) > 0 {
			if n, ok := d[0].V.(goipp.Integer); ok {
				size[i] = int(n)
			}
		}
	}
	return size
}

// putPrinting writes what a job may ask for beside what putDefaults says (PWG
// 5100.13, PWG 5102.4).
func (d *machine) putPrinting(a *attrs) {
	a.words("print-scaling-default", goipp.TagKeyword, "auto")
	a.words("print-scaling-supported", goipp.TagKeyword, "auto", "fill", "fit", "none")
	types := []string{"sgray_8"}
	if d.Color {
		types = append(types, "srgb_8")
	}
	a.words("pwg-raster-document-type-supported", goipp.TagKeyword, types...)
	r := goipp.Resolution{Xres: d.Resolution, Yres: d.Resolution, Units: goipp.UnitsDpi}
	a.put("pwg-raster-document-resolution-supported", goipp.TagResolution, r)
	if d.Duplex {
		a.words("pwg-raster-document-sheet-back", goipp.TagKeyword, "rotated")
	}
	a.words("job-creation-attributes-supported", goipp.TagKeyword, "copies", "finishings", "media", "media-col", "orientation-requested",
		"output-bin", "print-color-mode", "print-quality", "print-scaling", "printer-resolution", "sides")
	hold := "no-hold"
	if d.taking.holds {
		hold = "indefinite"
	}
	a.words("job-hold-until-default", goipp.TagKeyword, hold)
	a.words("job-hold-until-supported", goipp.TagKeyword, "no-hold", "indefinite")
}

// Ways of taking jobs, as faults: what a technician meets when a page does not
// come.
var takingFaults = []fault{
	{name: "holds-jobs", help: "every new job waits for somebody to release it", fits: hasIPP, needed: "IPP", shy: true,
		note: "holds new jobs", apply: func(d *machine, _ string, _ *rand.Rand) { d.taking.holds = true }},
	{name: "aborts-jobs", help: "every new job ends with an error in its document", fits: hasIPP, needed: "IPP", shy: true,
		note: "aborts new jobs", apply: func(d *machine, _ string, _ *rand.Rand) { d.taking.aborts = true }},
	{name: "derived-not-accepting-jobs", help: "new jobs are refused", fits: hasIPP, needed: "IPP", shy: true,
		finds: []string{"derived-not-accepting-jobs"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.taking.refuses = true }},
	{name: "asks-password", help: "printing wants a user name and password, reading does not", fits: hasIPP, needed: "IPP", shy: true,
		note: "wants a password for printing", apply: func(d *machine, _ string, _ *rand.Rand) { d.taking.password = true }},
	{name: "loses-connection", help: "closes the connection when it has taken a document, and prints it all the same", fits: hasIPP, needed: "IPP", shy: true,
		note: "closes the connection behind a document", apply: func(d *machine, _ string, _ *rand.Rand) { d.taking.loses = true }},
}
