package snmp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"slices"
	"sync"
	"syscall"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/oid"
)

// buffers lends room for the largest UDP datagram.
var buffers = sync.Pool{New: func() any { b := make([]byte, 1<<16); return &b }}

// graceV1 is how long a V1 answer waits for the V2c answer that may still be
// on its way: GetBulk takes agents longer.
const graceV1 = 500 * time.Millisecond

// flight is one request on its way, in as many tries as it takes. The answer
// to an earlier try counts as well.
type flight struct {
	number uint8 // of a pair: 1 or 2
	tries  []*pdu
	round  int       // tries since begun
	begun  time.Time // when its patience began
	until  time.Time // when the present try is over
}

// waiting is what answers are expected to.
type waiting struct {
	flights   []*flight
	paired    bool      // two flights were begun together
	extra     bool      // holds Options.Extra
	discovery bool      // for the engine of an SNMPv3 device
	twin      uint32    // request-id of the V1 probe; 0: none
	found     time.Time // when the V1 probe was answered
	forged    bool      // an answer came with a wrong authentication code
	weaker    bool      // an answer came at a lower security level than was asked for
}

// exchange asks for what is open of a, in one request or in two at a time, and
// waits until each was answered. It reports whether a has something to return;
// that may be so even with an error.
func (s *Session) exchange(ctx context.Context, a *asking) (useful bool, err error) {
	stop := context.AfterFunc(ctx, func() { _ = s.conn.SetReadDeadline(time.Unix(1, 0)) })
	defer stop()
	if s.usm != nil && s.usm.engine == "" {
		if err := s.discover(ctx); err != nil {
			return false, err
		}
	}
	w := &s.open
	*w = waiting{flights: w.flights[:0]}
	s.lent = 0
	s.in.reset() // nothing useful came before: see Next
	defer func() { s.lower(w, 0) }()
	if err := s.launch(w, a); err != nil {
		return false, err
	}
	for len(w.flights) > 0 {
		f, p, r, err := s.wait(ctx, w)
		if f == nil && err == nil {
			err = s.repeat(w, func(f *flight) *pdu { return s.compose(a, f.number, len(f.tries)) })
		}
		if err != nil {
			return useful, err
		}
		if f == nil {
			continue
		}
		s.land(w, f)
		useful = a.take(s, p, r) || useful
		a.release(f.number)
	}
	return useful, nil
}

// launch sends the first request, and a second one if two at a time are better
// and it is worth it.
func (s *Session) launch(w *waiting, a *asking) error {
	first := s.compose(a, 1, 0)
	if err := s.begin(w, 1, first); err != nil {
		return err
	}
	if !s.pairs() {
		return nil
	}
	second := s.compose(a, 2, 0)
	if 2*second.size < s.pack.limit || s.opts.Extra != nil && !s.opts.Extra.TryAcquire(1) {
		// A small rest fits better beside what will be asked next.
		a.release(2)
		return nil
	}
	w.paired, w.extra = true, s.opts.Extra != nil
	return s.begin(w, 2, second)
}

// begin puts a request in flight.
func (s *Session) begin(w *waiting, number uint8, p *pdu) error {
	f := &s.flights[number-1]
	*f = flight{number: number, begun: s.opts.Now(), tries: f.tries[:0]}
	w.flights = append(w.flights, f)
	return s.try(w, f, p)
}

// try sends one try of a flight.
func (s *Session) try(w *waiting, f *flight, p *pdu) error {
	wait, _ := s.patience(f)
	if err := s.send(f, p, w.discovery); err != nil {
		return err
	}
	if len(f.tries) > 1 {
		s.stats.Repeated++
		s.opts.Log(fmt.Sprintf("try %d", len(f.tries)))
	}
	f.round++
	f.until = p.sent.Add(wait)
	return nil
}

// repeat makes the next try of each flight whose present one is over. A device
// that had answered before may run out of patience once: on a path that loses
// much, giving up costs what is known already. The second time in a row ends
// the exchange.
func (s *Session) repeat(w *waiting, compose func(*flight) *pdu) error {
	now := s.opts.Now()
	struck := !w.paired
	for _, f := range w.flights {
		if f.until.After(now) {
			continue
		}
		if !struck {
			struck = true
			s.strike()
		}
		if _, more := s.patience(f); !more {
			if !s.awake() || s.opts.Retries == 0 || s.expired {
				return s.silence(w)
			}
			s.expired = true
			f.begun, f.round = now, 0
		}
		p := compose(f)
		if len(p.names)+len(p.columns) == 0 && !w.discovery {
			w.flights = slices.DeleteFunc(slices.Clone(w.flights), func(g *flight) bool { return g == f })
			continue // what it asked for is known by now
		}
		if err := s.try(w, f, p); err != nil {
			return err
		}
		if s.fallsBack() && !w.discovery {
			s.sendTwin(w)
		}
	}
	return nil
}

// silence says what it means that nothing came that counts.
func (s *Session) silence(w *waiting) error {
	switch {
	case w.forged:
		return fmt.Errorf("%w (%w)", ErrForged, ErrNoAnswer)
	case w.weaker:
		return ErrDowngrade
	case s.usm != nil && !s.settled && !w.discovery:
		return ErrMute
	case s.usm == nil && !s.settled && s.stats.Ignored > 0:
		return ErrNotAsked
	}
	return ErrNoAnswer
}

// land takes a flight that was answered out.
func (s *Session) land(w *waiting, f *flight) {
	i := slices.Index(w.flights, f)
	if w.paired && i == 1 {
		s.strike()
	}
	w.flights = slices.Delete(w.flights, i, i+1)
	s.lower(w, 1)
}

// lower lets others ask when no more than so many flights are left.
func (s *Session) lower(w *waiting, most int) {
	if w.extra && (most == 0 || len(w.flights) <= most) {
		w.extra = false
		s.opts.Extra.Release(1)
	}
}

// send sends p with an id of its own.
func (s *Session) send(f *flight, p *pdu, discovery bool) error {
	p.id = s.nextID()
	f.tries = append(f.tries, p)
	var b []byte
	var err error
	switch {
	case discovery:
		b, err = discoveryMessage(p.id)
	case s.usm != nil:
		b, err = s.usm.encode(p)
	default:
		b, s.binds = appendCommunity(s.out[:0], s.version, s.cred.Community, p, s.binds)
		s.out = b
	}
	if err != nil {
		return fmt.Errorf("%w: encoding: %v", ErrCredential, err)
	}
	p.sent = s.opts.Now()
	return s.write(b)
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
	b, _ := appendCommunity(nil, V1, s.cred.Community, &pdu{kind: getNext, id: w.twin, names: []oid.Ask{{Name: systemGroup}}}, nil)
	_ = s.write(b) // the request itself was sent: its answer still counts
}

// until is when the first of the present tries is over.
func (w *waiting) until() time.Time {
	first := w.flights[0].until
	for _, f := range w.flights[1:] {
		if f.until.Before(first) {
			first = f.until
		}
	}
	return first
}

// wait reads until an answer to something of w comes. It returns none, and no
// error, when a try is over.
func (s *Session) wait(ctx context.Context, w *waiting) (*flight, *pdu, *reply, error) {
	buf := buffers.Get().(*[]byte)
	defer buffers.Put(buf)
	for {
		until := w.until()
		if !w.found.IsZero() {
			until = w.found.Add(min(graceV1, s.opts.Timeout))
		}
		_ = s.conn.SetReadDeadline(until)
		if err := ctx.Err(); err != nil {
			return nil, nil, nil, err
		}
		n, err := s.conn.Read(*buf)
		if err != nil {
			if done, err := s.readFailed(ctx, w, err, until); done {
				return nil, nil, nil, err
			}
			continue
		}
		before := s.in
		f, p, r, err := s.accept(w, (*buf)[:n])
		if err != nil {
			return nil, nil, nil, err
		}
		if r == nil {
			s.in = before // what is ignored takes no room
		} else {
			s.settled = s.settled || !w.discovery
			s.expired = false
			s.rtt.measure(s.opts.Now().Sub(p.sent))
			s.stats.RoundTrips++
			s.stats.BytesIn += n
			return f, p, r, nil
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
	case errors.Is(err, os.ErrDeadlineExceeded):
		return true, nil
	case isAny(err, refused) && s.awake():
		// An agent that answered before is restarting: wait the try out.
		return !pause(ctx, until.Sub(s.opts.Now())), ctx.Err()
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
func (s *Session) accept(w *waiting, datagram []byte) (*flight, *pdu, *reply, error) {
	if s.usm != nil {
		return s.acceptV3(w, datagram)
	}
	r, err := decode(s.codec, datagram, &s.in)
	if err != nil || r.kind != gosnmp.GetResponse || r.community != s.cred.Community.Reveal() || r.id == 0 {
		s.stats.Ignored++
		return nil, nil, nil, nil
	}
	if r.id == w.twin && r.version == V1 {
		if w.found.IsZero() {
			w.found = s.opts.Now()
		}
		return nil, nil, nil, nil
	}
	if f, p := w.match(r.id); p != nil && r.version == s.version {
		return f, p, r, nil
	}
	s.stats.Ignored++
	return nil, nil, nil, nil
}

func (w *waiting) match(id uint32) (*flight, *pdu) {
	for _, f := range w.flights {
		for _, p := range f.tries {
			if p.id == id {
				return f, p
			}
		}
	}
	return nil, nil
}

// socketError says what a failed socket call means for the device.
func socketError(err error) error {
	switch {
	case isAny(err, refused):
		return ErrRefused
	case isAny(err, unreachable):
		return ErrUnreachable
	case errors.Is(err, syscall.EMFILE), errors.Is(err, syscall.ENFILE):
		return ErrNoSocket
	case errors.Is(err, net.ErrClosed):
		return fmt.Errorf("%w: the session is closed", ErrNoAnswer)
	}
	return fmt.Errorf("%w: %w", ErrUnreachable, err)
}

func isAny(err error, list []error) bool {
	return slices.ContainsFunc(list, func(e error) bool { return errors.Is(err, e) })
}
