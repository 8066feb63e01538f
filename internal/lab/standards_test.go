package lab

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/lab/agent"
)

// TestLabels compares the lab's own tables with the published conventions:
// RFC 3805 and RFC 3806 section 6 and 4, RFC 2790, and the IANA modules.
func TestLabels(t *testing.T) {
	published := map[string]map[string]string{}
	for _, r := range standard(t, "enums.tsv", 1800) {
		if published[r["tc"]] == nil {
			published[r["tc"]] = map[string]string{}
		}
		published[r["tc"]][r["label"]] = r["value"]
	}
	for tc, table := range map[string]enum{
		"PrtMarkerMarkTechTC": prtMarkerMarkTechTC, "PrtInputTypeTC": prtInputTypeTC, "PrtOutputTypeTC": prtOutputTypeTC,
		"PrtMarkerSuppliesTypeTC": prtMarkerSuppliesTypeTC, "PrtMarkerSuppliesClassTC": prtMarkerSuppliesClassTC,
		"PrtMarkerSuppliesSupplyUnitTC": prtMarkerSuppliesUnitTC, "PrtCapacityUnitTC": prtCapacityUnitTC,
		"PrtMarkerCounterUnitTC": prtMarkerCounterUnitTC, "PrtMediaPathMaxSpeedPrintUnitTC": prtMediaPathSpeedTC,
		"PrtMediaPathTypeTC": prtMediaPathTypeTC, "PrtCoverStatusTC": prtCoverStatusTC,
		"PrtMarkerColorantRoleTC": prtMarkerColorantRole, "PrtConsoleColorTC": prtConsoleColorTC,
		"PrtChannelTypeTC": prtChannelTypeTC, "PrtPrintOrientationTC": prtOrientationTC,
		"PrtInterpreterLangFamilyTC": prtLangFamilyTC, "PrtAlertGroupTC": prtAlertGroupTC,
		"PrtAlertSeverityLevelTC": prtAlertSeverityTC, "PrtAlertTrainingLevelTC": prtAlertTrainingTC,
		"PrtAlertCodeTC": prtAlertCodeTC, "FinDeviceTypeTC": finDeviceTypeTC, "PresentOnOff": presentOnOff,
		"FinAttributeTypeTC": finAttributeTypeTC, "hrDeviceStatus": hrDeviceStatus, "hrPrinterStatus": hrPrinterStatus,
		"hrPrinterDetectedErrorState": hrPrinterErrorBits,
	} {
		for label, n := range table {
			if got := published[tc][label]; got != strconv.Itoa(n) {
				t.Errorf("%s: %s is %d here, %q in the standard", tc, label, n, got)
			}
		}
	}
}

// eachFault calls f with a device of every model and protocols that can have
// the fault.
func eachFault(t *testing.T, f func(name string, d *machine)) {
	t.Helper()
	s, err := loadScenario()
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range faults {
		fitted := 0
		done := map[string]bool{}
		for _, p := range s.Devices {
			d := newMachine(s.model(p.Model), p, 7)
			kind := fmt.Sprint(p.Model, p.IPP, len(p.SNMP))
			if !x.fits(d) || done[kind] {
				continue
			}
			done[kind] = true
			fitted++
			if err := d.give(x.name, 7); err != nil {
				t.Fatal(err)
			}
			f(x.name, d)
		}
		if fitted == 0 {
			t.Errorf("no device can have %s", x.name)
		}
	}
}

// TestKeywords: what must be found is a keyword of the IANA registry of
// printer-state-reasons or a condition that the tool derives, and an alert's
// code goes with its keyword as the published mapping says.
func TestKeywords(t *testing.T) {
	registered := map[string]bool{}
	for _, r := range standard(t, "state-reasons.tsv", 800) {
		registered[r["keyword"]] = true
	}
	mapped := map[string]string{}
	for _, r := range standard(t, "alert-to-reason.tsv", 700) {
		mapped[r["label"]] = r["keyword"]
	}
	eachFault(t, func(name string, d *machine) {
		for _, c := range d.conditions {
			if !registered[c] && !strings.HasPrefix(c, "derived-") {
				t.Errorf("%s: %s is not registered", name, c)
			}
		}
		for _, r := range d.onlyReasons {
			if !registered[r.keyword] {
				t.Errorf("%s: reason %s is not registered", name, r.keyword)
			}
		}
		for _, a := range d.alerts {
			if a.keyword != "" && a.keyword != mapped[a.code] && name != "marker-supply-low" {
				t.Errorf("%s: alert %s comes with %s, the mapping says %s", name, a.code, a.keyword, mapped[a.code])
			}
		}
		if (len(d.conditions) == 0) == (len(d.notes) == 0) {
			t.Errorf("%s: conditions %v and notes %v: one of them is wanted", name, d.conditions, d.notes)
		}
	})
}

// TestOverallStatus holds every fault to RFC 3805 section 2.2.13.2: the row of
// the table that its state belongs to.
func TestOverallStatus(t *testing.T) {
	table := map[string]map[string]string{}
	for _, r := range standard(t, "overall-status.tsv", 9) {
		table[r["printer_state"]] = r
	}
	label := func(s string) string { return strings.TrimRight(strings.TrimSpace(s), "0123456789()") }
	eachFault(t, func(name string, d *machine) {
		row := "Idle"
		critical, warning := false, false
		for _, a := range d.alerts {
			critical = critical || a.severity == "critical"
			warning = warning || !a.gone && strings.HasPrefix(a.severity, "warning")
		}
		switch {
		case name == "offline":
			row = "Off-line"
		case critical:
			row = "Critical Alert Active"
		case d.standby:
			row = "Standby"
		case warning:
			row = "Non Critical Alert Active"
		case d.printing:
			row = "Busy/Active"
		}
		device, printer := d.overall()
		want := table[row]
		var printers []string
		for p := range strings.SplitSeq(want["hrPrinterStatus"], " or ") {
			printers = append(printers, label(p))
		}
		if device != label(want["hrDeviceStatus"]) || !slices.Contains(printers, printer) {
			t.Errorf("%s: %s and %s, the row %q has %s and %s", name, device, printer, row, want["hrDeviceStatus"], want["hrPrinterStatus"])
		}
		if row == "Idle" && name != "stale-alert" && slices.ContainsFunc(d.errorBits(), func(b byte) bool { return b != 0 }) {
			t.Errorf("%s: idle with error bits %x", name, d.errorBits())
		}
		// RFC 8011 section 5.4.12: -error goes with printer-state stopped.
		stopped := d.state() == stateStopped
		for _, r := range d.reasons() {
			if strings.HasSuffix(r, "-error") && !stopped {
				t.Errorf("%s: %s while printer-state is %d", name, r, d.state())
			}
		}
		if stopped != critical {
			t.Errorf("%s: stopped %v, a critical alert %v", name, stopped, critical)
		}
	})
}

// TestErrorBits compares with the worked octets of RFC 2790 section 4's bit
// order.
func TestErrorBits(t *testing.T) {
	for _, c := range []struct {
		bits []string
		want string
	}{
		{nil, "0000"}, {[]string{"lowPaper"}, "8000"}, {[]string{"noPaper", "jammed"}, "4400"},
		{[]string{"doorOpen"}, "0800"}, {[]string{"markerSupplyMissing"}, "0020"}, {[]string{"noPaper", "inputTrayEmpty"}, "4004"},
		{[]string{"offline", "outputNearFull"}, "0210"}, {[]string{"serviceRequested", "overduePreventMaint"}, "0102"},
	} {
		d := &machine{}
		for _, b := range c.bits {
			d.raise(alert{bit: b})
		}
		if got := fmt.Sprintf("%x", d.errorBits()); got != c.want {
			t.Errorf("%v: got %s, want %s", c.bits, got, c.want)
		}
	}
}

// object is what a MIB module says of one object.
type object struct {
	name, syntax, access string
	column               bool
}

func publishedObjects(t *testing.T) map[string]object {
	out := map[string]object{}
	for _, r := range standard(t, "objects.tsv", 400) {
		if r["kind"] == "column" || r["kind"] == "scalar" {
			out[r["oid"]] = object{r["name"], r["syntax"], r["access"], r["kind"] == "column"}
		}
	}
	return out
}

// everyTree calls f with the object tree of each device with each fault.
func everyTree(t *testing.T, f func(what string, tree *agent.Tree, h *agent.Host)) {
	eachFault(t, func(name string, d *machine) {
		h := &agent.Host{Booted: time.Unix(0, 0).Add(-d.up())}
		f(d.Name+" with "+name, printerTree([]*machine{d}, "help desk"), h)
	})
}

var ranges = regexp.MustCompile(`\((-?\d+)\.\.(-?\d+)\)`)
var sizes = regexp.MustCompile(`SIZE (\d+)(?:(?:\.\.|,)(\d+))?`)

// TestSyntax holds every value to the syntax of its object: type, range, size,
// and that a column that cannot be read is not there.
func TestSyntax(t *testing.T) {
	objects := publishedObjects(t)
	seen := 0
	everyTree(t, func(what string, tree *agent.Tree, h *agent.Host) {
		err := tree.Walk(h, time.Unix(0, 0), func(o agent.OID, v agent.Value) error {
			def, ok := objectOf(objects, o)
			if !ok {
				if !o.HasPrefix(oidDeviceID) {
					t.Errorf("%s: %s is of no published object", what, o)
				}
				return nil
			}
			seen++
			if def.access == "not-accessible" {
				t.Errorf("%s: %s cannot be read", what, def.name)
			}
			if bad := mismatchOf(def.syntax, v); bad != "" {
				t.Errorf("%s: %s %s: %s", what, def.name, o, bad)
			}
			return nil
		})
		if err != nil {
			t.Error(err)
		}
	})
	if seen < 10000 {
		t.Errorf("only %d values checked", seen)
	}
}

func objectOf(objects map[string]object, o agent.OID) (object, bool) {
	for n := min(len(o)-1, 11); n > 6; n-- {
		if def, ok := objects[o[:n].String()]; ok {
			return def, true
		}
	}
	return object{}, false
}

// mismatchOf says how a value differs from a syntax; empty: not at all.
func mismatchOf(syntax string, v agent.Value) string {
	tags := map[string]byte{"INTEGER": agent.TagInteger, "OCTET STRING": agent.TagOctets, "OBJECT IDENTIFIER": agent.TagObjectID,
		"Counter32": agent.TagCounter32, "Gauge32": agent.TagGauge32, "TimeTicks": agent.TagTimeTicks}
	for prefix, tag := range tags {
		if strings.HasPrefix(syntax, prefix) && v.Tag != tag {
			return fmt.Sprintf("tag %#x for %s", v.Tag, syntax)
		}
	}
	if m := sizes.FindStringSubmatch(syntax); m != nil {
		least, _ := strconv.Atoi(m[1])
		most := least
		if m[2] != "" {
			most, _ = strconv.Atoi(m[2])
		}
		if len(v.Body) < least || len(v.Body) > most {
			return fmt.Sprintf("%d octets for %s", len(v.Body), syntax)
		}
	}
	if m := ranges.FindStringSubmatch(syntax); m != nil && v.Tag == agent.TagInteger {
		least, _ := strconv.ParseInt(m[1], 10, 64)
		most, _ := strconv.ParseInt(m[2], 10, 64)
		if n := integer(v); n < least || n > most {
			return fmt.Sprintf("%d for %s", n, syntax)
		}
	}
	return ""
}

func integer(v agent.Value) int64 {
	if len(v.Body) == 0 {
		return math.MinInt64
	}
	n := int64(int8(v.Body[0]))
	for _, b := range v.Body[1:] {
		n = n<<8 | int64(b)
	}
	return n
}

// TestEveryColumn: each row of the Printer and Finisher MIB has every column
// that can be read, and the full recording has every table.
func TestEveryColumn(t *testing.T) {
	objects := publishedObjects(t)
	columns := map[string][]string{} // entry -> columns
	for oid, def := range objects {
		if def.column && def.access != "not-accessible" && strings.HasPrefix(oid, "1.3.6.1.2.1.43.") {
			entry := oid[:strings.LastIndexByte(oid, '.')]
			columns[entry] = append(columns[entry], oid)
		}
	}
	check := func(what string, tree *agent.Tree, h *agent.Host) map[string]bool {
		rows := map[string]map[string]bool{} // entry and index -> columns there
		tables := map[string]bool{}
		err := tree.Walk(h, time.Unix(0, 0), func(o agent.OID, _ agent.Value) error {
			if !o.HasPrefix(oidPrinter) {
				return nil
			}
			entry, column, index := o[:10].String(), o[:11].String(), o[11:].String()
			tables[entry] = true
			key := entry + " " + index
			if rows[key] == nil {
				rows[key] = map[string]bool{}
			}
			rows[key][column] = true
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		for key, have := range rows {
			entry, index, _ := strings.Cut(key, " ")
			for _, c := range columns[entry] {
				if !have[c] {
					t.Errorf("%s: row %s lacks %s", what, index, objects[c].name)
				}
			}
		}
		return tables
	}
	everyTree(t, func(what string, tree *agent.Tree, h *agent.Host) { check(what, tree, h) })
	rec, err := OpenRecording("../../testdata/recordings/full-mfp.snmprec")
	if err != nil {
		t.Fatal(err)
	}
	have := check("the full recording", rec.tree, &agent.Host{})
	for entry := range columns {
		if !have[entry] {
			t.Errorf("the full recording has no row of %s", entry)
		}
	}
}

// TestMediaNames: names that PWG 5101.1 lists have the dimensions it gives.
func TestMediaNames(t *testing.T) {
	published := map[string]map[string]string{}
	for _, r := range standard(t, "media-sizes.tsv", 200) {
		published[r["pwg_name"]] = r
	}
	s, err := loadScenario()
	if err != nil {
		t.Fatal(err)
	}
	names := []string{letter, "iso_a5_148x210mm"}
	for _, m := range s.Models {
		names = append(names, m.MaxMedia, m.MinMedia)
		for _, tr := range m.Trays {
			names = append(names, tr.Media)
		}
	}
	known := 0
	for _, name := range names {
		r := published[name]
		if r == nil {
			if !strings.HasPrefix(name, "custom_") {
				t.Errorf("%s is not a published name", name)
			}
			continue
		}
		known++
		m := mustMedia(name)
		width, _ := strconv.ParseFloat(r["width_mm"], 64)
		length, _ := strconv.ParseFloat(r["length_mm"], 64)
		if math.Abs(width*1000-float64(m.Width)) > 1 || math.Abs(length*1000-float64(m.Length)) > 1 {
			t.Errorf("%s: %d by %d here, %v by %v mm published", name, m.Width, m.Length, width, length)
		}
	}
	if known < 5 {
		t.Errorf("only %d names checked", known)
	}
	for _, bad := range []string{"", "a4", "iso_a4_210x297", "iso_a4_x297mm", "iso_a4_210mm", "iso_a4_-1x2mm"} {
		if m, err := parseMedia(bad); err == nil {
			t.Errorf("parseMedia(%q) = %v, want an error", bad, m)
		}
	}
}
