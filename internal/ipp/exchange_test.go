package ipp

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

// Bodies come whole however the server frames them (RFC 9112 section 6).
func TestFraming(t *testing.T) {
	body := func(m *goipp.Message) []byte { return response(m, goipp.StatusOk, keyword("printer-name", "found")) }
	chunked := func(b []byte) string {
		var out strings.Builder
		out.WriteString("HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nTransfer-Encoding: chunked\r\n\r\n")
		for chunk := range slices.Chunk(b, 7) {
			fmt.Fprintf(&out, "%x;ext=1\r\n%s\r\n", len(chunk), chunk)
		}
		return out.String() + "0\r\n\r\n"
	}
	tests := []struct {
		name  string
		reply func(b []byte) string
	}{
		{"content length", func(b []byte) string { return httpReply(b, len(b)) }},
		{"chunked", chunked},
		{"up to the end of the connection", func(b []byte) string {
			return "HTTP/1.0 200 OK\r\nContent-Type: application/ipp\r\n\r\n" + string(b)
		}},
		{"length too large", func(b []byte) string { return httpReply(b, len(b)+500) }},
		{"last chunk missing", func(b []byte) string { return strings.TrimSuffix(chunked(b), "0\r\n\r\n") }},
		{"100 Continue before the answer", func(b []byte) string { return "HTTP/1.1 100 Continue\r\n\r\n" + httpReply(b, len(b)) }},
		{"no content type", func(b []byte) string {
			return fmt.Sprintf("HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n%s", len(b), b)
		}},
		{"data behind the message", func(b []byte) string { return httpReply(append(b, "tail"...), len(b)+4) }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			target := rawServer(t, func(_ int, c net.Conn) {
				if _, m, err := readRequest(bufio.NewReader(c)); err == nil {
					_, _ = io.WriteString(c, tt.reply(body(m)))
				}
			})
			if a := mustFind(t, open(t, target, long, 0)); a.Incomplete != nil {
				t.Errorf("incomplete: %v", a.Incomplete)
			}
		})
	}
}

// What came before the place where an answer breaks off is kept and marked.
func TestCutAnswers(t *testing.T) {
	tests := []struct {
		name  string
		reply func(b []byte) string
	}{
		{"length too small", func(b []byte) string { return httpReply(b, len(b)-5) }},
		{"connection closed in the middle", func(b []byte) string { return httpReply(b[:len(b)-5], len(b)) }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			target := rawServer(t, func(_ int, c net.Conn) {
				if _, m, err := readRequest(bufio.NewReader(c)); err == nil {
					b := response(m, goipp.StatusOk, keyword("printer-name", "found"), keyword("last", "cut"))
					_, _ = io.WriteString(c, tt.reply(b))
				}
			})
			a := mustFind(t, open(t, target, long, 0))
			if a.Incomplete == nil || a.First(PrinterGroup).Text("last") != "" {
				t.Errorf("incomplete %v, last %q", a.Incomplete, a.First(PrinterGroup).Text("last"))
			}
		})
	}
}

// A connection that closes before the answer is tried again, as often as asked.
func TestEarlyClose(t *testing.T) {
	serve := func(n int, c net.Conn) {
		_, m, err := readRequest(bufio.NewReader(c))
		if err == nil && n > 0 {
			b := response(m, goipp.StatusOk, keyword("printer-name", "found"))
			_, _ = io.WriteString(c, httpReply(b, len(b)))
		}
	}
	mustFind(t, open(t, rawServer(t, serve), long, 1))
	_, err := open(t, rawServer(t, serve), long, 0).Printer(t.Context())
	if !errors.Is(err, ErrClosed) {
		t.Errorf("without a second try: %v", err)
	}
}

// HTTP failures: the kind, how many requests are made, and that no password is
// ever sent.
func TestHTTPStatus(t *testing.T) {
	html := func(status int) func(http.ResponseWriter, *http.Request, *goipp.Message) {
		return func(w http.ResponseWriter, _ *http.Request, _ *goipp.Message) {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Header().Set("WWW-Authenticate", `Basic realm="admin"`)
			w.WriteHeader(status)
			_, _ = io.WriteString(w, "<html>hello</html>")
		}
	}
	tests := []struct {
		name     string
		handle   func(http.ResponseWriter, *http.Request, *goipp.Message)
		kind     error
		stage    string
		says     string
		requests int
	}{
		{"401", html(401), ErrAuth, "http", "authentication needed", 1},
		{"407", html(407), ErrAuth, "http", "authentication needed", 1},
		{"403", html(403), ErrForbidden, "http", "access refused", 4},
		{"404", html(404), ErrNotFound, "http", "tried /ipp/print, /ipp/printer, /ipp, /", 4},
		{"500", html(500), ErrHTTP, "http", "HTTP 500", 4},
		{"503", html(503), ErrHTTP, "http", "HTTP 503", 4},
		{"a web page", html(200), ErrNotIPP, "http", "not IPP: TCP port", 4},
		{"an empty answer", func(w http.ResponseWriter, _ *http.Request, _ *goipp.Message) {}, ErrNotIPP, "http", "an empty answer", 4},
		{"IPP of five octets", func(w http.ResponseWriter, _ *http.Request, _ *goipp.Message) {
			w.Header().Set("Content-Type", "application/ipp")
			_, _ = io.WriteString(w, "\x02\x00\x00\x00\x00")
		}, ErrNotIPP, "ipp", "too few for IPP", 4},
		{"no printer attributes", func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { answer(w, m, goipp.StatusOk) },
			ErrNoPrinter, "ipp", "no printer attributes", 4},
		{"IPP not authorized", func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
			answer(w, m, goipp.StatusErrorNotAuthorized)
		}, ErrAuth, "ipp", "client-error-not-authorized", 1},
		{"IPP busy", func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { answer(w, m, goipp.StatusErrorBusy) },
			ErrStatus, "ipp", "server-error-busy at /ipp/print; ask again later", 4},
		{"IPP not found", func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
			answer(w, m, goipp.StatusErrorNotFound)
		}, ErrNotFound, "http", "tried /ipp/print", 4},
		{"IPP error 0x0777", func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { answer(w, m, 0x0777) },
			ErrStatus, "ipp", "Status(0x0777)", 4},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d, target := plainServer(t, tt.handle)
			_, err := open(t, target, long, 0).Printer(t.Context())
			var e *Error
			if !errors.As(err, &e) || !errors.Is(err, tt.kind) || e.Stage != tt.stage || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("got %v (%+v), want %v at %s saying %q", err, e, tt.kind, tt.stage, tt.says)
			}
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Errorf("more than one line: %q", err)
			}
			if len(d.requests) != tt.requests {
				t.Errorf("%d requests %v, want %d", len(d.requests), d.paths(), tt.requests)
			}
			for _, r := range d.requests {
				if r.auth != "" {
					t.Errorf("a password was sent: %q", r.auth)
				}
			}
		})
	}
}

// An endless body ends at 1 MiB, and what came before is read.
func TestEndlessBody(t *testing.T) {
	_, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
		w.Header().Set("Content-Type", "application/ipp")
		b := response(m, goipp.StatusOk, keyword("printer-name", "found"))
		if _, err := w.Write(b[:len(b)-1]); err != nil { // without the end tag
			return
		}
		more := newMessage().add(goipp.TagString, "filler", make([]byte, 30000)...).Bytes()[9:]
		for {
			if _, err := w.Write(more); err != nil {
				return
			}
		}
	})
	a := mustFind(t, open(t, target, long, 0))
	if !errors.Is(a.Incomplete, ErrTooLarge) {
		t.Errorf("incomplete %v", a.Incomplete)
	}
}

// A body that drips is cut at the deadline, and what came before is read.
func TestSlowBody(t *testing.T) {
	stop := make(chan struct{})
	_, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
		w.Header().Set("Content-Type", "application/ipp")
		b := response(m, goipp.StatusOk, keyword("printer-name", "found"))
		_, _ = w.Write(b[:len(b)-1])
		_ = http.NewResponseController(w).Flush()
		<-stop
	})
	defer close(stop)
	a := mustFind(t, open(t, target, 50*time.Millisecond, 0))
	if a.Incomplete == nil {
		t.Error("a cut answer counts as complete")
	}
}

// Something else than HTTP on the port.
func TestNotHTTP(t *testing.T) {
	for _, greeting := range []string{"SSH-2.0-x\r\n", "\x00\x01\x02\x03\x04\r\n\r\n", "220 ready\r\n"} {
		target := rawServer(t, func(_ int, c net.Conn) {
			_, _ = io.WriteString(c, greeting)
			_, _, _ = readRequest(bufio.NewReader(c))
		})
		_, err := open(t, withTLS(target), long, 0).Printer(t.Context())
		if !errors.Is(err, ErrNotHTTP) {
			t.Errorf("%q: %v", greeting, err)
		}
	}
}

// What a device puts into an error stays one harmless line.
func TestErrorsAreClean(t *testing.T) {
	_, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, _ *goipp.Message) {
		w.Header()["Content-Type"] = []string{"text/\x9b31mevil"}
		w.Header().Set("Location", "http://evil.example/"+strings.Repeat("\u202e", 500))
		w.WriteHeader(http.StatusFound)
	})
	_, err := open(t, target, long, 0).Printer(t.Context())
	if err == nil || len(err.Error()) > 300 || !bytes.Equal([]byte(err.Error()), []byte(ascii(err.Error(), 300))) {
		t.Errorf("error %q", err)
	}
}

// An IPv6 address with an interface that is not here is told so.
func TestMissingInterface(t *testing.T) {
	s := Open(Target{Addr: netip.MustParseAddr("fe80::1%nosuch"), Port: 631}, Options{Timeout: long,
		Dial: func(context.Context, string, string) (net.Conn, error) {
			return nil, &net.OpError{Op: "dial", Err: os.NewSyscallError("connect", syscall.EINVAL)}
		}})
	defer s.Close()
	_, err := s.Printer(t.Context())
	if !errors.Is(err, ErrNoRoute) || !strings.Contains(err.Error(), `no network interface "nosuch"`) {
		t.Errorf("error %v", err)
	}
}
