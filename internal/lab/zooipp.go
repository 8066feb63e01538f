package lab

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"crypto/tls"
	"crypto/x509"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"github.com/OpenPrinting/goipp"
)

// oddIPP is how a device misbehaves over IPP. What is nil behaves.
type oddIPP struct {
	// begins is shown the first octet of a connection; true: it has taken it over.
	begins func(c net.Conn, first byte, over <-chan struct{}) bool
	// encrypts changes the TLS of the port.
	encrypts func(c *tls.Config)
	// attributes changes what the printer says of itself.
	attributes func(a goipp.Attributes) goipp.Attributes
	// answers sends what stands for an answer.
	answers func(w http.ResponseWriter, r *http.Request, op goipp.Op, answer []byte)
	// upgrades lets OPTIONS ask for TLS inside HTTP.
	upgrades bool
}

func overHTTP(name, help string, odd oddIPP) misbehaviour {
	return misbehaviour{Misbehaviour{name, overIPP, help}, func(o *oddity) { o.ipp = odd }}
}

// sends changes the octets of every answer.
func sends(change func(op goipp.Op, answer []byte) []byte) oddIPP {
	return oddIPP{answers: func(w http.ResponseWriter, _ *http.Request, op goipp.Op, answer []byte) {
		w.Header().Set("Content-Type", "application/ipp")
		_, _ = w.Write(change(op, answer)) // a client that has gone away
	}}
}

// writes takes the connection over and writes to it, then closes it.
func writes(write func(out *bufio.Writer, answer []byte)) oddIPP {
	return oddIPP{answers: func(w http.ResponseWriter, _ *http.Request, _ goipp.Op, answer []byte) {
		c, _, err := http.NewResponseController(w).Hijack()
		if err != nil {
			return
		}
		defer c.Close()
		_ = c.SetDeadline(time.Now().Add(time.Minute))
		out := bufio.NewWriter(c)
		write(out, answer)
		_ = out.Flush() // a client that has gone away
	}}
}

// refuses answers with an HTTP status and header.
func refuses(code int, header ...string) oddIPP {
	return oddIPP{answers: func(w http.ResponseWriter, _ *http.Request, _ goipp.Op, _ []byte) {
		for i := 0; i+1 < len(header); i += 2 {
			w.Header().Set(header[i], header[i+1])
		}
		w.WriteHeader(code)
	}}
}

// certified shows a certificate that was changed before it was signed.
func certified(change func(c *x509.Certificate)) oddIPP {
	return oddIPP{encrypts: func(c *tls.Config) {
		if cert, err := certificate(change); err == nil {
			c.Certificates = []tls.Certificate{cert}
		}
	}}
}

// handshake is the first octet of a TLS connection (RFC 8446 section 5.1).
const handshake = 22

// Sizes of the misbehaviours.
const (
	endless    = 256 << 20 // octets, after which it ends after all
	bombMember = 16 << 20  // octets of one gzip member
	bombs      = 64        // members
	manyJobs   = 50_000
	deepNests  = 1000
)

var zooIPP = []misbehaviour{
	overHTTP("ipp-endless-body", "its answer does not end", writes(func(out *bufio.Writer, answer []byte) {
		fmt.Fprint(out, "HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nConnection: close\r\n\r\n")
		_, _ = out.Write(answer[:len(answer)-1])
		more := attribute(goipp.TagText, "printer-info", strings.Repeat("on and on ", 20))
		for sent := 0; sent < endless; sent += len(more) {
			if _, err := out.Write(more); err != nil {
				return
			}
		}
	})),
	overHTTP("ipp-gzip-bomb", "its answer unfolds to a gigabyte", writes(func(out *bufio.Writer, answer []byte) {
		fmt.Fprint(out, "HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Encoding: gzip\r\nConnection: close\r\n\r\n")
		_, _ = out.Write(gzipped(answer[:len(answer)-1]))
		for range bombs {
			if _, err := out.Write(bomb()); err != nil {
				return
			}
		}
	})),
	overHTTP("ipp-length-too-short", "its Content-Length is half of what it sends", writes(func(out *bufio.Writer, answer []byte) {
		fmt.Fprintf(out, "HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: %d\r\n\r\n", len(answer)/2)
		_, _ = out.Write(answer)
	})),
	overHTTP("ipp-length-too-long", "its Content-Length is more than it sends", writes(func(out *bufio.Writer, answer []byte) {
		fmt.Fprintf(out, "HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nContent-Length: %d\r\n\r\n", len(answer)+500)
		_, _ = out.Write(answer)
	})),
	overHTTP("ipp-http-1.0", "speaks HTTP/1.0 and closes after each answer", writes(func(out *bufio.Writer, answer []byte) {
		fmt.Fprint(out, "HTTP/1.0 200 OK\r\nContent-Type: application/ipp\r\n\r\n")
		_, _ = out.Write(answer)
	})),
	overHTTP("ipp-redirect-loop", "redirects every request to itself", refuses(http.StatusTemporaryRedirect, "Location", "/ipp/print")),
	overHTTP("ipp-redirect-away", "redirects every request to another host", refuses(http.StatusTemporaryRedirect, "Location", "http://192.0.2.1:631/ipp/print")),
	overHTTP("ipp-basic", "wants a password, HTTP Basic", refuses(http.StatusUnauthorized, "WWW-Authenticate", `Basic realm="printer"`)),
	overHTTP("ipp-digest", "wants a password, HTTP Digest", refuses(http.StatusUnauthorized, "WWW-Authenticate", `Digest realm="printer", qop="auth", nonce="0f1e2d3c4b5a6978"`)),
	overHTTP("ipp-426", "wants to be asked for TLS inside HTTP", oddIPP{upgrades: true,
		begins: func(c net.Conn, first byte, _ <-chan struct{}) bool {
			if first != handshake {
				return false
			}
			c.Close()
			return true
		},
		answers: func(w http.ResponseWriter, r *http.Request, _ goipp.Op, answer []byte) {
			if r.TLS == nil {
				w.Header().Set("Upgrade", "TLS/1.2")
				w.Header().Set("Connection", "close")
				w.WriteHeader(http.StatusUpgradeRequired)
				return
			}
			w.Header().Set("Content-Type", "application/ipp")
			_, _ = w.Write(answer)
		}}),
	overHTTP("ipp-tls-1.0", "speaks TLS 1.0 and no later version", oddIPP{encrypts: func(c *tls.Config) {
		c.MinVersion, c.MaxVersion = tls.VersionTLS10, tls.VersionTLS10
	}}),
	overHTTP("ipp-expired", "its certificate has expired", certified(func(c *x509.Certificate) {
		c.NotBefore, c.NotAfter = c.NotBefore.AddDate(-6, 0, 0), c.NotAfter.AddDate(-5, 0, 0)
	})),
	overHTTP("ipp-other-name", "its certificate is for somebody else", certified(func(c *x509.Certificate) {
		c.Subject.CommonName, c.DNSNames = "elsewhere.example", []string{"elsewhere.example"}
	})),
	overHTTP("ipp-endless-handshake", "takes a TLS connection and never says a word on it", oddIPP{
		begins: func(c net.Conn, first byte, over <-chan struct{}) bool {
			if first != handshake {
				return false
			}
			gone := make(chan struct{})
			go func() {
				_, _ = io.Copy(io.Discard, c) // until the client has had enough
				close(gone)
			}()
			select {
			case <-gone:
			case <-over:
			}
			c.Close()
			return true
		}}),
	overHTTP("ipp-truncated", "its answer stops in the middle of an attribute", sends(func(_ goipp.Op, answer []byte) []byte {
		return answer[:len(answer)*2/3]
	})),
	overHTTP("ipp-deep-collections", "nests 1,000 collections", sends(func(_ goipp.Op, answer []byte) []byte {
		out := append(answer[:len(answer)-1:len(answer)-1], attribute(goipp.TagBeginCollection, "media-col-deep", "")...)
		for range deepNests {
			out = append(out, attribute(goipp.TagMemberName, "", "media-col-deep")...)
			out = append(out, attribute(goipp.TagBeginCollection, "", "")...)
		}
		for range deepNests + 1 {
			out = append(out, attribute(goipp.TagEndCollection, "", "")...)
		}
		return append(out, byte(goipp.TagEnd))
	})),
	overHTTP("ipp-value-overrun", "an attribute claims a value longer than the answer", sends(func(_ goipp.Op, answer []byte) []byte {
		if at := valueLength(answer, len(answer)*2/3); at > 0 {
			binary.BigEndian.PutUint16(answer[at:], 0x7ff0)
		}
		return answer
	})),
	overHTTP("ipp-wrong-version", "answers in version 9.9 of IPP", sends(func(_ goipp.Op, answer []byte) []byte {
		answer[0], answer[1] = 9, 9
		return answer
	})),
	overHTTP("ipp-50000-jobs", "has 50,000 jobs in its queue and sends them all", oddIPP{
		attributes: func(a goipp.Attributes) goipp.Attributes {
			for i := range a {
				if a[i].Name == "queued-job-count" {
					a[i].Values = goipp.Values{{T: goipp.TagInteger, V: goipp.Integer(manyJobs)}}
				}
			}
			return a
		},
		answers: sends(func(op goipp.Op, answer []byte) []byte {
			if op != goipp.OpGetJobs {
				return answer
			}
			out := answer[: len(answer)-1 : len(answer)-1]
			for n := range uint32(manyJobs) {
				out = append(out, byte(goipp.TagJobGroup))
				out = append(out, attribute(goipp.TagInteger, "job-id", string(binary.BigEndian.AppendUint32(nil, n+1000)))...)
				out = append(out, attribute(goipp.TagEnum, "job-state", "\x00\x00\x00\x03")...)
				out = append(out, attribute(goipp.TagKeyword, "job-state-reasons", "none")...)
			}
			return append(out, byte(goipp.TagEnd))
		}).answers,
	}),
}

// attribute encodes one value (RFC 8010 section 3.1.4); the name of a further
// one is empty.
func attribute(tag goipp.Tag, name, value string) []byte {
	out := binary.BigEndian.AppendUint16([]byte{byte(tag)}, uint16(len(name)))
	out = binary.BigEndian.AppendUint16(append(out, name...), uint16(len(value)))
	return append(out, value...)
}

// valueLength finds the length of the first value that begins at or behind an
// offset; 0 when there is none.
func valueLength(b []byte, from int) int {
	for i := 8; i < len(b); {
		if b[i] < 0x10 { // a delimiter has no length
			i++
			continue
		}
		if i+3 > len(b) {
			return 0
		}
		at := i + 3 + int(binary.BigEndian.Uint16(b[i+1:]))
		if at+2 > len(b) {
			return 0
		}
		if i >= from {
			return at
		}
		i = at + 2 + int(binary.BigEndian.Uint16(b[at:]))
	}
	return 0
}

func gzipped(b []byte) []byte {
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	_, _ = w.Write(b)
	_ = w.Close()
	return out.Bytes()
}

var bomb = sync.OnceValue(func() []byte { return gzipped(make([]byte, bombMember)) })

// worded changes the words of a printer's attributes and leaves keywords.
func worded(bad func(string) string) func(goipp.Attributes) goipp.Attributes {
	return func(a goipp.Attributes) goipp.Attributes {
		out := make(goipp.Attributes, len(a))
		for i, old := range a {
			out[i] = goipp.Attribute{Name: old.Name}
			for _, v := range old.Values {
				s, words := v.V.(goipp.String)
				if words && (v.T == goipp.TagText || v.T == goipp.TagName) && plainText([]byte(s)) {
					v.V = goipp.String(bad(string(s)))
				}
				out[i].Values.Add(v.T, v.V)
			}
		}
		return out
	}
}

// upgrade answers a request for TLS inside HTTP (RFC 2817 section 3): it
// consents, and the connection comes back encrypted.
func upgrade(w http.ResponseWriter, config *tls.Config, back func(net.Conn)) {
	c, _, err := http.NewResponseController(w).Hijack()
	if err != nil {
		return
	}
	_, err = io.WriteString(c, "HTTP/1.1 101 Switching Protocols\r\nUpgrade: TLS/1.2, HTTP/1.1\r\nConnection: Upgrade\r\n\r\n")
	secure := tls.Server(c, config)
	if err == nil {
		_ = c.SetDeadline(time.Now().Add(time.Minute))
		err = secure.Handshake()
	}
	if err == nil {
		_, err = io.WriteString(secure, "HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n")
	}
	if err != nil {
		c.Close()
		return
	}
	back(secure)
}

// oddIPP is how the device misbehaves that answers IPP at a place.
func (l *Lab) oddIPP(at netip.AddrPort) oddIPP {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, n := range l.nodes {
		for i, a := range n.addrs {
			if n.machines != nil && a == at.Addr() && n.ippPorts[i] == int(at.Port()) {
				return n.machines[0].odd.ipp
			}
		}
	}
	return oddIPP{}
}

// upgraded switches a connection to TLS where the device does that.
func (l *Lab) upgraded(w http.ResponseWriter, r *http.Request) bool {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok {
		return false
	}
	at := local.AddrPort()
	at = netip.AddrPortFrom(at.Addr().Unmap(), at.Port())
	if !l.oddIPP(at).upgrades {
		return false
	}
	l.mu.Lock()
	listener := l.ipp.listeners[at]
	l.mu.Unlock()
	if listener != nil {
		upgrade(w, l.ipp.config, listener.hand)
	}
	return listener != nil
}
