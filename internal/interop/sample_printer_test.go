package interop

import (
	"fmt"
	"net/netip"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/needtest"
	"printround/internal/survey"
)

var attributeLine = regexp.MustCompile(`^ {8}([a-z0-9-]+) \((?:1setOf )?[A-Za-z0-9]+\) = (.*)$`)

// printerAttributes asks a printer with ipptool and the stock test
// get-printer-attributes.test, which also checks the answer's form, and returns
// each attribute as it prints it, several values joined by commas.
func printerAttributes(t *testing.T, uri string) map[string]string {
	t.Helper()
	out, err := run(t, needtest.Program(t, "ipptool"), "-tv", uri, "get-printer-attributes.test")
	if err != nil || strings.Contains(out, "[FAIL]") {
		t.Fatalf("ipptool %s: %v\n%s", uri, err, tail(out, 30))
	}
	attributes, received := map[string]string{}, false
	for line := range strings.Lines(out) {
		line = strings.TrimRight(line, "\r\n")
		received = received || strings.Contains(line, "bytes in response")
		if m := attributeLine.FindStringSubmatch(line); m != nil && received {
			attributes[m[1]] = m[2]
		}
	}
	if len(attributes) < 10 {
		t.Fatalf("ipptool printed %d attributes:\n%s", len(attributes), tail(out, 30))
	}
	return attributes
}

// The sample IPP printer, read while it is idle: each fact as ipptool prints it.
func TestSamplePrinter(t *testing.T) {
	p := startPrinter(t, "exit 0", "-2", "-s", "20,20", "-l", "Ground floor, lab")
	want := printerAttributes(t, p.uri)
	d := readSample(t, p)
	for name, got := range map[string]any{
		"printer-make-and-model":        d.MakeModel,
		"printer-location":              d.Location,
		"printer-state":                 d.State.PrinterState,
		"printer-state-message":         d.State.Message,
		"sides-default":                 d.Defaults.Sides,
		"media-default":                 d.Defaults.Media,
		"media-ready":                   strings.Join(d.Defaults.Ready, ","),
		"orientation-requested-default": d.Defaults.Orientation,
		"queued-job-count":              pointed(d.Queue.Queued),
		"printer-uuid":                  "urn:uuid:" + string(d.UUID),
	} {
		if fmt.Sprint(got) != want[name] {
			t.Errorf("%s: got %q, want %q", name, got, want[name])
		}
	}
	if len(d.State.Reasons) != 0 {
		t.Errorf("reasons %v, want none", d.State.Reasons)
	}
	compareSupplies(t, want["printer-supply"], d)
	if tls := d.Reached.IPP.TLS; tls == nil || tls.Fingerprint == "" || tls.NotAfter == nil {
		t.Errorf("the sample printer offers TLS, recorded is %+v", tls)
	}
}

func readSample(t *testing.T, p peer) *device.Device {
	t.Helper()
	got := survey.ReadIPP(t.Context(), survey.IPPTarget{Addr: netip.MustParseAddr("127.0.0.1"), Port: p.port}, reading631(t))
	if len(got.Views) != 1 {
		t.Fatalf("%d devices, want 1; problems: %v", len(got.Views), got.Problems)
	}
	return &got.Views[0]
}

// compareSupplies compares printer-supply, taken apart here by its separators
// (PWG 5100.13: key=value pairs that end in semicolons, values of the set are
// joined by commas in the tool's print).
func compareSupplies(t *testing.T, printed string, d *device.Device) {
	t.Helper()
	entries := strings.Split(strings.TrimSuffix(printed, ";"), ";,")
	if len(entries) != len(d.Supplies) {
		t.Fatalf("%d supplies, want %d: %s", len(d.Supplies), len(entries), printed)
	}
	for i, entry := range entries {
		pairs := map[string]string{}
		for pair := range strings.SplitSeq(entry, ";") {
			key, value, _ := strings.Cut(pair, "=")
			pairs[key] = value
		}
		s := d.Supplies[i]
		if string(s.Kind) != pairs["type"] || string(s.Unit) != pairs["unit"] {
			t.Errorf("supply %d: %s in %s, want %s in %s", i+1, s.Kind, s.Unit, pairs["type"], pairs["unit"])
		}
		role, measures := device.Consumed, device.Remaining
		if pairs["class"] == "receptacleThatIsFilled" {
			role, measures = device.Receptacle, device.SpaceLeft
		}
		if s.Role != role || s.Level.Measures() != measures {
			t.Errorf("supply %d is %s and measures %s, want %s and %s", i+1, s.Role, s.Level.Measures(), role, measures)
		}
		if got, ok := s.Level.Value(); !ok || fmt.Sprint(got) != pairs["level"] {
			t.Errorf("supply %d: level %d (%v), want %s", i+1, got, ok, pairs["level"])
		}
	}
}

// Conditions that the sample printer reports while a job runs and after it.
func TestSamplePrinterConditions(t *testing.T) {
	release := filepath.Join(t.TempDir(), "release")
	p := startPrinter(t, `echo "STATE: +media-jam,toner-low" >&2
n=0
while [ ! -e `+release+` ] && [ $n -lt 200 ]; do sleep 0.1; n=$((n+1)); done
echo "STATE: -media-jam" >&2`, "-f", "text/plain")
	job := filepath.Join(t.TempDir(), "job.txt")
	writeFile(t, job, "A line for the sample printer of the lab.\n")
	if out, err := run(t, needtest.Program(t, "ipptool"), "-tv", "-f", job, p.uri, "print-job.test"); err != nil {
		t.Fatalf("ipptool: %v\n%s", err, tail(out, 20))
	}
	during := awaitReasons(t, p, "media-jam-warning", "toner-low-warning")
	if during.State.PrinterState != "processing" {
		t.Errorf("printer-state %q while the job runs", during.State.PrinterState)
	}
	codes := judged(during)
	for _, code := range []string{"media-jam", "toner-low"} {
		if !slices.Contains(codes, code) {
			t.Errorf("while the job runs: findings %v, want %s among them", codes, code)
		}
	}
	writeFile(t, release, "")
	after := awaitReasons(t, p, "toner-low-report")
	if codes := judged(after); slices.Contains(codes, "media-jam") || !slices.Contains(codes, "toner-low") {
		t.Errorf("after the job: findings %v, want toner-low and no media-jam", codes)
	}
}

// awaitReasons reads the printer until it gives exactly these reasons; the
// program behind the job needs a moment to say them.
func awaitReasons(t *testing.T, p peer, want ...string) *device.Device {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for {
		d := readSample(t, p)
		if slices.Equal(reasons(d.State.Reasons), want) {
			return d
		}
		if time.Now().After(deadline) {
			t.Fatalf("reasons %v, want %v", d.State.Reasons, want)
		}
		time.Sleep(100 * time.Millisecond)
	}
}
