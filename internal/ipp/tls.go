package ipp

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"sync"
	"time"
)

// TLSInfo is what the device showed of its certificate.
type TLSInfo struct {
	Version     string // such as TLS 1.3
	Fingerprint string // SHA-256 of the certificate, lower-case hex
	SelfSigned  bool
	NotAfter    time.Time // end of validity
}

// tlsConfig accepts any certificate: self-signed and expired ones are the norm
// on printers, nothing secret is sent, and the fingerprint is recorded so that
// a change can be seen. Old versions and ciphers are accepted for the same
// reason: reading a printer over weak TLS is no worse than over none.
//
// The name of the server is left out: the address alone is known for sure, and
// an address is no server name (RFC 6066 section 3). Sessions are kept for the
// device that the configuration is made for, so that a second connection costs
// no second proof (RFC 8446 section 2.2, RFC 5077).
func tlsConfig() *tls.Config {
	return &tls.Config{
		InsecureSkipVerify: true,
		MinVersion:         tls.VersionTLS10,
		CipherSuites:       everySuite(),
		ClientSessionCache: tls.NewLRUClientSessionCache(2),
	}
}

var everySuite = sync.OnceValue(func() (suites []uint16) {
	for _, c := range append(tls.CipherSuites(), tls.InsecureCipherSuites()...) {
		suites = append(suites, c.ID)
	}
	return suites
})

func tlsInfo(cs tls.ConnectionState) *TLSInfo {
	info := &TLSInfo{Version: tls.VersionName(cs.Version)}
	if len(cs.PeerCertificates) == 0 {
		return info
	}
	leaf := cs.PeerCertificates[0]
	sum := sha256.Sum256(leaf.Raw)
	info.Fingerprint = hex.EncodeToString(sum[:])
	info.NotAfter = leaf.NotAfter.UTC()
	info.SelfSigned = selfSigned(leaf)
	return info
}

// selfSigned reports whether the certificate names itself as its issuer and is
// signed with its own key (RFC 5280 section 3.2). A signature by an algorithm
// that is too weak to be checked is taken at its word.
func selfSigned(c *x509.Certificate) bool {
	if !bytes.Equal(c.RawIssuer, c.RawSubject) {
		return false
	}
	err := c.CheckSignature(c.SignatureAlgorithm, c.RawTBSCertificate, c.Signature)
	var weak x509.InsecureAlgorithmError
	return err == nil || errors.As(err, &weak)
}

// secure makes the TLS connection on top of raw, after asking for it inside
// HTTP if inBand (RFC 2817 section 3).
func (l *Line) secure(ctx context.Context, raw net.Conn, port uint16, inBand bool) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	end, _ := ctx.Deadline()
	if err := raw.SetDeadline(end); err != nil {
		return nil, err
	}
	conn := raw
	if inBand {
		buffered, err := askForTLS(raw, Target{Addr: l.addr}.hostPort(port))
		if err != nil {
			return nil, errorf("tls", ErrTLS, err, "TCP port %d asks for TLS but did not switch to it: %s", port, rootText(err))
		}
		conn = buffered
	}
	client := tls.Client(conn, l.tls)
	if err := client.HandshakeContext(ctx); err != nil {
		return nil, tlsError(err, port, l.o.Timeout)
	}
	l.saw(port, tlsInfo(client.ConnectionState()))
	conn = client
	if inBand {
		// The answer to the request that asked for TLS comes first (RFC 2817 section 3.3).
		_, buffered, err := readHeader(client)
		if err != nil {
			return nil, errorf("tls", ErrTLS, err, "TCP port %d sent no answer after switching to TLS", port)
		}
		conn = buffered
	}
	return conn, raw.SetDeadline(time.Time{})
}

func tlsError(err error, port uint16, timeout time.Duration) error {
	var plain tls.RecordHeaderError
	switch {
	case isTimeout(err):
		return errorf("tls", ErrNoAnswer, err, "TCP port %d connected but did not answer TLS within %s", port, timeout)
	case errors.As(err, &plain):
		return errorf("tls", ErrTLS, err, "TCP port %d does not speak TLS", port)
	case isClosed(err):
		return errorf("tls", ErrTLS, err, "TCP port %d closed the connection on TLS", port)
	}
	return errorf("tls", ErrTLS, err, "TCP port %d: %s", port, rootText(err))
}

// askForTLS sends the request that asks the server to switch to TLS on this
// connection and reads its consent.
func askForTLS(conn net.Conn, host string) (net.Conn, error) {
	_, err := fmt.Fprintf(conn, "OPTIONS * HTTP/1.1\r\nHost: %s\r\nUpgrade: TLS/1.2, TLS/1.1, TLS/1.0\r\nConnection: Upgrade\r\nContent-Length: 0\r\n\r\n", host)
	if err != nil {
		return nil, err
	}
	status, buffered, err := readHeader(conn)
	if err != nil {
		return nil, err
	}
	if status != http.StatusSwitchingProtocols {
		return nil, fmt.Errorf("HTTP %d", status)
	}
	return buffered, nil
}

// readHeader reads one response without its body, up to maxHeader octets, and
// returns the connection behind it.
func readHeader(conn net.Conn) (status int, rest net.Conn, err error) {
	bound := &io.LimitedReader{R: conn, N: maxHeader}
	r := bufio.NewReader(bound)
	resp, err := http.ReadResponse(r, nil)
	if err != nil {
		return 0, nil, err
	}
	_ = resp.Body.Close()
	bound.N = math.MaxInt64
	return resp.StatusCode, &bufferedConn{Conn: conn, r: r}, nil
}

// bufferedConn reads what was already taken from the connection first.
type bufferedConn struct {
	net.Conn
	r *bufio.Reader
}

func (c *bufferedConn) Read(p []byte) (int, error) { return c.r.Read(p) }
