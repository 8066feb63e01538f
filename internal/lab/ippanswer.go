package lab

import (
	"fmt"
	"io"
	"log"
	"slices"

	"github.com/OpenPrinting/goipp"
)

// quiet is a log for what clients do wrong, which is no news to the user.
func quiet() *log.Logger { return log.New(io.Discard, "", 0) }

// maxDepth is how deeply collections may nest in a request.
const maxDepth = 16

// answerIPP answers one IPP request; l.mu is held. Reading is answered;
// whatever changes the printer is recorded, and done or refused.
func (l *Lab) answerIPP(n *node, d *machine, s service, body []byte) []byte {
	var request goipp.Message
	if tooDeep(body) || request.DecodeBytes(body) != nil {
		return encode(response(&request, goipp.StatusErrorBadRequest, "the request cannot be decoded"))
	}
	if m := unacceptable(&request); m != nil {
		return encode(m)
	}
	now := l.now()
	since := now.Sub(l.started)
	if d.flow(since) {
		n.serve(l)
	}
	if l.asked == nil {
		l.asked = map[string]int{}
	}
	l.asked[goipp.Op(request.Code).String()]++
	switch goipp.Op(request.Code) {
	case goipp.OpGetPrinterAttributes:
		m := response(&request, goipp.StatusOk, "")
		all := d.printerAttributes(s, now, l.started)
		if change := d.odd.ipp.attributes; change != nil {
			all = change(all)
		}
		m.Printer = choose(all, requested(&request, "all"))
		return encode(m)
	case goipp.OpGetJobs:
		return encode(d.getJobs(&request, s, since))
	case goipp.OpGetJobAttributes:
		return encode(d.getJob(&request, s, since))
	case goipp.OpValidateJob:
		return encode(d.takeJob(body, s, since))
	}
	what := fmt.Sprintf("IPP %s", goipp.Op(request.Code))
	l.received = append(l.received, n.name+": "+what)
	switch request.Code {
	case opPrintJob, opCreateJob, opSendDocument:
		answer := d.takeJob(body, s, since)
		n.serve(l)
		return encode(answer)
	case goipp.Code(goipp.OpCancelJob):
		answer := d.cancelJob(&request, since)
		d.flow(since)
		n.serve(l)
		return encode(answer)
	case opIdentify:
		return encode(d.identify(&request))
	}
	if slices.Contains(operations, int(request.Code)) {
		return encode(response(&request, goipp.StatusErrorForbidden, "not in the lab"))
	}
	return encode(response(&request, goipp.StatusErrorOperationNotSupported, "not supported"))
}

// response begins an answer: charset, language, status message.
func response(request *goipp.Message, status goipp.Status, text string) *goipp.Message {
	version := request.Version
	if version == 0 {
		version = goipp.MakeVersion(1, 1)
	}
	m := goipp.NewResponse(version, status, request.RequestID)
	m.Operation.Add(goipp.MakeAttribute("attributes-charset", goipp.TagCharset, goipp.String("utf-8")))
	m.Operation.Add(goipp.MakeAttribute("attributes-natural-language", goipp.TagLanguage, goipp.String("en")))
	if text != "" {
		m.Operation.Add(goipp.MakeAttribute("status-message", goipp.TagText, goipp.String(text)))
	}
	return m
}

func encode(m *goipp.Message) []byte {
	b, err := m.EncodeBytes()
	if err != nil {
		panic("lab: an answer cannot be encoded: " + err.Error()) // made of our own values only
	}
	return b
}

// unacceptable checks what RFC 8011 section 4.1 asks of every request: a
// version that is spoken, a request id, charset and language first, a target.
func unacceptable(m *goipp.Message) *goipp.Message {
	switch {
	case m.Version.Major() < 1 || m.Version.Major() > 2:
		bad := response(m, goipp.StatusErrorVersionNotSupported, "IPP 1.1 and 2.0 are spoken here")
		bad.Version = goipp.MakeVersion(2, 0)
		return bad
	case m.RequestID == 0:
		return response(m, goipp.StatusErrorBadRequest, "request-id 0")
	case len(m.Operation) < 2 || m.Operation[0].Name != "attributes-charset" || m.Operation[1].Name != "attributes-natural-language":
		return response(m, goipp.StatusErrorBadRequest, "charset and language come first")
	}
	if c := text(m.Operation, "attributes-charset"); c != "utf-8" && c != "us-ascii" {
		return response(m, goipp.StatusErrorCharset, "only utf-8")
	}
	if text(m.Operation, "printer-uri") == "" && text(m.Operation, "job-uri") == "" {
		return response(m, goipp.StatusErrorBadRequest, "no printer-uri")
	}
	return nil
}

func find(as goipp.Attributes, name string) goipp.Values {
	for _, a := range as {
		if a.Name == name {
			return a.Values
		}
	}
	return nil
}

func text(as goipp.Attributes, name string) string {
	if v := find(as, name); len(v) > 0 {
		if s, ok := v[0].V.(goipp.String); ok {
			return string(s)
		}
	}
	return ""
}

// requested is requested-attributes, or what stands for it.
func requested(m *goipp.Message, standing ...string) []string {
	var out []string
	for _, v := range find(m.Operation, "requested-attributes") {
		if s, ok := v.V.(goipp.String); ok {
			out = append(out, string(s))
		}
	}
	if len(out) == 0 {
		return standing
	}
	return out
}

// jobTemplate are the attributes of the group job-template; all others of a
// printer are printer-description (RFC 8011 section 4.2.5.1).
var jobTemplate = map[string]bool{
	"copies-default": true, "copies-supported": true, "finishings-default": true, "finishings-supported": true,
	"job-sheets-default": true, "job-sheets-supported": true, "media-default": true, "media-supported": true,
	"media-ready": true, "media-col-default": true, "media-col-ready": true, "media-col-supported": true,
	"multiple-document-handling-default": true, "number-up-default": true, "number-up-supported": true,
	"orientation-requested-default": true, "orientation-requested-supported": true,
	"output-bin-default": true, "output-bin-supported": true, "print-color-mode-default": true,
	"print-color-mode-supported": true, "print-quality-default": true, "print-quality-supported": true,
	"printer-resolution-default": true, "printer-resolution-supported": true, "sides-default": true,
	"sides-supported": true,
}

// choose keeps the attributes that were asked for by name or by group.
// media-col-database comes only by name (PWG 5100.11).
func choose(all goipp.Attributes, names []string) goipp.Attributes {
	everything := slices.Contains(names, "all")
	template, described := slices.Contains(names, "job-template"), slices.Contains(names, "printer-description")
	var out goipp.Attributes
	for _, a := range all {
		byGroup := everything || jobTemplate[a.Name] && template || !jobTemplate[a.Name] && described
		if slices.Contains(names, a.Name) || byGroup && a.Name != "media-col-database" {
			out.Add(a)
		}
	}
	return out
}

// tooDeep reports that collections nest more than maxDepth in a request, which
// a recursive decoder must not be given.
func tooDeep(b []byte) bool {
	depth := 0
	for i := 8; i+1 <= len(b); {
		tag := b[i]
		i++
		if tag < 0x10 { // a delimiter has no length
			if tag == byte(goipp.TagEnd) {
				return false
			}
			continue
		}
		for range 2 { // name, value
			if i+2 > len(b) {
				return false
			}
			i += 2 + int(b[i])<<8 + int(b[i+1])
		}
		switch goipp.Tag(tag) {
		case goipp.TagBeginCollection:
			depth++
		case goipp.TagEndCollection:
			depth--
		}
		if depth > maxDepth {
			return true
		}
	}
	return false
}
