package discover

import (
	"maps"
	"net/netip"
	"slices"
	"strings"

	"github.com/miekg/dns"
)

// serviceTypes are browsed for: IPP, IPP over TLS, LPR (the flagship of the
// printing protocols, RFC 6763 section 8) and the raw page stream. The last two
// are never connected to; their records tell of a printer.
var serviceTypes = []string{typeIPP, typeIPPS, "_printer._tcp", "_pdl-datastream._tcp"}

const (
	typeIPP  = "_ipp._tcp"
	typeIPPS = "_ipps._tcp"

	mdnsDomain = "local."

	// Bounds of what is kept, whatever the network says.
	maxInstances    = 4096
	maxHosts        = 4096
	maxHostAddrs    = 16
	maxTXTOfService = 4
)

// records are what has been heard of DNS-SD services (RFC 6763) over multicast
// DNS (RFC 6762).
type records struct {
	instances map[string]*instance // by name in lower case
	gone      map[string]bool      // names that were there and said goodbye
	hosts     map[string][]netip.Addr
	news      int // grows with everything that was not known
}

// instance is one service instance of one type.
type instance struct {
	name string // presented, such as Front\ desk._ipp._tcp.local.
	typ  string
	srv  *dns.SRV
	txt  [][]string
}

func newRecords() *records {
	return &records{instances: map[string]*instance{}, gone: map[string]bool{}, hosts: map[string][]netip.Addr{}}
}

// message takes in one packet. zone is the interface that it came in on: a
// link-local IPv6 address means nothing without it (RFC 4007 section 6).
func (r *records) message(packet []byte, zone string) {
	var m dns.Msg
	if m.Unpack(packet) != nil || !m.Response || m.Opcode != dns.OpcodeQuery || m.Rcode != 0 {
		return // RFC 6762 sections 18.3 and 18.11
	}
	for _, list := range [][]dns.RR{m.Answer, m.Extra} {
		for _, rr := range list {
			r.record(rr, zone)
		}
	}
}

// record takes in one record. The top bit of the class tells caches to forget
// older records and is no part of it (RFC 6762 section 10.2); a lifetime of 0 is
// a goodbye (section 10.1).
func (r *records) record(rr dns.RR, zone string) {
	h := rr.Header()
	if h.Class&0x7fff != dns.ClassINET {
		return
	}
	switch v := rr.(type) {
	case *dns.PTR:
		if _, typ, ok := splitInstance(v.Ptr); ok && strings.EqualFold(v.Hdr.Name, typ+"."+mdnsDomain) {
			key := strings.ToLower(v.Ptr)
			if h.Ttl == 0 {
				if _, known := r.instances[key]; known && len(r.gone) < maxInstances {
					r.gone[key] = true
				}
				delete(r.instances, key)
				return
			}
			delete(r.gone, key)
			r.instance(v.Ptr)
		}
	case *dns.SRV:
		if h.Ttl == 0 {
			return
		}
		if n := r.instance(h.Name); n != nil && (n.srv == nil || n.srv.Port != v.Port || !strings.EqualFold(n.srv.Target, v.Target)) {
			n.srv = v
			r.news++
		}
	case *dns.TXT:
		if h.Ttl == 0 {
			return
		}
		n := r.instance(h.Name)
		if n == nil || len(n.txt) >= maxTXTOfService {
			return
		}
		if !slices.ContainsFunc(n.txt, func(old []string) bool { return slices.Equal(old, v.Txt) }) {
			n.txt = append(n.txt, v.Txt)
			r.news++
		}
	case *dns.A:
		if a, ok := netip.AddrFromSlice(v.A); ok && h.Ttl > 0 {
			r.address(h.Name, a.Unmap())
		}
	case *dns.AAAA:
		a, ok := netip.AddrFromSlice(v.AAAA)
		if !ok || h.Ttl == 0 {
			return
		}
		if a.IsLinkLocalUnicast() {
			if zone == "" {
				return
			}
			a = a.WithZone(zone)
		}
		r.address(h.Name, a)
	}
}

// instance returns the instance of this name, which is made if it is new, or
// nil if the name is none that is browsed for or has said goodbye.
func (r *records) instance(name string) *instance {
	key := strings.ToLower(name)
	if n := r.instances[key]; n != nil {
		return n
	}
	_, typ, ok := splitInstance(name)
	if !ok || r.gone[key] || len(r.instances) >= maxInstances {
		return nil
	}
	n := &instance{name: name, typ: typ}
	r.instances[key] = n
	r.news++
	return n
}

func (r *records) address(host string, a netip.Addr) {
	host = strings.ToLower(host)
	known, ok := r.hosts[host]
	if len(known) >= maxHostAddrs || !ok && len(r.hosts) >= maxHosts || slices.Contains(known, a) ||
		a.IsUnspecified() || a.IsMulticast() {
		return
	}
	r.hosts[host] = append(known, a)
	r.news++
}

// splitInstance parts the name of a service instance (RFC 6763 section 4.1) into
// its first label, unescaped, and its type.
func splitInstance(name string) (label, typ string, ok bool) {
	at := dns.Split(name)
	if len(at) != 4 {
		return "", "", false
	}
	rest := strings.ToLower(name[at[1]:])
	typ, ok = strings.CutSuffix(rest, "."+mdnsDomain)
	if !ok || !slices.Contains(serviceTypes, typ) {
		return "", "", false
	}
	return unescape(name[:at[1]-1]), typ, true
}

// missing lists what has to be asked to complete the services that are known.
func (r *records) missing() []dns.Question {
	var out []dns.Question
	ask := func(name string, typ uint16) {
		q := dns.Question{Name: name, Qtype: typ, Qclass: dns.ClassINET}
		if !slices.Contains(out[max(0, len(out)-8):], q) {
			out = append(out, q)
		}
	}
	askedHost := map[string]bool{}
	for _, key := range slices.Sorted(maps.Keys(r.instances)) {
		n := r.instances[key]
		if n.srv == nil {
			ask(n.name, dns.TypeSRV)
		}
		if n.txt == nil && (n.srv == nil || n.srv.Port != 0) {
			ask(n.name, dns.TypeTXT)
		}
		if n.srv == nil || n.srv.Port == 0 {
			continue
		}
		host := strings.ToLower(n.srv.Target)
		if len(r.hosts[host]) == 0 && !askedHost[host] {
			askedHost[host] = true
			ask(n.srv.Target, dns.TypeA)
			ask(n.srv.Target, dns.TypeAAAA)
		}
	}
	return out
}

// known lists the instances of a type as answers that need not be sent again
// (RFC 6762 section 7.1).
func (r *records) known(typ string) []dns.RR {
	var out []dns.RR
	for _, key := range slices.Sorted(maps.Keys(r.instances)) {
		if n := r.instances[key]; n.typ == typ {
			// A lifetime below half of the true one would be answered all the same.
			out = append(out, &dns.PTR{
				Hdr: dns.RR_Header{Name: typ + "." + mdnsDomain, Rrtype: dns.TypePTR, Class: dns.ClassINET, Ttl: 4500},
				Ptr: n.name,
			})
		}
	}
	return out
}

// services puts the instances together: the same instance name under several
// types at one host is one printer (RFC 6763 section 8). An SRV record with port
// 0 only holds a name and is no service.
func (r *records) services() []*Service {
	type key struct{ label, host string }
	groups := map[key][]*instance{}
	for _, n := range r.instances {
		if n.srv == nil || n.srv.Port == 0 || len(r.hosts[strings.ToLower(n.srv.Target)]) == 0 {
			continue
		}
		label, _, _ := splitInstance(n.name)
		k := key{strings.ToLower(label), strings.ToLower(n.srv.Target)}
		groups[k] = append(groups[k], n)
	}
	var out []*Service
	for k, group := range groups {
		out = append(out, merge(group, r.hosts[k.host]))
	}
	slices.SortFunc(out, func(a, b *Service) int {
		if c := strings.Compare(a.Instance, b.Instance); c != 0 {
			return c
		}
		return strings.Compare(a.Host, b.Host)
	})
	return out
}

// merge makes one service of the instances of several types. The TXT record is
// that of the best type that has one, in the order of serviceTypes: the resource
// path of IPP is not that of LPR.
func merge(group []*instance, addrs []netip.Addr) *Service {
	slices.SortFunc(group, func(a, b *instance) int {
		return slices.Index(serviceTypes, a.typ) - slices.Index(serviceTypes, b.typ)
	})
	label, _, _ := splitInstance(group[0].name)
	s := &Service{
		Instance: label, Host: strings.TrimSuffix(unescape(group[0].srv.Target), "."),
		Addrs: slices.Clone(addrs), TXT: map[string]string{},
	}
	for _, n := range group {
		s.Types = append(s.Types, n.typ)
		switch n.typ {
		case typeIPP:
			s.Port = n.srv.Port
		case typeIPPS:
			s.TLS, s.TLSPort = true, n.srv.Port
		}
		if txt := preferred(n.txt); len(s.TXT) == 0 {
			s.TXT = txt
		}
	}
	return s
}

// unfinished counts the instances that lack a record to be reached.
func (r *records) unfinished() int {
	n := 0
	for _, v := range r.instances {
		if v.srv == nil || v.srv.Port != 0 && len(r.hosts[strings.ToLower(v.srv.Target)]) == 0 {
			n++
		}
	}
	return n
}
