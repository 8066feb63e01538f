package ipp

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"compress/zlib"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

func zipped(b []byte) []byte {
	var out bytes.Buffer
	w, _ := gzip.NewWriterLevel(&out, gzip.BestSpeed)
	_, _ = w.Write(b)
	_ = w.Close()
	return out.Bytes()
}

func deflated(b []byte) []byte {
	var out bytes.Buffer
	w := zlib.NewWriter(&out)
	_, _ = w.Write(b)
	_ = w.Close()
	return out.Bytes()
}

// The codings of RFC 9110 section 8.4.1. What a small body unfolds to is bound
// like a large body.
func TestContentCoding(t *testing.T) {
	bomb := func(b []byte) []byte { return zipped(append(b[:len(b)-1], make([]byte, MaxMessage)...)) }
	half := func(b []byte) []byte { z := zipped(b); return z[:len(z)-45] }
	tests := []struct {
		name, coding string
		code         func([]byte) []byte
		incomplete   error
		says         string // of the error
	}{
		{"gzip", "gzip", zipped, nil, ""},
		{"its old name", "X-Gzip", zipped, nil, ""},
		{"deflate", "deflate", deflated, nil, ""},
		{"identity", "identity", bytes.Clone, nil, ""},
		{"a bomb", "gzip", bomb, ErrTooLarge, ""},
		{"cut", "gzip", half, io.ErrUnexpectedEOF, ""},
		{"not what it says", "gzip", bytes.Clone, nil, "cannot be read: not valid gzip"},
		{"unknown", "br", bytes.Clone, nil, "cannot be read: br"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
				w.Header()["Content-Encoding"] = []string{tt.coding}
				w.Header().Set("Content-Type", "application/ipp")
				_, _ = w.Write(tt.code(response(m, goipp.StatusOk, keyword("printer-name", "found"), keyword("printer-info", fmt.Sprintf("%x", sha256.Sum256(nil))))))
			})
			a, err := open(t, target, long, 0).Printer(t.Context())
			if tt.says != "" {
				if !errors.Is(err, ErrNotIPP) || !strings.Contains(err.Error(), tt.says) {
					t.Errorf("error %v, want one that says %q", err, tt.says)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if name := a.First(PrinterGroup).Text("printer-name"); name != "found" {
				t.Errorf("printer-name %q", name)
			}
			if (tt.incomplete == nil) != (a.Incomplete == nil) || tt.incomplete != nil && !errors.Is(a.Incomplete, tt.incomplete) {
				t.Errorf("incomplete %v, want %v", a.Incomplete, tt.incomplete)
			}
		})
	}
}

// What is labelled as IPP and has none of its versions (RFC 8011 section 4.1.8)
// is no printer, whatever its third and fourth octet would mean as a status.
func TestLabelledAsIPP(t *testing.T) {
	for _, body := range []string{"<html><body>Welcome</body></html>", "\xde\xad\x00\x00\xde\xad\xbe\xef\x04\x03", "\x00\x00\x00\x00\x00\x00\x00\x01\x03"} {
		_, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, _ *goipp.Message) {
			w.Header().Set("Content-Type", "application/ipp")
			_, _ = io.WriteString(w, body)
		})
		if _, err := open(t, target, long, 0).Printer(t.Context()); !errors.Is(err, ErrNotIPP) {
			t.Errorf("%q: %v, want %v", body, err, ErrNotIPP)
		}
	}
}

// An answer that never ends is waited for once, not again on every path.
func TestStalledAnswers(t *testing.T) {
	tests := []struct {
		name, head string
		kind       error
		requests   int
	}{
		{"not found", "HTTP/1.1 404 Not Found\r\nContent-Type: text/html\r\nContent-Length: 500\r\n\r\n<ht", ErrNotFound, 1},
		{"forbidden", "HTTP/1.1 403 Forbidden\r\nContent-Length: 500\r\n\r\n", ErrForbidden, 1},
		{"an error", "HTTP/1.1 500 Oops\r\nContent-Length: 500\r\n\r\n", ErrHTTP, 1},
		{"a web page", "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 500\r\n\r\n<ht", ErrNotIPP, 1},
		{"IPP without a header", "HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: 500\r\n\r\n\x02", ErrNotIPP, 1},
		{"IPP without a printer", "HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: 500\r\n\r\n\x02\x00\x00\x00\x00\x00\x00\x01\x01", ErrNoPrinter, 1},
		{"a password wanted", "HTTP/1.1 401 Unauthorized\r\nContent-Length: 500\r\n\r\n", ErrAuth, 1},
		// A redirect needs no body.
		{"a circle of redirects", "HTTP/1.1 307 Moved\r\nLocation: /ipp/print\r\nContent-Length: 500\r\n\r\n", ErrRedirect, 7},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel() // they all wait
			var requests atomic.Int32
			over := make(chan struct{})
			target := rawServer(t, func(_ int, c net.Conn) {
				if _, _, err := readRequest(bufio.NewReader(c)); err == nil {
					requests.Add(1)
					_, _ = io.WriteString(c, tt.head)
					<-over
				}
			})
			plain := false
			target.TLS = &plain
			_, err := open(t, target, 300*time.Millisecond, 1).Printer(t.Context())
			close(over)
			if !errors.Is(err, tt.kind) {
				t.Errorf("error %v, want %v", err, tt.kind)
			}
			if n := int(requests.Load()); n != tt.requests {
				t.Errorf("%d requests, want %d", n, tt.requests)
			}
		})
	}
}

// A raw print port is never opened, wherever its number comes from.
func TestRawPrintPortsAreNotOpened(t *testing.T) {
	for _, target := range []Target{{Port: 9100}, {Port: 515}, {Port: 631, TLSPort: 9100}, {Port: 9100, TLSPort: 631}} {
		target.Addr = netipLoopback
		var dialled []string
		s := Open(target, Options{Timeout: long, Dial: func(_ context.Context, _, address string) (net.Conn, error) {
			dialled = append(dialled, address)
			return nil, errors.New("no network")
		}})
		_, err := s.Printer(t.Context())
		s.Close()
		if err == nil || strings.ContainsAny(err.Error(), "\r\n") {
			t.Errorf("%+v: error %q", target, err)
		}
		for _, a := range dialled {
			if a != fmt.Sprintf("%s:631", netipLoopback) {
				t.Errorf("%+v: %s was dialled", target, a)
			}
		}
		if target.Port != 631 && target.TLSPort == 0 && !errors.Is(err, ErrRawPort) {
			t.Errorf("%+v: error %v, want %v", target, err, ErrRawPort)
		}
	}
}

// The header that consents to TLS inside HTTP is bounded like any other.
func TestEndlessHeaderBeforeTLS(t *testing.T) {
	var written atomic.Int64
	target := rawServer(t, func(_ int, c net.Conn) {
		r := bufio.NewReader(c)
		first, err := r.Peek(4)
		if err != nil || string(first) != "OPTI" {
			_, _ = io.WriteString(c, "HTTP/1.1 426 Upgrade Required\r\nUpgrade: TLS/1.2\r\nConnection: close\r\nContent-Length: 0\r\n\r\n")
			return
		}
		_, _ = io.WriteString(c, "HTTP/1.1 101 Switching Protocols\r\n")
		line := []byte("X-More: " + strings.Repeat("x", 8<<10) + "\r\n")
		for {
			n, err := c.Write(line)
			if written.Add(int64(n)); err != nil {
				return
			}
		}
	})
	plain := false
	target.TLS = &plain
	_, err := open(t, target, long, 0).Printer(t.Context())
	if !errors.Is(err, ErrUpgrade) && !errors.Is(err, ErrTLS) {
		t.Errorf("error %v", err)
	}
	if n := written.Load(); n == 0 || n > 32<<20 { // what the buffers of two sockets take, and no more
		t.Errorf("%d octets of header were sent", n)
	}
}
