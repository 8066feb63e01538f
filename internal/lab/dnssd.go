package lab

import (
	"fmt"
	"net"
	"slices"
	"strings"
	"sync/atomic"

	"github.com/miekg/dns"
)

// dnssd is one service instance (RFC 6763 section 4).
type dnssd struct {
	kind  string // such as _ipp._tcp.local.
	sub   string // subtype, such as _print
	name  string // instance name in presentation form
	host  string
	addrs []net.IP
	port  uint16
	txt   []string

	leaves bool // says goodbye to whoever asks for it
	asked  atomic.Bool
	left   atomic.Bool
}

// services lists what the printers announce, and a print server for its
// queue.
func (l *Lab) services() []*dnssd {
	var out []*dnssd
	suffix := 1
	if l.turn != nil {
		suffix += l.turn.number
	}
	add := func(n *node, title, host, path string, d *machine) {
		if suffix > 1 { // as after a conflict of names (RFC 6762 section 9)
			title, host = fmt.Sprintf("%s (%d)", title, suffix), fmt.Sprintf("%s-%d", host, suffix)
		}
		for _, kind := range []string{"_ipp._tcp.local.", "_ipps._tcp.local."} {
			s := &dnssd{kind: kind, sub: "_print", name: asReceived(instanceName(title) + "." + kind),
				host: host + ".local.", port: uint16(n.ippPorts[0]), txt: d.txt(n, path)}
			for _, addr := range n.addrs {
				s.addrs = append(s.addrs, addr.AsSlice())
			}
			if d.odd.announce != nil && n.other == nil {
				d.odd.announce(s)
			}
			out = append(out, s)
		}
	}
	for _, n := range l.nodes {
		switch {
		case n.off.Load() || n.ippOff.Load():
		case n.machines != nil && n.machines[0].place.Announced:
			d := n.machines[0]
			add(n, d.place.Title, d.place.Hostname, d.path(), d)
		case n.other != nil && n.other.Serves != "":
			_, d := l.machine(n.other.Serves)
			add(n, d.place.Title+" @ "+n.other.Name, n.other.Name, queuePath(n.other), d)
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

// asReceived gives a domain name the text form that it has when it comes from
// the network, so that names can be compared.
func asReceived(name string) string {
	var wire [256]byte
	if _, err := dns.PackDomainName(name, wire[:], 0, nil, false); err != nil {
		panic("lab: " + name + ": " + err.Error()) // names come from the scenario
	}
	text, _, err := dns.UnpackDomainName(wire[:], 0)
	if err != nil {
		panic("lab: " + name + ": " + err.Error())
	}
	return text
}

// txt is the TXT record of a service, key=value strings (RFC 6763 section 6). A
// queue has no UUID of its own here.
func (d *machine) txt(n *node, path string) []string {
	flag := map[bool]string{true: "T", false: "F"}
	out := []string{
		"txtvers=1", "qtotal=1", "rp=" + strings.TrimPrefix(path, "/"), "ty=" + d.Name,
		"product=(" + d.Name + ")", "pdl=" + strings.Join(d.formats(), ","), "note=" + d.place.Location,
		fmt.Sprintf("adminurl=http://%s:%d/", n.addrs[0], n.ippPorts[0]), "priority=10",
		"Color=" + flag[d.Color], "Duplex=" + flag[d.Duplex], "TLS=1.3", "kind=" + strings.Join(d.printerKinds(), ","),
	}
	if n.other == nil {
		out = append(out, "UUID="+d.uuid)
	}
	return out
}

// recordSet belongs together in one message: an answer and what saves the
// asker the next question (RFC 6763 section 12).
type recordSet struct{ answer, extra []dns.RR }

func (r recordSet) all() []dns.RR { return append(slices.Clone(r.answer), r.extra...) }

func (r recordSet) size() int {
	n := 0
	for _, rr := range r.all() {
		n += dns.Len(rr)
	}
	return n
}

// shorten makes the records fit an answer to a one-shot query. They were made
// for this answer and are not shared.
func (r recordSet) shorten() {
	for _, rr := range r.all() {
		rr.Header().Ttl = min(rr.Header().Ttl, ttlOneShot)
		rr.Header().Class &^= cacheFlush
	}
}

// metaQuery asks which service types exist (RFC 6763 section 9).
const metaQuery = "_services._dns-sd._udp.local."

func (a *announcer) sets(q *dns.Msg) (out []recordSet) {
	kinds := map[string]bool{}
	for _, question := range q.Question {
		for _, s := range *a.services.Load() {
			if s.left.Load() {
				continue
			}
			set, ok := s.match(question)
			if ok && s.leaves {
				s.asked.Store(true)
			}
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
			if t := rr.Header().Rrtype; q.Qtype == t || q.Qtype == dns.TypeANY && t != dns.TypeA && t != dns.TypeAAAA {
				set.answer = append(set.answer, rr)
			} else if t == dns.TypeA || t == dns.TypeAAAA {
				set.extra = append(set.extra, rr)
			}
		}
		return set, true
	case is(s.host, dns.TypeA, dns.TypeAAAA):
		set := recordSet{}
		for _, rr := range s.hostRecords(ttlHost) {
			if t := rr.Header().Rrtype; q.Qtype == t || q.Qtype == dns.TypeANY {
				set.answer = append(set.answer, rr)
			}
		}
		return set, len(set.answer) > 0
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
	out := []dns.RR{&dns.SRV{Hdr: header(s.name, dns.TypeSRV, ttl, true), Port: s.port, Target: s.host}}
	if len(s.txt) > 0 {
		out = append(out, &dns.TXT{Hdr: header(s.name, dns.TypeTXT, ttl, true), Txt: s.txt})
	}
	return append(out, s.hostRecords(ttl)...)
}

func (s *dnssd) hostRecords(ttl uint32) (out []dns.RR) {
	for _, ip := range s.addrs {
		if ip.To4() == nil {
			out = append(out, &dns.AAAA{Hdr: header(s.host, dns.TypeAAAA, ttl, true), AAAA: ip})
			continue
		}
		out = append(out, &dns.A{Hdr: header(s.host, dns.TypeA, ttl, true), A: ip})
	}
	return out
}
