package ipp

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"syscall"
)

// Kinds of failure. An *Error unwraps to one of them.
var (
	ErrNoRoute   = errors.New("no route")
	ErrRefused   = errors.New("port closed")
	ErrRawPort   = errors.New("port not opened")
	ErrNoAnswer  = errors.New("no answer")
	ErrClosed    = errors.New("connection closed early")
	ErrTLS       = errors.New("TLS failed")
	ErrNotHTTP   = errors.New("not HTTP")
	ErrNotIPP    = errors.New("not IPP")
	ErrAuth      = errors.New("authentication needed")
	ErrForbidden = errors.New("access refused")
	ErrNotFound  = errors.New("no printer at this path")
	ErrUpgrade   = errors.New("TLS required")
	ErrRedirect  = errors.New("redirect not followed")
	ErrHTTP      = errors.New("HTTP error")
	ErrStatus    = errors.New("IPP error status")
	ErrNoPrinter = errors.New("no printer attributes")
)

// Error is a failed exchange.
type Error struct {
	Stage  string // how far it came: local, route, tcp, tls, http, ipp
	Kind   error  // one of the kinds above
	Detail string // what happened and what to do, in words without device text
	Status Status // of the response when Kind is ErrStatus
	Cause  error  // may be nil
}

// Error is one line: the kind and the detail.
func (e *Error) Error() string {
	if e.Detail == "" {
		return e.Kind.Error()
	}
	return e.Kind.Error() + ": " + e.Detail
}

// Unwrap returns the kind and the cause.
func (e *Error) Unwrap() []error {
	if e.Cause == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Cause}
}

// Errorf returns an Error whose detail is formatted.
func errorf(stage string, kind, cause error, format string, args ...any) *Error {
	return &Error{Stage: stage, Kind: kind, Cause: cause, Detail: fmt.Sprintf(format, args...)}
}

// stages orders how far an exchange came.
var stages = map[string]int{"local": 0, "route": 0, "tcp": 1, "tls": 2, "http": 3, "ipp": 4}

// kinds orders what is worth telling first among failures of one stage.
var kinds = []error{ErrAuth, ErrStatus, ErrForbidden, ErrUpgrade, ErrRedirect, ErrNoPrinter, ErrNotIPP, ErrNotFound, ErrHTTP}

// better returns the error that tells more: the one that came farther, else the
// one whose kind is first in the order above, else the earlier one.
func better(a, b error) error {
	var ea, eb *Error
	switch {
	case !errors.As(a, &ea):
		return b
	case !errors.As(b, &eb):
		return a
	case stages[eb.Stage] != stages[ea.Stage]:
		if stages[eb.Stage] > stages[ea.Stage] {
			return b
		}
		return a
	case rank(eb.Kind) < rank(ea.Kind):
		return b
	}
	return a
}

func rank(kind error) int {
	for i, k := range kinds {
		if k == kind {
			return i
		}
	}
	return len(kinds)
}

// dialError turns a failed connect into an Error.
func dialError(err error, port uint16, timeout fmt.Stringer) error {
	switch {
	case isTimeout(err):
		return errorf("tcp", ErrNoAnswer, err, "TCP port %d did not connect within %s: switched off, asleep, or behind a firewall", port, timeout)
	case isErrno(err, syscall.ECONNREFUSED, wsaConnRefused):
		return errorf("tcp", ErrRefused, err, "nothing listens on TCP port %d: IPP may be turned off on the device", port)
	case isErrno(err, syscall.EHOSTUNREACH, wsaHostUnreach), isErrno(err, syscall.ENETUNREACH, wsaNetUnreach):
		return errorf("route", ErrNoRoute, err, "the address cannot be reached from here: check the network and the address")
	}
	if isErrno(err, syscall.EMFILE, syscall.ENFILE) {
		return errorf("local", ErrNoRoute, err, "not asked: this system lets the program open no more files and sockets: raise that limit (ulimit -n)")
	}
	return errorf("tcp", ErrNoAnswer, err, "TCP port %d: %s", port, rootText(err))
}

// Numbers of the Windows socket errors, which differ from the portable names.
const (
	wsaNetUnreach  = syscall.Errno(10051)
	wsaConnRefused = syscall.Errno(10061)
	wsaHostUnreach = syscall.Errno(10065)
)

func isErrno(err error, any ...syscall.Errno) bool {
	var got syscall.Errno
	if !errors.As(err, &got) {
		return false
	}
	for _, e := range any {
		if got == e {
			return true
		}
	}
	return false
}

// TimedOut reports whether an error means that the device was waited for in
// vain.
func TimedOut(err error) bool { return isTimeout(err) }

func isTimeout(err error) bool {
	var t interface{ Timeout() bool }
	return errors.Is(err, context.DeadlineExceeded) || errors.As(err, &t) && t.Timeout()
}

func isClosed(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		isErrno(err, syscall.ECONNRESET, syscall.EPIPE, syscall.Errno(10053), syscall.Errno(10054))
}

// rootText is the innermost cause, which names neither URL nor address again.
func rootText(err error) string {
	for {
		next := errors.Unwrap(err)
		if next == nil {
			return ascii(err.Error(), 120)
		}
		err = next
	}
}

// ascii keeps the printable ASCII of s up to max octets: error texts can quote
// what a device sent.
func ascii(s string, max int) string {
	keep := func(r rune) rune {
		if r < 0x20 || r > 0x7e {
			return -1
		}
		return r
	}
	s = strings.Map(keep, s)
	if len(s) > max {
		s = s[:max]
	}
	return s
}
