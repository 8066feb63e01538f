package ipp

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

// Two queues behind one address, a path that is not there, one that has moved,
// and the jobs: all over one connection, with and without TLS.
func TestOneConnectionForADevice(t *testing.T) {
	for _, secure := range []bool{false, true} {
		d, target := bothServer(t, certificate(t, time.Now().AddDate(1, 0, 0)), func(w http.ResponseWriter, r *http.Request, m *goipp.Message) {
			switch r.URL.Path {
			case "/queue/1", "/ipp/print":
				printer(w, m)
			case "/queue/2":
				http.Redirect(w, r, "/queue/1", http.StatusFound)
			default:
				http.NotFound(w, r)
			}
		})
		if secure {
			target = withTLS(target)
		}
		line := NewLine(target.Addr, Options{Timeout: long})
		defer line.Close()
		for _, path := range []string{"queue/1", "queue/2", "queue/3"} {
			target.Path = path
			s := line.Open(target)
			mustFind(t, s)
			if _, err := s.Jobs(t.Context(), false, false); err != nil {
				t.Fatal(err)
			}
			if (s.TLS() != nil) != secure {
				t.Errorf("%s: TLS %v", path, s.TLS())
			}
			s.Close() // the line stays
		}
		if n, _ := d.counts(); n != 1 {
			t.Errorf("TLS %v: %d connections for %v, want 1", secure, n, d.paths())
		}
	}
}

// A device that closes every connection gets a new one for each request, which
// takes up the TLS session of the first; what is recorded of the certificate
// stays the same.
func TestSessionIsTakenUp(t *testing.T) {
	for _, version := range []uint16{tls.VersionTLS12, tls.VersionTLS13} {
		t.Run(tls.VersionName(version), func(t *testing.T) {
			var mu sync.Mutex
			var resumed []bool
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			server := &http.Server{ErrorLog: quiet(), Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				mu.Lock()
				resumed = append(resumed, r.TLS.DidResume)
				if r.TLS.ServerName != "" {
					t.Errorf("server name %q", r.TLS.ServerName)
				}
				mu.Unlock()
				w.Header().Set("Connection", "close")
				printer(w, (&testDevice{}).note(r))
			})}
			config := &tls.Config{MaxVersion: version, Certificates: []tls.Certificate{certificate(t, time.Now().AddDate(1, 0, 0))}}
			done := make(chan struct{})
			go func() {
				defer close(done)
				_ = server.Serve(tls.NewListener(l, config))
			}()
			t.Cleanup(func() { _ = server.Close(); <-done })

			s := open(t, withTLS(targetOf(t, l.Addr())), long, 0)
			mustFind(t, s)
			first := s.TLS()
			if _, err := s.Jobs(t.Context(), false, false); err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(resumed, []bool{false, true}) {
				t.Errorf("taken up: %v", resumed)
			}
			if second := s.TLS(); !reflect.DeepEqual(first, second) || second.Fingerprint == "" {
				t.Errorf("recorded %+v, then %+v", first, second)
			}
		})
	}
}

// Where one printer of a device showed that TLS comes to nothing, the next one
// is asked without it first.
func TestTLSIsNotTriedTwice(t *testing.T) {
	d, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) { printer(w, m) })
	line := NewLine(target.Addr, Options{Timeout: long})
	defer line.Close()
	var want int
	for i := range 3 {
		mustFind(t, line.Open(withTLS(target)))
		n, _ := d.counts()
		if i == 0 {
			want = n
		}
		if n != want {
			t.Errorf("printer %d: %d connections, the first made %d", i, n, want)
		}
	}
}

// The address is dialled, whatever names the announcement and the device use:
// no name is looked up, and the Host field is the address.
func TestNoNameIsLookedUp(t *testing.T) {
	d, target := plainServer(t, func(w http.ResponseWriter, _ *http.Request, m *goipp.Message) {
		answer(w, m, goipp.StatusOk, keyword("printer-name", "found"),
			goipp.MakeAttribute("printer-uri-supported", goipp.TagURI, goipp.String("ipp://printer.example/ipp/print")))
	})
	target.Host = "printer.example"
	var dialled []string
	s := Open(target, Options{Timeout: long, Dial: func(ctx context.Context, network, address string) (net.Conn, error) {
		dialled = append(dialled, address)
		return (&net.Dialer{}).DialContext(ctx, network, address)
	}})
	defer s.Close()
	mustFind(t, s)
	if at := target.hostPort(target.Port); !slices.Equal(dialled, []string{at}) {
		t.Errorf("dialled %v, want %s once", dialled, at)
	}
	for _, r := range d.requests {
		if strings.Contains(r.host, "example") || r.host != target.hostPort(target.Port) {
			t.Errorf("Host %q", r.host)
		}
	}
}
