package ipp

import (
	"context"
	"errors"
	"net"
	"strings"
	"time"
)

// Options are what asking needs.
type Options struct {
	Timeout time.Duration // for connecting, for TLS and for the first octet of an answer each; > 0
	Retries int           // further tries when a connection closes before the answer, >= 0
	Dial    func(ctx context.Context, network, address string) (net.Conn, error)
	Log     func(string) // lines without secrets; may be nil
}

// maxHeader bounds the header of an HTTP response, in octets.
const maxHeader = 64 << 10

// Session asks one printer. It keeps one connection for all its requests and is
// for one goroutine.
type Session struct {
	line    *Line
	own     bool // the line is of this session alone
	t       Target
	o       Options
	version uint16
	id      uint32
	at      endpoint // where the printer answered
}

// Answer is a decoded response.
type Answer struct {
	*Message
	URI        string // where it came from, an ipp or ipps URI with the address in it
	Incomplete error  // nil: decoded to its end; else what is there came before this
}

// Open prepares to ask the printer; it sends nothing.
func Open(t Target, o Options) *Session {
	s := NewLine(t.Addr, o).Open(t)
	s.own = true
	return s
}

// Close ends the connection, unless others share it.
func (s *Session) Close() {
	if s.own {
		s.line.Close()
	}
}

// TLS returns what the device showed of its certificate, nil if the answers
// came unencrypted.
func (s *Session) TLS() *TLSInfo {
	if !s.at.secure {
		return nil
	}
	return s.line.shown(s.at.port)
}

func (s *Session) log(line string) { s.o.Log("ipp " + s.t.Addr.String() + ": " + line) }

// way is one way to reach the device.
type way struct {
	secure, inBand bool
	port           uint16
}

// ways returns the ways to try: ipps and then ipp, the other way round when TLS
// came to nothing for another printer of the device, and ipp only when the
// device announces that it has no ipps.
func (s *Session) ways() []way {
	secure, plain := way{secure: true, port: s.t.TLSPort}, way{port: s.t.Port}
	switch {
	case s.t.TLS != nil && !*s.t.TLS:
		return []way{plain}
	case s.line.failed(secure.port):
		return []way{plain, secure}
	}
	return []way{secure, plain}
}

// Printer asks for the printer's attributes, trying the ways and paths in turn
// until one answers, and remembers which. The error is the one that tells most.
func (s *Session) Printer(ctx context.Context) (*Answer, error) {
	var best error
	tried := map[way]bool{}
	for todo := s.ways(); len(todo) > 0; {
		w := todo[0]
		todo = todo[1:]
		if tried[w] {
			continue
		}
		tried[w] = true
		a, err := s.printerBy(ctx, w)
		if err == nil {
			return a, nil
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		s.log(err.Error())
		best = better(best, err)
		s.line.note(w, err)
		if errors.Is(err, ErrUpgrade) {
			todo = append(todo, way{secure: true, port: w.port}, way{secure: true, inBand: true, port: w.port})
			continue
		}
		todo = still(todo, err, w)
	}
	return nil, best
}

// still returns the ways that are worth trying after a failure: none on a host
// that does not answer or wants a password, none on a closed port, the other
// ones when only TLS or the paths failed.
func still(todo []way, err error, failed way) []way {
	var e *Error
	if !errors.As(err, &e) {
		return nil
	}
	switch {
	case e.Kind == ErrAuth, e.Kind == ErrNoRoute, e.Stage != "tls" && (e.Kind == ErrNoAnswer || isTimeout(err)):
		return nil
	case e.Kind == ErrRefused, e.Kind == ErrRawPort:
		var other []way
		for _, w := range todo {
			if w.port != failed.port {
				other = append(other, w)
			}
		}
		return other
	}
	return todo
}

// printerBy asks on every path by one way.
func (s *Session) printerBy(ctx context.Context, w way) (*Answer, error) {
	s.line.setInBand(w.inBand)
	var best error
	var missing []string
	for _, path := range s.t.paths() {
		a, at, err := s.printerAt(ctx, endpoint{secure: w.secure, port: w.port, path: path})
		if err == nil {
			s.at = at
			return s.follow(ctx, a), nil
		}
		best = better(best, err)
		if !nextPath(err) {
			return nil, err
		}
		missing = append(missing, path)
	}
	if errors.Is(best, ErrNotFound) {
		return nil, errorf("http", ErrNotFound, best, "tried %s", strings.Join(missing, ", "))
	}
	return nil, best
}

// nextPath reports whether another path may do better. On a device whose answer
// never came to its end the next one would only be waited for as long.
func nextPath(err error) bool {
	if isTimeout(err) {
		return false
	}
	for _, kind := range []error{ErrNotFound, ErrForbidden, ErrNotIPP, ErrHTTP, ErrRedirect, ErrStatus, ErrNoPrinter} {
		if errors.Is(err, kind) {
			return true
		}
	}
	return false
}

// printerAt asks one endpoint, with an older version or without a list of
// attributes if the printer does not take the request otherwise.
func (s *Session) printerAt(ctx context.Context, at endpoint) (*Answer, endpoint, error) {
	names := printerAttributes
	for {
		a, at, err := s.ask(ctx, at, getPrinterAttributes(names))
		if err != nil {
			return nil, at, err
		}
		switch status := a.Status(); {
		case status.Successful() && hasPrinter(a.Message):
			return a, at, nil
		case status.Successful():
			return nil, at, errorf("ipp", ErrNoPrinter, a.Incomplete, "the answer at %s holds none", at.path)
		case status == StatusServerErrorVersionNotSupported && s.version != version11:
			s.version = version11
		case picky(status) && names != nil:
			names = nil
		default:
			return nil, at, statusError(status, at)
		}
	}
}

func hasPrinter(m *Message) bool {
	for _, attrs := range m.All(PrinterGroup) {
		if len(attrs) > 0 {
			return true
		}
	}
	return false
}

// picky reports whether the status may be about the list of attributes.
func picky(s Status) bool {
	switch s {
	case StatusClientErrorBadRequest, StatusClientErrorAttributesOrValuesNotSupported,
		StatusClientErrorRequestEntityTooLarge, StatusClientErrorRequestValueTooLong:
		return true
	}
	return false
}

func statusError(status Status, at endpoint) error {
	kind, hint := ErrStatus, ""
	switch status {
	case StatusClientErrorNotFound, StatusClientErrorGone:
		kind = ErrNotFound
	case StatusClientErrorForbidden, StatusClientErrorNotAuthenticated, StatusClientErrorNotAuthorized:
		kind, hint = ErrAuth, "; no user name and password is sent: allow reading without, or read it over SNMP"
	case StatusServerErrorBusy, StatusServerErrorServiceUnavailable, StatusServerErrorTemporaryError:
		hint = "; ask again later"
	}
	e := errorf("ipp", kind, nil, "%s at %s%s", status, at.path, hint)
	e.Status = status
	return e
}

// follow goes to the URI that the printer names as its own when that has
// another path on the same host: a printer that answers at any path may answer
// there in full.
func (s *Session) follow(ctx context.Context, a *Answer) *Answer {
	var other *endpoint
	for _, uri := range a.First(PrinterGroup).Texts("printer-uri-supported") {
		to, ok := s.t.resolve(s.at, uri)
		if !ok {
			continue
		}
		if to.path == s.at.path {
			return a
		}
		if other == nil && to.secure == s.at.secure {
			other = &to
		}
	}
	if other == nil {
		return a
	}
	better, at, err := s.printerAt(ctx, *other)
	if err != nil {
		s.log("printer-uri-supported: " + err.Error())
		return a
	}
	s.at = at
	return better
}

// Jobs asks for the jobs that are not completed, at most MaxJobs, where the
// printer answered before. Names and owners are not even asked for unless they
// are wanted.
func (s *Session) Jobs(ctx context.Context, names, owners bool) (*Answer, error) {
	return s.JobList(ctx, jobAttributes, names, owners)
}
