package lab

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"printround/internal/lab/agent"
)

var update = flag.Bool("update", false, "write the recordings under testdata anew")

// recordedAt is the moment of the invented recordings.
var recordedAt = time.Date(2026, 3, 2, 10, 15, 0, 0, time.UTC)

// invented are the recordings that are kept under testdata: devices of the
// scenario's models with a fixed clock.
var invented = []struct {
	file    string
	about   string
	models  []string
	place   placement
	faults  string
	atLeast int
}{
	{"full-mfp.snmprec", "every table: printer, finisher, host resources, interfaces, alerts with gaps",
		[]string{"thellmark-mx550"},
		placement{Name: "recorded", Address: "127.0.0.1", Hostname: "rec-mfp", Title: "Recorded device", Location: "Floor 3, copy room", Index: 1, Days: 21, Pages: 312000, SNMP: []string{"2c"}, IPP: true},
		"toner-low:cyan,stapler-empty,media-low,stale-alert,fuser-end", 300},
	{"two-behind-one.snmprec", "two printers behind one address, hrDeviceIndex 301 and 302, text in ISO 8859-1",
		[]string{"brindlecote-b30", "brindlecote-b30"},
		placement{Name: "recorded-box", Address: "127.0.0.1", Hostname: "rec-box", Title: "Packing", Location: "Packing hall", Index: 301, Behind: "box", Days: 44, Pages: 66000, SNMP: []string{"2c"}},
		"toner-low", 300},
}

// record makes one of the invented recordings.
func record(t *testing.T, n int) []byte {
	t.Helper()
	s, err := loadScenario()
	if err != nil {
		t.Fatal(err)
	}
	r := invented[n]
	var ds []*machine
	for i, id := range r.models {
		p := r.place
		p.Index += i
		p.Name += strings.Repeat("+", i)
		d := newMachine(s.model(id), &p, 2026)
		if i == 0 {
			if err := d.give(r.faults, 2026); err != nil {
				t.Fatal(err)
			}
		}
		ds = append(ds, d)
	}
	h := &agent.Host{Booted: recordedAt.Add(-ds[0].up())}
	var b bytes.Buffer
	b.WriteString("# Invented device, made by the lab; no real product. " + r.about + ".\n")
	if err := printerTree(ds, "help desk, extension 4100").WriteRecording(&b, h, recordedAt); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestInventedRecordings(t *testing.T) {
	for n, r := range invented {
		path := filepath.Join("..", "..", "testdata", "recordings", r.file)
		want := record(t, n)
		if *update {
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, want, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is not what the lab makes now: run the test with -update and look at the difference", r.file)
		}
		rec, err := OpenRecording(path)
		if err != nil {
			t.Fatal(err)
		}
		if rec.Len() < r.atLeast {
			t.Errorf("%s has %d values, want at least %d", r.file, rec.Len(), r.atLeast)
		}
		t.Logf("%s: %d values", r.file, rec.Len())
	}
}
