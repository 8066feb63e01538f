package survey

import (
	"context"
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/mib"
	"printround/internal/needtest"
)

// The invented complete device, against what its recording says read by the
// standards' tables.
func TestSNMPView(t *testing.T) {
	d := viewOf(t, fullSNMP(t))
	texts := []struct {
		what string
		got  any
		want any
	}{
		{"name", d.Name, device.Text("Second floor color")},
		{"host name", d.Hostname, device.Text("nb-2f-color")},
		{"make and model", d.MakeModel, device.Text("Aldergate ProFlow C455")},
		{"serial", d.Serial, device.Text("AG455-0017734")},
		{"location", d.Location, device.Text("North branch, second floor, by the lift")},
		{"contact", d.Contact, device.Text("print desk, extension 4410")},
		{"firmware", d.Firmware, device.Text("")},
		{"MAC", d.MAC, device.Text("02:4a:7c:10:0f:21")},
		{"technology", d.Technology, device.Text("electrophotographicLaser")},
		{"role", d.Role, device.RolePrinter},
		{"observed", d.ObservedAt, snmpNow},
		{"device", d.State.Device, device.Text("down")},
		{"printer", d.State.Printer, device.Text("other")},
		{"error bits", d.State.ErrorBits, []string{"lowToner", "doorOpen"}},
		{"console", d.State.Console, []string{"Toner Cyan fast leer", "Klappe am Finisher schließen"}},
		{"uptime", *d.State.UptimeS, int64(518460)},
		{"lamps", d.State.Lights, []device.Light{{Name: "Bereit", Color: "green", State: "on"}, {Name: "Achtung", Color: "yellow", State: "blinking"},
			{Name: "Fehler", Color: "red", State: "off"}, {Name: "Daten", Color: "blue", State: "off"}}},
		{"supplies", suppliesInShort(d.Supplies), []string{
			"1 toner consumed black impressions 70%", "2 toner consumed cyan impressions 7%", "3 toner consumed magenta impressions 55%",
			"4 toner consumed yellow impressions 78%", "5 wasteToner receptacle  percent 8%", "6 opc consumed black impressions 5%",
			"7 fuser consumed  impressions 14.7%", "8 transferUnit consumed  impressions some-left", "9 cleanerUnit consumed  percent 70%"}},
		{"waste counts", d.Supplies[4].Level.Measures(), device.SpaceLeft},
		{"words in the device's charset", d.Supplies[7].Name, device.Text("Übertragungsband")},
		{"staples", suppliesInShort(d.Finishers[0].Supplies), []string{"1 staples consumed  items 8%"}},
		{"punch waste", suppliesInShort(d.Finishers[1].Supplies), []string{"2 wastePaper receptacle  percent 55%"}},
		{"attributes", d.Finishers[1].Attributes, map[string]string{"punchPattern": "unknown", "punchHoleType": "oblong", "punchHoleSizeLongDim": "4 holes"}},
		{"inserter", d.Finishers[0].Inputs[0].Media.Name, device.Text("iso_a4_210x297mm")},
		{"life", *d.Counters.Life.Value, int64(418233)},
		{"life unit", d.Counters.Life.Unit, device.Text("impressions")},
		{"life object", d.Counters.Life.Object, "prtMarkerLifeCount.1.1"},
		{"since power-on", *d.Counters.SincePowerOn.Value, int64(1204)},
		{"color", d.Counters.Color.Value, (*int64)(nil)},
		{"languages", len(d.Languages), 6},
		{"orientation", d.Defaults.Orientation, device.Text("portrait")},
		{"channels", d.Channels[3].Kind, device.Text("chIPP")},
		{"path", d.Paths[1].Kind, device.Text("longEdgeBindingDuplex")},
		{"storage", *d.Storage[0].Used, int64(734003 * 1024)},
		{"flash", d.Storage[2].Kind, device.Text("hrStorageFlashMemory")},
		{"finisher door", d.Covers[4], device.Cover{Index: 5, Name: "Finisher door", Status: "coverOpen", Object: "prtCoverStatus.1.5"}},
	}
	for _, tt := range texts {
		if !reflect.DeepEqual(tt.got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.what, tt.got, tt.want)
		}
	}
	checkClean(t, reflect.ValueOf(d), "device")
}

func suppliesInShort(list []device.Supply) []string {
	var out []string
	for _, s := range list {
		out = append(out, fmt.Sprintf("%d %s %s %s %s %s", s.Index, s.Kind, s.Role, s.Colorant, s.Unit, s.Level))
	}
	return out
}

// Alerts of the complete device: gaps in prtAlertIndex, labels of
// IANA-PRINTER-MIB, ages by sysUpTime (RFC 3805 section 6, prtAlertTime).
func TestSNMPAlerts(t *testing.T) {
	d := viewOf(t, fullSNMP(t))
	var got []string
	for _, a := range d.Alerts {
		age := "none"
		if a.AgeS != nil {
			age = fmt.Sprint(*a.AgeS)
		}
		got = append(got, fmt.Sprint(a.Object, " ", a.Severity, " ", a.Training, " ", a.Group, " ", a.GroupIndex, " ", a.Location, " ", a.Code, " ", age))
	}
	want := []string{
		"prtAlertCode.1.7 warningBinaryChangeEvent trained markerSupplies 2 -2 markerTonerAlmostEmpty 18400",
		"prtAlertCode.1.19 warningBinaryChangeEvent untrained input 3 3 inputMediaSupplyEmpty 400",
		"prtAlertCode.1.23 critical untrained finDevice 1 -2 coverOpen 20",
		"prtAlertCode.1.58 warning fieldService markerSupplies 6 -2 markerOpcLifeAlmostOver none",
	}
	if !slices.Equal(got, want) {
		t.Errorf("alerts\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if reason := d.Alerts[3].AgeReason; !strings.Contains(string(reason), "after sysUpTime") {
		t.Errorf("no age because %q", reason)
	}
}

func TestAlertAges(t *testing.T) {
	tests := []struct {
		up, raised string
		age        int64 // -1: none
		reason     string
	}{
		{"67|600000", "67|300000", 3000, ""},
		{"67|600000", "67|600000", 0, ""},
		{"67|600000", "67|600001", -1, "after sysUpTime"},
		{"67|100", "67|4294967200", -1, "after sysUpTime"}, // one of them wrapped
		{"67|600000", "67|0", -1, "is 0"},
		{"67|600000", "5|", -1, "prtAlertTime is not reported"},
		{"5|", "67|300000", -1, "sysUpTime is not reported"},
	}
	for _, tt := range tests {
		d := viewOf(t, snmpLines(t, "1.3.6.1.2.1.1.3.0|"+tt.up, "1.3.6.1.2.1.43.18.1.1.2.1.4|2|3", "1.3.6.1.2.1.43.18.1.1.9.1.4|"+tt.raised))
		a := d.Alerts[0]
		if (a.AgeS == nil) != (tt.age < 0) || a.AgeS != nil && *a.AgeS != tt.age || !strings.Contains(string(a.AgeReason), tt.reason) {
			t.Errorf("%s, %s: age %v, %q", tt.up, tt.raised, a.AgeS, a.AgeReason)
		}
		if a.Code != "unknown" || a.Object != "prtAlertSeverityLevel.1.4" || a.GroupIndex != -1 || a.Location != -2 {
			t.Errorf("an alert without a code: %+v", a)
		}
	}
}

// Codes that nobody registered stay numbers.
func TestUnregisteredCodes(t *testing.T) {
	d := viewOf(t, snmpLines(t, "1.3.6.1.2.1.43.18.1.1.7.1.4|2|30001", "1.3.6.1.2.1.43.18.1.1.2.1.4|2|99", "1.3.6.1.2.1.43.11.1.1.5.1.1|2|77",
		"1.3.6.1.2.1.25.3.2.1.5.1|2|9", "1.3.6.1.2.1.43.15.1.1.2.1.1|2|500"))
	if a := d.Alerts[0]; a.Code != "30001" || a.Severity != "99" || a.Group != "" {
		t.Errorf("alert %+v", a)
	}
	if d.Supplies[0].Kind != "77" || d.State.Device != "9" || d.Languages[0].Family != "500" {
		t.Errorf("supply %+v, state %+v, languages %+v", d.Supplies[0], d.State, d.Languages)
	}
}

// Special values of levels and capacities (RFC 3805 section 6:
// prtMarkerSuppliesLevel and -MaxCapacity, prtInputCurrentLevel and
// -MaxCapacity, prtOutputRemainingCapacity). The same numbers mean the same in
// all three.
func TestSpecialLevels(t *testing.T) {
	tests := []struct {
		level, capacity string
		percent         bool // unit percent(19)
		want            string
	}{
		{"2|45", "2|100", false, "45%"},
		{"2|0", "2|100", false, "0%"},
		{"2|-1", "2|100", false, "unlimited"},
		{"2|-2", "2|100", false, "unknown"},
		{"2|-3", "2|100", false, "some-left"},
		{"2|-3", "2|-2", false, "some-left"},
		{"2|-4", "2|100", false, "contradictory"},
		{"2|101", "2|100", false, "contradictory"},
		{"2|5", "2|0", false, "contradictory"},
		{"2|300", "2|-2", false, "unknown"},
		{"2|300", "2|-1", false, "unknown"},
		{"2|60", "2|-2", true, "60%"},
		{"2|160", "2|-2", true, "unknown"},
		{"2|300", "5|", false, "unknown"}, // capacity not reported
		{"5|", "2|100", false, "not-reported"},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprint(tt.level, " of ", tt.capacity, " percent ", tt.percent), func(t *testing.T) {
			unit := "2|8" // sheets; in supplies also sheets
			if tt.percent {
				unit = "2|19"
			}
			d := viewOf(t, snmpLines(t,
				"1.3.6.1.2.1.43.11.1.1.9.1.1|"+tt.level, "1.3.6.1.2.1.43.11.1.1.8.1.1|"+tt.capacity, "1.3.6.1.2.1.43.11.1.1.7.1.1|"+unit,
				"1.3.6.1.2.1.43.8.2.1.10.1.1|"+tt.level, "1.3.6.1.2.1.43.8.2.1.9.1.1|"+tt.capacity, "1.3.6.1.2.1.43.8.2.1.8.1.1|"+unit,
				"1.3.6.1.2.1.43.9.2.1.5.1.1|"+tt.level, "1.3.6.1.2.1.43.9.2.1.4.1.1|"+tt.capacity, "1.3.6.1.2.1.43.9.2.1.3.1.1|"+unit,
				"1.3.6.1.2.1.43.31.1.1.8.1.1|"+tt.level, "1.3.6.1.2.1.43.31.1.1.7.1.1|"+tt.capacity, "1.3.6.1.2.1.43.31.1.1.6.1.1|"+unit))
			for what, l := range map[string]device.Level{"supply": d.Supplies[0].Level, "tray": d.Trays[0].Level,
				"output": d.Outputs[0].Level, "finisher supply": d.Finishers[0].Supplies[0].Level} {
				if l.String() != tt.want {
					t.Errorf("%s: %s, want %s", what, l, tt.want)
				}
			}
		})
	}
}

// The class says which way a level counts; where it is missing, waste is waste.
func TestSupplyRoles(t *testing.T) {
	for _, tt := range []struct {
		class, kind int
		role        device.SupplyRole
		measures    device.Measures
	}{
		{3, 3, device.Consumed, device.Remaining}, {4, 4, device.Receptacle, device.SpaceLeft}, {1, 3, "", device.Remaining},
		{0, 4, device.Receptacle, device.SpaceLeft}, {0, 3, "", device.Remaining}, {1, 4, "", device.Remaining}, {3, 4, device.Consumed, device.Remaining},
	} {
		lines := []string{"1.3.6.1.2.1.43.11.1.1.9.1.1|2|10", "1.3.6.1.2.1.43.11.1.1.8.1.1|2|100", fmt.Sprintf("1.3.6.1.2.1.43.11.1.1.5.1.1|2|%d", tt.kind)}
		if tt.class > 0 {
			lines = append(lines, fmt.Sprintf("1.3.6.1.2.1.43.11.1.1.4.1.1|2|%d", tt.class))
		}
		s := viewOf(t, snmpLines(t, lines...)).Supplies[0]
		if s.Role != tt.role || s.Level.Measures() != tt.measures {
			t.Errorf("class %d, type %d: role %q, measures %q", tt.class, tt.kind, s.Role, s.Level.Measures())
		}
	}
}

// Sizes of media: units of PrtMediaUnitTC (RFC 3805 section 6), names of RFC
// 3805 Appendix B and PWG 5101.1.
func TestSNMPMedia(t *testing.T) {
	tests := []struct {
		name          string
		unit          int
		declared      [2]int // feed, cross feed
		chosen        [2]int
		medium        string
		want          string
		width, length float64 // 0: none
	}{
		{"A4, long edge first", 4, [2]int{210000, 297000}, [2]int{210000, 297000}, "", "iso_a4_210x297mm", 210, 297},
		{"A4, short edge first", 4, [2]int{297000, 210000}, [2]int{297000, 210000}, "", "iso_a4_210x297mm", 210, 297},
		{"Letter in inches", 3, [2]int{110000, 85000}, [2]int{110000, 85000}, "", "na_letter_8.5x11in", 215.9, 279.4},
		{"chosen before declared", 4, [2]int{420000, 297000}, [2]int{297000, 210000}, "", "iso_a4_210x297mm", 210, 297},
		{"declared where nothing was chosen", 4, [2]int{297000, 210000}, [2]int{-2, -2}, "", "iso_a4_210x297mm", 210, 297},
		{"no restriction", 4, [2]int{-1, -1}, [2]int{-1, -1}, "any", "any", 0, 0},
		{"a stale name", 3, [2]int{110000, 85000}, [2]int{110000, 85000}, "iso-a4-white", "na_letter_8.5x11in", 215.9, 279.4},
		{"only a name", 4, [2]int{-2, -2}, [2]int{-2, -2}, "iso-a4-white", "iso_a4_210x297mm", 210, 297},
		{"the device's own name", 4, [2]int{-2, -2}, [2]int{-2, -2}, "Plain  Paper", "Plain Paper", 0, 0},
		{"a size without a name", 4, [2]int{90000, 50000}, [2]int{90000, 50000}, "cards", "cards", 50, 90},
		{"a roll of unknown length", 4, [2]int{0, 62000}, [2]int{0, 62000}, "label roll", "label roll", 62, 0},
		{"a size without a name, named wrongly", 4, [2]int{90000, 50000}, [2]int{90000, 50000}, "iso-a4", "", 50, 90},
		{"a unit that does not exist", 0, [2]int{297000, 210000}, [2]int{297000, 210000}, "", "", 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			const in = "1.3.6.1.2.1.43.8.2.1."
			lines := []string{in + "12.1.1|4|" + tt.medium, fmt.Sprintf(in+"4.1.1|2|%d", tt.declared[0]), fmt.Sprintf(in+"5.1.1|2|%d", tt.declared[1]),
				fmt.Sprintf(in+"6.1.1|2|%d", tt.chosen[0]), fmt.Sprintf(in+"7.1.1|2|%d", tt.chosen[1])}
			if tt.unit > 0 {
				lines = append(lines, fmt.Sprintf(in+"3.1.1|2|%d", tt.unit))
			}
			m := viewOf(t, snmpLines(t, lines...)).Trays[0].Media
			if string(m.Name) != tt.want || !edgeIs(m.WidthMM, tt.width) || !edgeIs(m.LengthMM, tt.length) {
				t.Errorf("%q %v x %v, want %q %v x %v", m.Name, value(m.WidthMM), value(m.LengthMM), tt.want, tt.width, tt.length)
			}
		})
	}
}

func edgeIs(got *float64, want float64) bool {
	if got == nil || want == 0 {
		return got == nil && want == 0
	}
	return *got > want-0.01 && *got < want+0.01
}

func value(f *float64) any {
	if f == nil {
		return "none"
	}
	return *f
}

func TestSNMPCounters(t *testing.T) {
	const m = "1.3.6.1.2.1.43.10.2.1."
	tests := []struct {
		name       string
		lines      []string
		life, mono int64 // -1: unknown
		unit       device.Text
		reason     string
	}{
		{"one marker", []string{m + "4.1.1|65|500", m + "3.1.1|2|7", m + "6.1.1|2|4"}, 500, -1, "impressions", ""},
		{"monochrome", []string{m + "4.1.1|65|500", m + "3.1.1|2|7", m + "6.1.1|2|1", m + "7.1.1|2|0"}, 500, 500, "impressions", ""},
		{"two markers", []string{m + "4.1.1|65|500", m + "4.1.2|65|20", m + "3.1.1|2|7", m + "3.1.2|2|7", m + "6.1.1|2|1", m + "6.1.2|2|4"}, 520, 500, "impressions", "the sum of 2 markers"},
		{"different units", []string{m + "4.1.1|65|500", m + "4.1.2|65|20", m + "3.1.1|2|8", m + "3.1.2|2|7"}, 500, -1, "sheets", "the first of 2 markers"},
		{"highest count", []string{m + "4.1.1|65|4294967295", m + "3.1.1|2|7"}, 4294967295, -1, "impressions", ""},
		{"no unit", []string{m + "4.1.1|65|7"}, 7, -1, "", ""},
		{"no count", []string{m + "3.1.1|2|7"}, -1, -1, "", "prtMarkerLifeCount is not reported"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := viewOf(t, snmpLines(t, tt.lines...)).Counters
			if !counts(c.Life, tt.life) || !counts(c.Monochrome, tt.mono) || c.Life.Unit != tt.unit || !strings.Contains(string(c.Life.Reason), tt.reason) {
				t.Errorf("life %+v, monochrome %+v", c.Life, c.Monochrome)
			}
			if c.Color.Value != nil || c.Color.Reason == "" {
				t.Errorf("color %+v: no standard object tells", c.Color)
			}
		})
	}
}

func counts(c device.Count, want int64) bool {
	if want < 0 {
		return c.Value == nil && c.Reason != ""
	}
	return c.Value != nil && *c.Value == want
}

func TestMACAddress(t *testing.T) {
	const i = "1.3.6.1.2.1.2.2.1."
	tests := []struct {
		name  string
		lines []string
		want  device.Text
	}{
		{"Ethernet", []string{i + "3.1|2|24", i + "6.1|4|", i + "3.2|2|6", i + "6.2|4x|024a7c100f21"}, "02:4a:7c:10:0f:21"},
		{"the first that has one", []string{i + "3.1|2|6", i + "6.1|4x|000000000000", i + "3.2|2|6", i + "6.2|4x|024a7c100f22"}, "02:4a:7c:10:0f:22"},
		{"wireless", []string{i + "3.1|2|71", i + "6.1|4x|024a7c100f23"}, "02:4a:7c:10:0f:23"},
		{"Ethernet before wireless", []string{i + "3.1|2|71", i + "6.1|4x|024a7c100f23", i + "3.2|2|6", i + "6.2|4x|024a7c100f21"}, "02:4a:7c:10:0f:21"},
		{"loopback only", []string{i + "3.1|2|24", i + "6.1|4x|024a7c100f21"}, ""},
		{"all ones", []string{i + "3.1|2|6", i + "6.1|4x|ffffffffffff"}, ""},
		{"wrong length", []string{i + "3.1|2|6", i + "6.1|4x|024a7c10"}, ""},
		{"no type", []string{i + "6.1|4x|024a7c100f21"}, ""},
	}
	for _, tt := range tests {
		if got := viewOf(t, snmpLines(t, append(tt.lines, "1.3.6.1.2.1.43.5.1.1.1.1|65|1")...)).MAC; got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// A device that sleeps says "other" while it runs: RFC 3805 section 2.2.13.2,
// row Standby. Fallbacks of the names.
func TestSleepingDevice(t *testing.T) {
	d := viewOf(t, snmpLines(t, "1.3.6.1.2.1.1.1.0|4|Aldergate Mono 2, network interface 1.0", "1.3.6.1.2.1.1.5.0|4| Front desk printer ",
		"1.3.6.1.2.1.25.3.2.1.5.1|2|2", "1.3.6.1.2.1.25.3.5.1.1.1|2|1", "1.3.6.1.2.1.25.3.5.1.2.1|4x|00", "1.3.6.1.2.1.43.16.5.1.2.1.1|4|Sleep mode  "))
	if d.State.Device != "running" || d.State.Printer != "other" || d.State.ErrorBits != nil || !slices.Equal(d.State.Console, []string{"Sleep mode"}) {
		t.Errorf("state %+v", d.State)
	}
	if d.MakeModel != "Aldergate Mono 2, network interface 1.0" || d.Name != "Front desk printer" || d.Hostname != "" {
		t.Errorf("model %q, name %q, host name %q", d.MakeModel, d.Name, d.Hostname)
	}
}

// Text of a device is hostile until cleaned.
func TestSNMPTextIsCleaned(t *testing.T) {
	evil := fmt.Sprintf("%x", "\x1b[31mRed\u202e\r\nline\x00")
	d := viewOf(t, snmpLines(t, "1.3.6.1.2.1.1.6.0|4x|"+evil, "1.3.6.1.2.1.43.5.1.1.17.1|4x|"+evil, "1.3.6.1.2.1.43.16.5.1.2.1.1|4x|"+evil,
		"1.3.6.1.2.1.43.11.1.1.6.1.1|4x|"+evil, "1.3.6.1.2.1.43.12.1.1.4.1.1|4x|"+evil, "1.3.6.1.2.1.43.11.1.1.3.1.1|2|1",
		"1.3.6.1.2.1.43.8.2.1.12.1.1|4x|"+evil, "1.3.6.1.2.1.43.33.1.1.4.1.1.16.1|4x|"+evil, "1.3.6.1.2.1.43.18.1.1.8.1.1|4x|"+evil,
		"1.3.6.1.2.1.25.2.3.1.3.1|4x|"+evil))
	checkClean(t, reflect.ValueOf(d), "device")
	if d.Location != "Red line" {
		t.Errorf("location %q", d.Location)
	}
}

// Kinds of storage: HOST-RESOURCES-TYPES (RFC 2790).
func TestStorageKinds(t *testing.T) {
	data, err := os.ReadFile(needtest.Shared(t, "standards", "identities.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, line := range strings.Split(string(data), "\n") {
		f := strings.Split(line, "\t")
		if len(f) < 2 || !strings.HasPrefix(f[1], "1.3.6.1.2.1.25.2.1.") {
			continue
		}
		found++
		d := viewOf(t, snmpLines(t, "1.3.6.1.2.1.25.2.3.1.2.1|6|"+f[1], "1.3.6.1.2.1.43.5.1.1.1.1|65|1"))
		if string(d.Storage[0].Kind) != f[0] {
			t.Errorf("%s is %q, published as %s", f[1], d.Storage[0].Kind, f[0])
		}
	}
	if found != len(storageKinds) {
		t.Errorf("%d kinds published, %d known", found, len(storageKinds))
	}
}

// FuzzSNMPDevice: whatever a host shows, its printers come out clean.
func FuzzSNMPDevice(f *testing.F) {
	f.Add("1.3.6.1.2.1.43.11.1.1.9.1.1|2|40\n1.3.6.1.2.1.43.11.1.1.6.1.1|4x|1b5b33316d\n")
	f.Add("1.3.6.1.2.1.43.8.2.1.3.1.1|2|4\n1.3.6.1.2.1.43.8.2.1.6.1.1|2|2147483647\n1.3.6.1.2.1.43.8.2.1.7.1.1|2|1\n")
	f.Add("1.3.6.1.2.1.43.18.1.1.9.1.4|67|1\n1.3.6.1.2.1.43.33.1.1.3.1.4294967295.0.0|2|-1\n")
	f.Fuzz(func(t *testing.T, text string) {
		rec, err := mib.ParseRecording(strings.NewReader(text))
		if err != nil {
			return
		}
		facts, err := mib.Read(context.Background(), rec)
		if err != nil {
			return
		}
		for _, index := range facts.Printers() {
			d := snmpView(facts, index, snmpOptions())
			checkClean(t, reflect.ValueOf(d), "device")
		}
	})
}
