package ipp

import (
	"context"
	"crypto/tls"
	"errors"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"sync"
	"syscall"
	"time"

	"printround/internal/printport"
)

// Line is the way to one device for all that is asked of it over IPP: one
// connection at a time, kept between requests and between the printers behind
// one address; a further one takes up the TLS session of the one before, unless
// the certificate has expired. The address is dialled as it is, so that no name
// is looked up. It is for one goroutine.
type Line struct {
	addr netip.Addr
	o    Options
	http *http.Client
	tls  *tls.Config

	mu     sync.Mutex // the transport dials in its own goroutine
	inBand bool       // TLS is asked for inside HTTP
	info   map[uint16]*TLSInfo
	noTLS  map[uint16]bool // ports on which TLS came to nothing
}

// NewLine prepares to ask a device; it sends nothing.
func NewLine(addr netip.Addr, o Options) *Line {
	if o.Dial == nil {
		o.Dial = (&net.Dialer{}).DialContext
	}
	if o.Log == nil {
		o.Log = func(string) {}
	}
	l := &Line{addr: addr, o: o, tls: tlsConfig(), info: map[uint16]*TLSInfo{}, noTLS: map[uint16]bool{}}
	l.http = &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{
			DialContext:            l.dialPlain,
			DialTLSContext:         l.dialTLS,
			DisableCompression:     true, // so that the bound on the body is the bound on memory
			MaxIdleConns:           1,
			MaxIdleConnsPerHost:    1,
			MaxResponseHeaderBytes: maxHeader,
			ResponseHeaderTimeout:  o.Timeout,
			IdleConnTimeout:        time.Minute,
		},
	}
	return l
}

// Open prepares to ask a printer of the device; it sends nothing. The address
// is that of the line.
func (l *Line) Open(t Target) *Session {
	t.Addr = l.addr
	return &Session{line: l, t: t.withDefaults(), o: l.o, version: version20}
}

// Close ends the connection.
func (l *Line) Close() { l.http.CloseIdleConnections() }

func (l *Line) setInBand(inBand bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.inBand != inBand {
		l.http.CloseIdleConnections()
		l.inBand = inBand
	}
}

func (l *Line) saw(port uint16, info *TLSInfo) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.info[port] = info
}

// shown is what was last seen of the certificate on a port.
func (l *Line) shown(port uint16) *TLSInfo {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.info[port]
}

// note remembers that TLS came to nothing.
func (l *Line) note(w way, err error) {
	var e *Error
	if w.secure && !w.inBand && errors.As(err, &e) && e.Stage == "tls" {
		l.noTLS[w.port] = true
	}
}

func (l *Line) failed(port uint16) bool { return l.noTLS[port] }

// dialPlain connects to the device, whatever host the URL names.
func (l *Line) dialPlain(ctx context.Context, _, address string) (net.Conn, error) {
	port, err := portOf(address)
	if err != nil {
		return nil, err
	}
	if printport.Raw(port) {
		return nil, errorf("tcp", ErrRawPort, nil, "TCP port %d prints whatever it is sent and is never opened", port)
	}
	ctx, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	conn, err := l.o.Dial(ctx, "tcp", netip.AddrPortFrom(l.addr, port).String())
	if err != nil {
		if errors.Is(err, context.Canceled) {
			return nil, err
		}
		if zone := l.addr.Zone(); zone != "" && isErrno(err, syscall.EINVAL) {
			return nil, errorf("route", ErrNoRoute, err, "this computer has no network interface %q", ascii(zone, 40))
		}
		return nil, dialError(err, port, l.o.Timeout)
	}
	return conn, nil
}

func (l *Line) dialTLS(ctx context.Context, network, address string) (net.Conn, error) {
	port, err := portOf(address)
	if err != nil {
		return nil, err
	}
	raw, err := l.dialPlain(ctx, network, address)
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	inBand := l.inBand
	l.mu.Unlock()
	conn, err := l.secure(ctx, raw, port, inBand)
	if err != nil {
		_ = raw.Close()
		return nil, err
	}
	return conn, nil
}

func portOf(address string) (uint16, error) {
	_, p, err := net.SplitHostPort(address)
	if err != nil {
		return 0, err
	}
	n, err := strconv.ParseUint(p, 10, 16)
	return uint16(n), err
}
