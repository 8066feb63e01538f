package ipp

import (
	"errors"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

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
