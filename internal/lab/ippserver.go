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
	"encoding/binary"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"github.com/OpenPrinting/goipp"
)

// ippServer answers IPP for every address, encrypted and plain on one port.
type ippServer struct {
	server    *http.Server
	odd       func(at netip.AddrPort) oddIPP
	config    *tls.Config
	listeners map[netip.AddrPort]*eitherListener
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
	l.ipp = &ippServer{
		odd:       l.oddIPP,
		config:    &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12},
		listeners: map[netip.AddrPort]*eitherListener{},
		server: &http.Server{
			Handler: http.HandlerFunc(l.serveHTTP),
			// OPTIONS * is ours: it asks for TLS inside HTTP.
			DisableGeneralOptionsHandler: true,
			ReadHeaderTimeout:            10 * time.Second,
			ReadTimeout:                  30 * time.Second,
			WriteTimeout:                 30 * time.Second,
			ErrorLog:                     quiet(),
		},
	}
	port := base
	for _, n := range l.nodes {
		n.ippPorts = n.ippPorts[:0]
		for range n.addrs {
			n.ippPorts = append(n.ippPorts, port)
			if l.options.OnePort {
				port++
			}
		}
	}
	return l.listenIPP()
}

// listenIPP opens the ports of what answers IPP now and closes the others.
func (l *Lab) listenIPP() error {
	wanted := map[netip.AddrPort]bool{}
	for _, n := range l.nodes {
		for i, a := range n.addrs {
			if n.hasIPP && !n.off.Load() && !n.ippOff.Load() {
				wanted[netip.AddrPortFrom(a, uint16(n.ippPorts[i]))] = true
			}
		}
	}
	for at, c := range l.ipp.listeners {
		if !wanted[at] {
			c.Close()
			delete(l.ipp.listeners, at)
		}
	}
	for at := range wanted {
		if l.ipp.listeners[at] == nil {
			if err := l.ipp.listen(at); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *ippServer) listen(at netip.AddrPort) error {
	if !at.Addr().IsLoopback() {
		return fmt.Errorf("%s is no loopback address", at.Addr())
	}
	c, err := net.Listen("tcp4", at.String())
	if err != nil {
		return fmt.Errorf("opening the IPP port: %w", err)
	}
	both := &eitherListener{Listener: c, config: s.config, odd: func() oddIPP { return s.odd(at) }, taken: make(chan net.Conn), done: make(chan struct{})}
	s.listeners[at] = both
	s.loops.Go(both.accept)
	s.loops.Go(func() { s.server.Serve(both) }) // ends with ErrServerClosed or ErrClosed
	return nil
}

func (s *ippServer) close() error {
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
	config *tls.Config
	odd    func() oddIPP
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
	odd, config := e.odd(), e.config
	if odd.begins != nil && odd.begins(ready, first[0], e.done) {
		return
	}
	if odd.encrypts != nil {
		config = config.Clone()
		odd.encrypts(config)
	}
	if first[0] == handshake {
		ready = tls.Server(ready, config)
	}
	e.hand(ready)
}

// hand gives a connection to the HTTP server.
func (e *eitherListener) hand(c net.Conn) {
	select {
	case e.taken <- c:
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
func selfSigned() (tls.Certificate, error) { return certificate(func(*x509.Certificate) {}) }

// certificate makes one that was changed before it was signed.
func certificate(change func(c *x509.Certificate)) (tls.Certificate, error) {
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
	change(t)
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("making the lab's certificate: %w", err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, nil
}

// maxBody is the largest request read, with its document, in octets.
const maxBody = 16 << 20

// serveHTTP answers one HTTP request to any of the addresses.
func (l *Lab) serveHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodOptions && r.TLS == nil && l.upgraded(w, r) {
		return
	}
	if r.Method != http.MethodPost || r.Header.Get("Content-Type") != "application/ipp" {
		http.Error(w, "IPP requests are posted here", http.StatusBadRequest)
		return
	}
	var body bytes.Buffer
	if _, err := body.ReadFrom(http.MaxBytesReader(w, r.Body, maxBody)); err != nil {
		http.Error(w, "the request is too large", http.StatusRequestEntityTooLarge)
		return
	}
	l.mu.Lock()
	n, at := l.ippNode(r.Context())
	d, s := l.service(n, at, r.URL.Path)
	if d == nil {
		l.mu.Unlock()
		http.NotFound(w, r)
		return
	}
	if l.refusedUnnamed(w, n, d, body.Bytes()) {
		l.mu.Unlock()
		return
	}
	reply, lost, odd := l.answerIPP(n, d, s, body.Bytes()), d.lost(body.Bytes()), d.odd.ipp.answers
	l.mu.Unlock()
	if odd != nil && body.Len() >= 4 {
		odd(w, r, goipp.Op(binary.BigEndian.Uint16(body.Bytes()[2:])), reply)
		return
	}
	if lost {
		panic(http.ErrAbortHandler) // ends the connection without an answer
	}
	w.Header().Set("Content-Type", "application/ipp")
	_, _ = w.Write(reply) // a client that has gone away
}

// ippNode finds the node by the address that the client connected to.
func (l *Lab) ippNode(ctx context.Context) (*node, netip.AddrPort) {
	local, ok := ctx.Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok {
		return nil, netip.AddrPort{}
	}
	at := netip.AddrPortFrom(local.AddrPort().Addr().Unmap(), local.AddrPort().Port())
	for _, n := range l.nodes {
		for i, a := range n.addrs {
			if n.hasIPP && a == at.Addr() && n.ippPorts[i] == int(at.Port()) {
				return n, at
			}
		}
	}
	return nil, at
}

// service returns the machine behind a resource path; nil when there is none.
func (l *Lab) service(n *node, at netip.AddrPort, path string) (*machine, service) {
	var d *machine
	queue := ""
	switch {
	case n == nil:
	case n.other != nil && path == queuePath(n.other):
		_, d = l.machine(n.other.Serves)
		queue = n.other.Serves
	case n.other == nil && (path == n.machines[0].path() || path == "/"):
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

// machine finds a printer by name.
func (l *Lab) machine(name string) (*node, *machine) {
	for _, n := range l.nodes {
		for _, d := range n.machines {
			if d.place.Name == name {
				return n, d
			}
		}
	}
	return nil, nil
}
