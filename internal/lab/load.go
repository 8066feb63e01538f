package lab

import (
	"context"
	"encoding/binary"
	"fmt"
	"net/netip"
	"sync/atomic"
	"time"

	"printround/internal/lab/agent"
)

// LoadOptions say how large a crowd of printers to simulate, for benchmarks.
type LoadOptions struct {
	Devices   int           // how many; at least 1
	Prefix    netip.Prefix  // within 127.0.0.0/8, where they stand evenly spread; zero: 127.96.0.0/16
	Delay     time.Duration // how long each answer takes
	Community string        // empty: public
	Port      int           // 0: a free one
	Seed      int64
	Path      LoadPath // what happens to datagrams on their way
	// Routed says that the prefix is routed to this machine inside a network
	// namespace made for the purpose: then it need not be a loopback one.
	Routed bool
}

// LoadPath is what a network does to datagrams, each as a probability. The same
// seed and the same traffic give the same fate.
type LoadPath struct {
	Loss      float64 // of a question, and again of its answer
	Duplicate float64 // of an answer
	Reorder   float64 // of an answer: it is late by up to Late
	Late      time.Duration
}

// needed reports whether anything happens at all.
func (p LoadPath) needed() bool { return p.Loss > 0 || p.Duplicate > 0 || p.Reorder > 0 }

// Load is a running crowd: full devices behind one socket that share their
// object trees and differ in name, serial number, MAC address, counters and
// faults. It speaks SNMP v1 and v2c.
type Load struct {
	server   loadServer
	hosts    []agent.Host
	options  LoadOptions
	first    uint32 // of the prefix
	stride   uint32 // addresses for each device
	answered atomic.Int64
	sent     atomic.Int64 // answers, counted where the path is a server of its own
	octets   atomic.Int64 // of them
	handled  atomic.Int64 // datagrams that the path is through with
}

// loadServer is the agent's own server, or the one with a path.
type loadServer interface {
	Port() int
	Close() error
}

// loadFaults are the kinds of devices in the crowd, in turn.
var loadFaults = []string{noFault, noFault, "toner-low:cyan", noFault, noFault, "media-jam", noFault, "stapler-empty", noFault, "cover-open:2"}

// loadModel is the model of the crowd; its devices answer more than 500
// values.
const loadModel = "thellmark-mx550"

// StartLoad starts the crowd; it ends with ctx or with Close. It needs a
// system where one socket answers for all loopback addresses.
func StartLoad(ctx context.Context, o LoadOptions) (*Load, error) {
	if !o.Prefix.IsValid() {
		o.Prefix = netip.MustParsePrefix("127.96.0.0/16")
	}
	o.Prefix = o.Prefix.Masked()
	if o.Community == "" {
		o.Community = "public"
	}
	size := 1 << (32 - o.Prefix.Bits())
	switch {
	case !o.Prefix.Addr().Is4() || !o.Routed && !o.Prefix.Addr().IsLoopback() || o.Prefix.Bits() < 8:
		return nil, fmt.Errorf("%s is not within 127.0.0.0/8", o.Prefix)
	case o.Devices < 1 || o.Devices > size-2:
		return nil, fmt.Errorf("%d devices do not fit %s: 1 to %d do", o.Devices, o.Prefix, size-2)
	}
	l := &Load{options: o, hosts: make([]agent.Host, o.Devices)}
	first := o.Prefix.Addr().As4()
	l.first, l.stride = binary.BigEndian.Uint32(first[:])+1, uint32(size-2)/uint32(o.Devices)
	if err := l.populate(); err != nil {
		return nil, err
	}
	var err error
	if o.Routed || o.Path.needed() {
		l.server, err = l.listenPath()
	} else {
		l.server, err = agent.ListenAll(o.Port, l.find)
	}
	if err != nil {
		return nil, err
	}
	context.AfterFunc(ctx, func() { l.Close() })
	return l, nil
}

// populate builds one tree for each kind of device and the hosts.
func (l *Load) populate() error {
	s, err := loadScenario()
	if err != nil {
		return err
	}
	trees := make([]*agent.Tree, len(loadFaults))
	for i, faults := range loadFaults {
		d := newMachine(s.model(loadModel), loadPlace(), l.options.Seed)
		if faults != noFault {
			if err := d.give(faults, l.options.Seed); err != nil {
				return err
			}
		}
		trees[i] = d.sharedTree()
	}
	booted := time.Now().Add(-30 * 24 * time.Hour)
	for i := range l.hosts {
		h := &l.hosts[i]
		h.V1, h.V2c, h.Communities, h.Booted, h.ID = true, true, []string{l.options.Community}, booted, uint32(i)
		h.Serve(trees[i%len(trees)])
	}
	return nil
}

func loadPlace() *placement {
	return &placement{Name: "crowd", Address: "127.0.0.1", Model: loadModel, Hostname: "crowd", Title: "Crowd",
		Location: "Hall of many", Index: 1, SNMP: []string{"1", "2c"}, Days: 30, Pages: 200000}
}

// sharedTree is the device's tree with what differs between the devices of a
// crowd computed at each answer from the host's number.
func (d *machine) sharedTree() *agent.Tree {
	b := treeOf([]*machine{d}, "help desk")
	named := func(format string) agent.Live {
		return func(h *agent.Host, _ time.Time) agent.Value { return agent.Text(fmt.Sprintf(format, h.ID+1)) }
	}
	general := oidPrinter.With(5, 1, 1)
	b.PutLive(oidSystem.With(5), named("crowd-%05d"), 0)
	b.PutLive(oidSystem.With(6), named("Hall of many, place %d"), 0)
	b.PutLive(general.With(16), named("Crowd %d"), 1)
	b.PutLive(general.With(17), named("CR%07d"), 1)
	b.PutLive(oidIfEntry.With(6), func(h *agent.Host, _ time.Time) agent.Value {
		return agent.Octets(binary.BigEndian.AppendUint32([]byte{0x02, 0x10}, h.ID+1))
	}, 1)
	b.PutLive(oidPrinter.With(10, 2, 1, 4), func(h *agent.Host, _ time.Time) agent.Value {
		return agent.Counter32(10000 + h.ID*97%900000)
	}, 1, 1)
	return b.Build()
}

// find is the device at an address, if one stands there.
func (l *Load) find(at netip.AddrPort, _ time.Time) (*agent.Host, time.Duration, bool) {
	a := at.Addr().As4()
	offset := binary.BigEndian.Uint32(a[:]) - l.first
	i := offset / l.stride
	if i >= uint32(len(l.hosts)) || offset != l.place(i) {
		return nil, 0, false
	}
	l.answered.Add(1)
	return &l.hosts[i], l.options.Delay, true
}

// place is where device i stands: somewhere in its own share of the prefix, so
// that a sweep cannot count on a step.
func (l *Load) place(i uint32) uint32 {
	return i*l.stride + (i*2654435761>>8)%l.stride // the multiplier scatters (Knuth)
}

// Addr is the address of device i.
func (l *Load) Addr(i int) netip.Addr {
	var a [4]byte
	binary.BigEndian.PutUint32(a[:], l.first+l.place(uint32(i)))
	return netip.AddrFrom4(a)
}

// Port is the UDP port of all devices.
func (l *Load) Port() int { return l.server.Port() }

// Targets lists what to sweep.
func (l *Load) Targets() []string { return []string{l.options.Prefix.String()} }

// Values is the number of object instances that device i answers.
func (l *Load) Values(i int) int { return l.hosts[i].Tree().Len() }

// Requests counts the datagrams that reached a device.
func (l *Load) Requests() int64 { return l.answered.Load() }

// Answers counts the answers sent over a path, and their octets; 0 where the
// crowd has none.
func (l *Load) Answers() (n, octets int64) { return l.sent.Load(), l.octets.Load() }

// Close ends the crowd.
func (l *Load) Close() error { return l.server.Close() }
