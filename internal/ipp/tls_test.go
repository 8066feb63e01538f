package ipp

import (
	"bufio"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
)

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
