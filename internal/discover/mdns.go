package discover

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/grandcat/zeroconf"
	"github.com/miekg/dns"
)

const (
	// A responder may wait half a second before it answers, and must not send a
	// record again within one second (RFC 6762 section 6).
	mdnsRound     = time.Second
	maxMDNSRounds = 10
)

// browser finds services by DNS-SD. A general browser asks for the service
// types and hears the announcements; a completion pass asks for everything that
// it missed, round after round, until a round brings nothing new.
type browser struct {
	scope *Scope
	table *table
	count *counters
	emit  func(Candidate)
	log   func(string)

	mu      sync.Mutex
	records *records

	emitted map[string]*Service
	outside map[string]bool // services without an address in scope
}

func newBrowser(scope *Scope, t *table, n *counters, emit func(Candidate), log func(string)) *browser {
	return &browser{
		scope: scope, table: t, count: n, emit: emit, log: log,
		records: newRecords(), emitted: map[string]*Service{}, outside: map[string]bool{},
	}
}

// run browses and returns what is to be said about it.
func (b *browser) run(ctx context.Context, ifaces []net.Interface) []string {
	if ifaces == nil {
		ifaces = multicastInterfaces()
	}
	if len(ifaces) == 0 {
		return []string{"DNS-SD was not browsed: no interface is up that takes multicast"}
	}
	wire, err := openMDNS(ifaces)
	if err != nil {
		return []string{fmt.Sprintf("DNS-SD was not browsed: %v", err)}
	}
	var hearing sync.WaitGroup
	hearing.Go(func() {
		wire.hear(func(packet []byte, zone string) {
			b.mu.Lock()
			b.records.message(packet, zone)
			b.mu.Unlock()
		})
	})
	browsing, stop := context.WithCancel(ctx)
	done := b.browse(browsing, ifaces)
	err = b.complete(ctx, wire)
	stop()
	wire.close()
	hearing.Wait()
	done.Wait()
	b.pass(true)
	return b.notes(err)
}

// browse starts the general browser, one for each type: a shared one returns
// nothing for most of them. It runs until the context ends.
func (b *browser) browse(ctx context.Context, ifaces []net.Interface) *sync.WaitGroup {
	var done sync.WaitGroup
	for _, typ := range serviceTypes {
		r, err := zeroconf.NewResolver(zeroconf.SelectIPTraffic(zeroconf.IPv4), zeroconf.SelectIfaces(ifaces))
		if err != nil {
			b.logf("DNS-SD: browsing %s: %v", typ, err)
			continue
		}
		entries := make(chan *zeroconf.ServiceEntry)
		done.Go(func() {
			for e := range entries {
				b.entry(e, typ)
			}
		})
		if err := r.Browse(ctx, typ, mdnsDomain, entries); err != nil {
			b.logf("DNS-SD: browsing %s: %v", typ, err)
		}
	}
	return &done
}

// entry takes in what the general browser found. Its names and texts are in
// presentation form, like those of the DNS library.
func (b *browser) entry(e *zeroconf.ServiceEntry, typ string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	name := e.Instance + "." + typ + "." + mdnsDomain
	hdr := func(n string, t uint16) dns.RR_Header {
		return dns.RR_Header{Name: n, Rrtype: t, Class: dns.ClassINET, Ttl: max(e.TTL, 1)}
	}
	if e.HostName != "" {
		b.records.record(&dns.SRV{Hdr: hdr(name, dns.TypeSRV), Port: uint16(e.Port), Target: e.HostName}, "")
	}
	if len(e.Text) > 0 {
		b.records.record(&dns.TXT{Hdr: hdr(name, dns.TypeTXT), Txt: e.Text}, "")
	}
	for _, a := range e.AddrIPv4 {
		b.records.record(&dns.A{Hdr: hdr(e.HostName, dns.TypeA), A: a}, "")
	}
	for _, a := range e.AddrIPv6 {
		b.records.record(&dns.AAAA{Hdr: hdr(e.HostName, dns.TypeAAAA), AAAA: a}, "")
	}
}

// complete is the completion pass. A round that brings nothing new ends it; if
// something is missing still, one more is tried.
func (b *browser) complete(ctx context.Context, wire *mdnsWire) error {
	var failed error
	if !pauseFor(ctx, mdnsRound) {
		return nil
	}
	for round, idle := 0, 0; round < maxMDNSRounds; round++ {
		before := b.pass(false)
		failed = b.ask(ctx, wire)
		if !pauseFor(ctx, mdnsRound) {
			return nil
		}
		b.mu.Lock()
		news, missing := b.records.news-before, b.records.unfinished()
		b.mu.Unlock()
		if news > 0 {
			idle = 0
			continue
		}
		if idle++; missing == 0 || idle == 2 {
			break
		}
	}
	return failed
}

// ask sends the questions of one round.
func (b *browser) ask(ctx context.Context, wire *mdnsWire) error {
	b.mu.Lock()
	missing := b.records.missing()
	var known [][]dns.RR
	for _, typ := range serviceTypes {
		known = append(known, b.records.known(typ))
	}
	b.mu.Unlock()
	var failed error
	for i, typ := range serviceTypes {
		q := dns.Question{Name: typ + "." + mdnsDomain, Qtype: dns.TypePTR, Qclass: dns.ClassINET}
		failed = errors.Join(failed, wire.ask([]dns.Question{q}, known[i]))
	}
	for some := range slices.Chunk(missing, wire.batch()) {
		failed = errors.Join(failed, wire.ask(some, nil))
		if !pauseFor(ctx, time.Millisecond) {
			break
		}
	}
	return failed
}

// pass emits the services that are complete and returns the state of the
// records. Until the end a service waits for its TXT record, and is not emitted
// again when more becomes known of it.
func (b *browser) pass(last bool) int {
	b.mu.Lock()
	services, state := b.records.services(), b.records.news
	b.mu.Unlock()
	for _, s := range services {
		key := strings.ToLower(s.Instance + "\x00" + s.Host)
		old := b.emitted[key]
		if old != nil && (!last || reflect.DeepEqual(old, s)) || !last && len(s.TXT) == 0 {
			continue
		}
		if b.offer(s) {
			b.emitted[key] = s
		} else {
			b.outside[key] = true
		}
	}
	return state
}

// offer emits a service at each of its addresses that is in scope.
func (b *browser) offer(s *Service) bool {
	found := false
	for _, a := range s.Addrs {
		i, ok := b.scope.findIPP(a, s.Port, s.TLSPort)
		if !ok {
			continue
		}
		found = true
		if b.table.add(i, otherSigns)&(answered|otherSigns) == 0 {
			b.count.answered.Add(1)
		}
		b.emit(Candidate{Target: b.scope.At(i), Kind: Possible, Service: s})
	}
	return found
}

func (b *browser) notes(err error) []string {
	var out []string
	if err != nil {
		out = append(out, fmt.Sprintf("DNS-SD was browsed in part: %v", err))
	}
	if n := len(b.outside); n > 0 {
		out = append(out, fmt.Sprintf("DNS-SD: %d announced outside the targets, not looked at", n))
	}
	if n := b.records.unfinished(); n > 0 {
		out = append(out, fmt.Sprintf("DNS-SD: %d announced without an address, not looked at", n))
	}
	return append(out, "DNS-SD does not cross subnets: announcements behind a router are not heard")
}

func (b *browser) logf(format string, args ...any) {
	if b.log != nil {
		b.log(fmt.Sprintf(format, args...))
	}
}

// multicastInterfaces are the interfaces that take part in multicast DNS.
func multicastInterfaces() []net.Interface {
	all, err := net.Interfaces()
	if err != nil {
		return nil
	}
	return slices.DeleteFunc(all, func(i net.Interface) bool {
		const want = net.FlagUp | net.FlagMulticast
		if i.Flags&want != want {
			return true
		}
		addrs, err := i.Addrs()
		return err != nil || !slices.ContainsFunc(prefixesOf(addrs), func(p netip.Prefix) bool { return p.Addr().Is4() })
	})
}

func isClosed(err error) bool { return errors.Is(err, net.ErrClosed) }
