package lab

import (
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
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

// dnssd is one service instance (RFC 6763 section 4).
type dnssd struct {
	kind  string // such as _ipp._tcp.local.
	sub   string // subtype, such as _print
	name  string // instance name in presentation form
	host  string
	addrs []net.IP
	port  uint16
	txt   []string
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

// services lists what the printers announce.
func (l *Lab) services() []*dnssd {
	var out []*dnssd
	for _, n := range l.nodes {
		if n.machines == nil || !n.machines[0].place.Announced || n.off.Load() || n.ippOff.Load() {
			continue
		}
		d := n.machines[0]
		for _, kind := range []string{"_ipp._tcp.local.", "_ipps._tcp.local."} {
			s := &dnssd{kind: kind, sub: "_print", name: instanceName(d.place.Title) + "." + kind,
				host: d.place.Hostname + ".local.", port: uint16(n.ippPorts[0]), txt: d.txt(n)}
			for _, addr := range n.addrs {
				s.addrs = append(s.addrs, addr.AsSlice())
			}
			out = append(out, s)
		}
	}
	return out
}

// instanceName escapes an instance name for the text form of a domain name
// (RFC 6763 section 4.3, RFC 1035 section 5.1).
func instanceName(s string) string {
	var b strings.Builder
	for _, c := range []byte(s) {
		switch {
		case c == '.' || c == '\\':
			b.WriteByte('\\')
			b.WriteByte(c)
		case c <= ' ' || c > '~' || strings.IndexByte(`"();@$'`, c) >= 0:
			fmt.Fprintf(&b, `\%03d`, c)
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}

// txt is the TXT record of a printer: keys of RFC 6763 section 6 style.
func (d *machine) txt(n *node) []string {
	flag := map[bool]string{true: "T", false: "F"}
	return []string{
		"txtvers=1", "qtotal=1", "rp=" + strings.TrimPrefix(d.path(), "/"), "ty=" + d.Name,
		"product=(" + d.Name + ")", "pdl=" + strings.Join(d.formats(), ","), "note=" + d.place.Location,
		fmt.Sprintf("adminurl=http://%s:%d/", n.addrs[0], n.ippPorts[0]), "UUID=" + d.uuid, "priority=10",
		"Color=" + flag[d.Color], "Duplex=" + flag[d.Duplex], "TLS=1.3", "kind=" + strings.Join(d.printerKinds(), ","),
	}
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
		m := &dns.Msg{}
		m.Response, m.Authoritative = true, true
		m.Answer = append([]dns.RR{s.ptr(ttl)}, s.records(min(ttl, ttlHost))...)
		a.send(m, mdnsGroup)
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
	_, _ = a.packets.WriteTo(b, &ipv4.ControlMessage{IfIndex: a.loop.Index}, to) // multicast may be lost anyway
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
	fresh := func() *dns.Msg {
		m := &dns.Msg{}
		m.Response, m.Authoritative = true, true
		if oneShot {
			m.Id, m.Question = q.Id, q.Question
		}
		return m
	}
	m := fresh()
	for _, set := range a.sets(q) {
		if len(m.Answer) > 0 && m.Len()+set.size() > maxAnswer {
			a.send(m, to)
			m = fresh()
		}
		m.Answer = append(m.Answer, set.answer...)
		m.Extra = append(m.Extra, set.extra...)
	}
	if len(m.Answer) == 0 {
		return
	}
	if oneShot {
		for _, rr := range append(slices.Clone(m.Answer), m.Extra...) {
			rr.Header().Ttl = min(rr.Header().Ttl, ttlOneShot)
			rr.Header().Class &^= cacheFlush
		}
	}
	a.send(m, to)
}

// recordSet belongs together in one message: an answer and what saves the
// asker the next question (RFC 6763 section 12).
type recordSet struct{ answer, extra []dns.RR }

func (r recordSet) size() int {
	n := 0
	for _, rr := range append(slices.Clone(r.answer), r.extra...) {
		n += dns.Len(rr)
	}
	return n
}

// metaQuery asks which service types exist (RFC 6763 section 9).
const metaQuery = "_services._dns-sd._udp.local."

func (a *announcer) sets(q *dns.Msg) (out []recordSet) {
	kinds := map[string]bool{}
	for _, question := range q.Question {
		for _, s := range *a.services.Load() {
			set, ok := s.match(question)
			if !ok || len(set.answer) == 1 && known(q.Answer, set.answer[0]) {
				continue
			}
			if question.Name == metaQuery {
				if kinds[s.kind] {
					continue
				}
				kinds[s.kind] = true
			}
			out = append(out, set)
		}
	}
	return out
}

// known reports that the asker has the record with at least half its lifetime
// left (RFC 6762 section 7.1).
func known(have []dns.RR, rr dns.RR) bool {
	return slices.ContainsFunc(have, func(h dns.RR) bool {
		return dns.IsDuplicate(h, rr) && h.Header().Ttl >= rr.Header().Ttl/2
	})
}

// match answers one question about one service.
func (s *dnssd) match(q dns.Question) (recordSet, bool) {
	is := func(name string, types ...uint16) bool {
		return strings.EqualFold(q.Name, name) && (q.Qtype == dns.TypeANY || slices.Contains(types, q.Qtype))
	}
	records := s.records(ttlHost)
	switch {
	case is(s.kind, dns.TypePTR):
		return recordSet{[]dns.RR{s.ptr(ttlOther)}, records}, true
	case is(s.sub+"._sub."+s.kind, dns.TypePTR):
		p := s.ptr(ttlOther)
		p.Header().Name = s.sub + "._sub." + s.kind
		return recordSet{[]dns.RR{p}, records}, true
	case is(metaQuery, dns.TypePTR):
		p := &dns.PTR{Hdr: header(metaQuery, dns.TypePTR, ttlOther, false), Ptr: s.kind}
		return recordSet{answer: []dns.RR{p}}, true
	case is(s.name, dns.TypeSRV, dns.TypeTXT):
		var set recordSet
		for _, rr := range records {
			if t := rr.Header().Rrtype; q.Qtype == t || q.Qtype == dns.TypeANY && t != dns.TypeA {
				set.answer = append(set.answer, rr)
			} else if t == dns.TypeA {
				set.extra = append(set.extra, rr)
			}
		}
		return set, true
	case is(s.host, dns.TypeA):
		return recordSet{answer: s.hostRecords(ttlHost)}, true
	}
	return recordSet{}, false
}

func header(name string, kind uint16, ttl uint32, unique bool) dns.RR_Header {
	class := uint16(dns.ClassINET)
	if unique {
		class |= cacheFlush
	}
	return dns.RR_Header{Name: name, Rrtype: kind, Class: class, Ttl: ttl}
}

func (s *dnssd) ptr(ttl uint32) *dns.PTR {
	return &dns.PTR{Hdr: header(s.kind, dns.TypePTR, ttl, false), Ptr: s.name}
}

// records are SRV, TXT and the addresses.
func (s *dnssd) records(ttl uint32) []dns.RR {
	return append([]dns.RR{
		&dns.SRV{Hdr: header(s.name, dns.TypeSRV, ttl, true), Port: s.port, Target: s.host},
		&dns.TXT{Hdr: header(s.name, dns.TypeTXT, ttl, true), Txt: s.txt},
	}, s.hostRecords(ttl)...)
}

func (s *dnssd) hostRecords(ttl uint32) (out []dns.RR) {
	for _, ip := range s.addrs {
		out = append(out, &dns.A{Hdr: header(s.host, dns.TypeA, ttl, true), A: ip})
	}
	return out
}
