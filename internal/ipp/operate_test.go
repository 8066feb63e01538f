package ipp

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"sync/atomic"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

// job is a small operation with a document.
func job(document string) Command {
	return Command{
		Code:      int16(goipp.OpPrintJob),
		Operation: goipp.Attributes{goipp.MakeAttribute("job-name", goipp.TagName, goipp.String("a page"))},
		Job:       goipp.Attributes{keyword("sides", "one-sided")},
		Document:  []byte(document),
		Wait:      long,
	}
}

// The message has the order of RFC 8011 section 4.1.4 and the document behind
// it, once.
func TestOperate(t *testing.T) {
	var got []byte
	_, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { printer(w, m) })
	d, printing := captured(t, &got)
	s := open(t, target, long, 3)
	mustFind(t, s)
	s.t, s.at.port = printing, printing.Port
	a, err := s.Operate(t.Context(), job("the document"))
	if err != nil || a.Status() != StatusSuccessfulOk {
		t.Fatalf("%v, %v", a, err)
	}
	if d.Load() != 1 {
		t.Errorf("%d requests", d.Load())
	}
	var m goipp.Message
	if err := m.DecodeBytes(got); err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, attr := range m.Operation {
		names = append(names, attr.Name)
	}
	want := []string{"attributes-charset", "attributes-natural-language", "printer-uri", "requesting-user-name", "job-name"}
	if len(names) != len(want) {
		t.Fatalf("operation attributes %v, want %v", names, want)
	}
	for i := range want {
		if names[i] != want[i] {
			t.Errorf("operation attributes %v, want %v", names, want)
		}
	}
	if len(m.Job) != 1 || m.Job[0].Name != "sides" {
		t.Errorf("job attributes %v", m.Job)
	}
	if n := len(got) - len("the document"); string(got[n:]) != "the document" {
		t.Errorf("the document is not behind the message: %q", got)
	}
}

// captured is a server that keeps the last body and counts requests.
func captured(t *testing.T, body *[]byte) (*atomic.Int32, Target) {
	t.Helper()
	var n atomic.Int32
	return &n, rawServer(t, func(_ int, c net.Conn) {
		req, err := http.ReadRequest(bufio.NewReader(c))
		if err != nil {
			return
		}
		n.Add(1)
		*body, _ = io.ReadAll(req.Body)
		var m goipp.Message
		_ = m.DecodeBytes(*body)
		b := response(&m, goipp.StatusOk)
		_, _ = io.WriteString(c, httpReply(b, len(b)))
	})
}

// What goes wrong before the request, what is refused, and what leaves the
// outcome open. Nothing is ever sent twice.
func TestOperateFails(t *testing.T) {
	tests := []struct {
		name      string
		serve     func(c net.Conn, r *bufio.Reader)
		kind      error
		uncertain bool
	}{
		{"closed after the request", func(_ net.Conn, r *bufio.Reader) { _, _, _ = readRequest(r) }, ErrClosed, true},
		{"closed in the middle of the document", func(_ net.Conn, r *bufio.Reader) { _, _ = r.Peek(400) }, ErrClosed, true},
		{"no answer", func(c net.Conn, r *bufio.Reader) {
			_, _, _ = readRequest(r)
			_, _ = r.ReadByte() // until the client gives up
		}, ErrNoAnswer, true},
		{"half an answer", func(c net.Conn, r *bufio.Reader) {
			_, _, _ = readRequest(r)
			_, _ = io.WriteString(c, httpReply([]byte{2, 0}, 200))
		}, ErrNotIPP, true},
		{"password", func(c net.Conn, r *bufio.Reader) {
			_, _, _ = readRequest(r)
			_, _ = io.WriteString(c, "HTTP/1.1 401 Unauthorized\r\nContent-Length: 0\r\n\r\n")
		}, ErrAuth, false},
		{"sent elsewhere", func(c net.Conn, r *bufio.Reader) {
			_, _, _ = readRequest(r)
			_, _ = io.WriteString(c, "HTTP/1.1 307 Temporary Redirect\r\nLocation: /other\r\nContent-Length: 0\r\n\r\n")
		}, ErrRedirect, false},
		{"broken inside", func(c net.Conn, r *bufio.Reader) {
			_, _, _ = readRequest(r)
			_, _ = io.WriteString(c, "HTTP/1.1 500 Internal Server Error\r\nContent-Length: 0\r\n\r\n")
		}, ErrHTTP, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var requests atomic.Int32
			target := rawServer(t, func(_ int, c net.Conn) {
				requests.Add(1)
				tt.serve(c, bufio.NewReader(c))
			})
			timeout := long
			if tt.kind == ErrNoAnswer {
				timeout = 100 * time.Millisecond
			}
			s := open(t, target, timeout, 5)
			s.at = endpoint{port: target.Port, path: "/ipp/print"}
			_, err := s.Operate(t.Context(), job(string(make([]byte, 4<<20))))
			if errors.Is(err, ErrUncertain) != tt.uncertain {
				t.Errorf("got %v, uncertain %v", err, tt.uncertain)
			}
			if !tt.uncertain && !errors.Is(err, tt.kind) {
				t.Errorf("got %v, want %v", err, tt.kind)
			}
			if requests.Load() != 1 {
				t.Errorf("%d connections, want 1", requests.Load())
			}
		})
	}
	t.Run("closed port", func(t *testing.T) {
		s := open(t, Target{Addr: netipLoopback, Port: freePort(t)}, long, 5)
		s.at = endpoint{port: s.t.Port, path: "/"}
		if _, err := s.Operate(t.Context(), job("x")); !errors.Is(err, ErrRefused) || errors.Is(err, ErrUncertain) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("stopped by the user", func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		target := rawServer(t, func(_ int, c net.Conn) {
			_, _, _ = readRequest(bufio.NewReader(c))
			cancel()
			_, _ = c.Read(make([]byte, 1))
		})
		s := open(t, target, long, 5)
		s.at = endpoint{port: target.Port, path: "/ipp/print"}
		if _, err := s.Operate(ctx, job("x")); !errors.Is(err, ErrUncertain) {
			t.Errorf("got %v", err)
		}
	})
}

// A printer that speaks IPP/1.1 only refuses before anything prints, and is
// asked again in its version (RFC 8011 section 4.1.8).
func TestOperateInTheOlderVersion(t *testing.T) {
	d, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
		if m.Version != goipp.MakeVersion(1, 1) {
			answer(w, m, goipp.StatusErrorVersionNotSupported)
			return
		}
		printer(w, m)
	})
	s := open(t, target, long, 0)
	s.at = endpoint{port: target.Port, path: "/ipp/print"}
	a, err := s.Operate(t.Context(), job("x"))
	if err != nil || a.Status() != StatusSuccessfulOk || len(d.requests) != 2 {
		t.Errorf("%v, %v, %d requests", a, err, len(d.requests))
	}
}

// How a job is doing is a question like others: it may be repeated.
func TestJob(t *testing.T) {
	d, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
		if goipp.Op(m.Code) != goipp.OpGetJobAttributes {
			answer(w, m, goipp.StatusErrorNotFound)
			return
		}
		answer(w, m, goipp.StatusOk)
	})
	s := open(t, target, long, 0)
	s.at = endpoint{port: target.Port, path: "/ipp/print"}
	if _, err := s.Job(t.Context(), 17, []string{"job-state"}); err != nil {
		t.Fatal(err)
	}
	got := d.requests[0].request
	if n := got.Operation[3]; n.Name != "job-id" || n.Values[0].V != goipp.Value(goipp.Integer(17)) {
		t.Errorf("asked %v", got.Operation)
	}
	if _, err := s.Ask(t.Context(), []string{"printer-state"}); !errors.Is(err, ErrNotFound) {
		t.Errorf("got %v", err)
	}
}
