package act

import (
	"bytes"
	"errors"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"

	"printround/internal/ipp"
)

// box is a printer that answers as its table says and remembers what came.
type box struct {
	mu     sync.Mutex
	ops    []goipp.Op
	last   goipp.Message
	body   []byte
	attrs  goipp.Attributes
	answer map[goipp.Op]func(w http.ResponseWriter, m *goipp.Message)
}

func (b *box) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	var m goipp.Message
	rest := bytes.NewReader(body)
	if err := m.Decode(rest); err != nil {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	document, _ := io.ReadAll(rest)
	op := goipp.Op(m.Code)
	b.mu.Lock()
	if op != goipp.OpGetPrinterAttributes {
		b.ops, b.last, b.body = append(b.ops, op), m, document
	}
	b.mu.Unlock()
	if f := b.answer[op]; f != nil {
		f(w, &m)
		return
	}
	job := goipp.Attributes{goipp.MakeAttribute("job-id", goipp.TagInteger, goipp.Integer(17))}
	switch op {
	case goipp.OpGetPrinterAttributes:
		b.reply(w, &m, goipp.StatusOk, goipp.TagPrinterGroup, b.attrs)
	default:
		b.reply(w, &m, goipp.StatusOk, goipp.TagJobGroup, job)
	}
}

func (b *box) reply(w http.ResponseWriter, m *goipp.Message, status goipp.Status, tag goipp.Tag, attrs goipp.Attributes) {
	groups := goipp.Groups{{Tag: goipp.TagOperationGroup, Attrs: goipp.Attributes{
		goipp.MakeAttribute("attributes-charset", goipp.TagCharset, goipp.String("utf-8")),
		goipp.MakeAttribute("attributes-natural-language", goipp.TagLanguage, goipp.String("en")),
	}}}
	if attrs != nil {
		groups = append(groups, goipp.Group{Tag: tag, Attrs: attrs})
	}
	out, err := goipp.NewMessageWithGroups(goipp.DefaultVersion, goipp.Code(status), m.RequestID, groups).EncodeBytes()
	if err != nil {
		panic(err)
	}
	w.Header().Set("Content-Type", "application/ipp")
	_, _ = w.Write(out)
}

func (b *box) refuse(status goipp.Status) func(http.ResponseWriter, *goipp.Message) {
	return func(w http.ResponseWriter, m *goipp.Message) { b.reply(w, m, status, 0, nil) }
}

func hangUp(http.ResponseWriter, *goipp.Message) { panic(http.ErrAbortHandler) }

// operations is operations-supported.
func operations(ops ...goipp.Op) goipp.Attributes {
	a := goipp.Attribute{Name: "operations-supported"}
	for _, op := range ops {
		a.Values.Add(goipp.TagEnum, goipp.Integer(op))
	}
	return goipp.Attributes{goipp.MakeAttribute("printer-name", goipp.TagName, goipp.String("box")), a}
}

var both = operations(goipp.OpPrintJob, goipp.OpValidateJob, goipp.OpCreateJob, goipp.OpSendDocument)

func opened(t *testing.T, b *box) *Printer {
	t.Helper()
	s := httptest.NewUnstartedServer(b)
	s.Config.ErrorLog = log.New(io.Discard, "", 0)
	s.Start()
	t.Cleanup(s.Close)
	p, err := Open(t.Context(), "ipp://"+s.Listener.Addr().String()+"/ipp/print", ipp.Options{Timeout: 5 * time.Second, Retries: 3})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Close)
	return p
}

// A page is sent by Create-Job and Send-Document where both are listed, else by
// Print-Job, and never twice: not when the connection is lost, not when it is
// refused.
func TestPrint(t *testing.T) {
	create, send, print := goipp.OpCreateJob, goipp.OpSendDocument, goipp.OpPrintJob
	type answers = map[goipp.Op]func(http.ResponseWriter, *goipp.Message)
	var b *box
	tests := []struct {
		name      string
		attrs     goipp.Attributes
		answer    func() answers
		ops       []goipp.Op
		id        int
		fails     bool
		uncertain bool
	}{
		{name: "both listed", attrs: both, ops: []goipp.Op{create, send}, id: 17},
		{name: "only Print-Job", attrs: operations(print), ops: []goipp.Op{print}, id: 17},
		{name: "nothing listed", attrs: both[:1], ops: []goipp.Op{print}, id: 17},
		{name: "Create-Job listed, not there", attrs: both, answer: func() answers {
			return answers{create: b.refuse(goipp.StatusErrorOperationNotSupported)}
		}, ops: []goipp.Op{create, print}, id: 17},
		{name: "Create-Job refused", attrs: both, answer: func() answers { return answers{create: b.refuse(goipp.StatusErrorNotAcceptingJobs)} },
			ops: []goipp.Op{create}, fails: true},
		{name: "Create-Job lost: nothing can print", attrs: both, answer: func() answers { return answers{create: hangUp} }, ops: []goipp.Op{create}, fails: true},
		{name: "Send-Document lost", attrs: both, answer: func() answers { return answers{send: hangUp} }, ops: []goipp.Op{create, send}, id: 17, fails: true, uncertain: true},
		{name: "Send-Document refused", attrs: both, answer: func() answers { return answers{send: b.refuse(goipp.StatusErrorDocumentFormatNotSupported)} },
			ops: []goipp.Op{create, send}, id: 17, fails: true},
		{name: "Print-Job lost", attrs: operations(print), answer: func() answers { return answers{print: hangUp} }, ops: []goipp.Op{print}, fails: true, uncertain: true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b = &box{attrs: tt.attrs}
			if tt.answer != nil {
				b.answer = tt.answer()
			}
			p := opened(t, b)
			id, err := p.Print(t.Context(), Settings{Name: "n", Format: "application/pdf", Media: "m"}, []byte("the document"))
			if id != tt.id || (err != nil) != tt.fails || Uncertain(err) != tt.uncertain {
				t.Errorf("job %d, %v, uncertain %v", id, err, Uncertain(err))
			}
			var known *JobError
			if errors.As(err, &known) != (tt.fails && tt.id != 0) {
				t.Errorf("%#v", err)
			}
			b.mu.Lock()
			defer b.mu.Unlock()
			if !slices.Equal(b.ops, tt.ops) {
				t.Errorf("sent %v, want %v", b.ops, tt.ops)
			}
			if last := tt.ops[len(tt.ops)-1]; (last == send || last == print) && string(b.body) != "the document" {
				t.Errorf("document %q", b.body)
			}
		})
	}
}

// What a job asks for, as it arrives.
func TestSettings(t *testing.T) {
	b := &box{attrs: both}
	p := opened(t, b)
	s := Settings{Name: "n", Format: "application/pdf", Size: Size{21000, 29700}, Source: "tray-1", Sides: "one-sided", ColorMode: "color", Scaling: "none", Resolution: 600}
	if _, err := p.Validate(t.Context(), s); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, a := range slices.Concat(b.last.Operation[3:], b.last.Job) {
		got = append(got, a.Name+"="+a.Values[0].V.String())
	}
	want := "requesting-user-name=printround job-name=n document-format=application/pdf media-col={media-size={x-dimension=21000 y-dimension=29700} media-source=tray-1} " +
		"sides=one-sided print-color-mode=color print-scaling=none printer-resolution=600x600dpi"
	if strings.Join(got, " ") != want {
		t.Errorf("got  %s\nwant %s", strings.Join(got, " "), want)
	}
	t.Run("ignored", func(t *testing.T) {
		b.answer = map[goipp.Op]func(http.ResponseWriter, *goipp.Message){goipp.OpValidateJob: func(w http.ResponseWriter, m *goipp.Message) {
			b.reply(w, m, goipp.StatusOkIgnoredOrSubstituted, goipp.TagUnsupportedGroup, m.Job[:1])
		}}
		if ignored, err := p.Validate(t.Context(), s); err != nil || !slices.Equal(ignored, []string{"media-col"}) {
			t.Errorf("%v, %v", ignored, err)
		}
	})
	t.Run("refused", func(t *testing.T) {
		b.answer[goipp.OpValidateJob] = func(w http.ResponseWriter, m *goipp.Message) {
			b.reply(w, m, goipp.StatusErrorAttributesOrValues, goipp.TagUnsupportedGroup, m.Job[:1])
		}
		var r *Refusal
		if _, err := p.Validate(t.Context(), s); !errors.As(err, &r) || r.Status != ipp.StatusClientErrorAttributesOrValuesNotSupported || !slices.Equal(r.Names, []string{"media-col"}) {
			t.Errorf("%v", err)
		}
	})
}

func TestTarget(t *testing.T) {
	for uri, want := range map[string]string{
		"ipp://192.0.2.1/ipp/print":           "192.0.2.1:631 /ipp/print plain",
		"ipps://192.0.2.1:8631/ipp/print?a=b": "192.0.2.1:8631 /ipp/print?a=b any",
		"ipps://[2001:db8::1]/":               "2001:db8::1:631 / any",
	} {
		got, err := Target(uri)
		how := "any"
		if got.TLS != nil && !*got.TLS {
			how = "plain"
		}
		if text := got.Addr.String() + ":" + itoa(got.Port) + " " + got.Path + " " + how; err != nil || text != want {
			t.Errorf("%s: %s, %v", uri, text, err)
		}
	}
	for _, uri := range []string{"", "http://192.0.2.1/", "ipp://printer.example/ipp/print", "ipp://192.0.2.1:99999/", "ipp://192.0.2.1:0/", "://"} {
		if got, err := Target(uri); err == nil {
			t.Errorf("%q: %+v", uri, got)
		}
	}
}

func itoa(n uint16) string { return goipp.Integer(n).String() }

// What a printer offers, read from its attributes; what it does not say is
// empty.
func TestOffer(t *testing.T) {
	yes := goipp.Boolean(true)
	size := goipp.Collection{
		goipp.MakeAttribute("x-dimension", goipp.TagInteger, goipp.Integer(91400)),
		goipp.MakeAttribute("y-dimension", goipp.TagRange, goipp.Range{Lower: 2000, Upper: 100000}),
	}
	roll := goipp.Collection{
		goipp.MakeAttribute("media-size", goipp.TagBeginCollection, size),
		goipp.MakeAttribute("media-source", goipp.TagKeyword, goipp.String("main-roll")),
	}
	dpcm := goipp.MakeAttr("pwg-raster-document-resolution-supported", goipp.TagResolution,
		goipp.Resolution{Xres: 600, Yres: 600, Units: goipp.UnitsDpi}, goipp.Resolution{Xres: 118, Yres: 118, Units: goipp.UnitsDpcm}, goipp.Resolution{Xres: 600, Yres: 1200, Units: goipp.UnitsDpi})
	b := &box{attrs: append(slices.Clone(both),
		goipp.MakeAttribute("printer-is-accepting-jobs", goipp.TagBoolean, yes),
		goipp.MakeAttribute("media-col-ready", goipp.TagBeginCollection, roll),
		dpcm,
	)}
	o := opened(t, b).Offer()
	if o.Accepting == nil || !*o.Accepting || o.Color != nil || o.Formats != nil || !o.Can(opCreateJob) || o.Can(0x0031) {
		t.Errorf("%+v", o)
	}
	if !slices.Equal(o.RasterResolutions, []int{300, 600}) {
		t.Errorf("resolutions %v: those that differ by direction are left out, those by the centimetre are turned into inches", o.RasterResolutions)
	}
	if want := (Medium{Source: "main-roll", Width: 91400, Open: true}); len(o.Loaded) != 1 || o.Loaded[0] != want {
		t.Errorf("loaded %+v, want %+v", o.Loaded, want)
	}
}
