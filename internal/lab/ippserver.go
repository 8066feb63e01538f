package lab

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// ippServer answers IPP for every address, encrypted and plain on one port.
type ippServer struct {
	server    *http.Server
	listeners []net.Listener
	port      int
	loops     sync.WaitGroup
}

// openIPP listens on the addresses of everything that speaks IPP.
func (l *Lab) openIPP() error {
	cert, err := selfSigned()
	if err != nil {
		return err
	}
	base, err := l.firstPort("tcp", l.options.IPPPort)
	if err != nil {
		return err
	}
	s := &ippServer{port: base}
	l.ipp = s
	config := &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
	s.server = &http.Server{
		Handler:           http.HandlerFunc(l.serveHTTP),
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      30 * time.Second,
		ErrorLog:          quiet(),
	}
	port := base
	for _, n := range l.nodes {
		n.ippPorts = n.ippPorts[:0]
		for _, a := range n.addrs {
			n.ippPorts = append(n.ippPorts, port)
			if n.hasIPP && !n.silent() {
				if err := s.listen(netip.AddrPortFrom(a, uint16(port)), n, config); err != nil {
					return err
				}
			}
			if l.options.OnePort {
				port++
			}
		}
	}
	return nil
}

func (s *ippServer) listen(at netip.AddrPort, n *node, config *tls.Config) error {
	if !at.Addr().IsLoopback() {
		return fmt.Errorf("%s is no loopback address", at.Addr())
	}
	c, err := net.Listen("tcp4", at.String())
	if err != nil {
		return fmt.Errorf("opening the IPP port: %w", err)
	}
	both := &eitherListener{Listener: c, node: n, config: config, taken: make(chan net.Conn), done: make(chan struct{})}
	s.listeners = append(s.listeners, both)
	s.loops.Go(both.accept)
	s.loops.Go(func() { s.server.Serve(both) }) // ends with ErrServerClosed or ErrClosed
	return nil
}

func (s *ippServer) close() error {
	if s.server == nil {
		return nil
	}
	err := s.server.Close()
	for _, c := range s.listeners {
		c.Close()
	}
	s.loops.Wait()
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}

// eitherListener tells TLS from plain HTTP by the first octet: a TLS record of
// a handshake begins with 22 (RFC 8446 section 5.1), no HTTP method does.
type eitherListener struct {
	net.Listener
	node   *node
	config *tls.Config
	taken  chan net.Conn
	done   chan struct{}
	once   sync.Once
}

// peekTime is how long a client may wait before its first octet.
const peekTime = 10 * time.Second

func (e *eitherListener) accept() {
	for {
		c, err := e.Listener.Accept()
		if err != nil {
			e.finish()
			return
		}
		if e.node.ippOff.Load() {
			c.Close()
			continue
		}
		go e.sort(c)
	}
}

func (e *eitherListener) sort(c net.Conn) {
	r := bufio.NewReader(c)
	_ = c.SetReadDeadline(time.Now().Add(peekTime))
	first, err := r.Peek(1)
	if err != nil {
		c.Close()
		return
	}
	_ = c.SetReadDeadline(time.Time{})
	var ready net.Conn = &peekedConn{Conn: c, r: r}
	if first[0] == 22 {
		ready = tls.Server(ready, e.config)
	}
	select {
	case e.taken <- ready:
	case <-e.done:
		c.Close()
	}
}

func (e *eitherListener) Accept() (net.Conn, error) {
	select {
	case c := <-e.taken:
		return c, nil
	case <-e.done:
		return nil, net.ErrClosed
	}
}

func (e *eitherListener) finish() { e.once.Do(func() { close(e.done) }) }

func (e *eitherListener) Close() error {
	err := e.Listener.Close()
	e.finish()
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}

type peekedConn struct {
	net.Conn
	r *bufio.Reader
}

func (p *peekedConn) Read(b []byte) (int, error) { return p.r.Read(b) }

// selfSigned makes the certificate of the lab's printers: their own, as
// printers have it.
func selfSigned() (tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("making the lab's certificate: %w", err)
	}
	now := time.Now()
	t := &x509.Certificate{
		SerialNumber: big.NewInt(now.UnixNano()),
		Subject:      pkix.Name{CommonName: "printer.example", Organization: []string{"Quillmere Ferry Trust"}},
		NotBefore:    now.Add(-24 * time.Hour),
		NotAfter:     now.AddDate(2, 0, 0),
		DNSNames:     []string{"printer.example"},
		KeyUsage:     x509.KeyUsageDigitalSignature,
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("making the lab's certificate: %w", err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, nil
}

// maxBody is the largest request read, in octets; documents are refused anyway.
const maxBody = 1 << 20

// serveHTTP answers one HTTP request to any of the addresses.
func (l *Lab) serveHTTP(w http.ResponseWriter, r *http.Request) {
	n := l.ippNode(r.Context())
	if n == nil || r.Method != http.MethodPost || r.Header.Get("Content-Type") != "application/ipp" {
		http.Error(w, "IPP requests are posted here", http.StatusBadRequest)
		return
	}
	d, s := l.service(n, r)
	if d == nil {
		http.NotFound(w, r)
		return
	}
	var body bytes.Buffer
	if _, err := body.ReadFrom(http.MaxBytesReader(w, r.Body, maxBody)); err != nil {
		http.Error(w, "the request is too large", http.StatusRequestEntityTooLarge)
		return
	}
	reply := l.answerIPP(n, d, s, body.Bytes())
	w.Header().Set("Content-Type", "application/ipp")
	w.Write(reply)
}

// ippNode finds the node by the address that the client connected to.
func (l *Lab) ippNode(ctx context.Context) *node {
	at, ok := ctx.Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok {
		return nil
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	to := at.AddrPort()
	for _, n := range l.nodes {
		for i, a := range n.addrs {
			if n.hasIPP && a == to.Addr().Unmap() && n.ippPorts[i] == int(to.Port()) {
				return n
			}
		}
	}
	return nil
}

// service returns the machine behind a resource path; nil when there is none.
func (l *Lab) service(n *node, r *http.Request) (*machine, service) {
	at := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr).AddrPort()
	d, path, queue := (*machine)(nil), "", ""
	switch {
	case n.other != nil && r.URL.Path == queuePath(n.other):
		d, path, queue = l.machine(n.other.Serves), queuePath(n.other), n.other.Serves
	case n.other == nil && (r.URL.Path == n.machines[0].path() || r.URL.Path == "/"):
		d = n.machines[0]
		path = d.path()
	}
	if d == nil {
		return nil, service{}
	}
	return d, service{
		uris:    []string{"ipps://" + at.String() + path, "ipp://" + at.String() + path},
		more:    "http://" + at.String() + "/",
		queue:   queue,
		contact: l.scenario.branch(d.place.Branch).Contact,
	}
}

func (l *Lab) machine(name string) *machine {
	for _, n := range l.nodes {
		for _, d := range n.machines {
			if d.place.Name == name {
				return d
			}
		}
	}
	return nil
}
