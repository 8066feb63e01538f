package ipp

import (
	"context"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

func quiet() *log.Logger { return log.New(io.Discard, "", 0) }

// One connection serves the printer's attributes and its jobs.
func TestOneConnection(t *testing.T) {
	d, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { printer(w, m) })
	s := open(t, target, long, 0)
	mustFind(t, s)
	if _, err := s.Jobs(t.Context(), true, false); err != nil {
		t.Fatal(err)
	}
	if n, _ := d.counts(); n != 1 {
		t.Errorf("%d connections, want 1", n)
	}
	want := []uint16{0x000b, 0x000a} // Get-Printer-Attributes, Get-Jobs
	for i, r := range d.requests {
		// Nothing that old HTTP servers in printers do not know.
		for name := range r.headers {
			if name != "Content-Type" && name != "Content-Length" && name != "User-Agent" {
				t.Errorf("header %s is sent", name)
			}
		}
		if r.operation != want[i] {
			t.Errorf("operation %04x, want %04x", r.operation, want[i])
		}
	}
	var asked []string
	for _, a := range d.requests[1].request.Operation {
		if a.Name == "requested-attributes" {
			for _, v := range a.Values {
				asked = append(asked, v.V.String())
			}
		}
	}
	if !slices.Contains(asked, "job-name") || slices.Contains(asked, "job-originating-user-name") {
		t.Errorf("job attributes asked for: %v", asked)
	}
}

// 403 or a printer that is not there on one path does not end the search.
func TestNextPathAfterForbidden(t *testing.T) {
	_, target := plainServer(t, func(w http.ResponseWriter, r *http.Request, m *goipp.Message) {
		switch r.URL.Path {
		case "/ipp/print":
			w.WriteHeader(http.StatusForbidden)
		case "/ipp/printer":
			answer(w, m, goipp.StatusErrorNotFound)
		default:
			printer(w, m)
		}
	})
	if a := mustFind(t, open(t, target, long, 0)); !strings.HasSuffix(a.URI, "/ipp") {
		t.Errorf("URI %s", a.URI)
	}
}

// Silent and closed ports cost one wait, not one for each path and protocol.
func TestSilence(t *testing.T) {
	tests := []struct {
		name  string
		dial  error
		kind  error
		stage string
	}{
		{"refused", syscall.ECONNREFUSED, ErrRefused, "tcp"},
		{"no answer", os.ErrDeadlineExceeded, ErrNoAnswer, "tcp"},
		{"no route", syscall.EHOSTUNREACH, ErrNoRoute, "route"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := &countingDialer{err: tt.dial}
			s := Open(withTLS(Target{Addr: netipLoopback, Port: 631}), Options{Timeout: long, Retries: 3, Dial: d.dial})
			_, err := s.Printer(t.Context())
			var e *Error
			if !errors.As(err, &e) || !errors.Is(err, tt.kind) || e.Stage != tt.stage {
				t.Errorf("got %v", err)
			}
			if d.n != 1 {
				t.Errorf("%d connects, want 1", d.n)
			}
		})
	}
	t.Run("refused on the port of ipps alone", func(t *testing.T) {
		d, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { printer(w, m) })
		target.TLS, target.TLSPort = nil, freePort(t)
		mustFind(t, open(t, target, long, 0))
		if n, _ := d.counts(); n != 1 {
			t.Errorf("%d connections", n)
		}
	})
	t.Run("connects and says nothing", func(t *testing.T) {
		stop := make(chan struct{})
		accepted := make(chan int, 10)
		target := rawServer(t, func(n int, _ net.Conn) { accepted <- n; <-stop })
		defer close(stop)
		_, err := open(t, withTLS(target), 50*time.Millisecond, 2).Printer(t.Context())
		if !errors.Is(err, ErrNoAnswer) {
			t.Errorf("got %v", err)
		}
		if n := len(accepted); n != 2 { // TLS, then plain
			t.Errorf("%d connections, want 2", n)
		}
	})
}

// Printers that take no requests of version 2.0, or no list of attributes, are
// asked in their way (RFC 8011 appendix B.1.5.4, section 4.2.5.1).
func TestOlderPrinters(t *testing.T) {
	d, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
		list := slices.ContainsFunc(m.Operation, func(a goipp.Attribute) bool { return a.Name == "requested-attributes" })
		switch {
		case m.Version != goipp.MakeVersion(1, 1):
			answer(w, m, goipp.StatusErrorVersionNotSupported)
		case list:
			answer(w, m, goipp.StatusErrorBadRequest)
		default:
			printer(w, m)
		}
	})
	mustFind(t, open(t, target, long, 0))
	if len(d.requests) != 3 {
		t.Errorf("%d requests, want 3", len(d.requests))
	}
}

// Status 0x0001 is a success (RFC 8011 appendix B.1.2.2).
func TestIgnoredAttributesAreSuccess(t *testing.T) {
	_, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
		answer(w, m, goipp.StatusOkIgnoredOrSubstituted, keyword("printer-name", "found"))
	})
	if a := mustFind(t, open(t, target, long, 0)); a.Status() != StatusSuccessfulOkIgnoredOrSubstitutedAttributes {
		t.Errorf("status %v", a.Status())
	}
}

// Cancelling ends the wait at once.
func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	stop := make(chan struct{})
	target := rawServer(t, func(int, net.Conn) { cancel(); <-stop })
	defer close(stop)
	if _, err := open(t, withTLS(target), time.Hour, 5).Printer(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}
