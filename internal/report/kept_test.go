package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
)

func keptExample() (KeptHistory, []KeptDevice) {
	at := time.Date(2026, 3, 2, 17, 30, 0, 0, time.UTC)
	n := func(v int64) *int64 { return &v }
	percent := 62.5
	head := KeptHistory{Exported: at, Runs: []KeptRun{{Started: at, Finished: at, ToolVersion: "test", Answered: 1}}}
	return head, []KeptDevice{
		{
			Key: "serial:okvarna-l:000123", Name: "=cmd()", Location: "Büro \"Nord\",\u202e first floor", FirstSeen: &at, LastSeen: &at, Addresses: []string{"10.1.2.3"},
			Nights: []KeptNight{{At: at, Attention: device.Clear, Readings: []KeptReading{
				{Group: "counter", Name: "life", Value: n(123456), Unit: "impressions", Source: device.SourceSNMP},
				{Group: "supply", Index: 1, Name: "Toner, black", Kind: "tonerCartridge", Role: "consumed", Colorant: "black", Value: n(3750), Capacity: n(6000), Unit: "impressions", Percent: &percent, Source: device.SourceSNMP},
				{Group: "supply", Index: 2, Name: "Waste", Role: "receptacle", Capacity: n(-2), Reason: "some-left", Source: device.SourceIPP},
				{Group: "finisher", Parent: 3, Index: 4, Name: "Staples", Value: n(10), Source: device.SourceSNMP},
			}}},
			Findings: []KeptInterval{{Code: "media-jam", Group: "mediaPath", Index: 1, Level: "stopped", What: "paper jam", FirstSeen: at, LastSeen: at}},
		},
		{Key: "uuid:00000000-0000-4000-8000-000000000001"},
	}
}

func kept(t *testing.T, o Options) []byte {
	t.Helper()
	head, devices := keptExample()
	var b bytes.Buffer
	w, err := NewHistoryWriter(&b, head, o)
	if err != nil {
		t.Fatal(err)
	}
	for i := range devices {
		if err := w.Device(&devices[i]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Two other readers find in the file what was put in: that of Go, and that of
// Python where it is installed.
func TestKeptCSVComesBack(t *testing.T) {
	text := kept(t, Options{Format: CSV})
	const start = "2026-03-02T17:30:00Z"
	common := []string{start, "", "serial:okvarna-l:000123", "'=cmd()", `Büro "Nord",\u202e first floor`}
	want := [][]string{
		{"at", "site", "key", "name", "location", "group", "parent", "index", "reading", "kind", "role", "colorant", "value", "unit", "capacity", "percent", "reason", "source"},
		slices.Concat(common, []string{"counter", "", "", "life", "", "", "", "123456", "impressions", "", "", "", "snmp"}),
		slices.Concat(common, []string{"supply", "", "1", "Toner, black", "tonerCartridge", "consumed", "black", "3750", "impressions", "6000", "62.5", "", "snmp"}),
		slices.Concat(common, []string{"supply", "", "2", "Waste", "", "receptacle", "", "", "", "", "", "some-left", "ipp"}),
		slices.Concat(common, []string{"finisher", "3", "4", "Staples", "", "", "", "10", "", "", "", "", "snmp"}),
	}
	got, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Error(err, diff)
	}
	if lines := bytes.Count(text, []byte("\r\n")); lines != len(want) {
		t.Errorf("%d lines end as RFC 4180 section 2 says, want %d", lines, len(want))
	}
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Log("not compared with Python's csv: python3 is not installed")
		return
	}
	c := exec.Command(python, "-c", "import csv,io,json,sys; json.dump(list(csv.reader(io.TextIOWrapper(sys.stdin.buffer,'utf-8',newline=''))), sys.stdout)")
	c.Stdin = bytes.NewReader(text)
	out, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	var theirs [][]string
	if err := json.Unmarshal(out, &theirs); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, theirs); diff != "" {
		t.Error("Python reads", diff)
	}
}

func TestKeptJSON(t *testing.T) {
	schema := compiled(t, HistorySchema)
	text := kept(t, Options{Format: JSON})
	if err := validate(t, schema, text); err != nil {
		t.Error(err)
	}
	var got KeptHistory
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	if got.Schema != HistorySchema || len(got.Devices) != 2 || len(got.Devices[0].Nights[0].Readings) != 4 || *got.Devices[0].Nights[0].Readings[0].Value != 123456 {
		t.Errorf("%+v", got)
	}
	if strings.ContainsRune(string(text), '\u202e') {
		t.Error("an invisible character stands raw in the document")
	}
	// A history without a device is a whole document too.
	var b bytes.Buffer
	w, err := NewHistoryWriter(&b, KeptHistory{}, Options{Format: JSON})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := validate(t, schema, b.Bytes()); err != nil {
		t.Error(err)
	}
	if _, err := NewHistoryWriter(&b, KeptHistory{}, Options{Format: Markdown}); err == nil {
		t.Error("a history in Markdown")
	}
}
