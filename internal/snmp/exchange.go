package snmp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"slices"
	"sync"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// buffers lends room for the largest UDP datagram.
var buffers = sync.Pool{New: func() any { b := make([]byte, 1<<16); return &b }}

// maxGrowth bounds how much longer later tries wait than the first.
const maxGrowth = 4

// graceV1 is how long a V1 answer waits for the V2c answer that may still be
// on its way: GetBulk takes agents longer.
const graceV1 = 500 * time.Millisecond

// exchange sends requests until one is answered: compose makes the request of
// each try. The answer to an earlier try counts as well.
func (s *Session) exchange(ctx context.Context, compose func(try int) *pdu) (*pdu, *reply, error) {
	stop := context.AfterFunc(ctx, func() { _ = s.conn.SetReadDeadline(time.Unix(1, 0)) })
	defer stop()
	if s.usm != nil && s.usm.engine == "" {
		if err := s.discover(ctx); err != nil {
			return nil, nil, err
		}
	}
	w := &waiting{}
	tries, first := s.patience()
	fallback := !s.settled && s.version == V2c
	if fallback {
		tries = max(tries, 2)
	}
	var last error
	for try := range tries {
		if err := s.send(w, compose(try)); err != nil {
			return nil, nil, err
		}
		if fallback && try > 0 {
			s.sendTwin(w)
		}
		if try > 0 {
			s.stats.Repeated++
			s.opts.Log(fmt.Sprintf("try %d", try+1))
		}
		p, r, err := s.wait(ctx, w, time.Now().Add(first*time.Duration(min(1<<try, maxGrowth))))
		if err == nil || !isNoAnswer(err) {
			return p, r, err
		}
		last = err
	}
	if s.usm != nil && !s.settled && !w.forged {
		last = ErrMute
	}
	return nil, nil, last
}

func isNoAnswer(err error) bool { return errors.Is(err, ErrNoAnswer) }

// waiting is what answers are expected to.
type waiting struct {
	sent      []*pdu
	discovery bool      // for the engine of an SNMPv3 device
	twin      uint32    // request-id of the V1 probe; 0: none
	found     time.Time // when the V1 probe was answered
	forged    bool      // an answer came with a wrong authentication code
}

// send sends p with an id of its own.
func (s *Session) send(w *waiting, p *pdu) error {
	p.id = s.nextID()
	w.sent = append(w.sent, p)
	b, err := s.encode(p)
	if err != nil {
		return fmt.Errorf("%w: encoding: %v", ErrCredential, err)
	}
	return s.write(b)
}

func (s *Session) encode(p *pdu) ([]byte, error) {
	if s.usm != nil {
		return s.usm.encode(p)
	}
	return encodeCommunity(s.version, s.cred.Community, p)
}

// write sends a datagram. A pending ICMP error fails the write with the
// datagram unsent, so it is tried twice.
func (s *Session) write(b []byte) error {
	_, err := s.conn.Write(b)
	if isAny(err, refused) {
		_, err = s.conn.Write(b)
	}
	if err != nil {
		return socketError(err)
	}
	s.stats.Sent++
	s.stats.BytesOut += len(b)
	return nil
}

// systemGroup is what the V1 probe asks for: every agent has something behind
// it (RFC 3418 section 2).
var systemGroup = oid.OID{1, 3, 6, 1, 2, 1, 1}

func (s *Session) sendTwin(w *waiting) {
	if w.twin == 0 {
		w.twin = s.nextID()
	}
	b, err := encodeCommunity(V1, s.cred.Community, &pdu{kind: gosnmp.GetNextRequest, id: w.twin, names: []oid.Ask{{Name: systemGroup}}})
	if err == nil {
		_ = s.write(b) // the request itself was sent: its answer still counts
	}
}

// wait reads until an answer to something of w comes, or the deadline.
func (s *Session) wait(ctx context.Context, w *waiting, deadline time.Time) (*pdu, *reply, error) {
	buf := buffers.Get().(*[]byte)
	defer buffers.Put(buf)
	for {
		until := deadline
		if !w.found.IsZero() {
			until = w.found.Add(min(graceV1, s.opts.Timeout))
		}
		_ = s.conn.SetReadDeadline(until)
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		n, err := s.conn.Read(*buf)
		if err != nil {
			if done, err := s.readFailed(ctx, w, err, until); done {
				return nil, nil, err
			}
			continue
		}
		p, r, err := s.accept(w, (*buf)[:n])
		if err != nil {
			return nil, nil, err
		}
		if r != nil {
			s.settled = s.settled || !w.discovery
			s.stats.RoundTrips++
			s.stats.BytesIn += n
			return p, r, nil
		}
	}
}

// readFailed decides what a failed read means, and whether waiting is over.
func (s *Session) readFailed(ctx context.Context, w *waiting, err error, until time.Time) (bool, error) {
	switch {
	case ctx.Err() != nil:
		return true, ctx.Err()
	case errors.Is(err, os.ErrDeadlineExceeded) && !w.found.IsZero():
		s.version, s.settled = V1, true
		return true, errOtherVersion
	case errors.Is(err, os.ErrDeadlineExceeded) && w.forged:
		return true, fmt.Errorf("%w (%w)", ErrForged, ErrNoAnswer)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return true, ErrNoAnswer
	case isAny(err, refused) && s.settled:
		// An agent that answered before is restarting: wait the try out.
		return !pause(ctx, time.Until(until)), ctx.Err()
	}
	return true, socketError(err)
}

// pause waits, and reports whether the context let it.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

// accept decodes a datagram and matches it to a request. What matches nothing
// is ignored: whoever can guess neither the address, the port nor the id has
// no say.
func (s *Session) accept(w *waiting, datagram []byte) (*pdu, *reply, error) {
	if s.usm != nil {
		return s.acceptV3(w, datagram)
	}
	r, err := decode(s.codec, datagram)
	if err != nil || r.kind != gosnmp.GetResponse || r.community != s.cred.Community.Reveal() || r.id == 0 {
		s.stats.Ignored++
		return nil, nil, nil
	}
	if r.id == w.twin && r.version == V1 {
		if w.found.IsZero() {
			w.found = time.Now()
		}
		return nil, nil, nil
	}
	if p := w.match(r.id); p != nil && r.version == s.version {
		return p, r, nil
	}
	s.stats.Ignored++
	return nil, nil, nil
}

func (w *waiting) match(id uint32) *pdu {
	for _, p := range w.sent {
		if p.id == id {
			return p
		}
	}
	return nil
}

// socketError says what a failed socket call means for the device.
func socketError(err error) error {
	switch {
	case isAny(err, refused):
		return ErrRefused
	case isAny(err, unreachable):
		return ErrUnreachable
	case errors.Is(err, net.ErrClosed):
		return fmt.Errorf("%w: the session is closed", ErrNoAnswer)
	}
	return fmt.Errorf("%w: %w", ErrUnreachable, err)
}

func isAny(err error, list []error) bool {
	return slices.ContainsFunc(list, func(e error) bool { return errors.Is(err, e) })
}
