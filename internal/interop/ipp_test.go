package interop

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/needtest"
	"printround/internal/survey"
)

// expectation is one line of EXPECT-ipp.tsv: attributes of a recorded response
// as an independent decoder reads them, by attribute name.
type expectation map[string]string

func expectations(t *testing.T) []expectation {
	t.Helper()
	text, err := os.ReadFile(needtest.Shared(t, "captures", "EXPECT-ipp.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")
	names := strings.Split(lines[0], "\t")
	var all []expectation
	for _, line := range lines[1:] {
		e := expectation{}
		for i, value := range strings.Split(line, "\t") {
			e[names[i]] = value
		}
		all = append(all, e)
	}
	return all
}

var languageMark = regexp.MustCompile(` \[[a-z]{2}\]$`)

// list splits a cell: [a,b] for several values, bare for one, empty for none.
// The mark of a natural language behind a text is no part of it.
func (e expectation) list(name string) []string {
	cell := e[name]
	if cell == "" {
		return nil
	}
	inner, several := strings.CutPrefix(cell, "[")
	if !several {
		return []string{languageMark.ReplaceAllString(cell, "")}
	}
	values := strings.Split(strings.TrimSuffix(inner, "]"), ",")
	for i := range values {
		values[i] = languageMark.ReplaceAllString(values[i], "")
	}
	return values
}

func (e expectation) text(name string) string { return strings.Join(e.list(name), ",") }

// Labels of printer-state (RFC 8011 section 5.4.11) and of orientation-requested
// (section 5.2.10).
var (
	stateLabels       = map[string]string{"3": "idle", "4": "processing", "5": "stopped"}
	orientationLabels = map[string]string{"3": "portrait", "4": "landscape", "5": "reverse-landscape", "6": "reverse-portrait", "7": "none"}
)

func reading631(t *testing.T) survey.ReadOptions {
	return survey.ReadOptions{
		Timeout: 5 * time.Second, Retries: 1, Now: time.Now,
		Log: func(line string) { t.Log(line) },
	}
}

// readReplay reads one recorded response as the tool reads a device.
func readReplay(t *testing.T, response []byte) survey.IPPResult {
	t.Helper()
	r, at := startReplay(t, response)
	got := survey.ReadIPP(t.Context(), survey.IPPTarget{Addr: at.Addr(), Port: at.Port()}, reading631(t))
	for _, op := range r.asked() {
		if op != opGetPrinterAttributes && op != opGetJobs {
			t.Errorf("the tool asked for operation %#04x, which does not only read", op)
		}
	}
	return got
}

// Recorded responses of real devices, each compared with what an independent
// decoder says of it.
func TestRecordedIPPResponses(t *testing.T) {
	all := expectations(t)
	recorded := files(t, needtest.Shared(t, "captures", "ipp"), "*.ipp")
	if len(all) != len(recorded) {
		t.Errorf("%d expectations for %d recordings", len(all), len(recorded))
	}
	values := 0
	for _, e := range all {
		t.Run(e["file"], func(t *testing.T) {
			response, err := os.ReadFile(filepath.Join(needtest.Shared(t, "captures", "ipp"), e["file"]))
			if err != nil {
				t.Fatal(err)
			}
			got := readReplay(t, response)
			if len(got.Views) != 1 {
				t.Fatalf("%d devices, want 1; problems: %v", len(got.Views), got.Problems)
			}
			values += compareIPP(t, e, &got.Views[0])
		})
	}
	t.Logf("%d recordings, %d values compared", len(all), values)
}

func compareIPP(t *testing.T, e expectation, d *device.Device) (compared int) {
	t.Helper()
	check := func(name string, got, want any) {
		t.Helper()
		compared++
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: got %v, want %v", name, got, want)
		}
	}
	check("printer-make-and-model", d.MakeModel, e.text("printer-make-and-model"))
	check("printer-state", d.State.PrinterState, stateLabels[e["printer-state"]])
	check("printer-state-reasons", reasons(d.State.Reasons), reasons(e.list("printer-state-reasons")))
	check("queued-job-count", pointed(d.Queue.Queued), e["queued-job-count"])
	check("media-default", d.Defaults.Media, e["media-default"])
	check("sides-default", d.Defaults.Sides, e["sides-default"])
	check("orientation-requested-default", d.Defaults.Orientation, orientationLabels[e["orientation-requested-default"]])
	check("media-ready", d.Defaults.Ready, e.list("media-ready"))
	check("printer-uuid", d.UUID, strings.ToLower(strings.TrimPrefix(e["printer-uuid"], "urn:uuid:")))
	return compared + compareMarkers(t, e, d)
}

// reasons is a set of reasons: none is no reason, the same one twice is one.
func reasons(list []string) []string {
	set := slices.DeleteFunc(slices.Clone(list), func(r string) bool { return r == "none" })
	slices.Sort(set)
	return slices.Compact(set)
}

func pointed(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}

// compareMarkers compares the marker-… attributes, which count the same way as
// the supplies do, but for waste boxes, where they count fullness.
func compareMarkers(t *testing.T, e expectation, d *device.Device) (compared int) {
	t.Helper()
	names, types := e.list("marker-names"), e.list("marker-types")
	levels, lows, highs := e.list("marker-levels"), e.list("marker-low-levels"), e.list("marker-high-levels")
	if len(names) != len(levels) {
		t.Fatalf("%d marker names for %d levels in the expectation", len(names), len(levels))
	}
	if len(d.Supplies) < len(names) {
		t.Fatalf("%d supplies, want at least %d", len(d.Supplies), len(names))
	}
	for i, name := range names {
		s := supplyNamed(d, name)
		if s == nil {
			t.Errorf("no supply is named %q", name)
			continue
		}
		compared += 2
		if strings.HasPrefix(strings.ToLower(types[i]), "waste") {
			t.Errorf("%s is a waste box, which this comparison does not know", name)
		}
		if want := markerLevel(t, levels[i], highs[i]); s.Level.String() != want {
			t.Errorf("%s: level %s, want %s", name, s.Level, want)
		}
		if low := number(t, lows[i]); s.LowAt == nil || math.Abs(*s.LowAt-low) > 0.05 {
			t.Errorf("%s: low level %v, want %v", name, s.LowAt, low)
		}
	}
	return compared
}

func supplyNamed(d *device.Device, name string) *device.Supply {
	want := device.Clean(name)
	for i := range d.Supplies {
		if d.Supplies[i].Name == want {
			return &d.Supplies[i]
		}
	}
	return nil
}

// markerLevel is what a level of marker-levels means: percent of the high
// level, and -1, -2 and -3 as in RFC 3805 section 6, prtMarkerSuppliesLevel.
func markerLevel(t *testing.T, level, high string) string {
	t.Helper()
	switch level {
	case "-1":
		return string(device.LevelUnlimited)
	case "-2":
		return string(device.LevelUnknown)
	case "-3":
		return string(device.LevelSomeLeft)
	}
	percent := number(t, level) / number(t, high) * 100
	return strconv.FormatFloat(math.Round(percent*10)/10, 'f', -1, 64) + "%"
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	n, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// The recorded queue of a print server is shown as one, and ranked with no
// device.
func TestPrintServerQueueIsNoDevice(t *testing.T) {
	queues := 0
	for _, p := range files(t, needtest.Shared(t, "captures", "ipp"), "*.ipp") {
		response, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		want := device.RolePrinter
		if strings.HasPrefix(filepath.Base(p), "print-server-queue") {
			want = device.RoleServerQueue
			queues++
		}
		for _, d := range readReplay(t, response).Views {
			if d.Role != want {
				t.Errorf("%s: role %q, want %q", filepath.Base(p), d.Role, want)
			}
		}
	}
	if queues == 0 {
		t.Error("no recording of a print server's queue")
	}
}

// Malformed recordings give one line that says so, and no device made of
// rubbish.
func TestOddIPPResponses(t *testing.T) {
	for _, p := range files(t, needtest.Shared(t, "captures", "ipp-odd"), "*.ipp") {
		t.Run(filepath.Base(p), func(t *testing.T) {
			response, err := os.ReadFile(p)
			if err != nil {
				t.Fatal(err)
			}
			got := readReplay(t, response)
			if len(got.Problems) == 0 && len(got.Views) == 0 {
				t.Error("neither a device nor a problem")
			}
			for _, problem := range got.Problems {
				if problem.Message == "" || strings.ContainsAny(problem.Message, "\r\n\x1b") {
					t.Errorf("a problem is one line, got %q", problem.Message)
				}
			}
			for _, d := range got.Views {
				if d.MakeModel != "" {
					t.Errorf("a model %q out of a response that has none", d.MakeModel)
				}
			}
		})
	}
}
