package survey

import (
	"context"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"

	"printround/internal/device"
	"printround/internal/mib"
	"printround/internal/oid"
	"printround/internal/snmp"
)

// snmpAgent answers SNMPv2c on loopback from a recording.
type snmpAgent struct {
	rec       *mib.Recording
	community string
	answers   int // so many, then silence; 0: no limit
}

func (a *snmpAgent) start(t testing.TB) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf := make([]byte, 1<<16)
		for n := 1; ; {
			size, from, err := conn.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			if out := a.respond(append([]byte(nil), buf[:size]...)); out != nil && (a.answers == 0 || n <= a.answers) {
				n++
				_, _ = conn.WriteToUDPAddrPort(out, from)
			}
		}
	}()
	t.Cleanup(func() { conn.Close(); <-done })
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

func (a *snmpAgent) respond(datagram []byte) []byte {
	req, err := (&gosnmp.GoSNMP{Version: gosnmp.Version2c}).SnmpDecodePacket(datagram)
	if err != nil || req.Version != gosnmp.Version2c || req.Community != a.community {
		return nil
	}
	non, reps := len(req.Variables), 0
	if req.PDUType == gosnmp.GetBulkRequest {
		non, reps = int(req.NonRepeaters), int(req.MaxRepetitions)
	}
	q := oid.Request{Reps: reps}
	for i, v := range req.Variables {
		ask := oid.Ask{Name: oid.MustParse(v.Name)}
		if i < non {
			q.Names = append(q.Names, ask)
		} else {
			q.Columns = append(q.Columns, ask)
		}
	}
	got, err := a.rec.Next(context.Background(), q)
	if err != nil {
		return nil
	}
	list := got.Names
	for rep := range reps {
		for _, column := range got.Columns {
			list = append(list, column[rep])
		}
	}
	resp := *req
	resp.PDUType, resp.NonRepeaters, resp.MaxRepetitions, resp.Variables = gosnmp.GetResponse, 0, 0, nil
	for _, b := range list {
		resp.Variables = append(resp.Variables, wireValue(b))
	}
	out, err := resp.MarshalMsg()
	if err != nil {
		return nil
	}
	return out
}

func wireValue(b oid.VarBind) gosnmp.SnmpPDU {
	v := gosnmp.SnmpPDU{Name: "." + b.Name.String(), Type: gosnmp.Asn1BER(b.Value.Kind)}
	switch b.Value.Kind {
	case oid.Integer:
		v.Value = int(b.Value.Num)
	case oid.Counter32, oid.Gauge32, oid.TimeTicks:
		v.Value = uint32(b.Value.Num)
	case oid.OctetString:
		v.Value = b.Value.Bytes
	case oid.ObjectID:
		v.Value = "." + b.Value.ID.String()
	}
	return v
}

func snmpRecording(t testing.TB, path string) *mib.Recording {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec, err := mib.ParseRecording(f)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func snmpLines(t testing.TB, lines ...string) *mib.Recording {
	t.Helper()
	rec, err := mib.ParseRecording(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

// fullSNMP is the invented complete device of package mib.
func fullSNMP(t testing.TB) *mib.Recording {
	return snmpRecording(t, filepath.Join("..", "mib", "testdata", "full.snmprec"))
}

var snmpNow = time.Date(2025, 11, 24, 16, 30, 0, 0, time.UTC)

// snmpOptions give up on silence after a second, and bear a busy machine.
func snmpOptions() ReadOptions {
	return ReadOptions{Timeout: 100 * time.Millisecond, Retries: 3, Now: func() time.Time { return snmpNow }}
}

// viewOf maps the only printer of a recording.
func viewOf(t testing.TB, rec *mib.Recording) device.Device {
	t.Helper()
	facts, err := mib.Read(context.Background(), rec)
	if err != nil {
		t.Fatal(err)
	}
	printers := facts.Printers()
	if len(printers) != 1 {
		t.Fatalf("printers %v, want one", printers)
	}
	return snmpView(facts, printers[0], snmpOptions())
}

func community(label string, secret snmp.Secret) snmp.Credential {
	return snmp.Credential{Label: label, Version: snmp.V2c, Community: secret}
}

func TestReadSNMP(t *testing.T) {
	at := (&snmpAgent{rec: fullSNMP(t), community: "inside"}).start(t)
	r := ReadSNMP(context.Background(), at, []snmp.Credential{community("default", "public"), community("office", "inside")}, snmpOptions())
	if len(r.Views) != 1 || len(r.Indices) != 1 || r.Indices[0] != 1 {
		t.Fatalf("%d views, indices %v, problems %v", len(r.Views), r.Indices, r.Problems)
	}
	want := device.SNMPReach{OK: true, Tried: true, Version: "2c", Credential: "office",
		RoundTrips: r.Reach.RoundTrips, Values: r.Reach.Values, Bytes: r.Reach.Bytes}
	if r.Reach != want || r.Views[0].Reached.SNMP != want {
		t.Errorf("reach %+v, in the view %+v", r.Reach, r.Views[0].Reached.SNMP)
	}
	if r.Reach.Values < 350 || r.Reach.RoundTrips < 5 || r.Reach.RoundTrips > 11 || r.Reach.Bytes < 9000 {
		t.Errorf("reach %+v", r.Reach)
	}
	checkClean(t, reflect.ValueOf(r.Views), "views")
	if len(r.Problems) != 0 { // that the first credential was met with silence is none
		t.Errorf("problems %+v", r.Problems)
	}
}

// Each way to fail is told apart in one line without secrets.
func TestReadSNMPProblems(t *testing.T) {
	closed := func(t *testing.T) netip.AddrPort {
		conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		return conn.LocalAddr().(*net.UDPAddr).AddrPort()
	}
	agent := func(a *snmpAgent) func(*testing.T) netip.AddrPort {
		return func(t *testing.T) netip.AddrPort { return a.start(t) }
	}
	const secret = "s3cret"
	tests := []struct {
		name  string
		at    func(*testing.T) netip.AddrPort
		creds []snmp.Credential
		want  string
		views int
	}{
		{"silence", agent(&snmpAgent{community: "other", rec: fullSNMP(t)}),
			[]snmp.Credential{community("a", secret), community("b", secret+"2")}, `no SNMP answer: switched off, blocked, SNMP disabled, or the credential is not accepted (tried credential "a", "b")`, 0},
		{"closed port", closed, []snmp.Credential{community("a", secret), community("b", secret)}, "the UDP port is closed", 0},
		{"no printer", agent(&snmpAgent{community: secret, rec: snmpLines(t, "1.3.6.1.2.1.1.1.0|4|A switch")}),
			[]snmp.Credential{community("a", secret)}, "shows no Printer MIB", 0},
		{"falls silent", agent(&snmpAgent{community: secret, rec: fullSNMP(t), answers: 3}),
			[]snmp.Credential{community("a", secret)}, "stopped answering after", 1},
		{"unusable credential", closed, []snmp.Credential{community("bad", snmp.Secret(strings.Repeat(secret, 30)))}, `credential "bad": unusable SNMP credential`, 0},
		{"no credential", closed, nil, "", 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			at := tt.at(t)
			o := snmpOptions()
			if tt.name == "silence" {
				o.Timeout, o.Retries = 10*time.Millisecond, 0
			}
			r := ReadSNMP(context.Background(), at, tt.creds, o)
			if len(r.Views) != tt.views || r.Reach.OK != (tt.views > 0) || r.Reach.Partial != (tt.views > 0) || r.Reach.Tried != (tt.creds != nil) {
				t.Errorf("%d views, reach %+v", len(r.Views), r.Reach)
			}
			if tt.want == "" {
				if len(r.Problems) > 0 {
					t.Errorf("problems %+v", r.Problems)
				}
				return
			}
			if len(r.Problems) != 1 {
				t.Fatalf("problems %+v, want one", r.Problems)
			}
			p := r.Problems[0]
			if !strings.Contains(p.Message, tt.want) || p.Stage != "snmp" || p.Address != "127.0.0.1" {
				t.Errorf("problem %+v, want %q", p, tt.want)
			}
			if strings.Contains(p.Message, secret) || strings.ContainsAny(p.Message, "\n\r") {
				t.Errorf("a secret or a second line: %q", p.Message)
			}
		})
	}
}

func TestReadSNMPCancelled(t *testing.T) {
	at := (&snmpAgent{community: "none"}).start(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	o := snmpOptions()
	o.Timeout = time.Hour
	r := ReadSNMP(ctx, at, []snmp.Credential{community("a", "x"), community("b", "y")}, o)
	if len(r.Problems) != 1 || !strings.Contains(r.Problems[0].Message, "cut short") {
		t.Errorf("problems %+v", r.Problems)
	}
}

// Several printers behind one address stay apart, each with its own rows.
func TestSeveralPrinters(t *testing.T) {
	at := (&snmpAgent{community: "public", rec: snmpLines(t,
		"1.3.6.1.2.1.1.5.0|4|printbox",
		"1.3.6.1.2.1.25.3.2.1.2.3|6|1.3.6.1.2.1.25.3.1.5", "1.3.6.1.2.1.25.3.2.1.3.3|4|First", "1.3.6.1.2.1.25.3.2.1.5.3|2|2", "1.3.6.1.2.1.25.3.5.1.1.3|2|4",
		"1.3.6.1.2.1.25.3.2.1.2.7|6|1.3.6.1.2.1.25.3.1.5", "1.3.6.1.2.1.25.3.2.1.3.7|4|Second", "1.3.6.1.2.1.25.3.2.1.5.7|2|5", "1.3.6.1.2.1.25.3.5.1.2.7|4x|04",
		"1.3.6.1.2.1.43.5.1.1.17.3|4|S3", "1.3.6.1.2.1.43.5.1.1.17.7|4|S7",
		"1.3.6.1.2.1.43.11.1.1.9.3.1|2|11", "1.3.6.1.2.1.43.11.1.1.8.3.1|2|100", "1.3.6.1.2.1.43.11.1.1.9.7.1|2|22", "1.3.6.1.2.1.43.11.1.1.8.7.1|2|100")}).start(t)
	r := ReadSNMP(context.Background(), at, []snmp.Credential{community("a", "public")}, snmpOptions())
	if len(r.Views) != 2 || r.Indices[0] != 3 || r.Indices[1] != 7 {
		t.Fatalf("%d views, indices %v, %v", len(r.Views), r.Indices, r.Problems)
	}
	a, b := r.Views[0], r.Views[1]
	if a.MakeModel != "First" || a.Serial != "S3" || a.State.Device != "running" || a.State.Printer != "printing" || len(a.Supplies) != 1 || a.Supplies[0].Level.String() != "11%" {
		t.Errorf("first: %+v", a)
	}
	if b.MakeModel != "Second" || b.Serial != "S7" || b.State.Device != "down" || len(b.State.ErrorBits) != 1 || b.State.ErrorBits[0] != "jammed" ||
		len(b.Supplies) != 1 || b.Supplies[0].Object != "prtMarkerSuppliesLevel.7.1" {
		t.Errorf("second: %+v", b)
	}
}
