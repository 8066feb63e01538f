// Package lab is a simulated organisation on loopback: SNMP agents, IPP
// printers and a DNS-SD announcer, for demonstration, tests and benchmarks. It
// shares no decoding code with the readers that it is used to test.
package lab

import "net/netip"

// Options say which lab to start.
type Options struct {
	Seed     int64             // chooses levels, counters and serials; the same seed gives the same lab
	Faults   map[string]string // device name -> condition, laid over the scenario
	SNMPPort int               // one port for all addresses; 0: a free one
	IPPPort  int               // the same for IPP
	NoMDNS   bool
	Clean    bool // no seeded faults
}

// Device is one simulated device and the truth about it.
type Device struct {
	Name       string // short name, used by --fault and check --lab
	Addr       netip.Addr
	Addrs      []netip.Addr // all its interfaces
	SNMPPort   int          // 0: no SNMP
	IPPPort    int          // 0: no IPP
	Site       string
	Kind       string   // for people: mono laser, colour MFP, switch, …
	Printer    bool     // false: switch, UPS, camera, print server
	Silent     bool     // expected but switched off
	SNMP       string   // "1", "2c", "3" or ""
	Conditions []string // finding codes that must be found on it
}
