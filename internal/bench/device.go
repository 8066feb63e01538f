package main

import (
	"bufio"
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"strings"
	"time"

	"printround/internal/lab"
	"printround/internal/mib"
	"printround/internal/oid"
	"printround/internal/snmp"
)

// oneDevice is the reading of one full device.
type oneDevice struct {
	Delay time.Duration
	Walk  string // path of snmpbulkwalk; empty: none
}

type oneReading struct {
	Wall       float64 // seconds
	RoundTrips int
	Bytes      int // of answers, UDP payload
	Useful     int // octets of the bindings that were kept
	Values     int
	Walk       float64 // of the reference, seconds; 0: not done
	Walked     int     // values that it read
	Differ     int     // of the values that both read
	Example    string
	Missing    int // values that the reference did not see
}

// deviceRole reads one device of its own and compares with the reference.
func deviceRole(ctx context.Context, arg string) error {
	var d oneDevice
	if err := json.Unmarshal([]byte(arg), &d); err != nil {
		return err
	}
	if canIsolate() {
		if err := loopbackUp(); err != nil {
			return err
		}
	}
	l, err := lab.StartLoad(ctx, lab.LoadOptions{Devices: 1, Prefix: netip.MustParsePrefix("127.96.1.0/24"), Delay: d.Delay})
	if err != nil {
		return err
	}
	defer l.Close()
	at := netip.AddrPortFrom(l.Addr(0), uint16(l.Port()))
	s, err := snmp.Open(ctx, at, snmp.Credential{Label: "public", Version: snmp.V2c, Community: "public"}, snmp.Options{})
	if err != nil {
		return err
	}
	defer s.Close()
	begin := time.Now()
	facts, err := mib.Read(ctx, s)
	if err != nil {
		return err
	}
	r := oneReading{Wall: time.Since(begin).Seconds()}
	stats := s.Stats()
	r.RoundTrips, r.Bytes, r.Values = stats.RoundTrips, stats.BytesIn, len(facts.Raw)
	for _, b := range facts.Raw {
		r.Useful += b.Size()
	}
	if d.Walk != "" {
		if err := r.compare(ctx, d.Walk, at.String(), facts.Raw); err != nil {
			return err
		}
	}
	return json.NewEncoder(os.Stdout).Encode(r)
}

// compare walks the same device with the reference and compares the values.
func (r *oneReading) compare(ctx context.Context, walk, at string, ours []oid.VarBind) error {
	begin := time.Now()
	out, err := exec.CommandContext(ctx, walk, "-v2c", "-cpublic", "-m", "", "-OnqUet", "-Ox", at, ".1.3.6.1.2.1").Output()
	if err != nil {
		return fmt.Errorf("%s: %w", walk, err)
	}
	r.Walk = time.Since(begin).Seconds()
	theirs := map[string]string{}
	last := ""
	lines := bufio.NewScanner(strings.NewReader(string(out)))
	for lines.Scan() {
		name, value, ok := strings.Cut(lines.Text(), " ")
		if !strings.HasPrefix(name, ".1.") { // a long string goes on
			theirs[last] += " " + lines.Text()
			continue
		}
		if last = strings.TrimPrefix(name, "."); ok || value == "" {
			theirs[last] = value
		}
	}
	r.Walked = len(theirs)
	for _, b := range ours {
		name := b.Name.String()
		value, ok := theirs[name]
		if !ok {
			r.Missing++
			continue
		}
		if clocks[name] || printed(b.Value) == canonical(b.Value, value) {
			continue // the clock has gone on between the two
		}
		if r.Differ++; r.Example == "" {
			r.Example = fmt.Sprintf("%s: %q, the reference has %q", name, printed(b.Value), canonical(b.Value, value))
		}
	}
	return nil
}

// clocks are sysUpTime (RFC 3418 section 2) and hrSystemUptime (RFC 2790
// section 4).
var clocks = map[string]bool{"1.3.6.1.2.1.1.3.0": true, "1.3.6.1.2.1.25.1.1.0": true}

func printed(v oid.Value) string {
	if v.Kind == oid.OctetString {
		return hex.EncodeToString(v.Bytes)
	}
	return v.String()
}

// canonical is what the reference printed in the form of printed.
func canonical(v oid.Value, text string) string {
	switch v.Kind {
	case oid.OctetString:
		return strings.ToLower(strings.NewReplacer(`"`, "", " ", "", "\n", "").Replace(text))
	case oid.ObjectID:
		return strings.TrimPrefix(text, ".")
	case oid.IPAddress, oid.Opaque:
		return v.String() // none is in the tables that are read
	}
	return text
}
