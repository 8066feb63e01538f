package ipp

import (
	"bufio"

	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"sync"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

// seen is one request as a test server read it.
type seen struct {
	path, auth string
	host       string
	headers    http.Header
	operation  uint16
	version    uint16
	request    *goipp.Message
}

// device is a test server that answers as its handler says, over TLS and plain
// HTTP on one port as some printers do, and remembers requests and connections.
type testDevice struct {
	mu          sync.Mutex
	requests    []seen
	connections int
	secure      int // connections that began with TLS
}

func (d *testDevice) note(r *http.Request) *goipp.Message {
	m := &goipp.Message{}
	body, _ := io.ReadAll(r.Body)
	_ = m.DecodeBytes(body)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.requests = append(d.requests, seen{
		path: r.URL.RequestURI(), host: r.Host, auth: r.Header.Get("Authorization"), headers: r.Header, operation: uint16(m.Code), version: uint16(m.Version), request: m,
	})
	return m
}

func (d *testDevice) paths() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	var all []string
	for _, s := range d.requests {
		all = append(all, s.path)
	}
	return all
}

func (d *testDevice) counts() (connections, secure int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.connections, d.secure
}

// answer writes an IPP response with the request's id.
func answer(w http.ResponseWriter, request *goipp.Message, status goipp.Status, attrs ...goipp.Attribute) {
	w.Header().Set("Content-Type", "application/ipp")
	_, _ = w.Write(response(request, status, attrs...))
}

func response(request *goipp.Message, status goipp.Status, attrs ...goipp.Attribute) []byte {
	groups := goipp.Groups{{Tag: goipp.TagOperationGroup, Attrs: goipp.Attributes{
		goipp.MakeAttribute("attributes-charset", goipp.TagCharset, goipp.String("utf-8")),
		goipp.MakeAttribute("attributes-natural-language", goipp.TagLanguage, goipp.String("en")),
	}}}
	if len(attrs) > 0 {
		groups = append(groups, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: attrs})
	}
	m := goipp.NewMessageWithGroups(goipp.DefaultVersion, goipp.Code(status), request.RequestID, groups)
	b, err := m.EncodeBytes()
	if err != nil {
		panic(err)
	}
	return b
}

func keyword(name, value string) goipp.Attribute {
	return goipp.MakeAttribute(name, goipp.TagKeyword, goipp.String(value))
}

// printer answers any request with one attribute, successfully.
func printer(w http.ResponseWriter, m *goipp.Message) {
	answer(w, m, goipp.StatusOk, keyword("printer-name", "found"))
}

// plainServer serves HTTP, without TLS.
func plainServer(t *testing.T, handle func(w http.ResponseWriter, r *http.Request, m *goipp.Message)) (*testDevice, Target) {
	t.Helper()
	d := &testDevice{}
	s := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { handle(w, r, d.note(r)) }))
	s.Config.ConnState = d.connState
	s.Config.ErrorLog = quiet()
	s.Start()
	t.Cleanup(s.Close)
	return d, targetOf(t, s.Listener.Addr())
}

func (d *testDevice) connState(_ net.Conn, state http.ConnState) {
	if state == http.StateNew {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.connections++
	}
}

// bothServer serves TLS and plain HTTP on one port.
func bothServer(t *testing.T, cert tls.Certificate, handle func(w http.ResponseWriter, r *http.Request, m *goipp.Message)) (*testDevice, Target) {
	t.Helper()
	d := &testDevice{}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &http.Server{
		Handler:   http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { handle(w, r, d.note(r)) }),
		ConnState: d.connState,
		ErrorLog:  quiet(),
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = s.Serve(&bothListener{Listener: l, d: d, config: &tls.Config{Certificates: []tls.Certificate{cert}}})
	}()
	t.Cleanup(func() { _ = s.Close(); <-done })
	return d, targetOf(t, l.Addr())
}

type bothListener struct {
	net.Listener
	d      *testDevice
	config *tls.Config
}

func (l *bothListener) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	r := bufio.NewReader(c)
	first, err := r.Peek(1)
	buffered := &bufferedConn{Conn: c, r: r}
	if err != nil || first[0] != 22 { // handshake record, RFC 8446 section 5.1
		return buffered, nil
	}
	l.d.mu.Lock()
	l.d.secure++
	l.d.mu.Unlock()
	return tls.Server(buffered, l.config), nil
}

// rawServer hands each connection to serve and closes it behind it.
func rawServer(t *testing.T, serve func(n int, c net.Conn)) Target {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(func() {
		for n := 0; ; n++ {
			c, err := l.Accept()
			if err != nil {
				return
			}
			_ = c.SetDeadline(time.Now().Add(10 * time.Second))
			wg.Go(func() {
				defer func() { _ = c.Close() }()
				serve(n, c)
			})
		}
	})
	t.Cleanup(func() { _ = l.Close(); wg.Wait() })
	return targetOf(t, l.Addr())
}

// readRequest reads one HTTP request with an IPP message in it.
func readRequest(r *bufio.Reader) (*http.Request, *goipp.Message, error) {
	req, err := http.ReadRequest(r)
	if err != nil {
		return nil, nil, err
	}
	body, err := io.ReadAll(req.Body)
	if err != nil {
		return nil, nil, err
	}
	m := &goipp.Message{}
	return req, m, m.DecodeBytes(body)
}

// reply is a plain HTTP response around an IPP message, with any length stated.
func httpReply(body []byte, stated int) string {
	return fmt.Sprintf("HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: %d\r\n\r\n%s", stated, body)
}

func targetOf(t *testing.T, a net.Addr) Target {
	t.Helper()
	at, err := netip.ParseAddrPort(a.String())
	if err != nil {
		t.Fatal(err)
	}
	no := false
	return Target{Addr: at.Addr(), Port: at.Port(), TLS: &no}
}

// withTLS is the target when nothing is known of TLS, so that it is tried first.
func withTLS(t Target) Target {
	t.TLS = nil
	return t
}

// certificate makes a self-signed certificate that is valid until notAfter.
func certificate(t *testing.T, notAfter time.Time) tls.Certificate {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "printer.example"},
		NotBefore: notAfter.AddDate(-1, 0, 0), NotAfter: notAfter,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

// long is a timeout that no test waits for.
const long = 10 * time.Second

func open(t *testing.T, target Target, timeout time.Duration, retries int) *Session {
	t.Helper()
	s := Open(target, Options{Timeout: timeout, Retries: retries, Log: func(l string) { t.Log(l) }})
	t.Cleanup(s.Close)
	return s
}

func mustFind(t *testing.T, s *Session) *Answer {
	t.Helper()
	a, err := s.Printer(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if got := a.First(PrinterGroup).Text("printer-name"); got != "found" {
		t.Fatalf("printer-name %q", got)
	}
	return a
}

// dialer counts connects and can fail them.
type countingDialer struct {
	mu  sync.Mutex
	n   int
	err error
}

func (d *countingDialer) dial(ctx context.Context, network, address string) (net.Conn, error) {
	d.mu.Lock()
	d.n++
	d.mu.Unlock()
	if d.err != nil {
		return nil, &net.OpError{Op: "dial", Net: network, Err: d.err}
	}
	return (&net.Dialer{}).DialContext(ctx, network, address)
}

var (
	netipLoopback = netip.MustParseAddr("127.0.0.1")
	netipV6       = netip.MustParseAddr("fe80::a%eth0")
)

// freePort is a port of loopback that nothing listens on.
func freePort(t *testing.T) uint16 {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return targetOf(t, l.Addr()).Port
}
