package discover

import (
	"context"
	"net"
	"net/netip"
	"time"

	"printround/internal/snmp"
)

// Target is one address to ask, with its ports.
type Target struct {
	Addr     netip.Addr
	SNMPPort uint16 // UDP
	IPPPort  uint16 // TCP
}

// Kind says what a host turned out to be as far as discovery can tell.
type Kind uint8

// Kinds of candidates.
const (
	Possible  Kind = iota // a port is open or a service was announced: reading will tell
	Printer               // GETNEXT from 1.3.6.1.2.1.43 stayed inside the Printer MIB
	Hinted                // answers SNMP, has hints of a printer, no Printer MIB
	OtherHost             // answers SNMP and is no printer: counted, never read
)

// String names the kind for people.
func (k Kind) String() string {
	return [...]string{"possible printer", "printer", "hints of a printer", "no printer"}[min(k, OtherHost)]
}

// Candidate is one piece of news about one address. Several candidates for the
// same address may come, each with what was learnt since: the SNMP sweep, the
// IPP probe and the DNS-SD browse run side by side.
type Candidate struct {
	Target  Target
	Kind    Kind
	Reason  string      // for Hinted: the hint, in words
	SNMP    *SNMPAnswer // nil: no SNMP answer in this piece of news
	IPPOpen bool        // the IPP port took a connection
	AskSNMP bool        // the caller wants SNMP read although no sweep asked: a single device
	Service *Service    // nil: not from DNS-SD
}

// SNMPAnswer is what the sweep learnt from a host's reply.
type SNMPAnswer struct {
	Version     snmp.Version
	Credential  int    // index into Config.Credentials; -1 for an SNMPv3 discovery report
	Description string // hrDeviceDescr or sysDescr, raw bytes from the host
	ObjectID    string // sysObjectID in dotted form, if known
}

// Service is one DNS-SD service instance (RFC 6763), all its types merged.
type Service struct {
	Instance string // unescaped, raw
	Host     string // SRV target without the final dot
	Addrs    []netip.Addr
	Types    []string // such as _ipp._tcp
	Port     uint16   // of the best IPP type, else 0
	TLS      bool     // an _ipps._tcp service exists
	TLSPort  uint16
	TXT      map[string]string // keys lower-case; first occurrence wins (RFC 6763 section 6.4)
}

// Config is what a discovery run needs.
type Config struct {
	Scope       *Scope
	Credentials []snmp.Credential // in the order to try; communities are never guessed
	Expected    []netip.Addr      // get extra tries
	Pace        int               // packets a second; 0: DefaultPace
	Retries     int               // further passes over the silent, >= 0
	Timeout     time.Duration     // how long the first pass waits for its last replies; later ones wait longer; 0: DefaultWait
	Listen      time.Duration     // at least this long after the last probe; 0: DefaultListen
	NoSNMP      bool
	NoIPP       bool
	NoMDNS      bool
	Interfaces  []net.Interface // for DNS-SD; nil: all multicast interfaces that are up
	ProbeRate   int             // IPP connections a second; 0: DefaultProbeRate
	// Dial opens the IPP connections; nil: the network.
	Dial     func(ctx context.Context, network, address string) (net.Conn, error)
	Progress func(Progress) // may be nil; called from one goroutine, must not block
	Log      func(string)   // --verbose lines; may be nil
}

// Progress is a snapshot of a running discovery.
type Progress struct {
	Addresses int // unique addresses in scope
	Probes    int // probes planned so far, over all passes
	Sent      int // probes sent
	Answered  int // hosts that gave any answer
	Printers  int
}

// Stats is the outcome of a discovery run.
type Stats struct {
	Addresses   int
	Probed      int // addresses asked at least once
	Answered    int // hosts with any answer
	OtherHosts  int // answered and are no printers
	Hinted      int
	Printers    int
	PacketsSent int
	Requeued    int // ENOBUFS
	Unreachable int // host-unreachable reported by the network
	Malformed   int // replies that were no valid SNMP answers
	Prefixes    []PrefixStats
	Notes       []string  // what was not seen and why, in words
	Problems    []Problem // per address or stage
}

// PrefixStats is the outcome for one target of the scope.
type PrefixStats struct {
	Target                     string
	Probed, Answered, Printers int
	Note                       string // NoAnswerNote or empty
}

// NoAnswerNote is what can be said of a target that was asked and from which
// nothing came.
const NoAnswerNote = "no route, firewall or empty"

// Problem is one thing that went wrong, in one line with what to do.
type Problem struct {
	Address string // may be empty
	Stage   string // name, route, snmp, tcp, mdns, target, file
	Message string
}
