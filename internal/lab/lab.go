package lab

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"printround/internal/lab/agent"
)

// Lab is a running simulated organisation.
type Lab struct {
	options  Options
	scenario *scenario
	started  time.Time
	nodes    []*node
	snmp     *agent.Server
	ipp      *ippServer
	announce *announcer
	turn     *turn // nil: announces nothing

	mu       sync.Mutex // guards what follows, the nodes and their machines
	stop     func() bool
	received []string
	asked    map[string]int // IPP operations, by name
	notes    []string
	byPlace  atomic.Pointer[map[netip.AddrPort]*node] // where SNMP is answered
	close    sync.Once
	closeErr error
}

// node is one thing on the network: a printer, a box with several, or a
// machine that is no printer.
type node struct {
	name     string
	addrs    []netip.Addr
	ports    []int // SNMP, one for each address
	ippPorts []int
	host     *agent.Host // nil: no SNMP
	machines []*machine  // none: no printer
	other    *other
	hasIPP   bool
	off      atomic.Bool // switched off
	snmpOff  atomic.Bool // SNMP hidden
	ippOff   atomic.Bool // IPP hidden
	sleep    atomic.Pointer[wake]
	probes   atomic.Int64 // datagrams seen, for devices that sleep
	awake    atomic.Int64 // from when it answers at once, Unix nanoseconds
}

// Start starts the organisation. It ends with ctx or with Close.
func Start(ctx context.Context, o Options) (*Lab, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	s, err := loadScenario()
	if err != nil {
		return nil, err
	}
	l := &Lab{options: o, scenario: s}
	if !o.NoMDNS {
		if l.turn, err = takeTurn(ctx, o.Stay); err != nil {
			return nil, err
		}
		s.renumber(l.turn.number)
	}
	l.started = l.now()
	if err := l.populate(); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	if err := l.open(); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.stop = context.AfterFunc(ctx, func() { l.Close() })
	return l, nil
}

// now is the moment by the clock that the lab was given.
func (l *Lab) now() time.Time {
	if l.options.Now != nil {
		return l.options.Now()
	}
	return time.Now()
}

// Close stops everything. It may be called several times.
func (l *Lab) Close() error {
	l.close.Do(func() {
		l.mu.Lock()
		stop := l.stop
		l.mu.Unlock()
		if stop != nil {
			stop()
		}
		var errs []error
		if l.announce != nil {
			l.announce.close()
		}
		if l.ipp != nil {
			errs = append(errs, l.ipp.close())
		}
		if l.snmp != nil {
			errs = append(errs, l.snmp.Close())
		}
		if l.turn != nil {
			l.turn.giveBack()
		}
		l.closeErr = errors.Join(errs...)
	})
	return l.closeErr
}

// populate makes the machines of the scenario and gives them their faults.
func (l *Lab) populate() error {
	var errs []error
	for name := range l.options.Faults {
		errs = append(errs, l.known(name))
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	boxes := map[string]*node{}
	for _, p := range l.scenario.Devices {
		d := newMachine(l.scenario.model(p.Model), p, l.options.Seed)
		if l.options.Vary {
			d.vary(l.options.Seed, l.started)
		}
		if err := l.fault(d); err != nil {
			return err
		}
		if box := boxes[p.Behind]; p.Behind != "" && box != nil {
			box.machines = append(box.machines, d)
			continue
		}
		n := &node{name: p.Name, addrs: []netip.Addr{d.address()}, machines: []*machine{d}, hasIPP: p.IPP}
		if second, ok := d.second(); ok {
			n.addrs = append(n.addrs, second)
		}
		if p.Behind != "" {
			boxes[p.Behind] = n
		}
		l.nodes = append(l.nodes, n)
	}
	for _, o := range l.scenario.Others {
		l.nodes = append(l.nodes, &node{name: o.Name, addrs: []netip.Addr{netip.MustParseAddr(o.Address)}, other: o, hasIPP: o.Serves != ""})
	}
	for i, n := range l.nodes {
		if err := l.addHost(n, uint32(i)); err != nil {
			return err
		}
	}
	return nil
}

// fault gives a machine its faults: those of the options, else the scenario's.
func (l *Lab) fault(d *machine) error {
	if list, ok := l.options.Faults[d.place.Name]; ok {
		if list == noFault {
			return nil
		}
		return d.give(list, l.options.Seed)
	}
	if l.options.Clean {
		return nil
	}
	for _, f := range d.place.Faults {
		if err := d.give(f, l.options.Seed); err != nil {
			return err
		}
	}
	return nil
}

// noFault in Options.Faults clears a device.
const noFault = "none"

// known returns an error that names the nearest device names.
func (l *Lab) known(name string) error {
	var names []string
	for _, p := range l.scenario.Devices {
		if p.Name == name {
			return nil
		}
		names = append(names, p.Name)
	}
	return fmt.Errorf("the lab has no printer called %q: did you mean %s?", name, nearest(name, names))
}

// addHost gives a node its SNMP agent.
func (l *Lab) addHost(n *node, id uint32) error {
	h := &agent.Host{ID: id, EngineBoots: 3, V1: true, V2c: true}
	h.Refused = func(what string) { l.record(n.name, what) }
	branchID, up := "", 40*24*time.Hour
	if n.other != nil {
		branchID = n.other.Branch
	} else {
		d := n.machines[0]
		if len(d.place.SNMP) == 0 {
			n.serve(l)
			return nil
		}
		branchID, up = d.place.Branch, d.up()
		h.V1, h.V2c = slices.Contains(d.place.SNMP, "1"), slices.Contains(d.place.SNMP, "2c")
	}
	h.Booted = l.started.Add(-up)
	// Format 5 of snmpEngineID: octets of our choice (RFC 3411 section 5), under
	// the enterprise number for documentation.
	h.EngineID = append([]byte{0x80, 0x00, 0x7e, 0xd9, 0x05}, fmt.Sprintf("%.27s", n.name)...)
	for _, a := range l.scenario.branch(branchID).Access {
		if err := n.grant(h, a); err != nil {
			return fmt.Errorf("%s: %w", n.name, err)
		}
	}
	n.host = h
	n.serve(l)
	return nil
}

// grant lets one credential of the branch in.
func (n *node) grant(h *agent.Host, a access) error {
	if n.machines == nil && a.Version == "3" {
		return nil
	}
	if a.Version != "3" {
		own := ""
		if n.machines != nil {
			own = n.machines[0].place.Community
		}
		if own == a.Community || own == "" && len(h.Communities) == 0 {
			h.Communities = append(h.Communities, a.Community)
		}
		return nil
	}
	if !slices.Contains(n.machines[0].place.SNMP, "3") {
		return nil
	}
	u, err := agent.NewUser(a.User, h.EngineID, a.AuthProtocol, a.Auth, a.PrivProtocol, a.Priv)
	if err == nil {
		h.Users = append(h.Users, u)
	}
	return err
}

// serve shows the node's machines as they are now.
func (n *node) serve(l *Lab) {
	n.off.Store(n.silent())
	if n.machines != nil {
		n.sleep.Store(n.machines[0].wake)
		n.probes.Store(0)
		n.awake.Store(0)
	}
	if n.host == nil {
		return
	}
	if n.other != nil {
		n.host.Serve(otherTree(n.other, l.scenario.branch(n.other.Branch).Contact, l.options.Seed))
		return
	}
	n.host.Serve(printerTree(n.machines, l.scenario.branch(n.machines[0].place.Branch).Contact))
	n.showOdd()
}

// silent reports whether everything on the node is switched off.
func (n *node) silent() bool {
	return n.machines != nil && !slices.ContainsFunc(n.machines, func(d *machine) bool { return !d.silent })
}

// find is the SNMP server's question who answers at an address.
func (l *Lab) find(at netip.AddrPort, now time.Time) (*agent.Host, time.Duration, bool) {
	n := (*l.byPlace.Load())[at]
	if n == nil || n.off.Load() || n.snmpOff.Load() {
		return nil, 0, false
	}
	delay, answers := n.wakeUp(now)
	return n.host, delay, answers
}

// wakeUp is the delay of a device that sleeps deeply, none for others.
func (n *node) wakeUp(now time.Time) (time.Duration, bool) {
	w := n.sleep.Load()
	if w == nil {
		return 0, true
	}
	if n.probes.Add(1) <= int64(w.lost) {
		return 0, false
	}
	n.awake.CompareAndSwap(0, now.Add(w.delay).UnixNano())
	return max(time.Duration(n.awake.Load()-now.UnixNano()), 0), true
}

func (l *Lab) record(device, what string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.received = append(l.received, device+": "+what)
}

// Received lists what changed a device, or would have and was refused, oldest
// first. A reader that only reads leaves it empty.
func (l *Lab) Received() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.received)
}

// Notes says what of the lab could not be started, in words.
func (l *Lab) Notes() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.notes)
}

// Organisation is the invented name of the whole.
func (l *Lab) Organisation() string { return l.scenario.Organisation }

// Targets lists what to sweep: the branches' prefixes.
func (l *Lab) Targets() []string {
	if l.onePort() {
		return []string{"127.0.0.1"}
	}
	var out []string
	for _, b := range l.scenario.Branches {
		out = append(out, b.Targets...)
	}
	return out
}
