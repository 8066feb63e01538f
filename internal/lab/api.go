// Package lab is a simulated organisation on loopback: SNMP agents, IPP
// printers and a DNS-SD announcer, for demonstration, tests and benchmarks. It
// shares no decoding code with the readers that it is used to test.
package lab

import (
	"net/netip"
	"time"
)

// Options say which lab to start. Of several labs at the same time on one
// machine that announce themselves over DNS-SD, only the first stands on the
// scenario's addresses under its names; see Lab.Devices and Lab.Targets.
type Options struct {
	Seed     int64             // chooses levels, counters and serials; the same seed gives the same lab
	Faults   map[string]string // device name -> faults joined by commas, instead of the scenario's; "none" clears
	SNMPPort int               // one port for all addresses; 0: a free one
	IPPPort  int               // the same for IPP
	NoMDNS   bool
	Stay     bool             // runs until somebody ends it: other labs on this machine do not wait for it to end
	Vary     bool             // harmless differences of settings, drawn from Seed
	Clean    bool             // no seeded faults
	Now      func() time.Time // clock of jobs and of printer-current-time; nil: time.Now
	OnePort  bool             // 127.0.0.1 alone, one port a device, as on systems without other loopback addresses
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

	SNMPPorts []int    // of all its interfaces, where 127.0.0.1 stands for each of them (OnePort)
	Community string   // that answers over v1 and v2c; empty: v3 only, or no SNMP
	IPPPath   string   // resource path of the IPP service
	Model     string   // maker and model
	Title     string   // the name that the device itself gives
	Hostname  string   // sysName
	Location  string   // sysLocation, printer-location
	Serial    string   // prtGeneralSerialNumber, printer-serial-number
	UUID      string   // printer-uuid without urn:uuid:
	MAC       string   // of the first interface
	Index     int      // hrDeviceIndex
	Expected  bool     // named in the site file
	Queue     bool     // a host that keeps an IPP queue: found, but no device
	Notes     []string // facts that ask for nobody
	Values    int      // object instances that its address answers over SNMP
}
