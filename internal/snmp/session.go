// Package snmp asks devices over SNMP: versions 1, 2c and 3. Each session has
// a socket of its own and checks every answer itself; the SNMP library decodes
// what is out of the ordinary, and encodes, decodes and does the cryptography of
// version 3. It reads, and can do nothing else.
package snmp

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/netip"
	"syscall"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// Options are what a session needs. Zero values are usable.
type Options struct {
	Timeout time.Duration                                           // longest wait for one try of a request; 0: 2 s
	Retries int                                                     // further tries of a request while the device has never answered, >= 0; see patience
	First   time.Duration                                           // > 0: until the device has answered once, wait this long instead and try again only to learn the version
	Heard   bool                                                    // the device answered this credential and version a moment ago
	Extra   Turn                                                    // held while a second request is in flight; nil: nobody else asks the device
	Dial    func(context.Context, netip.AddrPort) (net.Conn, error) // nil: a connected UDP socket
	Now     func() time.Time                                        // nil: time.Now
	Log     func(string)                                            // lines without secrets; may be nil
}

// Turn is what those who ask the same device share, so that it never has more
// requests to work on than two. A semaphore.Weighted is one.
type Turn interface {
	TryAcquire(n int64) bool
	Release(n int64)
}

// Stats counts what a session did.
type Stats struct {
	RoundTrips int // requests that were answered
	Sent       int // datagrams sent
	Repeated   int // of those, tries after the first
	BytesOut   int // UDP payload sent
	BytesIn    int // UDP payload received that belonged to a request
	Values     int // bindings received with a value
	Ignored    int // datagrams that belonged to no request
}

// Session asks one device. It is not for concurrent use. It implements the
// reader of package mib.
type Session struct {
	conn    net.Conn
	cred    Credential
	opts    Options
	version Version
	settled bool // an answer has shown that version and credential are right
	id      uint32
	usm     *usm
	codec   *gosnmp.GoSNMP
	pack    packing
	rtt     rtt
	strikes int   // how often two requests at a time went wrong
	expired bool  // a request ran out of patience, and nothing came since
	failed  error // ended an exchange that had brought something all the same
	stats   Stats
	*room
}

// maxCommunity is the longest community that is encoded without loss: the
// codec writes its length in one octet.
const maxCommunity = 127

// Open makes a session. Nothing is sent yet: whether the device answers shows
// with the first request. The error is ErrCredential, or that no socket was
// to be had.
func Open(ctx context.Context, at netip.AddrPort, cred Credential, o Options) (*Session, error) {
	if o.Timeout <= 0 {
		o.Timeout = 2 * time.Second
	}
	if o.Dial == nil {
		o.Dial = dial
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = func(string) {}
	}
	s := &Session{cred: cred, opts: o, version: cred.Version, id: rand.Uint32N(1<<31-2) + 1, pack: newPacking(), room: &room{}}
	switch cred.Version {
	case V1, V2c:
		if c := cred.Community.Reveal(); c == "" || len(c) > maxCommunity {
			return nil, fmt.Errorf("%w: a community has 1 to %d octets", ErrCredential, maxCommunity)
		}
		s.codec = &gosnmp.GoSNMP{Version: gosnmp.SnmpVersion(cred.Version)}
	case V3:
		u, err := newUSM(cred)
		if err != nil {
			return nil, err
		}
		s.usm, s.codec = u, u.codec
	default:
		return nil, fmt.Errorf("%w: no SNMP version %d", ErrCredential, uint8(cred.Version))
	}
	conn, err := o.Dial(ctx, at)
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if zone := at.Addr().Zone(); zone != "" && errors.Is(err, syscall.EINVAL) {
			return nil, fmt.Errorf("%w: this computer has no network interface %q", ErrUnreachable, zone)
		}
		return nil, socketError(err)
	}
	s.conn, s.room = conn, rooms.Get().(*room)
	return s, nil
}

// dial waits for nobody: a UDP socket is connected by the system alone.
func dial(_ context.Context, at netip.AddrPort) (net.Conn, error) {
	return net.DialUDP("udp", nil, net.UDPAddrFromAddrPort(at))
}

// Close closes the socket. No answer lasts longer.
func (s *Session) Close() error {
	s.room.release()
	s.room = &room{}
	return s.conn.Close()
}

// Version is the version in use: the credential's, or V1 when a V2c credential
// fell back to it.
func (s *Session) Version() Version { return s.version }

// Answered reports whether the device has answered with this credential.
func (s *Session) Answered() bool { return s.settled }

// Stats returns the counts so far.
func (s *Session) Stats() Stats { return s.stats }

func (s *Session) nextID() uint32 {
	s.id = s.id%(1<<31-1) + 1
	return s.id
}

// errOtherVersion says that the device answered a probe of SNMPv1 only.
var errOtherVersion = errors.New("the device speaks SNMPv1 only")

// Next answers q with one exchange, or with several when the device cannot
// take it as it is. See oid.Answer; what it returns lasts until the next call
// or until the session is closed.
func (s *Session) Next(ctx context.Context, q oid.Request) (oid.Answer, error) {
	if err := s.failed; err != nil {
		s.failed = nil
		return oid.Answer{}, err
	}
	a := &s.ask
	a.reset(q)
	for range maxRepairs {
		useful, err := s.exchange(ctx, a)
		switch {
		case errors.Is(err, errOtherVersion):
			s.opts.Log("answers SNMPv1 only")
			a.release(1)
			continue
		case err != nil && !useful:
			return oid.Answer{}, err
		case useful || a.finished():
			s.failed = err
			return a.answer(), nil
		}
	}
	return oid.Answer{}, fmt.Errorf("%w: %d requests in a row were refused, however small", ErrBadAnswer, maxRepairs)
}

// maxRepairs bounds how often one question is asked in another form.
const maxRepairs = 40
