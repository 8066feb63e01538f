package finding

import (
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
)

// ---- devices built from literals

type option func(*device.Device)

// answering is a device that answered over both protocols and says that it is
// idle and well.
func answering(opts ...option) *device.Device {
	d := &device.Device{Key: "serial:1", Role: device.RolePrinter, Technology: "electrophotographicLaser"}
	d.Reached.SNMP = device.SNMPReach{OK: true, Tried: true, Version: "2c", Credential: "office"}
	d.Reached.IPP = device.IPPReach{OK: true, Tried: true, URI: "ipps://127.0.0.1/ipp/print"}
	d.State = device.State{Device: "running", Printer: "idle", PrinterState: "idle"}
	for _, o := range opts {
		o(d)
	}
	return d
}

func state(hrDevice, hrPrinter, ipp string) option {
	return func(d *device.Device) {
		d.State.Device, d.State.Printer, d.State.PrinterState = device.Text(hrDevice), device.Text(hrPrinter), device.Text(ipp)
	}
}

func reasons(r ...string) option {
	return func(d *device.Device) { d.State.Reasons = append(d.State.Reasons, r...) }
}
func bits(b ...string) option {
	return func(d *device.Device) { d.State.ErrorBits = append(d.State.ErrorBits, b...) }
}

func alert(a device.Alert) option {
	return func(d *device.Device) {
		if a.Source == "" {
			a.Source = device.SourceSNMP
		}
		a.Object = "prtAlertCode.1." + string(rune('1'+len(d.Alerts)))
		d.Alerts = append(d.Alerts, a)
	}
}

func supply(s device.Supply) option {
	return func(d *device.Device) {
		if s.Index == 0 {
			s.Index = len(d.Supplies) + 1
		}
		if s.Role == "" {
			s.Role = device.Consumed
		}
		s.Source, s.Object = device.SourceSNMP, "prtMarkerSuppliesLevel.1."+string(rune('0'+s.Index))
		d.Supplies = append(d.Supplies, s)
	}
}

func toner(colorant string, percent int64) option {
	return supply(device.Supply{Kind: "toner", Colorant: device.Text(colorant), Level: device.KnownLevel(percent, 100, device.Remaining)})
}

func tray(t device.Tray) option {
	return func(d *device.Device) {
		t.Index = len(d.Trays) + 1
		t.Source = device.SourceSNMP
		d.Trays = append(d.Trays, t)
	}
}

// paper is a tray of 500 sheets with a size of PWG 5101.1.
func paper(sheets int64, size string) option {
	return tray(device.Tray{Level: device.KnownLevel(sheets, 500, device.Remaining), Media: device.Media{Name: device.Text(size)}})
}

const (
	a4     = "iso_a4_210x297mm"
	letter = "na_letter_8.5x11in"
)

func cover(status string) option {
	return func(d *device.Device) {
		n := len(d.Covers) + 1
		d.Covers = append(d.Covers, device.Cover{Index: n, Name: device.Text("Cover " + string(rune('A'+n-1))), Status: device.Text(status), Object: "prtCoverStatus.1.1"})
	}
}

// ---- what is expected of a judgement

type want struct {
	code    string
	impact  device.Impact
	stale   bool
	summary string // part of it; empty: any
	proofs  int    // pieces of evidence; 0: any
}

func checkJudged(t *testing.T, d *device.Device, attention device.Attention, wants ...want) {
	t.Helper()
	Judge(d, Defaults())
	if d.Attention != attention {
		t.Errorf("attention %s, want %s", d.Attention, attention)
	}
	got := slices.Clone(d.Findings)
	for _, w := range wants {
		i := slices.IndexFunc(got, func(f device.Finding) bool {
			return f.Code == w.code && f.Impact == w.impact && f.Stale == w.stale && strings.Contains(f.Summary, w.summary) &&
				(w.proofs == 0 || w.proofs == len(f.Evidence))
		})
		if i < 0 {
			t.Errorf("no finding %+v", w)
			continue
		}
		got = slices.Delete(got, i, i+1)
	}
	for _, f := range got {
		t.Errorf("one finding too many: %s %s %q (%s) %v", f.Impact, f.Code, f.Summary, f.Why, f.Evidence)
	}
	if t.Failed() {
		for _, f := range d.Findings {
			t.Logf("%s %s stale=%v %q (%s) %v", f.Impact, f.Code, f.Stale, f.Summary, f.Why, f.Evidence)
		}
	}
}

const (
	isStopped  = device.ImpactStopped
	isImpaired = device.ImpactImpaired
	isDue      = device.ImpactDue
	isNote     = device.ImpactNote
)

type judgement struct {
	name      string
	d         *device.Device
	attention device.Attention
	wants     []want
}

func run(t *testing.T, cases []judgement) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) { checkJudged(t, c.d, c.attention, c.wants...) })
	}
}

// RFC 8011 section 5.4.12: -error, -warning and -report, and none of them.
func TestSuffixDecides(t *testing.T) {
	run(t, []judgement{
		{"error while stopped stops", answering(state("down", "other", "stopped"), reasons("media-empty-error")), device.Stopped,
			[]want{{code: "media-empty", impact: isStopped, proofs: 1}}},
		{"error while idle is impaired", answering(reasons("media-jam-error")), device.Impaired,
			[]want{{code: "media-jam", impact: isImpaired}}},
		{"error while printing is impaired", answering(state("running", "printing", "processing"), reasons("marker-supply-low-error")), device.Impaired,
			[]want{{code: "marker-supply-low", impact: isImpaired}}},
		{"warning", answering(reasons("cover-open-warning")), device.Impaired, []want{{code: "cover-open", impact: isImpaired}}},
		{"report while idle is a note", answering(reasons("media-empty-report")), device.Clear, []want{{code: "media-empty", impact: isNote}}},
		{"no suffix while idle is a warning", answering(reasons("cover-open")), device.Impaired, []want{{code: "cover-open", impact: isImpaired}}},
		{"no suffix while stopped is an error", answering(state("", "", "stopped"), reasons("cover-open")), device.Stopped,
			[]want{{code: "cover-open", impact: isStopped}}},
		{"no suffix while stopped: what runs low is not the reason of the stop", answering(state("", "", "stopped"), reasons("media-jam", "toner-low")), device.Stopped,
			[]want{{code: "media-jam", impact: isStopped}, {code: "toner-low", impact: isDue}}},
		{"a keyword that ends in -error keeps it", answering(reasons("input-media-tray-feed-error")), device.Impaired,
			[]want{{code: "input-media-tray-feed-error", impact: isImpaired}}},
		{"and may have a suffix besides", answering(reasons("stapler-unrecoverable-storage-error-report")), device.Clear,
			[]want{{code: "stapler-unrecoverable-storage-error", impact: isNote}}},
		{"a keyword that nobody registered keeps its suffix, which still counts", answering(reasons("lab-tape-worn-report", "lab-belt-loose-warning")), device.Due,
			[]want{{code: "lab-tape-worn-report", impact: isNote}, {code: "lab-belt-loose-warning", impact: isDue, summary: "lab-belt-loose-warning"}}},
		{"the same reason twice is one finding", answering(reasons("cover-open-warning", "cover-open-warning")), device.Impaired,
			[]want{{code: "cover-open", impact: isImpaired, proofs: 1}}},
		{"none is no condition", answering(reasons("none")), device.Clear, nil},
		{"the device's own low flag, as a report", answering(reasons("toner-low-report")), device.Due, []want{{code: "toner-low", impact: isDue}}},
	})
}

func TestReason(t *testing.T) {
	for _, c := range []struct{ value, keyword, severity string }{
		{"media-jam-error", "media-jam", "error"},
		{"media-low-warning", "media-low", "warning"},
		{"wifi-not-configured-report", "wifi-not-configured", "report"},
		{"media-jam", "media-jam", ""},
		{"firmware-repository-access-error", "firmware-repository-access-error", ""},
		{"output-media-tray-feed-error-error", "output-media-tray-feed-error", "error"},
		{"subunit-timing-Failure-warning", "subunit-timing-Failure", "warning"},
		{"made-up-error", "made-up-error", "error"},
		{"made-up", "made-up", ""},
	} {
		if k, s := Reason(c.value); k != c.keyword || s != c.severity {
			t.Errorf("Reason(%q) = %q, %q, want %q, %q", c.value, k, s, c.keyword, c.severity)
		}
	}
	// No registered keyword is another one with a suffix, so stripping is never
	// in doubt.
	for _, k := range Keywords() {
		base, word := device.CutSeverity(k)
		if _, both := known().registry[base]; both && word != "" {
			t.Errorf("%s and %s are both registered", k, base)
		}
	}
}

// RFC 3805 section 2.2.13.2, table of states on page 17.
func TestOverallStateTable(t *testing.T) {
	for _, c := range []struct {
		row       string
		hrDevice  string
		hrPrinter []string
		bits      [][]string
		attention device.Attention
	}{
		{"Idle", "running", []string{"idle"}, [][]string{nil}, device.Clear},
		{"Busy/Active", "running", []string{"printing"}, [][]string{nil}, device.Clear},
		{"Non Critical Alert Active", "warning", []string{"idle", "printing"}, [][]string{{"lowToner"}}, device.Due},
		{"Non Critical Alert Active", "warning", []string{"idle", "printing"}, [][]string{{"lowPaper"}}, device.Clear},
		{"Non Critical Alert Active", "warning", []string{"idle", "printing"}, [][]string{{"serviceRequested"}}, device.Impaired},
		{"Critical Alert Active", "down", []string{"other"}, [][]string{{"jammed"}, {"noPaper"}, {"noToner"}, {"doorOpen"}, {"serviceRequested"}}, device.Stopped},
		{"Unavailable", "down", []string{"other"}, [][]string{nil}, device.Stopped},
		{"Moving off-line", "warning", []string{"idle", "printing"}, [][]string{{"offline"}}, device.Impaired},
		{"Off-line", "down", []string{"other"}, [][]string{{"offline"}}, device.Stopped},
		{"Moving on-line", "down", []string{"warmup"}, [][]string{nil}, device.Clear},
		{"Standby", "running", []string{"other"}, [][]string{nil}, device.Clear},
	} {
		for _, p := range c.hrPrinter {
			for _, b := range c.bits {
				t.Run(strings.Join(append([]string{c.row, p}, b...), " "), func(t *testing.T) {
					d := answering(state(c.hrDevice, p, ""), bits(b...))
					Judge(d, Defaults())
					if string(d.State.Overall) != c.row {
						t.Errorf("overall %q, want %q", d.State.Overall, c.row)
					}
					if d.Attention != c.attention {
						t.Errorf("attention %s, want %s: %+v", d.Attention, c.attention, d.Findings)
					}
				})
			}
		}
	}
	// Same section: with critical and non-critical alerts together the critical
	// row holds.
	if got := Overall("down", "other", []string{"lowToner", "jammed"}); got != OverallCritical {
		t.Errorf("a jam and low toner: %q", got)
	}
	for _, c := range [][3]string{{"unknown", "unknown", ""}, {"", "", ""}, {"running", "idle", "jammed"}, {"testing", "other", ""}} {
		if got := Overall(c[0], c[1], strings.Fields(c[2])); got != "" {
			t.Errorf("%v is in no row of the table, got %q", c, got)
		}
	}
}
