package lab

import (
	"bytes"
	"crypto/tls"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

// post sends octets to a device's IPP service and returns HTTP status and body.
func post(t *testing.T, d Device, scheme string, body []byte) (int, []byte) {
	t.Helper()
	c := &http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{
		TLSClientConfig: &tls.Config{InsecureSkipVerify: true}, DisableKeepAlives: true}}
	r, err := c.Post(fmt.Sprintf("%s://%s:%d%s", scheme, d.Addr, d.IPPPort, d.IPPPath), "application/ipp", bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, b
}

// ippRequest begins a request as RFC 8011 section 4.1.4 wants it.
func ippRequest(op goipp.Op, uri string) *goipp.Message {
	m := goipp.NewRequest(goipp.MakeVersion(2, 0), op, 99)
	m.Operation.Add(goipp.MakeAttribute("attributes-charset", goipp.TagCharset, goipp.String("utf-8")))
	m.Operation.Add(goipp.MakeAttribute("attributes-natural-language", goipp.TagLanguage, goipp.String("en")))
	m.Operation.Add(goipp.MakeAttribute("printer-uri", goipp.TagURI, goipp.String(uri)))
	return m
}

func exchange(t *testing.T, d Device, m *goipp.Message) *goipp.Message {
	t.Helper()
	b, err := m.EncodeBytes()
	if err != nil {
		t.Fatal(err)
	}
	code, body := post(t, d, "http", b)
	var r goipp.Message
	if err := r.DecodeBytes(body); err != nil || code != http.StatusOK {
		t.Fatalf("HTTP %d, %v", code, err)
	}
	return &r
}

// TestRequestsThatAreWrong: RFC 8011 section 4.1 says which status each gets.
func TestRequestsThatAreWrong(t *testing.T) {
	l := start(t, Options{})
	d := named(t, l, "front-desk")
	good := func() *goipp.Message { return ippRequest(goipp.OpGetPrinterAttributes, "ipp://h/ipp/print") }
	for _, c := range []struct {
		what   string
		change func(*goipp.Message)
		want   goipp.Status
	}{
		{"nothing", func(*goipp.Message) {}, goipp.StatusOk},
		{"version 3.0", func(m *goipp.Message) { m.Version = goipp.MakeVersion(3, 0) }, goipp.StatusErrorVersionNotSupported},
		{"request-id 0", func(m *goipp.Message) { m.RequestID = 0 }, goipp.StatusErrorBadRequest},
		{"no charset", func(m *goipp.Message) { m.Operation = m.Operation[1:] }, goipp.StatusErrorBadRequest},
		{"another charset", func(m *goipp.Message) { m.Operation[0].Values[0].V = goipp.String("koi8-r") }, goipp.StatusErrorCharset},
		{"no target", func(m *goipp.Message) { m.Operation = m.Operation[:2] }, goipp.StatusErrorBadRequest},
		{"an operation that is not there", func(m *goipp.Message) { m.Code = goipp.Code(goipp.OpPausePrinter) }, goipp.StatusErrorOperationNotSupported},
		{"a job without a document", func(m *goipp.Message) { m.Code = goipp.Code(goipp.OpPrintJob) }, goipp.StatusErrorBadRequest},
		{"which-jobs", func(m *goipp.Message) {
			m.Code = goipp.Code(goipp.OpGetJobs)
			m.Operation.Add(goipp.MakeAttribute("which-jobs", goipp.TagKeyword, goipp.String("lost")))
		}, goipp.StatusErrorAttributesOrValues},
		{"a job that is not there", func(m *goipp.Message) {
			m.Code = goipp.Code(goipp.OpGetJobAttributes)
			m.Operation.Add(goipp.MakeAttribute("job-id", goipp.TagInteger, goipp.Integer(1)))
		}, goipp.StatusErrorNotFound},
	} {
		t.Run(c.what, func(t *testing.T) {
			m := good()
			c.change(m)
			if r := exchange(t, d, m); goipp.Status(r.Code) != c.want || r.RequestID != m.RequestID {
				t.Errorf("got %s id %d, want %s", goipp.Status(r.Code), r.RequestID, c.want)
			}
		})
	}
	if got := l.Received(); len(got) != 2 {
		t.Errorf("received %v, want the two that would change something", got)
	}
	t.Run("no IPP at all", func(t *testing.T) {
		if code, _ := post(t, Device{Addr: d.Addr, IPPPort: d.IPPPort, IPPPath: "/elsewhere"}, "http", []byte("x")); code != http.StatusNotFound {
			t.Errorf("another path: HTTP %d", code)
		}
		code, body := post(t, d, "https", []byte("not IPP"))
		var r goipp.Message
		if err := r.DecodeBytes(body); code != http.StatusOK || err != nil || goipp.Status(r.Code) != goipp.StatusErrorBadRequest {
			t.Errorf("garbage: HTTP %d, %v, %x", code, err, body)
		}
		if code, _ := post(t, d, "http", make([]byte, maxBody+1)); code != http.StatusRequestEntityTooLarge {
			t.Errorf("a huge body: HTTP %d", code)
		}
	})
}

// TestGetJobs follows RFC 8011 section 4.2.6: which jobs, how many, which
// attributes when none are asked for.
func TestGetJobs(t *testing.T) {
	l := start(t, Options{})
	d := named(t, l, "harbour-copy")
	ask := func(add ...goipp.Attribute) *goipp.Message {
		m := ippRequest(goipp.OpGetJobs, "ipp://h/ipp/print")
		for _, a := range add {
			m.Operation.Add(a)
		}
		return exchange(t, d, m)
	}
	jobs := func(m *goipp.Message) (out []goipp.Attributes) {
		for _, g := range m.Groups {
			if g.Tag == goipp.TagJobGroup {
				out = append(out, g.Attrs)
			}
		}
		return out
	}
	word := func(name, s string) goipp.Attribute {
		return goipp.MakeAttribute(name, goipp.TagKeyword, goipp.String(s))
	}
	if got := jobs(ask()); len(got) != 4 || len(got[0]) != 2 || got[0][0].Name != "job-id" || got[0][1].Name != "job-uri" {
		t.Errorf("nothing asked for: %v", got)
	}
	if got := jobs(ask(goipp.MakeAttribute("limit", goipp.TagInteger, goipp.Integer(2)))); len(got) != 2 {
		t.Errorf("limit 2: %d jobs", len(got))
	}
	if got := jobs(ask(word("which-jobs", "completed"))); len(got) != 0 {
		t.Errorf("completed: %d jobs", len(got))
	}
	got := jobs(ask(word("requested-attributes", "all")))
	names := []string{}
	for _, a := range got[0] {
		names = append(names, a.Name)
	}
	for _, want := range []string{"job-id", "job-state", "job-state-reasons", "job-impressions-completed", "time-at-processing", "job-printer-up-time"} {
		if !slices.Contains(names, want) {
			t.Errorf("all: %s is not among %v", want, names)
		}
	}
}

// TestWaste: marker-levels count how full a waste box is (CUPS Implementation
// of IPP), printer-supply the room left (PWG 5100.13, RFC 3805 section 6).
func TestWaste(t *testing.T) {
	l := start(t, Options{})
	d := named(t, l, "copy-2")
	r := exchange(t, d, ippRequest(goipp.OpGetPrinterAttributes, "ipp://h/ipp/print"))
	types, levels, supplies := find(r.Printer, "marker-types"), find(r.Printer, "marker-levels"), find(r.Printer, "printer-supply")
	if len(types) == 0 || len(types) != len(levels) || len(types) != len(supplies) {
		t.Fatalf("%d types, %d levels, %d supplies", len(types), len(levels), len(supplies))
	}
	seen := false
	for i := range types {
		if types[i].V.String() != "waste-toner" {
			continue
		}
		seen = true
		if levels[i].V != goipp.Value(goipp.Integer(100)) || !strings.Contains(string(supplies[i].V.(goipp.Binary)), ";level=0;") {
			t.Errorf("a full waste box: marker-levels %v, printer-supply %q", levels[i].V, supplies[i].V)
		}
	}
	if !seen {
		t.Error("no waste box")
	}
}

// TestNesting: collections that nest deeply are refused before they are
// decoded.
func TestNesting(t *testing.T) {
	b, err := hex.DecodeString("0200000b0000000101")
	if err != nil {
		t.Fatal(err)
	}
	open, _ := hex.DecodeString("3400016100004a0000000162")
	shallow := append(slices.Clone(b), bytes.Repeat(open, maxDepth)...)
	if tooDeep(shallow) {
		t.Error("a permitted depth is refused")
	}
	if !tooDeep(append(shallow, open...)) {
		t.Error("a greater depth is let through")
	}
}

func FuzzTooDeep(f *testing.F) {
	m, err := ippRequest(goipp.OpGetPrinterAttributes, "ipp://h/ipp/print").EncodeBytes()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(m)
	s, err := loadScenario()
	if err != nil {
		f.Fatal(err)
	}
	d := newMachine(s.model("thellmark-mx550"), loadPlace(), 1)
	l := &Lab{scenario: s, started: time.Now()}
	f.Fuzz(func(t *testing.T, b []byte) {
		var r goipp.Message
		answer := l.answerIPP(&node{name: "x"}, d, service{uris: []string{"ipp://h/ipp/print"}}, b)
		if err := r.DecodeBytes(answer); err != nil {
			t.Errorf("an answer that cannot be decoded: %v", err)
		}
	})
}
