package main

import (
	"context"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"printround/internal/lab"
	"printround/internal/labtest"
)

// Whatever looks at devices only reads: all that the lab's printers receive
// from these commands are operations that begin with Get (RFC 8011 section 4),
// and no SetRequest.
func TestCommandsOnlyRead(t *testing.T) {
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	snmp, ipp := portsOf(t, l)
	dir := t.TempDir()
	path, err := l.WriteSite(dir)
	if err != nil {
		t.Fatal(err)
	}
	stuck := labtest.Device(t, l, "harbour-copy").Addr.String()
	ports := []string{"--site", path, "--snmp-port", strconv.Itoa(int(snmp)), "--ipp-port", strconv.Itoa(int(ipp)), "--no-mdns", "--timeout", "1s", "--retries", "0"}
	history := filepath.Join(dir, "history.db")
	for _, args := range [][]string{
		{"sweep", "--out", filepath.Join(dir, "s.json"), "--format", "json"},
		{"check", stuck},
		{"check", stuck, "--settings"},
		{"symptom", "jobs-pile-up", "--device", stuck},
		{"visit", "--out", filepath.Join(dir, "v.txt")},
		{"nightly", "--out", dir, "--history", history},
	} {
		before := l.Asked()
		a, shown := testApp(t)
		a.run(context.Background(), append(args, ports...))
		out, errs := shown()
		if n := l.Asked()["Get-Printer-Attributes"] - before["Get-Printer-Attributes"]; n == 0 {
			t.Errorf("%v asked nothing over IPP:\n%s%s", args, out, errs)
		}
		if got := l.Received(); len(got) > 0 {
			t.Fatalf("%v: received %v", args, got)
		}
		for op := range l.Asked() {
			if !strings.HasPrefix(op, "Get-") {
				t.Fatalf("%v sent %s", args, op)
			}
		}
	}
}
