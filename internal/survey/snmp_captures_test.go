package survey

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/mib"
	"printround/internal/needtest"
	"printround/internal/oid"
)

// Recordings of real devices, all partial, against the recorded values
// themselves and the published labels.
func TestSNMPCaptures(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(needtest.Shared(t, "captures", "snmp"), "*.snmprec"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no recordings: %v", err)
	}
	labels := publishedLabels(t)
	supplies, trays := 0, 0
	for i, file := range files {
		t.Run(fmt.Sprint(i+1), func(t *testing.T) {
			rec := snmpRecording(t, file)
			c := captured{t: t, values: map[string]oid.Value{}, labels: labels}
			printer := false
			for _, b := range rec.Bindings() {
				c.values[b.Name.String()] = b.Value
				printer = printer || strings.HasPrefix(b.Name.String(), "1.3.6.1.2.1.43.")
			}
			facts, err := mib.Read(context.Background(), rec)
			if !printer {
				if !errors.Is(err, mib.ErrNotPrinter) {
					t.Errorf("error %v: without a Printer MIB there is no view", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			d := snmpView(facts, facts.Printers()[0], snmpOptions())
			checkClean(t, reflect.ValueOf(d), "device")
			c.text("make and model", d.MakeModel, "1.3.6.1.2.1.25.3.2.1.3.1", "1.3.6.1.2.1.1.1.0")
			c.text("location", d.Location, "1.3.6.1.2.1.1.6.0")
			c.text("contact", d.Contact, "1.3.6.1.2.1.1.4.0")
			for _, s := range d.Supplies {
				c.supply(s)
			}
			for _, tray := range d.Trays {
				c.tray(tray)
			}
			supplies, trays = supplies+len(d.Supplies), trays+len(d.Trays)
		})
	}
	if supplies < 10 || trays < 5 {
		t.Errorf("%d supplies and %d trays in all recordings", supplies, trays)
	}
}

// publishedLabels maps convention and value to the label.
func publishedLabels(t *testing.T) map[string]string {
	data, err := os.ReadFile(needtest.Shared(t, "standards", "enums.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	labels := map[string]string{}
	for _, line := range strings.Split(string(data), "\n") {
		if f := strings.Split(line, "\t"); len(f) > 2 {
			labels[f[0]+" "+f[1]] = f[2]
		}
	}
	return labels
}

// captured compares a view with the values of its recording.
type captured struct {
	t      *testing.T
	values map[string]oid.Value
	labels map[string]string
}

func (c captured) text(what string, got device.Text, names ...string) {
	for _, n := range names {
		if want := device.Clean(string(c.values[n].Bytes)); want != "" {
			if got != want {
				c.t.Errorf("%s: %q, recorded %q", what, got, want)
			}
			return
		}
	}
	if got != "" {
		c.t.Errorf("%s: %q, nothing recorded", what, got)
	}
}

func (c captured) label(what string, got device.Text, convention, name string) {
	if v, ok := c.values[name]; ok && string(got) != c.labels[convention+" "+v.String()] || !ok && got != "" {
		c.t.Errorf("%s: %q, recorded %s %s", what, got, convention, v)
	}
}

// level compares by RFC 3805 section 6.
func (c captured) level(what string, got device.Level, level, capacity string) {
	l, ok := c.values[level]
	m, stated := c.values[capacity]
	want := ""
	switch {
	case !ok:
		want = "not-reported"
	case l.Num == -1:
		want = "unlimited"
	case l.Num == -2:
		want = "unknown"
	case l.Num == -3:
		want = "some-left"
	case stated && m.Num > 0 && l.Num <= m.Num:
		p, _ := device.KnownLevel(l.Num, m.Num, "").Percent()
		want = fmt.Sprintf("%g%%", p)
	default:
		return
	}
	if got.String() != want {
		c.t.Errorf("%s: level %s, recorded %v of %v", what, got, l, m)
	}
}

func (c captured) supply(s device.Supply) {
	at := strings.TrimPrefix(s.Object, "prtMarkerSuppliesLevel")
	const entry = "1.3.6.1.2.1.43.11.1.1."
	c.label("kind of "+s.Object, s.Kind, "PrtMarkerSuppliesTypeTC", entry+"5"+at)
	c.label("unit of "+s.Object, s.Unit, "PrtMarkerSuppliesSupplyUnitTC", entry+"7"+at)
	c.level(s.Object, s.Level, entry+"9"+at, entry+"8"+at)
	if class, ok := c.values[entry+"4"+at]; ok && (class.Num == 4) != (s.Role == device.Receptacle) {
		c.t.Errorf("%s: role %q, class %v", s.Object, s.Role, class)
	}
	if s.Name == "" != (len(c.values[entry+"6"+at].Bytes) == 0) {
		c.t.Errorf("%s: name %q, recorded %q", s.Object, s.Name, c.values[entry+"6"+at].Bytes)
	}
}

func (c captured) tray(tray device.Tray) {
	at := strings.TrimPrefix(tray.Object, "prtInputCurrentLevel")
	const entry = "1.3.6.1.2.1.43.8.2.1."
	c.label("kind of "+tray.Object, tray.Kind, "PrtInputTypeTC", entry+"2"+at)
	c.label("unit of "+tray.Object, tray.Unit, "PrtCapacityUnitTC", entry+"8"+at)
	c.level(tray.Object, tray.Level, entry+"10"+at, entry+"9"+at)
	if v, ok := c.values[entry+"11"+at]; ok && int64(tray.Status.Code()) != v.Num || tray.Status.Reported() != ok {
		c.t.Errorf("%s: status %v, recorded %v", tray.Object, tray.Status.Words(), v)
	}
	c.text("name of "+tray.Object, tray.Name, entry+"13"+at, entry+"18"+at)
}
