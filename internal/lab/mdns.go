package lab

import (
	"errors"
	"net"
	"sync"
	"sync/atomic"
	"time"

	"github.com/miekg/dns"
	"golang.org/x/net/ipv4"
)

// mdnsGroup is where multicast DNS is spoken (RFC 6762 section 3).
var mdnsGroup = &net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353}

// Lifetimes of records, seconds (RFC 6762 section 10) and the most that an
// answer to a one-shot query may say (section 6.7).
const (
	ttlHost    = 120
	ttlOther   = 4500
	ttlOneShot = 10
)

// maxAnswer bounds one DNS message so that it is not fragmented, in octets.
const maxAnswer = 1300

// cacheFlush is the top bit of the class of a unique record (RFC 6762 section
// 10.2); in a question it asks for a unicast answer (section 5.4).
const cacheFlush = 1 << 15

// announcer is a multicast DNS responder for the lab's printers on the
// loopback interface, and on no other.
type announcer struct {
	packets  *ipv4.PacketConn
	loop     net.Interface
	services atomic.Pointer[[]*dnssd]
	again    *time.Timer
	done     chan struct{}
	once     sync.Once
}

// openMDNS announces the printers where the system lets it; otherwise the
// lab's notes say so and it works without.
func (l *Lab) openMDNS() {
	a, err := newAnnouncer(l.services())
	if err != nil {
		l.notes = append(l.notes, "no DNS-SD announcements: "+err.Error())
		return
	}
	l.announce = a
}

func newAnnouncer(services []*dnssd) (*announcer, error) {
	loop, err := loopbackInterface()
	if err != nil {
		return nil, err
	}
	c, err := net.ListenMulticastUDP("udp4", loop, mdnsGroup)
	if err != nil {
		return nil, err
	}
	p := ipv4.NewPacketConn(c)
	err = errors.Join(p.SetControlMessage(ipv4.FlagInterface, true), p.SetMulticastInterface(loop),
		p.SetMulticastLoopback(true), p.SetMulticastTTL(255))
	if err != nil {
		c.Close()
		return nil, err
	}
	a := &announcer{packets: p, loop: *loop, done: make(chan struct{})}
	a.services.Store(&services)
	go a.run()
	a.announceAll(ttlOther)
	// RFC 6762 section 8.3: at least twice, a second apart.
	a.again = time.AfterFunc(time.Second, func() { a.announceAll(ttlOther) })
	return a, nil
}

func loopbackInterface() (*net.Interface, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, err
	}
	for i := range all {
		if all[i].Flags&net.FlagLoopback != 0 && all[i].Flags&net.FlagUp != 0 {
			return &all[i], nil
		}
	}
	return nil, errors.New("no loopback interface is up")
}

// close says goodbye (RFC 6762 section 10.1) and ends the responder.
func (a *announcer) close() {
	a.once.Do(func() {
		a.again.Stop()
		a.announceAll(0)
		a.packets.Close()
		<-a.done
	})
}

func (a *announcer) announceAll(ttl uint32) {
	for _, s := range *a.services.Load() {
		if !s.left.Load() {
			a.announce(s, ttl)
		}
	}
}

func (a *announcer) announce(s *dnssd, ttl uint32) {
	m := &dns.Msg{}
	m.Response, m.Authoritative = true, true
	m.Answer = append([]dns.RR{s.ptr(ttl)}, s.records(min(ttl, ttlHost))...)
	a.send(m, mdnsGroup)
}

// leave says goodbye for the services that go as soon as somebody asked.
func (a *announcer) leave() {
	for _, s := range *a.services.Load() {
		if s.leaves && s.asked.Load() && s.left.CompareAndSwap(false, true) {
			a.announce(s, 0)
		}
	}
}

// replace says goodbye for what is gone and announces what is there now.
func (a *announcer) replace(services []*dnssd) {
	a.announceAll(0)
	a.services.Store(&services)
	a.announceAll(ttlOther)
}

func (a *announcer) send(m *dns.Msg, to net.Addr) {
	m.Compress = true
	b, err := m.Pack()
	if err != nil {
		return
	}
	// Where loopback is the only interface Linux would send from 0.0.0.0, which
	// other responders ignore. Multicast may be lost anyway.
	_, _ = a.packets.WriteTo(b, &ipv4.ControlMessage{IfIndex: a.loop.Index, Src: net.IPv4(127, 0, 0, 1)}, to)
}

func (a *announcer) run() {
	defer close(a.done)
	buf := make([]byte, 9000) // RFC 6762 section 17
	for {
		n, cm, from, err := a.packets.ReadFrom(buf)
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil || cm == nil || cm.IfIndex != a.loop.Index {
			continue
		}
		var q dns.Msg
		if q.Unpack(buf[:n]) != nil || q.Response || q.Opcode != dns.OpcodeQuery {
			continue
		}
		if sender, ok := from.(*net.UDPAddr); ok {
			a.answer(&q, sender)
		}
	}
}

// answer answers the questions of one query. A query from another port than
// 5353 is a one-shot query: its answer goes to the sender, repeats the
// question and lives shortly (RFC 6762 section 6.7).
func (a *announcer) answer(q *dns.Msg, from *net.UDPAddr) {
	oneShot := from.Port != mdnsGroup.Port
	to := net.Addr(mdnsGroup)
	for _, question := range q.Question {
		if oneShot || question.Qclass&cacheFlush != 0 {
			to = from
		}
	}
	var m *dns.Msg
	begin := func() {
		m = &dns.Msg{}
		m.Response, m.Authoritative = true, true
		if oneShot {
			m.Id, m.Question = q.Id, q.Question
		}
	}
	begin()
	for _, set := range a.sets(q) {
		if oneShot {
			set.shorten()
		}
		if len(m.Answer) > 0 && m.Len()+set.size() > maxAnswer {
			a.send(m, to)
			begin()
		}
		m.Answer = append(m.Answer, set.answer...)
		m.Extra = append(m.Extra, set.extra...)
	}
	if len(m.Answer) > 0 {
		a.send(m, to)
	}
	a.leave()
}
