package ipp

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http/httptrace"
	"slices"
	"sync/atomic"
	"time"

	"github.com/OpenPrinting/goipp"
	goippreq "github.com/phin1x/go-ipp"
)

// ErrUncertain is the kind of failure after which nobody knows whether the
// printer did what it was told: the request may have arrived, and no answer
// came.
var ErrUncertain = errors.New("outcome unknown")

// Command is a request that makes a printer do something.
type Command struct {
	Code      int16            // operation-id
	Operation goipp.Attributes // behind charset, language, target and user
	Job       goipp.Attributes // job template attributes; may be empty
	Document  []byte           // follows the message; may be empty
	Wait      time.Duration    // the longest that sending and answering may take, > 0
}

// Operate sends a request that makes the printer do something, once, over a
// connection of its own, to the place where Printer found it: no redirect is
// followed and nothing is sent again. An answer of any status is no error. An
// error of kind ErrUncertain means that the request may have arrived; after any
// other it did not come to pass.
func (s *Session) Operate(ctx context.Context, r Command) (*Answer, error) {
	a, err := s.operate(ctx, r)
	if err == nil && a.Status() == StatusServerErrorVersionNotSupported && s.version != version11 {
		// Refused before anything came of it (RFC 8011 section 4.1.8).
		s.version = version11
		a, err = s.operate(ctx, r)
	}
	return a, err
}

func (s *Session) operate(ctx context.Context, r Command) (*Answer, error) {
	message, err := s.operation(r)
	if err != nil {
		return nil, err
	}
	// The transport would send again what it sent over a connection that had
	// been used before and was closed; a new one it never repeats.
	s.line.http.CloseIdleConnections()
	ctx, cancel := context.WithTimeout(ctx, r.Wait)
	defer cancel()
	var sent atomic.Bool
	ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{WroteHeaders: func() { sent.Store(true) }})
	req, err := s.newPost(ctx, s.at, io.MultiReader(bytes.NewReader(message), bytes.NewReader(r.Document)))
	if err != nil {
		return nil, err
	}
	req.ContentLength = int64(len(message) + len(r.Document))
	resp, err := s.line.http.Do(req)
	if err != nil {
		if !sent.Load() {
			return nil, s.httpError(err, s.at)
		}
		return nil, uncertain(err, s.at.port)
	}
	defer func() { _ = resp.Body.Close() }()
	rep := &reply{status: resp.StatusCode, header: resp.Header}
	if isRedirect(rep.status) {
		return nil, errorf("http", ErrRedirect, nil, "HTTP %d at %s: the device sends jobs elsewhere, and that is not followed", rep.status, s.at.path)
	}
	rep.body, rep.bodyErr = readBody(resp)
	a, err := s.read(rep, s.at)
	if err != nil && (rep.status < 300 || rep.status >= 500) {
		return nil, uncertain(err, s.at.port)
	}
	return a, err
}

// operation encodes the message in the order of RFC 8011 section 4.1.4:
// charset, language, target, user, the rest.
func (s *Session) operation(r Command) ([]byte, error) {
	s.id++
	m := goipp.NewRequest(goipp.Version(s.version), goipp.Op(uint16(r.Code)), s.id)
	m.Operation.Add(goipp.MakeAttribute(goippreq.AttributeCharset, goipp.TagCharset, goipp.String(goippreq.Charset)))
	m.Operation.Add(goipp.MakeAttribute(goippreq.AttributeNaturalLanguage, goipp.TagLanguage, goipp.String(naturalLanguage)))
	m.Operation.Add(goipp.MakeAttribute(goippreq.AttributePrinterURI, goipp.TagURI, goipp.String(s.t.printerURI(s.at))))
	m.Operation = append(m.Operation, withUser(r.Operation)...)
	m.Job = r.Job
	return m.EncodeBytes()
}

// withUser puts the user first, or behind the job that is the target (RFC 8011
// section 4.3).
func withUser(attrs goipp.Attributes) goipp.Attributes {
	at := 0
	if len(attrs) > 0 && attrs[0].Name == goippreq.AttributeJobID {
		at = 1
	}
	return slices.Insert(slices.Clone(attrs), at, goipp.MakeAttribute(goippreq.AttributeRequestingUserName, goipp.TagName, goipp.String(userName)))
}

func uncertain(err error, port uint16) error {
	var known *Error
	switch {
	case errors.Is(err, context.Canceled):
		return errorf("http", ErrUncertain, err, "stopped while TCP port %d was being sent to", port)
	case isTimeout(err):
		return errorf("http", ErrUncertain, err, "TCP port %d took the request or part of it and gave no answer in time", port)
	case isClosed(err):
		return errorf("http", ErrUncertain, err, "TCP port %d closed the connection before its answer", port)
	case errors.As(err, &known):
		return errorf("http", ErrUncertain, err, "%s", known.Detail)
	}
	return errorf("http", ErrUncertain, err, "TCP port %d: %s", port, rootText(err))
}
