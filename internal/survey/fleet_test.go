package survey

import (
	"bytes"
	"context"
	"fmt"
	"net/netip"
	"slices"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/snmp"
)

// mixedOffice has all that only a look at the whole fleet tells: two interfaces
// of one device, a serial number that two devices show, a model of which one
// lacks a page language, a printer found and not read, a queue of a server, a
// host that may be a printer, and devices that are expected or known.
func mixedOffice(t *testing.T) (*office, Options) {
	full := viewOf(t, fullSNMP(t))
	printerOf := func(serial, mac string, pages int64) device.Device {
		d := full
		d.Serial, d.MAC, d.Counters = device.Text(serial), device.Text(mac), life(pages)
		return d
	}
	lacking := printerOf("CV1003", "02:00:5e:00:01:03", 30)
	lacking.Languages = lacking.Languages[:1]
	other := full.Languages[len(full.Languages)-1]
	o := &office{
		snmp: map[string][]device.Device{
			"127.0.9.1": {printerOf("CV1001", "02:00:5e:00:01:01", 10)},
			"127.0.9.2": {printerOf("CV1001", "02:00:5e:00:01:02", 10)}, // the other interface of the first
			"127.0.9.3": {lacking},
			"127.0.9.4": {printerOf("CV7777", "02:00:5e:00:01:04", 40)},
			"127.0.9.5": {printerOf("CV7777", "02:00:5e:00:01:05", 50)}, // not the same as the one before
			"127.0.9.6": {printerOf("CV1006", "", 60), {MakeModel: "Tessel 40", Languages: []device.Language{other}}},
		},
		ipp: map[string][]device.Device{
			"127.0.9.1":            {{MakeModel: "Corvane P310", UUID: "8d1f1c1e-0d1c-4c1b-9c51-2a1f00aa0001", Languages: []device.Language{{Family: "application/pdf"}}}},
			"127.0.9.8/printers/a": {{MakeModel: "Corvane P310", Role: device.RoleServerQueue}},
		},
		news: []discover.Candidate{
			{Target: target("127.0.9.8"), Service: &discover.Service{Instance: "a", Port: 631, TXT: map[string]string{"rp": "printers/a"}}},
			{Target: target("127.0.9.9"), Kind: discover.Hinted, Reason: "its description speaks of printing", SNMP: &discover.SNMPAnswer{Description: "JetServer"}},
			{Target: target("127.0.9.4"), Service: &discover.Service{Instance: "Mail room", Host: "mail.local.", TXT: map[string]string{"note": "2nd floor"}}},
		},
		stats: discover.Stats{Addresses: 20, Probed: 20, Answered: 9, Notes: []string{"DNS-SD does not cross subnets"}},
	}
	for i := 7; i >= 1; i-- { // 127.0.9.7 answers nothing more
		o.news = append(o.news, printer(fmt.Sprintf("127.0.9.%d", i)))
	}
	targets := make([]discover.Target, 20)
	for i := range targets {
		targets[i] = target(fmt.Sprintf("127.0.9.%d", i+1))
	}
	return o, Options{
		Now: func() time.Time { return testTime }, Credentials: []snmp.Credential{{}}, Concurrency: 1, Site: "North",
		Discover: discover.Config{Scope: discover.NewScope(targets)},
		Expected: []device.Expected{{Address: "127.0.9.3", Name: "Front desk", Sole: true}, {Address: "127.0.9.12", Name: "Archive"}},
		Known: []device.Device{
			{Key: "serial:old:CV1006", Aliases: []string{"serial:" + modelSlug(string(full.MakeModel)) + ":CV1006"}, Addresses: []netip.Addr{addr("127.0.9.16")}, Role: device.RolePrinter},
			{Key: "mac:02:00:5e:00:09:99", Name: "Gone", Addresses: []netip.Addr{addr("127.0.9.15")}, Role: device.RolePrinter},
		},
	}
}

// TestReportsAreTheSameFromAnyShelf: the report of a fleet whose readings lie in
// a file, judged twice and written device by device, is octet by octet that of
// a survey in memory.
func TestReportsAreTheSameFromAnyShelf(t *testing.T) {
	o, opts := mixedOffice(t)
	before := &device.Survey{Started: testTime.Add(-24 * time.Hour), Devices: opts.Known}
	for i := range before.Devices {
		finding.Judge(&before.Devices[i], finding.Defaults())
	}
	s, err := run(context.Background(), opts, o.readers())
	if err != nil {
		t.Fatal(err)
	}
	finding.JudgeAll(s.Devices, finding.Defaults())
	finding.Rank(s.Devices)
	s.Changes = finding.Compare(before, s)
	mixed(t, s)
	for name, shelf := range map[string]*Shelf{
		"memory": NewShelf("", 1000), "file": NewShelf(t.TempDir(), 0), "half way": NewShelf(t.TempDir(), 4), "no file": NewShelf(t.TempDir()+"/missing", 0),
	} {
		opts.Shelf = shelf
		f, err := collect(context.Background(), opts, o.readers())
		if err != nil {
			t.Fatal(err)
		}
		order, judged := rankFleet(t, f)
		now := *f.Head
		for _, i := range order {
			d := judged(i)
			now.Devices = append(now.Devices, finding.Comparable(&d))
		}
		f.Head.Changes = finding.Compare(before, &now)
		for _, w := range []report.Options{
			{Format: report.CSV}, {Format: report.CSV, Rows: report.Findings, BOM: true}, {Format: report.JSON},
			{Format: report.Table}, {Format: report.Table, Explain: true, Width: 200}, {Format: report.Markdown},
		} {
			var want, got bytes.Buffer
			if err := report.Write(&want, s, w); err != nil {
				t.Fatal(err)
			}
			writeFleet(t, &got, f, w)
			if !bytes.Equal(want.Bytes(), got.Bytes()) {
				t.Errorf("%s, %s %s: got\n%s\nwant\n%s", name, w.Format, w.Rows, got.String(), want.String())
			}
		}
		f.Close()
		shelf.Close()
	}
}

// mixed fails when the office does not have what it is there for.
func mixed(t *testing.T, s *device.Survey) {
	t.Helper()
	silent, lacking, queues, both := 0, 0, 0, 0
	for i := range s.Devices {
		d := &s.Devices[i]
		if d.Attention == device.Silent {
			silent++
		}
		if d.Role == device.RoleServerQueue {
			queues++
		}
		if len(d.Addresses) > 1 && d.Reached.SNMP.OK && d.Reached.IPP.OK {
			both++
		}
		if slices.ContainsFunc(d.Findings, func(f device.Finding) bool { return f.Code == finding.LanguageMissing }) {
			lacking++
		}
	}
	conflicts := slices.ContainsFunc(s.Errors, func(p device.Problem) bool { return p.Stage == "identity" })
	if silent != 3 || lacking == 0 || queues != 1 || both != 1 || !conflicts || len(s.Unconfirmed) != 1 || len(s.Changes.Arrived) == 0 || len(s.Changes.Gone)+len(s.Changes.New) == 0 {
		t.Errorf("%d silent, %d without a language, %d queues, %d with two interfaces, conflicts %v, %d unconfirmed, changes %+v",
			silent, lacking, queues, both, conflicts, len(s.Unconfirmed), s.Changes)
	}
}
