package lab

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"printround/internal/needtest"
	"strings"
	"testing"
	"time"
)

// TestWalks reads every device with a reference tool and compares the number
// of values with the lab's own count.
func TestWalks(t *testing.T) {
	walk := needtest.Program(t, "snmpbulkwalk")
	next := needtest.Program(t, "snmpwalk")
	l := start(t, Options{})
	for _, d := range l.Devices() {
		if d.SNMPPort == 0 || d.Silent {
			continue
		}
		tool, args := walk, []string{"-v2c", "-c", d.Community}
		switch d.SNMP {
		case "1":
			tool, args = next, []string{"-v1", "-c", d.Community}
		case "3":
			args = []string{"-v3", "-u", "reader", "-l", "authPriv", "-a", "SHA-256", "-A", "slack-water-at-noon", "-x", "AES", "-X", "two-bells-and-a-buoy"}
		}
		for _, a := range d.Addrs {
			ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
			out, err := exec.CommandContext(ctx, tool, append(args, "-On", "-r1", "-t3", fmt.Sprintf("%s:%d", a, d.SNMPPort), "1")...).Output()
			cancel()
			lines := 0
			for line := range strings.Lines(string(out)) {
				if strings.HasPrefix(line, ".1.") && !strings.Contains(line, "No more variables") {
					lines++
				}
			}
			if err != nil || lines != d.Values {
				t.Errorf("%s at %s: %d values read, %d there, %v", d.Name, a, lines, d.Values, err)
			}
		}
	}
	if got := l.Received(); len(got) != 0 {
		t.Errorf("reading left %v", got)
	}
}

// TestPrinterAttributes runs the stock test of a reference client against
// every IPP service, plain and encrypted.
func TestPrinterAttributes(t *testing.T) {
	tool := needtest.Program(t, "ipptool")
	l := start(t, Options{})
	run := func(uri string, args ...string) (string, error) {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		out, err := exec.CommandContext(ctx, tool, append([]string{"-tv", uri}, args...)...).CombinedOutput()
		return string(out), err
	}
	services := 0
	for _, d := range l.Devices() {
		if d.IPPPort == 0 || d.Silent {
			continue
		}
		services++
		for _, scheme := range []string{"ipp", "ipps"} {
			uri := fmt.Sprintf("%s://%s:%d%s", scheme, d.Addr, d.IPPPort, d.IPPPath)
			out, err := run(uri, "get-printer-attributes.test", "get-jobs.test")
			if err != nil || strings.Count(out, "[PASS]") != 2 {
				t.Errorf("%s: %v\n%s", uri, err, out)
			}
		}
	}
	if services < 10 {
		t.Errorf("only %d services", services)
	}
	d := named(t, l, "copy-1")
	uri := fmt.Sprintf("ipp://%s:%d%s", d.Addr, d.IPPPort, d.IPPPath)
	page := filepath.Join(t.TempDir(), "page.pdf")
	if err := os.WriteFile(page, []byte("a line\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := run(uri, "-f", page, "validate-job.test"); err != nil {
		t.Errorf("Validate-Job: %v\n%s", err, out)
	}
	if got := l.Received(); len(got) != 0 {
		t.Errorf("reading left %v", got)
	}
	out, err := run(uri, "-f", page, "print-job.test")
	if err != nil || !strings.Contains(out, "[PASS]") {
		t.Errorf("Print-Job: %v\n%s", err, out)
	}
	if got := l.Received(); len(got) != 1 || got[0] != "copy-1: IPP Print-Job" {
		t.Errorf("Print-Job left %v", got)
	}
	if got := l.Printed("copy-1"); len(got) != 1 || string(got[0].Document) != "a line\n" {
		t.Errorf("printed %v", got)
	}
	out, err = run(uri, "-f", page, "create-job.test")
	if err != nil || strings.Count(out, "[PASS]") != 2 {
		t.Errorf("Create-Job: %v\n%s", err, out)
	}
	if got := l.Printed("copy-1"); len(got) != 2 || string(got[1].Document) != "a line\n" {
		t.Errorf("printed %v", got)
	}
}

// TestSetIsRecorded: a reference tool tries to write.
func TestSetIsRecorded(t *testing.T) {
	set := needtest.Program(t, "snmpset")
	l := start(t, Options{})
	d := named(t, l, "front-desk")
	out, err := exec.Command(set, "-v2c", "-c", d.Community, fmt.Sprintf("%s:%d", d.Addr, d.SNMPPort), "1.3.6.1.2.1.1.5.0", "s", "x").CombinedOutput()
	if err == nil || !strings.Contains(string(out), "notWritable") {
		t.Errorf("snmpset: %v\n%s", err, out)
	}
	if got := l.Received(); len(got) != 1 || got[0] != "front-desk: SNMP SetRequest of 1.3.6.1.2.1.1.5.0" {
		t.Errorf("received %v", got)
	}
}
