package interop

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/snmp"
)

// judged returns the codes of the findings that ask for somebody, sorted.
func judged(d *device.Device) []string {
	finding.Judge(d, finding.Defaults())
	var codes []string
	for _, f := range d.Findings {
		if !f.Stale && f.Impact != device.ImpactNote && !slices.Contains(codes, f.Code) {
			codes = append(codes, f.Code)
		}
	}
	slices.Sort(codes)
	return codes
}

// alert is one row of prtAlertTable (RFC 3805 section 6): severity 3 critical,
// 4 warning, 5 binary warning; group, index in it and code of the IANA Printer
// MIB.
func alert(index, severity, training, group, groupIndex, code int, text string) []string {
	row := func(column int, tag, value string) string {
		return fmt.Sprintf("1.3.6.1.2.1.43.18.1.1.%d.1.%d|%s|%s", column, index, tag, value)
	}
	number := func(column, n int) string { return row(column, "2", fmt.Sprint(n)) }
	return []string{
		number(2, severity), number(3, training), number(4, group), number(5, groupIndex), number(6, -1), number(7, code),
		row(8, "4", text), row(9, "67", "8630000"),
	}
}

// overlay replaces the rows of a recording that have the same object, and adds
// the others.
func overlay(recording string, rows ...string) string {
	objects := map[string]bool{}
	for _, r := range rows {
		object, _, _ := strings.Cut(r, "|")
		objects[object] = true
	}
	var kept []string
	for line := range strings.Lines(recording) {
		line = strings.TrimRight(line, "\n")
		if object, _, _ := strings.Cut(line, "|"); line != "" && !objects[object] {
			kept = append(kept, line)
		}
	}
	return strings.Join(append(kept, rows...), "\n") + "\n"
}

// faults are states of one invented printer and what must be found. Rows are
// written by hand from RFC 3805 section 6, RFC 2790 section 4 and the IANA
// Printer MIB; the codes are the registered printer-state-reasons keywords that
// the alert codes correspond to (RFC 8011 section 5.4.12, PWG 5100.9).
var faults = []struct {
	name      string
	rows      []string
	codes     []string
	attention device.Attention
}{
	{
		name:      "nothing",
		attention: device.Clear,
	},
	{
		// hrDeviceStatus down(5), hrPrinterStatus other(1), bits doorOpen and
		// jammed; prtCoverStatus coverOpen(3).
		name: "two at once: jam and cover open",
		rows: append(append([]string{
			"1.3.6.1.2.1.25.3.2.1.5.1|2|5", "1.3.6.1.2.1.25.3.5.1.1.1|2|1", "1.3.6.1.2.1.25.3.5.1.2.1|4x|0c",
			"1.3.6.1.2.1.43.6.1.1.2.1.1|4|Front cover", "1.3.6.1.2.1.43.6.1.1.3.1.1|2|3",
		}, alert(3, 3, 3, 13, 1, 8, "Paper jam")...), alert(7, 3, 3, 6, 1, 3, "Front cover open")...),
		codes:     []string{"cover-open", "media-jam"},
		attention: device.Stopped,
	},
	{
		name: "toner out, critical",
		rows: append([]string{
			"1.3.6.1.2.1.25.3.2.1.5.1|2|5", "1.3.6.1.2.1.25.3.5.1.1.1|2|1", "1.3.6.1.2.1.25.3.5.1.2.1|4x|10",
			"1.3.6.1.2.1.43.11.1.1.9.1.1|2|0",
		}, alert(12, 3, 4, 11, 1, 1101, "Toner empty")...),
		codes:     []string{"toner-empty"},
		attention: device.Stopped,
	},
	{
		// A receptacle counts the room left (prtMarkerSuppliesLevel): 4 of 100.
		// Its type wasteToner(4) has a keyword of its own, as alert code 1107 has.
		name: "toner low and waste box nearly full",
		rows: []string{
			"1.3.6.1.2.1.43.11.1.1.9.1.1|2|6",
			"1.3.6.1.2.1.43.11.1.1.2.1.2|2|1", "1.3.6.1.2.1.43.11.1.1.4.1.2|2|4", "1.3.6.1.2.1.43.11.1.1.5.1.2|2|4",
			"1.3.6.1.2.1.43.11.1.1.6.1.2|4|Waste toner box", "1.3.6.1.2.1.43.11.1.1.7.1.2|2|19",
			"1.3.6.1.2.1.43.11.1.1.8.1.2|2|100", "1.3.6.1.2.1.43.11.1.1.9.1.2|2|4",
		},
		codes:     []string{"marker-waste-toner-receptacle-almost-full", "toner-low"},
		attention: device.Due,
	},
	{
		// A unary warning (severity 4) that stayed although the level is high
		// again and no status agrees is history.
		name:      "a warning that present status contradicts",
		rows:      alert(5, 4, 3, 11, 1, 1104, "Toner low"),
		attention: device.Clear,
	},
}

// The faults of an invented printer arrive through two agents that others
// wrote, and are found as what they are.
func TestFaultsArriveThroughAgents(t *testing.T) {
	for _, f := range faults {
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			recording := filepath.Join(t.TempDir(), "public.snmprec")
			writeFile(t, recording, overlay(firstUnit.recording(), f.rows...))
			agents := map[string]string{"snmpsimd": startSimulator(t, recording), "snmpd": startAgent(t, recording)}
			for name, addr := range agents {
				for _, version := range []snmp.Version{snmp.V2c, snmp.V1} {
					cred := named("public")
					cred.Version = version
					s := sweep(t, addrPort(t, addr), cred)
					if len(s.Devices) != 1 {
						t.Errorf("%s, version %s: %d devices, want 1; %v", name, version, len(s.Devices), s.Errors)
						continue
					}
					d := &s.Devices[0]
					if codes := judged(d); !slices.Equal(codes, f.codes) {
						t.Errorf("%s, version %s: findings %v, want %v", name, version, codes, f.codes)
					}
					if d.Attention != f.attention {
						t.Errorf("%s, version %s: %s, want %s", name, version, d.Attention, f.attention)
					}
				}
			}
		})
	}
}
