package discover

import (
	"slices"
	"testing"

	"github.com/gosnmp/gosnmp"
)

// Recorded walks of hosts that are no printers, some of which carry printer
// rows: none may come out as a printer.
func TestSweepNegativeRecordings(t *testing.T) {
	for name, lines := range recordings(t, "negative") {
		for _, v := range []gosnmp.SnmpVersion{gosnmp.Version1, gosnmp.Version2c} {
			t.Run(name+" "+v.String(), func(t *testing.T) {
				a := newAgent(t, lines)
				a.versions = []gosnmp.SnmpVersion{v}
				o := sweepNet(t, "10.1.2.1", Config{Retries: 2}, map[string]*fakeHost{"10.1.2.1": {agent: a}})
				if c := o.of(t, "10.1.2.1"); c == nil || c.Kind != OtherHost {
					t.Errorf("got %+v, want no printer", c)
				}
			})
		}
	}
}

// Recorded walks of printers, all partial: a printer if there is anything of
// the Printer MIB, else a host with hints.
func TestSweepPrinterRecordings(t *testing.T) {
	hinted := []string{"canon-lbp5700", "epson-eeps2-printserver", "hp-laserjet-p1505n"}
	all := recordings(t, "snmp")
	for _, h := range hinted {
		if _, ok := all[h]; !ok {
			t.Errorf("the recording %s is gone", h)
		}
	}
	for name, lines := range all {
		for _, v := range []gosnmp.SnmpVersion{gosnmp.Version1, gosnmp.Version2c} {
			t.Run(name+" "+v.String(), func(t *testing.T) {
				a := newAgent(t, lines)
				a.versions = []gosnmp.SnmpVersion{v}
				want := Printer
				if slices.Contains(hinted, name) {
					want = Hinted
				}
				o := sweepNet(t, "10.1.2.1", Config{Retries: 2}, map[string]*fakeHost{"10.1.2.1": {agent: a}})
				if c := o.of(t, "10.1.2.1"); c == nil || c.Kind != want || want == Hinted && c.Reason == "" {
					t.Errorf("got %+v, want %s", c, want)
				}
			})
		}
	}
}
