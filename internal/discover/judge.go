package discover

import (
	"bytes"
	"strings"

	"printround/internal/snmp"
)

// The objects that together tell a printer from anything else, in ascending
// order, so that an SNMPv1 agent whose objects end in the middle names the first
// one that it has nothing behind.
const (
	askSysDescr = iota // RFC 3418 section 2
	askSysObjectID
	askDeviceType    // hrDeviceType, RFC 2790 section 4
	askDeviceDescr   // hrDeviceDescr
	askPrinterStatus // hrPrinterStatus: only printers have a row
	askPrinterMIB    // the root of the Printer MIB, RFC 3805 section 6
	askCount
)

var askNames = [askCount][]byte{
	oid(6, 1, 2, 1, 1, 1),
	oid(6, 1, 2, 1, 1, 2),
	oid(6, 1, 2, 1, 25, 3, 2, 1, 2),
	oid(6, 1, 2, 1, 25, 3, 2, 1, 3),
	oid(6, 1, 2, 1, 25, 3, 5, 1, 1),
	oid(6, 1, 2, 1, 43),
}

var everything = []int{askSysDescr, askSysObjectID, askDeviceType, askDeviceDescr, askPrinterStatus, askPrinterMIB}

var (
	printerMIB    = askNames[askPrinterMIB]
	configChanges = oid(6, 1, 2, 1, 43, 5, 1, 1, 1) // prtGeneralConfigChanges
	devicePrinter = oid(6, 1, 2, 1, 25, 3, 1, 5)    // hrDevicePrinter
	generalSystem = [][]byte{                       // agents of general-purpose operating systems; from memory
		oid(6, 1, 4, 1, 8072, 3, 2),   // the agents of a common free agent
		oid(6, 1, 4, 1, 311, 1, 1, 3), // workstation, server, domain controller
	}
)

// makerIDs are the beginnings of object ids that devices of printer makers have
// been seen with. Such an id proves nothing, makers of printers make other
// things too: it is a hint. 1602 and 1248 are seen in recordings of printers
// without a Printer MIB, the others are from memory of the IANA list of
// enterprise numbers; where a maker's tree for printers is known it is narrowed.
var makerIDs = [][]byte{
	oid(6, 1, 4, 1, 11, 2, 3, 9),
	oid(6, 1, 4, 1, 236, 11, 5),
	oid(6, 1, 4, 1, 253, 8, 62),
	oid(6, 1, 4, 1, 297, 1, 11),
	oid(6, 1, 4, 1, 367),
	oid(6, 1, 4, 1, 641),
	oid(6, 1, 4, 1, 1129, 2, 3),
	oid(6, 1, 4, 1, 1248),
	oid(6, 1, 4, 1, 1347),
	oid(6, 1, 4, 1, 1602),
	oid(6, 1, 4, 1, 2001),
	oid(6, 1, 4, 1, 2385, 3),
	oid(6, 1, 4, 1, 2435, 2, 3),
	oid(6, 1, 4, 1, 10642),
	oid(6, 1, 4, 1, 18334),
}

// printerWords in a description are a hint (common practice, no source).
var printerWords = []string{
	"printer", "print server", "printserver", "printing system", "laser", "inkjet", "ink jet", "mfp",
	"multifunction", "multi-function", "copier", "plotter",
}

// facts are what a host has said about itself so far.
type facts struct {
	descr, devDescr  string
	objectID         []byte
	descrIndex       string // hrDeviceIndex that devDescr belongs to, encoded
	typeIndex        string // that of the first row, if it is a printer
	statusIndex      string // that of the first hrPrinter row
	printerMIB       bool
	answered         uint8 // bit i: object i was answered, if only with nothing
	generalPurposeOS bool
}

// absorb takes an answer to the objects in asked. Its names count only if they
// lie in the column that was asked for.
func (f *facts) absorb(asked []int, r *reply) {
	for i, what := range asked {
		if i >= r.n {
			return
		}
		v := &r.binds[i]
		f.answered |= 1 << what
		if v.tag >= tagNoSuchObject && v.tag <= tagEndOfMibView || !inside(v.name, askNames[what]) {
			continue
		}
		row := string(v.name[len(askNames[what]):])
		switch what {
		case askSysDescr:
			if v.tag == tagOctetString {
				f.descr = short(v.value)
			}
		case askSysObjectID:
			if v.tag == tagOID {
				f.objectID = bytes.Clone(v.value)
				f.generalPurposeOS = anyPrefix(v.value, generalSystem)
			}
		case askDeviceType:
			if v.tag == tagOID && bytes.Equal(v.value, devicePrinter) {
				f.typeIndex = row
			}
		case askDeviceDescr:
			if v.tag == tagOctetString {
				f.devDescr, f.descrIndex = short(v.value), row
			}
		case askPrinterStatus:
			f.statusIndex = row
		case askPrinterMIB:
			f.printerMIB = true
		}
	}
}

// refuse takes an answer that is an error or empty. noSuchName names the first
// object that nothing comes after (RFC 1157 section 4.1.3), and the objects are
// in ascending order; of another error the last object is blamed.
func (f *facts) refuse(asked []int, r *reply) {
	const noSuchName = 2
	from := len(asked) - 1
	if r.status == noSuchName && r.index >= 1 && r.index <= len(asked) {
		from = r.index - 1
	}
	for _, what := range asked[from:] {
		f.answered |= 1 << what
	}
}

// missing lists the objects that nothing is known of yet.
func (f *facts) missing() []int {
	var out []int
	for what := range askCount {
		if f.answered&(1<<what) == 0 {
			out = append(out, what)
		}
	}
	return out
}

// verdict says what the host is. sharesQueues marks a computer that carries
// printer rows for the queues it shares.
func (f *facts) verdict() (kind Kind, reason string, sharesQueues bool) {
	row := f.typeIndex != "" || f.statusIndex != ""
	switch {
	case f.printerMIB:
		return Printer, "", false
	case f.generalPurposeOS:
		// Printer rows alone are queues that a computer shares, and words in its
		// description are its host name.
		return OtherHost, "", row
	case row:
		return Hinted, "has a printer row in the Host Resources MIB, but no Printer MIB", false
	case hasPrinterWord(f.descr) || hasPrinterWord(f.devDescr):
		return Hinted, "describes itself as a printer, but has no Printer MIB", false
	case anyPrefix(f.objectID, makerIDs):
		return Hinted, "has the object id of a maker of printers, but no Printer MIB", false
	}
	return OtherHost, "", false
}

// description is the best text: that of the printer's own row, else of the
// system, else of the first device.
func (f *facts) description() string {
	if f.devDescr != "" && (f.descrIndex == f.statusIndex || f.descrIndex == f.typeIndex) {
		return f.devDescr
	}
	if f.descr != "" {
		return f.descr
	}
	return f.devDescr
}

func (f *facts) answer(v snmp.Version, credential int) *SNMPAnswer {
	return &SNMPAnswer{Version: v, Credential: credential, Description: f.description(), ObjectID: oidString(f.objectID)}
}

func anyPrefix(b []byte, prefixes [][]byte) bool {
	for _, p := range prefixes {
		if inside(b, p) {
			return true
		}
	}
	return false
}

func hasPrinterWord(s string) bool {
	s = strings.ToLower(s)
	for _, w := range printerWords {
		if strings.Contains(s, w) {
			return true
		}
	}
	return false
}

// maxDescription is how much of a host's description is kept, in bytes.
const maxDescription = 512

func short(b []byte) string { return string(b[:min(len(b), maxDescription)]) }
