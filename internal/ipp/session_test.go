package ipp

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
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

// The path that DNS-SD told comes first, the usual ones next.
func TestPaths(t *testing.T) {
	tests := []struct {
		hint, answers string
		want          []string
	}{
		{"", "/ipp/print", []string{"/ipp/print"}},
		{"", "/", []string{"/ipp/print", "/ipp/printer", "/ipp", "/"}},
		{"printers/office", "/printers/office", []string{"/printers/office"}},
		{"/ipp/printer", "/ipp", []string{"/ipp/printer", "/ipp/print", "/ipp"}},
		{"ipp/print?q=a b", "/ipp/print?q=a%20b", []string{"/ipp/print?q=a%20b"}},
		{"two words", "/two%20words", []string{"/two%20words"}},
		{"bad\r\nX: y", "/ipp/print", []string{"/ipp/print"}},
		{strings.Repeat("x", 5000), "/ipp/print", []string{"/ipp/print"}},
		{"//other.example/x", "/other.example/x", []string{"/other.example/x"}},
	}
	for _, tt := range tests {
		t.Run(ascii(tt.hint, 20), func(t *testing.T) {
			d, target := plainServer(t, func(w http.ResponseWriter, r *http.Request, m *goipp.Message) {
				if r.URL.RequestURI() != tt.answers {
					http.NotFound(w, r)
					return
				}
				printer(w, m)
			})
			target.Path = tt.hint
			mustFind(t, open(t, target, long, 0))
			if !slices.Equal(d.paths(), tt.want) {
				t.Errorf("paths %v, want %v", d.paths(), tt.want)
			}
		})
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

func TestRedirects(t *testing.T) {
	cert := certificate(t, time.Now().AddDate(1, 0, 0))
	tests := []struct {
		name     string
		location func(host string, r *http.Request) string // "" answers
		kind     error
		says     string
		uri      string // of the answer, behind the host
	}{
		{"another path", func(_ string, r *http.Request) string {
			if r.URL.Path == "/moved" {
				return ""
			}
			return "/moved"
		}, nil, "", "/moved"},
		{"relative path", func(_ string, r *http.Request) string {
			if r.URL.Path == "/ipp/moved" {
				return ""
			}
			return "moved"
		}, nil, "", "/ipp/moved"},
		{"to TLS on the same port", func(host string, r *http.Request) string {
			if r.TLS != nil {
				return ""
			}
			return "https://" + host + "/secure"
		}, nil, "", "/secure"},
		{"localhost is loopback", func(host string, r *http.Request) string {
			if r.URL.Path == "/x" {
				return ""
			}
			return "http://localhost" + host[strings.LastIndex(host, ":"):] + "/x"
		}, nil, "", "/x"},
		{"another address", func(string, *http.Request) string { return "http://127.0.0.2:631/ipp/print" }, ErrRedirect, "another host", ""},
		{"another name", func(string, *http.Request) string { return "http://printer.example/ipp/print" }, ErrRedirect, "another host", ""},
		{"a raw printing port", func(string, *http.Request) string { return "http://127.0.0.1:9100/" }, ErrRedirect, "another host, port", ""},
		{"the LPD port", func(string, *http.Request) string { return "http://127.0.0.1:515/" }, ErrRedirect, "another host, port", ""},
		{"another scheme", func(string, *http.Request) string { return "file:///etc/passwd" }, ErrRedirect, "another host", ""},
		{"no location", func(string, *http.Request) string { return "-" }, nil, "", ""},
		{"a circle", func(_ string, r *http.Request) string {
			if r.URL.Path == "/a" {
				return "/b"
			}
			return "/a"
		}, ErrRedirect, "in a circle", ""},
		{"without end", func(_ string, r *http.Request) string { return r.URL.Path + "x" }, ErrRedirect, "more than 4 redirects", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d, target := bothServer(t, cert, func(w http.ResponseWriter, r *http.Request, m *goipp.Message) {
				to := tt.location(r.Host, r)
				if to == "" {
					printer(w, m)
					return
				}
				if to != "-" {
					w.Header().Set("Location", to)
				}
				w.WriteHeader(http.StatusTemporaryRedirect)
			})
			dialer := &countingDialer{}
			s := Open(target, Options{Timeout: long, Dial: dialer.dial})
			defer s.Close()
			a, err := s.Printer(t.Context())
			switch {
			case tt.uri == "" && !errors.Is(err, ErrRedirect):
				t.Errorf("error %v", err)
			case tt.uri == "" && tt.says != "" && !strings.Contains(err.Error(), tt.says):
				t.Errorf("error %v, want %q in it", err, tt.says)
			case tt.uri != "" && err != nil:
				t.Error(err)
			case tt.uri != "" && !strings.HasSuffix(a.URI, tt.uri):
				t.Errorf("URI %s", a.URI)
			}
			if n, _ := d.counts(); n != dialer.n {
				t.Errorf("%d connects, %d of them to the device", dialer.n, n)
			}
		})
	}
}

// Self-signed and expired certificates are accepted and recorded; ipps comes
// before ipp.
func TestTLS(t *testing.T) {
	for name, notAfter := range map[string]time.Time{
		"valid":   time.Now().AddDate(1, 0, 0).UTC().Truncate(time.Second),
		"expired": time.Date(2019, 3, 4, 5, 6, 7, 0, time.UTC),
	} {
		t.Run(name, func(t *testing.T) {
			cert := certificate(t, notAfter)
			d, target := bothServer(t, cert, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { printer(w, m) })
			s := open(t, withTLS(target), long, 0)
			a := mustFind(t, s)
			info := s.TLS()
			if info == nil {
				t.Fatal("no TLS recorded")
			}
			sum := sha256.Sum256(cert.Certificate[0])
			if info.Fingerprint != hex.EncodeToString(sum[:]) || !info.SelfSigned || !info.NotAfter.Equal(notAfter) || info.Version != "TLS 1.3" {
				t.Errorf("recorded %+v", info)
			}
			if want := fmt.Sprintf("ipps://127.0.0.1:%d/ipp/print", target.Port); a.URI != want {
				t.Errorf("URI %s, want %s", a.URI, want)
			}
			if n, secure := d.counts(); n != 1 || secure != 1 {
				t.Errorf("%d connections, %d of them TLS", n, secure)
			}
		})
	}
}

// A certificate that another one signed is not self-signed, even if it names
// itself as its issuer.
func TestSelfSigned(t *testing.T) {
	own := certificate(t, time.Now().AddDate(1, 0, 0))
	forged := certificate(t, time.Now().AddDate(1, 0, 0))
	leaf, err := x509.ParseCertificate(own.Certificate[0])
	if err != nil {
		t.Fatal(err)
	}
	template := *leaf
	der, err := x509.CreateCertificate(rand.Reader, &template, &x509.Certificate{Subject: leaf.Subject}, leaf.PublicKey, forged.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	signed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	if !selfSigned(leaf) || selfSigned(signed) {
		t.Errorf("own signature %v, foreign signature %v", selfSigned(leaf), selfSigned(signed))
	}
}

// A printer without TLS answers plainly on the same port.
func TestPlainAfterTLS(t *testing.T) {
	_, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { printer(w, m) })
	s := open(t, withTLS(target), long, 0)
	a := mustFind(t, s)
	if s.TLS() != nil || !strings.HasPrefix(a.URI, "ipp://") {
		t.Errorf("TLS %v at %s", s.TLS(), a.URI)
	}
}

// 426 leads to TLS from the start on the same port.
func TestUpgradeRequired(t *testing.T) {
	cert := certificate(t, time.Now().AddDate(1, 0, 0))
	d, target := bothServer(t, cert, func(w http.ResponseWriter, r *http.Request, m *goipp.Message) {
		if r.TLS == nil {
			w.Header().Set("Upgrade", "TLS/1.2, HTTP/1.1")
			w.WriteHeader(http.StatusUpgradeRequired)
			return
		}
		printer(w, m)
	})
	s := open(t, target, long, 0)
	mustFind(t, s)
	if s.TLS() == nil {
		t.Error("no TLS recorded")
	}
	if _, secure := d.counts(); secure != 1 {
		t.Errorf("%d TLS connections", secure)
	}
}

// A server that only switches to TLS inside HTTP is asked to (RFC 2817 section
// 3): OPTIONS with Upgrade, 101, handshake, and the answer to OPTIONS first.
func TestUpgradeInBand(t *testing.T) {
	config := &tls.Config{Certificates: []tls.Certificate{certificate(t, time.Now().AddDate(1, 0, 0))}}
	target := rawServer(t, func(_ int, c net.Conn) {
		r := bufio.NewReader(c)
		req, err := http.ReadRequest(r)
		if err != nil {
			return // TLS from the start is not understood
		}
		if req.Method != http.MethodOptions || !strings.Contains(req.Header.Get("Upgrade"), "TLS/1.2") {
			_, _ = io.WriteString(c, "HTTP/1.1 426 Upgrade Required\r\nUpgrade: TLS/1.2\r\nConnection: Upgrade\r\nContent-Length: 0\r\n\r\n")
			return
		}
		_, _ = io.WriteString(c, "HTTP/1.1 101 Switching Protocols\r\nUpgrade: TLS/1.2\r\nConnection: Upgrade\r\n\r\n")
		secure := tls.Server(&bufferedConn{Conn: c, r: r}, config)
		if err := secure.Handshake(); err != nil {
			return
		}
		_, _ = io.WriteString(secure, "HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n")
		in := bufio.NewReader(secure)
		for {
			_, m, err := readRequest(in)
			if err != nil {
				return
			}
			b := response(m, goipp.StatusOk, keyword("printer-name", "found"))
			_, _ = io.WriteString(secure, httpReply(b, len(b)))
		}
	})
	s := open(t, target, long, 0)
	mustFind(t, s)
	if s.TLS() == nil {
		t.Error("no TLS recorded")
	}
	if _, err := s.Jobs(t.Context(), false, false); err != nil {
		t.Errorf("second request: %v", err)
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

// printer-uri-supported is followed to another path on the same host and
// nowhere else.
func TestPrinterURISupported(t *testing.T) {
	tests := []struct {
		name string
		uris func(host string) []string
		want string // path of the answer
	}{
		{"another path", func(h string) []string { return []string{"ipp://" + h + "/full"} }, "/full"},
		{"the path asked for among others", func(h string) []string {
			return []string{"ipp://" + h + "/full", "ipp://" + h + "/ipp/print"}
		}, "/ipp/print"},
		{"another host", func(string) []string { return []string{"ipp://192.0.2.7/full"} }, "/ipp/print"},
		{"another name", func(string) []string { return []string{"ipp://printer.example/full"} }, "/ipp/print"},
		{"its own name from DNS-SD", func(h string) []string {
			return []string{"ipp://Printer-7.local." + h[strings.LastIndex(h, ":"):] + "/full"}
		}, "/full"},
		{"a path that does not answer", func(h string) []string { return []string{"ipp://" + h + "/gone"} }, "/ipp/print"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, target := plainServer(t, func(w http.ResponseWriter, r *http.Request, m *goipp.Message) {
				if r.URL.Path == "/gone" {
					http.NotFound(w, r)
					return
				}
				uris := goipp.Attribute{Name: "printer-uri-supported"}
				for _, u := range tt.uris(r.Host) {
					uris.Values.Add(goipp.TagURI, goipp.String(u))
				}
				answer(w, m, goipp.StatusOk, keyword("printer-name", "found"), uris)
			})
			target.Host = "printer-7.local"
			if a := mustFind(t, open(t, target, long, 0)); !strings.HasSuffix(a.URI, tt.want) {
				t.Errorf("answer from %s, want %s", a.URI, tt.want)
			}
		})
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

// Addresses of version 6 stand in brackets in URIs, without their zone
// (RFC 3986 section 3.2.2, RFC 6874 section 1).
func TestIPv6URI(t *testing.T) {
	target := Target{Addr: netipV6, Port: 631}.withDefaults()
	e := endpoint{secure: true, port: 631, path: "/ipp/print"}
	if got, want := target.printerURI(e), "ipps://[fe80::a]:631/ipp/print"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if to, ok := target.resolve(e, "http://[fe80::a]/x"); !ok || to != (endpoint{port: 80, path: "/x"}) {
		t.Errorf("resolved %+v %v", to, ok)
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
