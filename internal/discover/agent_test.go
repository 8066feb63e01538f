package discover

import (
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"printround/internal/needtest"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/gosnmp/gosnmp"
)

// agent answers SNMP from a list of objects. It speaks through a reference
// library, so that it shares no code with the sweep.
type agent struct {
	community string
	versions  []gosnmp.SnmpVersion // nil: v1 and v2c
	rows      []row
	// fail returns an error-status for a request of so many objects, or NoError.
	fail func(objects int) gosnmp.SNMPError
}

type row struct {
	oid []uint32
	pdu gosnmp.SnmpPDU
}

func parseOID(s string) []uint32 {
	var out []uint32
	for part := range strings.SplitSeq(strings.Trim(s, "."), ".") {
		n, err := strconv.ParseUint(part, 10, 32)
		if err != nil {
			return nil
		}
		out = append(out, uint32(n))
	}
	return out
}

// newAgent makes an agent of lines OID|TAG|VALUE, the form in which walks are
// recorded: TAG is the number of the BER tag, with x for a value in hexadecimal.
func newAgent(tb testing.TB, lines string) *agent {
	tb.Helper()
	a := &agent{community: "public"}
	for line := range strings.Lines(lines) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		f := strings.SplitN(line, "|", 3)
		if len(f) != 3 {
			tb.Fatalf("no recorded line: %q", line)
		}
		pdu, err := recordedValue(f[1], f[2])
		if err != nil {
			tb.Fatalf("%q: %v", line, err)
		}
		pdu.Name = "." + f[0]
		a.rows = append(a.rows, row{parseOID(f[0]), pdu})
	}
	slices.SortFunc(a.rows, func(x, y row) int { return slices.Compare(x.oid, y.oid) })
	return a
}

func recordedValue(tag, value string) (gosnmp.SnmpPDU, error) {
	if t, ok := strings.CutSuffix(tag, "x"); ok {
		b, err := hex.DecodeString(value)
		if err != nil {
			return gosnmp.SnmpPDU{}, err
		}
		if t == "64" {
			return gosnmp.SnmpPDU{Type: gosnmp.IPAddress, Value: fmt.Sprintf("%d.%d.%d.%d", b[0], b[1], b[2], b[3])}, nil
		}
		return gosnmp.SnmpPDU{Type: gosnmp.OctetString, Value: b}, nil
	}
	number := func() uint64 { n, _ := strconv.ParseInt(value, 10, 64); return uint64(n) }
	switch tag {
	case "2":
		return gosnmp.SnmpPDU{Type: gosnmp.Integer, Value: int(number())}, nil
	case "4":
		return gosnmp.SnmpPDU{Type: gosnmp.OctetString, Value: []byte(value)}, nil
	case "5":
		return gosnmp.SnmpPDU{Type: gosnmp.Null}, nil
	case "6":
		return gosnmp.SnmpPDU{Type: gosnmp.ObjectIdentifier, Value: "." + value}, nil
	case "64":
		return gosnmp.SnmpPDU{Type: gosnmp.IPAddress, Value: value}, nil
	case "65":
		return gosnmp.SnmpPDU{Type: gosnmp.Counter32, Value: uint32(number())}, nil
	case "66":
		return gosnmp.SnmpPDU{Type: gosnmp.Gauge32, Value: uint32(number())}, nil
	case "67":
		return gosnmp.SnmpPDU{Type: gosnmp.TimeTicks, Value: uint32(number())}, nil
	case "70":
		return gosnmp.SnmpPDU{Type: gosnmp.Counter64, Value: number()}, nil
	}
	return gosnmp.SnmpPDU{}, fmt.Errorf("unknown tag %s", tag)
}

// respond answers a request, or returns nil: it says nothing to what is not for
// it, as agents do.
func (a *agent) respond(request []byte) []byte {
	ref := &gosnmp.GoSNMP{}
	p, err := ref.SnmpDecodePacket(slices.Clone(request))
	if err != nil || p.Version == gosnmp.Version3 || p.Community != a.community || p.PDUType != gosnmp.GetNextRequest ||
		a.versions != nil && !slices.Contains(a.versions, p.Version) {
		return nil
	}
	out := &gosnmp.SnmpPacket{Version: p.Version, Community: p.Community, PDUType: gosnmp.GetResponse, RequestID: p.RequestID}
	if a.fail != nil {
		if out.Error = a.fail(len(p.Variables)); out.Error != gosnmp.NoError {
			return marshal(out)
		}
	}
	for i, v := range p.Variables {
		asked := parseOID(v.Name)
		k, exact := slices.BinarySearchFunc(a.rows, asked, func(r row, o []uint32) int { return slices.Compare(r.oid, o) })
		if exact {
			k++
		}
		switch {
		case k < len(a.rows):
			out.Variables = append(out.Variables, a.rows[k].pdu)
		case p.Version == gosnmp.Version1: // RFC 1157 section 4.1.3
			out.Error, out.ErrorIndex = gosnmp.NoSuchName, uint8(i+1)
			out.Variables = nil
			for _, v := range p.Variables {
				out.Variables = append(out.Variables, gosnmp.SnmpPDU{Name: v.Name, Type: gosnmp.Null})
			}
			return marshal(out)
		default: // RFC 3416 section 4.2.2
			out.Variables = append(out.Variables, gosnmp.SnmpPDU{Name: v.Name, Type: gosnmp.EndOfMibView})
		}
	}
	return marshal(out)
}

func marshal(p *gosnmp.SnmpPacket) []byte {
	b, err := p.MarshalMsg()
	if err != nil {
		panic(err)
	}
	return b
}

// recordings returns the recorded walks in a folder beside the module, by name.
// The test is skipped where the folder is not there.
func recordings(t *testing.T, kind string) map[string]string {
	t.Helper()
	names, _ := filepath.Glob(filepath.Join(needtest.Shared(t, "captures", kind), "*.snmprec"))
	if len(names) == 0 {
		t.Fatalf("no recorded walks in captures/%s", kind)
	}
	out := map[string]string{}
	for _, n := range names {
		b, err := os.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		out[strings.TrimSuffix(filepath.Base(n), ".snmprec")] = string(b)
	}
	return out
}

// Objects of invented devices.
const (
	laser = `1.3.6.1.2.1.1.1.0|4|Tessel L40 system
1.3.6.1.2.1.1.2.0|6|1.3.6.1.4.1.99999.4.1
1.3.6.1.2.1.25.3.2.1.2.1|6|1.3.6.1.2.1.25.3.1.3
1.3.6.1.2.1.25.3.2.1.2.7|6|1.3.6.1.2.1.25.3.1.5
1.3.6.1.2.1.25.3.2.1.3.7|4|Tessel L40
1.3.6.1.2.1.25.3.5.1.1.7|2|3
1.3.6.1.2.1.43.5.1.1.1.7|65|12
1.3.6.1.2.1.43.5.1.1.16.7|4|front desk
`
	switchbox = `1.3.6.1.2.1.1.1.0|4|Quoin access switch
1.3.6.1.2.1.1.2.0|6|1.3.6.1.4.1.99998.1
1.3.6.1.2.1.2.1.0|2|24
1.3.6.1.6.3.1.1.6.1.0|2|1
`
	// Its objects end before the Printer MIB.
	bare = `1.3.6.1.2.1.1.1.0|4|Ambry printer port
1.3.6.1.2.1.1.2.0|6|1.3.6.1.4.1.99997.1
1.3.6.1.2.1.2.1.0|2|1
`
)
