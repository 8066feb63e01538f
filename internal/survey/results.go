package survey

import (
	"net/netip"

	"printround/internal/device"
)

// SNMPResult is what reading one address over SNMP brought.
type SNMPResult struct {
	Views    []device.Device // one for each printer, by hrDeviceIndex; SNMP facts only
	Indices  []int           // hrDeviceIndex of each view
	Reach    device.SNMPReach
	Problems []device.Problem
}

// IPPTarget is where to ask over IPP. Path, Host and TLS are what DNS-SD
// announced; empty, they are found out in the order of RFC 8011 practice:
// ipps, then ipp, over the usual resource paths.
type IPPTarget struct {
	Addr    netip.Addr
	Port    uint16 // TCP
	TLSPort uint16 // of an _ipps._tcp service; 0: Port
	Path    string
	Host    string
	TLS     *bool // nil: not known
}

// IPPResult is what reading one address over IPP brought.
type IPPResult struct {
	Views    []device.Device // one for each printer or queue; IPP facts only
	Reach    device.IPPReach
	Problems []device.Problem
	Closed   bool // nothing listens on the port, or it does not answer at all
	NotIPP   bool // something listens, and it does not speak IPP
	Mute     bool // it was waited for in vain: no connection or no answer in time
}
