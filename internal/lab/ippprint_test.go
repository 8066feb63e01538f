package lab

import (
	"bytes"
	"fmt"
	"net/http"
	"testing"

	"github.com/OpenPrinting/goipp"
)

// send posts a request with a document behind it.
func send(t *testing.T, d Device, op goipp.Op, document string, change func(*goipp.Message)) *goipp.Message {
	t.Helper()
	m := ippRequest(op, "ipp://h/ipp/print")
	m.Operation.Add(goipp.MakeAttribute("document-format", goipp.TagMimeType, goipp.String("application/pdf")))
	if change != nil {
		change(m)
	}
	b, err := m.EncodeBytes()
	if err != nil {
		t.Fatal(err)
	}
	code, body := post(t, d, "http", append(b, document...))
	var r goipp.Message
	if err := r.DecodeBytes(body); err != nil || code != http.StatusOK {
		t.Fatalf("%s: HTTP %d, %v", op, code, err)
	}
	return &r
}

func word(name, value string) goipp.Attribute {
	return goipp.MakeAttribute(name, goipp.TagKeyword, goipp.String(value))
}

// TestTakingJobs follows RFC 8011 sections 4.2.1, 4.2.3, 4.2.4 and 4.3.1.
func TestTakingJobs(t *testing.T) {
	l := start(t, Options{Clean: true, NoMDNS: true})
	d := named(t, l, "copy-1")
	for _, c := range []struct {
		what   string
		op     goipp.Op
		change func(*goipp.Message)
		want   goipp.Status
	}{
		{"another format", goipp.OpValidateJob, func(m *goipp.Message) { m.Operation[3].Values[0].V = goipp.String("text/html") }, goipp.StatusErrorDocumentFormatNotSupported},
		{"no document", goipp.OpPrintJob, nil, goipp.StatusErrorBadRequest},
		{"supported", goipp.OpValidateJob, func(m *goipp.Message) { m.Job.Add(word("sides", "two-sided-long-edge")) }, goipp.StatusOk},
		{"ignored", goipp.OpValidateJob, func(m *goipp.Message) { m.Job.Add(word("sides", "three-sided")) }, goipp.StatusOkIgnoredOrSubstituted},
		{"not ignored", goipp.OpValidateJob, func(m *goipp.Message) {
			m.Operation.Add(goipp.MakeAttribute("ipp-attribute-fidelity", goipp.TagBoolean, goipp.Boolean(true)))
			m.Job.Add(word("media", "papyrus"))
		}, goipp.StatusErrorAttributesOrValues},
		{"a document for no job", goipp.OpSendDocument, func(m *goipp.Message) {
			m.Operation.Add(goipp.MakeAttribute("job-id", goipp.TagInteger, goipp.Integer(9)))
		}, goipp.StatusErrorNotPossible},
	} {
		t.Run(c.what, func(t *testing.T) {
			r := send(t, d, c.op, "", c.change)
			if goipp.Status(r.Code) != c.want {
				t.Errorf("got %s, want %s", goipp.Status(r.Code), c.want)
			}
			if (c.want == goipp.StatusOkIgnoredOrSubstituted || c.want == goipp.StatusErrorAttributesOrValues) && len(r.Unsupported) != 1 {
				t.Errorf("not supported: %v", r.Unsupported)
			}
		})
	}
	if got := l.Printed("copy-1"); len(got) != 0 {
		t.Errorf("nothing was to be printed, but %v", got)
	}
	t.Run("printed", func(t *testing.T) {
		r := send(t, d, goipp.OpPrintJob, "%PDF", func(m *goipp.Message) { m.Job.Add(word("sides", "two-sided-long-edge")) })
		got := l.Printed("copy-1")
		if goipp.Status(r.Code) != goipp.StatusOk || len(r.Job) == 0 || len(got) != 1 || string(got[0].Document) != "%PDF" || got[0].Sides != "two-sided-long-edge" {
			t.Errorf("%s: %v, printed %v", goipp.Status(r.Code), r.Job, got)
		}
	})
}

// TestWaysOfTaking: each way in which a page does not come.
func TestWaysOfTaking(t *testing.T) {
	l := start(t, Options{Clean: true, NoMDNS: true})
	d := named(t, l, "copy-1")
	for fault, want := range map[string]struct {
		status goipp.Status
		state  int
	}{
		"holds-jobs":                 {goipp.StatusOk, jobHeld},
		"aborts-jobs":                {goipp.StatusOk, jobAborted},
		"derived-not-accepting-jobs": {goipp.StatusErrorNotAcceptingJobs, 0},
		"media-empty":                {goipp.StatusOk, jobPending},
	} {
		t.Run(fault, func(t *testing.T) {
			if err := l.Change("copy-1", fault); err != nil {
				t.Fatal(err)
			}
			r := send(t, d, goipp.OpPrintJob, "%PDF", nil)
			got := l.Printed("copy-1")
			if goipp.Status(r.Code) != want.status || (want.state == 0) != (len(got) == 0) || len(got) > 0 && got[0].State != want.state {
				t.Errorf("%s, printed %v", goipp.Status(r.Code), got)
			}
		})
	}
	t.Run("asks-password", func(t *testing.T) {
		if err := l.Change("copy-1", "asks-password"); err != nil {
			t.Fatal(err)
		}
		b, err := ippRequest(goipp.OpPrintJob, "ipp://h/ipp/print").EncodeBytes()
		if err != nil {
			t.Fatal(err)
		}
		if code, _ := post(t, d, "http", b); code != http.StatusUnauthorized {
			t.Errorf("HTTP %d", code)
		}
	})
	t.Run("loses-connection", func(t *testing.T) {
		if err := l.Change("copy-1", "loses-connection"); err != nil {
			t.Fatal(err)
		}
		m := ippRequest(goipp.OpPrintJob, "ipp://h/ipp/print")
		m.Operation.Add(goipp.MakeAttribute("document-format", goipp.TagMimeType, goipp.String("application/pdf")))
		b, err := m.EncodeBytes()
		if err != nil {
			t.Fatal(err)
		}
		resp, err := http.Post(fmt.Sprintf("http://%s:%d%s", d.Addr, d.IPPPort, d.IPPPath), "application/ipp", bytes.NewReader(append(b, "%PDF"...)))
		if err == nil {
			resp.Body.Close()
			t.Errorf("an answer: HTTP %d", resp.StatusCode)
		}
		if got := l.Printed("copy-1"); len(got) != 1 {
			t.Errorf("printed %v", got)
		}
	})
}
