package survey

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"net/netip"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/device"
	"printround/internal/mib"
	"printround/internal/oid"
	"printround/internal/snmp"
)

// oddAgent answers from a recording and lets twist change every answer into the
// messages that are sent in its place.
type oddAgent struct {
	snmpAgent
	twist func(n int, req, resp *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket

	mu    sync.Mutex
	heard []string // communities, in the order in which they came
}

func (a *oddAgent) start(t testing.TB) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf := make([]byte, 1<<16)
		for n := 1; ; n++ {
			size, from, err := conn.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			for _, out := range a.answers(n, buf[:size]) {
				_, _ = conn.WriteToUDPAddrPort(out, from)
			}
		}
	}()
	t.Cleanup(func() { conn.Close(); <-done })
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

func (a *oddAgent) answers(n int, datagram []byte) [][]byte {
	codec := &gosnmp.GoSNMP{Version: gosnmp.Version2c}
	req, err := codec.SnmpDecodePacket(bytes.Clone(datagram))
	if err != nil {
		return nil
	}
	a.mu.Lock()
	a.heard = append(a.heard, req.Community)
	a.mu.Unlock()
	b := a.respond(bytes.Clone(datagram))
	if b == nil {
		return nil
	}
	resp, err := codec.SnmpDecodePacket(b)
	if err != nil {
		return nil
	}
	var out [][]byte
	for _, p := range a.twist(n, req, resp) {
		if b, err := p.MarshalMsg(); err == nil {
			out = append(out, b)
		}
	}
	return out
}

func (a *oddAgent) communities() []string {
	a.mu.Lock()
	defer a.mu.Unlock()
	return slices.Clone(a.heard)
}

// always twists every answer in place.
func always(change func(req, resp *gosnmp.SnmpPacket)) func(int, *gosnmp.SnmpPacket, *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket {
	return func(_ int, req, resp *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket {
		change(req, resp)
		return []*gosnmp.SnmpPacket{resp}
	}
}

// refusing answers everything with an error status (RFC 3416 section 3).
func refusing(status gosnmp.SNMPError, index uint8) func(int, *gosnmp.SnmpPacket, *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket {
	return always(func(req, resp *gosnmp.SnmpPacket) {
		resp.Error, resp.ErrorIndex, resp.Variables = status, index, nil
		for _, v := range req.Variables {
			resp.Variables = append(resp.Variables, gosnmp.SnmpPDU{Name: v.Name, Type: gosnmp.Null})
		}
	})
}

// inventing answers every name with what next makes of it.
func inventing(next func(oid.OID) gosnmp.SnmpPDU, most int) func(int, *gosnmp.SnmpPacket, *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket {
	return always(func(req, resp *gosnmp.SnmpPacket) {
		last := append([]gosnmp.SnmpPDU(nil), req.Variables...)
		non, reps := len(last), 0
		if req.PDUType == gosnmp.GetBulkRequest {
			non, reps = int(req.NonRepeaters), int(req.MaxRepetitions)
		}
		resp.Variables = nil
		for _, v := range last[:non] {
			resp.Variables = append(resp.Variables, next(oid.MustParse(v.Name)))
		}
		for range reps {
			for i := non; i < len(last); i++ {
				last[i] = next(oid.MustParse(last[i].Name))
				resp.Variables = append(resp.Variables, last[i])
			}
		}
		resp.Variables = resp.Variables[:min(len(resp.Variables), most)]
	})
}

// child is a name behind o that has a successor of its own, for ever, in
// columns with two index numbers.
func child(o oid.OID) oid.OID {
	n := o.Append()
	if len(n) >= 13 {
		n[len(n)-1]++
		return n
	}
	for len(n) < 13 {
		n = n.Append(1)
	}
	return n
}

func integerAt(o oid.OID, n int) gosnmp.SnmpPDU {
	return gosnmp.SnmpPDU{Name: "." + o.String(), Type: gosnmp.Integer, Value: n}
}

// Whatever an agent answers, reading it ends within bounds, in a few lines, and
// keeps what was right.
func TestHostileAgents(t *testing.T) {
	full := fullSNMP(t)
	one := func(_, resp *gosnmp.SnmpPacket) { resp.Variables = resp.Variables[:1] }
	large := bytes.Repeat([]byte("x"), 20000)
	facts, err := mib.Read(t.Context(), full)
	if err != nil {
		t.Fatal(err)
	}
	all := len(facts.Raw)
	tests := []struct {
		name   string
		twist  func(int, *gosnmp.SnmpPacket, *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket
		values int    // exactly; -1: any number
		views  int    //
		says   string // of the last problem; empty: there is none
	}{
		{"every answer three times", func(_ int, _, r *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket { return []*gosnmp.SnmpPacket{r, r, r} }, all, 1, ""},
		{"every second request lost", func(n int, _, r *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket {
			return []*gosnmp.SnmpPacket{r}[:n%2]
		}, all, 1, ""},
		{"another request-id", always(func(_, r *gosnmp.SnmpPacket) { r.RequestID++ }), 0, 0, "none to what was asked"},
		{"another community", always(func(_, r *gosnmp.SnmpPacket) { r.Community = "other" }), 0, 0, "none to what was asked"},
		{"noSuchName", refusing(gosnmp.NoSuchName, 1), 0, 0, "shows no Printer MIB"},
		{"noSuchName without an index", refusing(gosnmp.NoSuchName, 0), 0, 0, "unusable SNMP answer"},
		{"tooBig", refusing(gosnmp.TooBig, 0), 0, 0, "unusable SNMP answer"},
		{"authorizationError", refusing(gosnmp.AuthorizationError, 1), 0, 0, "unusable SNMP answer"},
		{"one binding at a time", always(one), all, 1, ""},
		{"no bindings", always(func(_, r *gosnmp.SnmpPacket) { r.Variables = nil }), 0, 0, "unusable SNMP answer"},
		{"the name asked for", inventing(func(o oid.OID) gosnmp.SnmpPDU { return integerAt(o, 7) }, 1<<16), 0, 0, "shows no Printer MIB"},
		{"names before it", inventing(func(o oid.OID) gosnmp.SnmpPDU { return integerAt(o[:len(o)-1], 7) }, 1<<16), 0, 0, "shows no Printer MIB"},
		{"tables without end", inventing(func(o oid.OID) gosnmp.SnmpPDU { return integerAt(child(o), 7) }, 1<<16), -1, 1, "oddities more"},
		{"strings of 20,000 octets without end", inventing(func(o oid.OID) gosnmp.SnmpPDU {
			return gosnmp.SnmpPDU{Name: "." + child(o).String(), Type: gosnmp.OctetString, Value: large}
		}, 3), -1, 1, "oddities more"},
		{"every number negative", always(func(_, r *gosnmp.SnmpPacket) {
			for i, v := range r.Variables {
				if v.Type == gosnmp.Integer {
					r.Variables[i].Value = -5
				}
			}
		}), all, 1, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			const secret = "s3cret"
			at := (&oddAgent{snmpAgent: snmpAgent{rec: full, community: secret}, twist: tt.twist}).start(t)
			before := runtime.NumGoroutine()
			o := snmpOptions()
			o.Log = func(line string) {
				if strings.Contains(line, secret) {
					t.Errorf("a secret in the log: %q", line)
				}
			}
			r := ReadSNMP(t.Context(), at, []snmp.Credential{community("office", secret)}, o)
			if len(r.Views) != tt.views || r.Reach.OK != (tt.views > 0) || tt.values >= 0 && r.Reach.Values != tt.values {
				t.Errorf("%d views, reach %+v", len(r.Views), r.Reach)
			}
			checkClean(t, reflect.ValueOf(r.Views), "views")
			checkProblems(t, r.Problems, tt.says, secret)
			for _, v := range r.Views {
				for _, s := range v.Supplies {
					if p, known := s.Level.Percent(); known && (p < 0 || p > 100) {
						t.Errorf("%s at %v%%", s.Name, p)
					}
				}
			}
			if n := runtime.NumGoroutine(); n > before {
				t.Errorf("%d goroutines before, %d after", before, n)
			}
		})
	}
}

func checkProblems(t *testing.T, got []device.Problem, says, secret string) {
	t.Helper()
	if len(got) > maxOddities+2 || (says == "") != (len(got) == 0) {
		t.Fatalf("%d problems: %+v", len(got), got)
	}
	said := false
	for _, p := range got {
		said = said || strings.Contains(p.Message, says)
		if strings.Contains(p.Message, secret) || strings.ContainsAny(p.Message, "\r\n\x1b") {
			t.Errorf("problem %q", p.Message)
		}
	}
	if says != "" && !said {
		t.Errorf("problems %+v, want one that says %q", got, says)
	}
}

// An alert table of 10,000 rows is read in part, and the device is still ranked
// by the rest.
func TestEndlessAlerts(t *testing.T) {
	lines := []string{"1.3.6.1.2.1.43.11.1.1.8.1.1|2|100", "1.3.6.1.2.1.43.11.1.1.9.1.1|2|40"}
	for i := range 10_000 {
		lines = append(lines, fmt.Sprintf("1.3.6.1.2.1.43.18.1.1.2.1.%d|2|4", i+1), fmt.Sprintf("1.3.6.1.2.1.43.18.1.1.7.1.%d|2|8", i+1))
	}
	at := (&snmpAgent{rec: snmpLines(t, lines...), community: "public"}).start(t)
	r := ReadSNMP(t.Context(), at, []snmp.Credential{community("default", "public")}, snmpOptions())
	if len(r.Views) != 1 || len(r.Views[0].Alerts) != 128 || len(r.Views[0].Supplies) != 1 || r.Views[0].Supplies[0].Level.String() != "40%" {
		t.Fatalf("%d views, %+v", len(r.Views), r.Problems)
	}
	checkProblems(t, r.Problems, "prtAlert has more than 128 rows: the others were not read", "public")
}

// One address is not hundreds of printers.
func TestEndlessPrinters(t *testing.T) {
	var lines []string
	for i := range 100 {
		lines = append(lines, fmt.Sprintf("1.3.6.1.2.1.43.18.1.1.2.%d.1|2|4", i+1))
	}
	at := (&snmpAgent{rec: snmpLines(t, lines...), community: "public"}).start(t)
	r := ReadSNMP(t.Context(), at, []snmp.Credential{community("default", "public")}, snmpOptions())
	if len(r.Views) != maxSNMPPrinters || len(r.Indices) != maxSNMPPrinters {
		t.Errorf("%d views, indices %v", len(r.Views), r.Indices)
	}
	checkProblems(t, r.Problems, "claims to be 100 printers: the first 32 are shown", "public")
}

// The right credential behind wrong ones does not wait for their long tries.
func TestRightCredentialLast(t *testing.T) {
	a := &oddAgent{snmpAgent: snmpAgent{rec: fullSNMP(t), community: "right"}, twist: always(func(_, _ *gosnmp.SnmpPacket) {})}
	at := a.start(t)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	o := snmpOptions()
	o.Timeout = time.Hour
	r := ReadSNMP(ctx, at, []snmp.Credential{community("a", "wrong"), community("b", "right")}, o)
	if len(r.Views) != 1 || r.Reach.Credential != "b" || len(r.Problems) != 0 {
		t.Fatalf("%d views, reach %+v, problems %v", len(r.Views), r.Reach, r.Problems)
	}
	// The request, and once more together with the one that learns the version.
	if heard := a.communities(); len(heard) < 4 || heard[2] != "wrong" || heard[3] != "right" {
		t.Errorf("heard %v", heard)
	}
}

// A device that sleeps through the short tries of all credentials is found by
// the long ones, with the right credential.
func TestSeveralCredentialsAtASleepingDevice(t *testing.T) {
	a := &oddAgent{snmpAgent: snmpAgent{rec: fullSNMP(t), community: "right"}, twist: func(n int, _, resp *gosnmp.SnmpPacket) []*gosnmp.SnmpPacket {
		if n <= 9 {
			return nil
		}
		return []*gosnmp.SnmpPacket{resp}
	}}
	r := ReadSNMP(t.Context(), a.start(t), []snmp.Credential{community("a", "wrong"), community("b", "right")},
		snmpOptions())
	if len(r.Views) != 1 || r.Reach.Credential != "b" || len(r.Problems) != 0 {
		t.Errorf("%d views, reach %+v, problems %v, heard %v", len(r.Views), r.Reach, r.Problems, a.communities())
	}
}
