package main

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/proof/send"
)

// labProof is one proof on a printer of a lab that has a fault, on a clock that
// goes on only when somebody waits by it.
func labProof(t *testing.T, name, fault string, wish send.Wish) (l *lab.Lab, out, errs string, status error) {
	t.Helper()
	a, shown := testApp(t)
	clock := &moments{at: time.Now()}
	a.now = clock.now
	l = labtest.Start(t, lab.Options{NoMDNS: true, Clean: true, Now: clock.now, Faults: map[string]string{name: fault}})
	d := labtest.Device(t, l, name)
	p := &plan{
		a: a, reach: &reachFlags{timeout: 5 * time.Second, noSNMP: true, noMDNS: true, snmpPort: 161, ippPort: uint16(d.IPPPort)},
		choose: &chooseFlags{}, show: &showFlags{},
	}
	r := &proofRun{a: a, p: p, f: &proofFlags{wish: wish, yes: true}, query: d.Addr.String(), made: a.now(), pause: clock.pause, now: clock.now}
	look, err := p.looker(t.Context(), r.query)
	if err != nil {
		t.Fatal(err)
	}
	s, err := look(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	device, err := r.device(s)
	if err != nil {
		t.Fatal(err)
	}
	status = r.on(t.Context(), device)
	out, errs = shown()
	return l, out, errs, status
}

// The whole path on the lab, in each way in which a page does not come. The
// printer never gets the page more than once.
func TestProofOnTheLab(t *testing.T) {
	tests := []struct {
		name, device, fault string
		fails               string // in the error; empty: none
		said                string // on standard output
		taken               int    // documents that the printer took
	}{
		{"printed", "copy-1", "none", "", "printed: job 1", 1},
		{"printed without Create-Job", "front-desk", "none", "", "printed: job 1", 1},
		{"held", "copy-1", "holds-jobs", "holds job 1 (job-hold-until-specified): release it at the panel", "job pending-held", 1},
		{"aborted", "copy-1", "aborts-jobs", "gave job 1 up after 0s (document-format-error, aborted-by-system)", "job aborted", 1},
		{"not accepting", "copy-1", "derived-not-accepting-jobs", "takes no jobs (printer-is-accepting-jobs is false); nothing was printed", "", 0},
		{"password", "copy-1", "asks-password", "nothing was printed: the device wants a user name and password", "", 0},
		{"stopped", "copy-1", "cover-open", "has not ended after 10m", "device stopped (cover-open-error)", 1},
		{"out of paper", "copy-1", "media-empty", "in no tray, so the device would stop and ask for it", "", 0},
		{"connection lost, the job is known", "copy-1", "loses-connection", "", "printed: job 1", 1},
		{"connection lost, no job is known", "front-desk", "loses-connection", "it may or may not have printed\nlook at the device before you send it again", "", 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			wish := send.Wish{Sides: "two-sided-long-edge"}
			if tt.fault == "media-empty" { // no A4 is left, only A3
				wish.Media = "iso_a4_210x297mm"
			}
			l, out, errs, err := labProof(t, tt.device, tt.fault, wish)
			if tt.fails == "" && err != nil || tt.fails != "" && (err == nil || !strings.Contains(err.Error(), tt.fails)) {
				t.Errorf("got %v, want %q\n%s%s", err, tt.fails, out, errs)
			}
			if !strings.Contains(out, tt.said) {
				t.Errorf("said %q, want %q", out, tt.said)
			}
			got := l.Printed(tt.device)
			if len(got) != tt.taken {
				t.Fatalf("the printer took %d documents, want %d", len(got), tt.taken)
			}
			for _, p := range got {
				if p.Name != send.JobName || p.Format != "application/pdf" || p.Sides != wish.Sides || p.Scaling != "none" || !strings.HasPrefix(string(p.Document), "%PDF-") {
					t.Errorf("asked for %q as %s, sides %s, scaling %s", p.Name, p.Format, p.Sides, p.Scaling)
				}
			}
			sent := 0
			for op, n := range l.Asked() {
				if op == "Print-Job" || op == "Send-Document" {
					sent += n
				}
			}
			if sent != tt.taken {
				t.Errorf("the page was sent %d times, want %d", sent, tt.taken)
			}
			if tt.fault == "loses-connection" && tt.fails == "" && !strings.Contains(errs, "it may or may not have printed") {
				t.Errorf("not said that the connection was lost: %s", errs)
			}
		})
	}
}

// A tray, a medium and a page language go into the job.
func TestProofAsksForWhatIsWished(t *testing.T) {
	l, out, errs, err := labProof(t, "copy-1", "none", send.Wish{As: "pwg-raster", Tray: "tray-2"})
	if err != nil {
		t.Fatalf("%v\n%s%s", err, out, errs)
	}
	got := l.Printed("copy-1")
	if len(got) != 1 || got[0].Source != "tray-2" || got[0].Size == [2]int{} || got[0].Format != "image/pwg-raster" || !strings.HasPrefix(string(got[0].Document), "RaS2") {
		t.Errorf("printed %+v", got)
	}
}

// Nothing is sent for a page into a file, nor where nobody can be asked.
func TestProofSendsNothing(t *testing.T) {
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	d := labtest.Device(t, l, "meeting")
	reach := []string{d.Addr.String(), "--no-snmp", "--no-mdns", "--ipp-port", strconv.Itoa(d.IPPPort)}
	for status, args := range map[int][]string{
		exitUsage: append([]string{"proof"}, reach...),
		exitDone:  append([]string{"proof", "--out", filepath.Join(t.TempDir(), "page.pdf")}, reach...),
	} {
		a, shown := testApp(t)
		if got := a.run(context.Background(), args); got != status {
			out, errs := shown()
			t.Errorf("%v: %d, want %d\n%s%s", args, got, status, out, errs)
		}
	}
	if got := l.Received(); len(got) > 0 {
		t.Errorf("received %v", got)
	}
	for op := range l.Asked() {
		if !strings.HasPrefix(op, "Get-") && op != "Validate-Job" {
			t.Errorf("sent %s", op)
		}
	}
}

// What is seen, in the words of picks.
func TestPicks(t *testing.T) {
	for in, want := range map[string][]int{"": nil, "1": {0}, "3,1": {2, 0}, " 2  2 ": {1}} {
		if got, err := picks(in, 3); err != nil || !slices.Equal(got, want) {
			t.Errorf("%q: %v, %v", in, got, err)
		}
	}
	for _, in := range []string{"0", "4", "x", "1,,y", "-1", "1.5"} {
		if got, err := picks(in, 3); err == nil {
			t.Errorf("%q: %v", in, got)
		}
	}
}

// An answer to each question, and the end of the input in the middle.
func TestProofReadEndsWithItsInput(t *testing.T) {
	a, shown := testApp(t)
	if err := os.WriteFile(a.stdin.Name(), []byte("n\nn\n\n3"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := a.run(context.Background(), []string{"proof", "--read"}); got != exitDone {
		t.Errorf("status %d", got)
	}
	if out, errs := shown(); !strings.Contains(out, "Seen: skew\n") || !strings.Contains(errs, "3 of ") {
		t.Errorf("%s%s", out, errs)
	}
}
