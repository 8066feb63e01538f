package report

import (
	"strings"
	"testing"

	"printround/internal/device"
)

// TestCheckBeginsWithTheVerdict: verdict, the panel's own words, what to do, and
// only then facts.
func TestCheckBeginsWithTheVerdict(t *testing.T) {
	d := fullDevice()
	for _, w := range []int{40, 80, 120} {
		out := string(renderDevice(t, &d, Options{Width: w}))
		if !strings.HasPrefix(out, "STOPPED: Paper jam in the fuser path") {
			t.Errorf("width %d begins with %.60q", w, out)
		}
		at := 0
		for _, section := range []string{"The panel says", "PAPIERSTAU", "Hintere Klappe öffnen", "What to do", "Caution", "To know", "Identity", "Network", "State", "Supplies", "Trays", "Counters", "Queue", "Defaults", "Alerts as reported"} {
			i := strings.Index(out[at:], section)
			if i < 0 {
				t.Fatalf("width %d: %q is missing or too early", w, section)
			}
			at += i
		}
	}
}

// TestPanelWordForWord: white space apart, the words are the device's.
func TestPanelWordForWord(t *testing.T) {
	const long = "Bitte das Papier aus dem Schacht entnehmen, die Klappe schließen & dann <OK> drücken (Code 13.20)"
	d := fullDevice()
	d.State.Console = []string{long}
	out := strings.Join(strings.Fields(string(renderDevice(t, &d, Options{Width: 60}))), " ")
	if !strings.Contains(out, "“"+long+"”") {
		t.Errorf("not word for word:\n%s", out)
	}
}

// TestStaleAndNotesAskForNothing: a finding that present status contradicts is
// told, not acted upon.
func TestStaleAndNotesAskForNothing(t *testing.T) {
	d := fullDevice()
	d.Attention = device.Clear
	d.Findings = d.Findings[2:] // a note and a stale finding
	out := string(renderDevice(t, &d, Options{Width: 80}))
	todo, know, ok := strings.Cut(out, "To know")
	if !ok || !strings.Contains(todo, "What to do\n  nothing") || strings.Contains(todo, "Rear cover") || !strings.Contains(know, "stale") {
		t.Errorf("got:\n%s", out)
	}
}

func TestUnknownLevelsSayWhy(t *testing.T) {
	d := fullDevice()
	for i, r := range []device.LevelReason{device.LevelUnknown, device.LevelSomeLeft, device.LevelUnlimited, device.LevelNotReported, device.LevelContradictory} {
		d.Supplies[i].Level = device.NoLevel(r)
	}
	out := string(renderDevice(t, &d, Options{Width: 200}))
	for _, want := range []string{"unknown: unknown", "unknown: some-left", "unknown: unlimited", "unknown: not-reported", "unknown: contradictory"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q", want)
		}
	}
}

// TestNoneIsNotUnknown: no error bits are only none when the device was asked.
func TestNoneIsNotUnknown(t *testing.T) {
	d := device.Device{Key: "addr:10.0.0.1", Attention: device.Clear, Reached: reached(true, false)}
	if out := string(renderDevice(t, &d, Options{})); strings.Contains(out, "Error bits           none") || strings.Contains(out, "Reasons              none") {
		t.Error("unknown reads as none")
	}
	d.State.Printer, d.Reached = "idle", reached(true, true)
	if out := string(renderDevice(t, &d, Options{})); !strings.Contains(out, "Error bits           none") || !strings.Contains(out, "Reasons              none") {
		t.Error("none reads as unknown")
	}
}

func TestEachFailedStepIsNamed(t *testing.T) {
	d := silentDevice()
	d.Errors = nil
	for _, stage := range []string{"name", "route", "snmp", "tcp", "tls", "http", "ipp", "mdns"} {
		d.Errors = append(d.Errors, device.Problem{Address: "10.20.1.31", Stage: stage, Message: "failed"})
	}
	out := string(renderDevice(t, &d, Options{Width: 80}))
	for _, want := range []string{"name: failed", "route: failed", "SNMP over UDP: failed", "TCP connection: failed", "TLS: failed", "HTTP: failed", "IPP: failed", "DNS-SD: failed"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q", want)
		}
	}
}

func TestNumbersForPeople(t *testing.T) {
	for in, want := range map[int64]string{0: "0", 999: "999", 1000: "1,000", 1234567: "1,234,567", -12345: "-12,345"} {
		if got := grouped(in); got != want {
			t.Errorf("grouped(%d) = %s, want %s", in, got, want)
		}
	}
	for in, want := range map[int64]string{0: "0 s", 119: "119 s", 120: "2 min", 7199: "119 min", 7200: "2 h", 172799: "47 h", 172800: "2 d"} {
		if got := span(in); got != want {
			t.Errorf("span(%d) = %s, want %s", in, got, want)
		}
	}
	for in, want := range map[int64]string{0: "0 bytes", 1023: "1023 bytes", 1024: "1 KiB", 1536: "1.5 KiB", 1 << 30: "1 GiB", 3 << 40: "3 TiB", 5000 << 40: "5e+03 TiB"} {
		if got := octets(in); got != want {
			t.Errorf("octets(%d) = %s, want %s", in, got, want)
		}
	}
}
