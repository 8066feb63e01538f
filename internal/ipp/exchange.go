package ipp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"

	goippreq "github.com/phin1x/go-ipp"
)

// maxHops is how many redirects of one request are followed.
const maxHops = 4

// exchangeTimeouts is how many timeouts a whole exchange may take: connect, TLS
// and the first octet of the answer have one each, and a long answer over a
// slow link one more.
const exchangeTimeouts = 4

// maxDrained bounds what is read of a body that nobody needs, in octets.
const maxDrained = 16 << 10

// reply is an HTTP response with as much of its body as came.
type reply struct {
	status  int
	header  http.Header
	body    []byte
	bodyErr error // nil: the body came whole
}

// ask sends the request to the endpoint, follows redirects that stay on the
// same host, and decodes the answer. It returns where the answer came from.
func (s *Session) ask(ctx context.Context, at endpoint, r request) (*Answer, endpoint, error) {
	seen := map[endpoint]bool{}
	for range maxHops + 1 {
		seen[at] = true
		rep, err := s.postAgain(ctx, at, r)
		if err != nil {
			return nil, at, err
		}
		if !isRedirect(rep.status) {
			a, err := s.read(rep, at)
			return a, at, err
		}
		next, ok := s.t.resolve(at, rep.header.Get("Location"))
		switch {
		case !ok:
			return nil, at, errorf("http", ErrRedirect, nil, "HTTP %d to another host, port or scheme (%s)", rep.status, ascii(rep.header.Get("Location"), 80))
		case seen[next]:
			return nil, at, errorf("http", ErrRedirect, nil, "HTTP %d in a circle at %s", rep.status, next.path)
		}
		s.log("redirected to " + s.t.printerURI(next))
		at = next
	}
	return nil, at, errorf("http", ErrRedirect, nil, "more than %d redirects in a row", maxHops)
}

func isRedirect(status int) bool {
	switch status {
	case http.StatusMovedPermanently, http.StatusFound, http.StatusTemporaryRedirect, http.StatusPermanentRedirect:
		return true
	}
	return false
}

// postAgain posts until the connection is not closed before the answer, at
// most Retries more times. A timeout is not repeated: on a silent port that
// would only multiply the waiting.
func (s *Session) postAgain(ctx context.Context, at endpoint, r request) (*reply, error) {
	for try := 0; ; try++ {
		rep, err := s.post(ctx, at, r)
		if err == nil || !errors.Is(err, ErrClosed) || try >= s.o.Retries || ctx.Err() != nil {
			return rep, err
		}
		s.log("connection closed before the answer, asking again")
	}
}

func (s *Session) post(ctx context.Context, at endpoint, r request) (*reply, error) {
	s.id++
	body, err := r.encode(s.version, s.id, s.t.printerURI(at))
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, exchangeTimeouts*s.o.Timeout)
	defer cancel()
	req, err := s.newPost(ctx, at, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	// Reading may be repeated; an empty value tells only the transport so.
	req.Header["Idempotency-Key"] = []string{}
	resp, err := s.line.http.Do(req)
	if err != nil {
		return nil, s.httpError(err, at)
	}
	defer func() { _ = resp.Body.Close() }()
	rep := &reply{status: resp.StatusCode, header: resp.Header}
	if isRedirect(rep.status) {
		// Read to its end, the connection can be used again.
		_, _ = io.CopyN(io.Discard, resp.Body, maxDrained)
		return rep, nil
	}
	rep.body, rep.bodyErr = readBody(resp)
	return rep, nil
}

// newPost makes the HTTP request that carries a message.
func (s *Session) newPost(ctx context.Context, at endpoint, message io.Reader) (*http.Request, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.t.httpURL(at), message)
	if err != nil {
		return nil, err
	}
	req.Header.Set("Content-Type", goippreq.ContentTypeIPP)
	req.Header.Set("User-Agent", userName)
	return req, nil
}

// httpError turns a failed exchange into an Error. Errors of connecting and of
// TLS are Errors already.
func (s *Session) httpError(err error, at endpoint) error {
	var known *Error
	switch {
	case errors.As(err, &known):
		return known
	case errors.Is(err, context.Canceled):
		return context.Canceled
	case isTimeout(err):
		return errorf("http", ErrNoAnswer, err, "TCP port %d connected but did not answer HTTP within %s", at.port, s.o.Timeout)
	case isClosed(err):
		return errorf("http", ErrClosed, err, "TCP port %d closed the connection before its answer", at.port)
	}
	return errorf("http", ErrNotHTTP, err, "TCP port %d answers with something else: no IPP printer there", at.port)
}

// read judges an HTTP response and decodes the message in it.
func (s *Session) read(rep *reply, at endpoint) (*Answer, error) {
	switch rep.status {
	case http.StatusUnauthorized, http.StatusProxyAuthRequired:
		return nil, errorf("http", ErrAuth, nil, "HTTP %d at %s: the device wants a user name and password for IPP, and none is sent; allow reading without one, or read it over SNMP", rep.status, at.path)
	case http.StatusForbidden:
		return nil, errorf("http", ErrForbidden, rep.bodyErr, "HTTP 403 at %s: the device's access list may leave this computer out", at.path)
	case http.StatusUpgradeRequired:
		return nil, errorf("http", ErrUpgrade, nil, "HTTP 426 at %s: the device answers over TLS only", at.path)
	}
	if !looksIPP(rep) {
		return nil, notIPP(rep, at)
	}
	if errors.Is(rep.bodyErr, errCoding) {
		return nil, errorf("http", ErrNotIPP, rep.bodyErr, "%v at %s", rep.bodyErr, at.path)
	}
	m, err := Decode(rep.body)
	switch {
	case m == nil:
		return nil, errorf("ipp", ErrNotIPP, errors.Join(err, rep.bodyErr), "the answer at %s has %d octets, too few for IPP", at.path, len(rep.body))
	case m.Version>>8 != 1 && m.Version>>8 != 2: // RFC 8011 section 4.1.8; there is no other
		return nil, errorf("ipp", ErrNotIPP, rep.bodyErr, "the answer at %s says that it is IPP and is not", at.path)
	case err != nil && rep.bodyErr != nil && !errors.Is(err, rep.bodyErr):
		err = fmt.Errorf("%w; %w", err, rep.bodyErr)
	}
	return &Answer{Message: m, URI: s.t.printerURI(at), Incomplete: err}, nil
}

// looksIPP reports whether a response may hold an IPP message: it says so, or
// it says nothing else and begins with a known version.
func looksIPP(rep *reply) bool {
	kind := mediaType(rep)
	if kind == goippreq.ContentTypeIPP {
		return true
	}
	if rep.status >= 300 || strings.HasPrefix(kind, "text/") {
		return false
	}
	return len(rep.body) >= headerSize && (rep.body[0] == 1 || rep.body[0] == 2) && rep.body[1] <= 9
}

func mediaType(rep *reply) string {
	kind, _, err := mime.ParseMediaType(rep.header.Get("Content-Type"))
	if err != nil {
		return ""
	}
	return ascii(kind, 60)
}

func notIPP(rep *reply, at endpoint) error {
	kind := mediaType(rep)
	if kind == "" {
		kind = "no content type"
	}
	switch {
	case rep.status == http.StatusNotFound || rep.status == http.StatusGone:
		return errorf("http", ErrNotFound, rep.bodyErr, "HTTP %d at %s", rep.status, at.path)
	case rep.status >= 300:
		return errorf("http", ErrHTTP, rep.bodyErr, "HTTP %d at %s", rep.status, at.path)
	case rep.bodyErr != nil && len(rep.body) == 0 && isTimeout(rep.bodyErr):
		return errorf("http", ErrNoAnswer, rep.bodyErr, "the answer at %s never came", at.path)
	case len(rep.body) == 0:
		return errorf("http", ErrNotIPP, rep.bodyErr, "an empty answer at %s", at.path)
	}
	return errorf("http", ErrNotIPP, rep.bodyErr, "TCP port %d answers HTTP with %s at %s: a web server, no IPP printer", at.port, kind, at.path)
}
