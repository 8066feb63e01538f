package snmp

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/mib"
	"printround/internal/oid"
)

// echo is a reader that takes one datagram for the answer to everything.
type echo struct {
	s        *Session
	datagram []byte
	left     int
}

var errDone = errors.New("enough")

func (e *echo) Next(_ context.Context, q oid.Request) (oid.Answer, error) {
	a := &asking{}
	a.reset(q)
	for range maxRepairs {
		if e.left--; e.left < 0 {
			return oid.Answer{}, errDone
		}
		p := e.s.compose(a, 1, 0)
		for try := range e.left % 3 {
			p = e.s.compose(a, 1, try+1)
		}
		r, err := decode(e.s.codec, e.datagram, &received{})
		if err != nil {
			return oid.Answer{}, err
		}
		useful := a.take(e.s, p, r)
		a.release(1)
		if useful || a.finished() {
			return a.answer(), nil
		}
	}
	return oid.Answer{}, ErrBadAnswer
}

// FuzzDecode: whatever comes as an answer, to whichever request, is refused or
// ends in bounded, typed tables; what is read without the library is read like
// the library.
func FuzzDecode(f *testing.F) {
	a := &agent{t: f, binds: fullDevice(f), community: "public"}
	plain, err := Open(context.Background(), (&agent{}).start(f), public(V2c), Options{})
	if err != nil {
		f.Fatal(err)
	}
	defer plain.Close()
	for _, v := range []Version{V1, V2c} {
		for _, root := range []string{"1.3.6.1.2.1.43", "1.3.6.1.2.1.43.11.1.1.9", "1.3.6.1.2.1.43.18.1.1.2", "1.3.6.1.4.1.99999.1.455.2"} {
			for _, kind := range []gosnmp.PDUType{gosnmp.GetNextRequest, gosnmp.GetBulkRequest} {
				req := &gosnmp.SnmpPacket{Version: gosnmp.SnmpVersion(v), Community: "public", PDUType: kind, RequestID: 1, MaxRepetitions: 8,
					Variables: []gosnmp.SnmpPDU{{Name: "." + root, Type: gosnmp.Null}}}
				f.Add(marshal(f, a.answer(req)), false)
			}
		}
	}
	f.Fuzz(func(t *testing.T, datagram []byte, single bool) {
		likeTheLibrary(t, datagram)
		s := *plain
		s.pack = newPacking()
		if single {
			s.version = V1
		}
		facts, err := mib.Read(context.Background(), &echo{s: &s, datagram: datagram, left: 60})
		if facts == nil {
			t.Fatalf("no facts, error %v", err)
		}
		if len(facts.Raw) > 5000 || len(facts.Problems) > 20 {
			t.Errorf("%d values, %d problems of one datagram", len(facts.Raw), len(facts.Problems))
		}
	})
}

// FuzzAcceptV3: a stranger's message is never taken for an authentic answer.
func FuzzAcceptV3(f *testing.F) {
	v3, cred := v3Pair("SHA", "AES")
	a := &agent{t: f, binds: fullDevice(f), v3: v3}
	user := func() *usm {
		u, err := newUSM(cred)
		if err != nil {
			f.Fatal(err)
		}
		if err := u.adopt(&v3Header{engine: testEngine, boots: 7, clock: v3.now()}); err != nil {
			f.Fatal(err)
		}
		return u
	}
	b, err := user().encode(&pdu{kind: gosnmp.GetNextRequest, id: 5, names: []oid.Ask{{Name: systemGroup}}})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(v3.respond(a, b)[0])
	f.Add(v3.report(a, &v3Header{msgID: 5}, reportUnknownUser, 0, 0)[0])
	f.Add(v3.report(a, &v3Header{msgID: 5}, reportNotInTimeWindow, gosnmp.AuthNoPriv, 0)[0])
	f.Fuzz(func(t *testing.T, datagram []byte) {
		u := user()
		s := &Session{room: &room{}, usm: u, codec: u.codec, cred: cred, version: V3, conn: nowhere{}, opts: Options{Log: func(string) {}, Now: time.Now}}
		w := &waiting{flights: []*flight{{number: 1, tries: []*pdu{{kind: getNext, id: 5}}}}}
		_, _, r, _ := s.acceptV3(w, datagram)
		if r == nil {
			return
		}
		if h, err := parseV3(datagram); err != nil || !user().verify(h, datagram) {
			t.Errorf("taken for an answer: % x", datagram)
		}
	})
}
