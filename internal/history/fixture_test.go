package history

import (
	"context"
	"fmt"
	"net/netip"
	"path/filepath"
	"testing"
	"time"

	"printround/internal/device"
)

var evening = time.Date(2026, 3, 2, 17, 30, 0, 0, time.UTC)

// night returns the moment of night n, 0 the first.
func night(n int) time.Time { return evening.AddDate(0, 0, n) }

// create makes a history in a folder of the test.
func create(t testing.TB) (*Store, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "history.db")
	return reopen(t, path), path
}

func reopen(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(path, Options{Now: func() time.Time { return night(1000) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func survey(at time.Time, devices ...device.Device) *device.Survey {
	for i := range devices {
		devices[i].ObservedAt = at
	}
	return &device.Survey{Schema: device.SurveySchema, Started: at.Add(-time.Minute), Finished: at, ToolVersion: "test", Devices: devices}
}

func record(t testing.TB, s *Store, v *device.Survey) Recorded {
	t.Helper()
	r, err := s.Record(context.Background(), v, RunInfo{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func ref[T any](v T) *T { return &v }

// printer is a device that answered over both protocols.
func printer(n int) device.Device {
	d := device.Device{
		Key: fmt.Sprintf("uuid:%08d-0000-4000-8000-000000000000", n), Role: device.RolePrinter,
		Site: "Harbour office", Name: device.Text(fmt.Sprintf("Printer %d", n)), MakeModel: "Okvarna L 210", Serial: device.Text(fmt.Sprintf("OK%05d", n)),
		Location: "Ticket hall", Addresses: []netip.Addr{netip.AddrFrom4([4]byte{10, 1, byte(n >> 8), byte(n)})}, Attention: device.Clear,
	}
	d.Aliases = []string{d.Key, fmt.Sprintf("serial:okvarna-l-210:OK%05d", n), "addr:" + d.Addresses[0].String()}
	d.Reached.SNMP = device.SNMPReach{OK: true, Tried: true, Version: "2c", RoundTrips: 7}
	d.Reached.IPP = device.IPPReach{OK: true, Tried: true}
	d.State.UptimeS = ref(int64(86400))
	d.Counters.Life = device.Count{Value: ref(int64(1000 + n)), Unit: "impressions", Source: device.SourceSNMP}
	d.Supplies = []device.Supply{{
		Index: 1, Name: "Toner, black", Kind: "tonerCartridge", Role: device.Consumed, Colorant: "black", Unit: "impressions",
		Capacity: ref(int64(6000)), Level: device.KnownLevel(4500, 6000, device.Remaining), Source: device.SourceSNMP,
	}}
	return d
}

// full is a printer with so many readings as a large device has: 60.
func full(n int, life int64, left int64) device.Device {
	d := printer(n)
	d.Counters.Life.Value = &life
	d.Supplies = nil
	for i, kind := range []string{"tonerCartridge", "tonerCartridge", "tonerCartridge", "tonerCartridge", "opc", "opc", "opc", "opc",
		"fuser", "transferUnit", "wasteToner", "feedRoller"} {
		d.Supplies = append(d.Supplies, device.Supply{
			Index: i + 1, Name: device.Text(fmt.Sprintf("Part %d of the device", i+1)), Kind: device.Text(kind), Role: device.Consumed, Colorant: "black",
			Unit: "impressions", Capacity: ref(int64(30000)), Level: device.KnownLevel(max(left-int64(i), 0), 30000, device.Remaining), Source: device.SourceSNMP,
		})
	}
	for i := range 12 {
		d.Trays = append(d.Trays, device.Tray{Index: i + 1, Name: device.Text(fmt.Sprintf("Tray %d", i+1)), Media: device.Media{Name: "iso_a4_210x297mm"},
			Unit: "sheets", Capacity: ref(int64(500)), Level: device.KnownLevel((life+int64(i))%500, 500, device.Remaining), Source: device.SourceSNMP})
		d.Outputs = append(d.Outputs, device.Output{Index: i + 1, Name: device.Text(fmt.Sprintf("Bin %d", i+1)), Unit: "sheets", Capacity: ref(int64(250)),
			Level: device.NoLevel(device.LevelSomeLeft), Source: device.SourceSNMP})
	}
	f := device.Finisher{Index: 1, Name: "Finisher"}
	for i := range 16 {
		f.Supplies = append(f.Supplies, device.Supply{Index: i + 1, Name: "Staples", Kind: "staples", Role: device.Consumed, Unit: "items",
			Capacity: ref(int64(5000)), Level: device.KnownLevel(life%5000, 5000, device.Remaining), Source: device.SourceSNMP})
	}
	d.Finishers = []device.Finisher{f}
	d.Counters.Color = device.Count{Value: ref(life / 3), Unit: "impressions", Source: device.SourceSNMP}
	d.Counters.Monochrome = device.Count{Value: ref(life - life/3), Unit: "impressions", Source: device.SourceSNMP}
	d.Counters.SincePowerOn = device.Count{Value: ref(life % 1000), Unit: "impressions", Source: device.SourceSNMP}
	for i := range 4 {
		d.Storage = append(d.Storage, device.Storage{Name: device.Text(fmt.Sprintf("Store %d", i+1)), Size: ref(int64(1 << 30)), Used: ref(life * 1000)})
	}
	d.Findings = []device.Finding{
		finding("toner-low", device.ImpactDue, "markerSupplies", 1), finding("media-low", device.ImpactNote, "input", 2),
	}
	d.Alerts = []device.Alert{{Source: device.SourceSNMP, Code: "markerTonerAlmostEmpty", Severity: "warning", Group: "markerSupplies", GroupIndex: 1, Description: "Toner low"}}
	return d
}

func finding(code string, impact device.Impact, group string, index int) device.Finding {
	return device.Finding{
		Code: code, Impact: impact, Subunit: device.Subunit{Group: group, Index: index}, Summary: code,
		Evidence: []device.Evidence{{Source: device.SourceSNMP, Object: "prtAlertCode.1.1", Value: "1"}},
	}
}

// silent is a known device that gave no answer.
func silent(n int) device.Device {
	p := printer(n)
	return device.Device{
		Key: p.Key, Aliases: p.Aliases, Role: device.RolePrinter, Site: p.Site, Name: p.Name, Addresses: p.Addresses, Attention: device.Silent,
		Findings: []device.Finding{{Code: "derived-no-answer", Impact: device.ImpactSilent, Summary: "no answer",
			Evidence: []device.Evidence{{Source: device.SourceDerived}}}},
	}
}
