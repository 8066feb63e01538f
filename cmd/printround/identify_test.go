package main

import (
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/report"
	"printround/internal/survey"
)

// patient is how long these tests wait for an answer on a busy machine.
const patient = 10 * time.Second

// labDevice reads one printer of a lab over IPP.
func labDevice(t *testing.T, l *lab.Lab, name string) []device.Device {
	t.Helper()
	d := labtest.Device(t, l, name)
	r := survey.ReadIPP(t.Context(), survey.IPPTarget{Addr: d.Addr, Port: uint16(d.IPPPort), Path: d.IPPPath}, survey.ReadOptions{Timeout: patient, Now: time.Now})
	if len(r.Views) != 1 {
		t.Fatalf("%s: %+v", name, r.Problems)
	}
	return r.Views
}

func TestIdentify(t *testing.T) {
	a, shown := testApp(t)
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	p := &plan{a: a, reach: &reachFlags{timeout: patient}, choose: &chooseFlags{}, show: &showFlags{}}
	devices := labDevice(t, l, "copy-1")
	if err := p.identify(t.Context(), devices, false, report.Options{}); err == nil || len(l.Received()) > 0 {
		t.Errorf("nobody to ask: %v, received %v", err, l.Received())
	}
	if err := p.identify(t.Context(), devices, true, report.Options{}); err != nil {
		t.Fatal(err)
	}
	if got := l.Identified("copy-1"); !slices.Equal(got, []string{"flash", "sound", "display"}) {
		t.Errorf("it showed itself by %v", got)
	}
	if got := l.Received(); !slices.Equal(got, []string{"copy-1: IPP Identify-Printer"}) {
		t.Errorf("received %v, want Identify-Printer once", got)
	}
	out, errs := shown()
	for _, want := range []string{"makes the device flash, sound and show a message on its panel, and changes nothing", "Copy room 1, Thellmark MX550", "where: Floor 1, copy room", "at: ipps://"} {
		if !strings.Contains(errs, want) {
			t.Errorf("%q is not said beforehand:\n%s", want, errs)
		}
	}
	if !strings.Contains(out, "The device accepted") {
		t.Errorf("said afterwards: %s", out)
	}
}

// A device that does not offer it is described, and nothing is sent.
func TestIdentifyNotOffered(t *testing.T) {
	a, shown := testApp(t)
	p := &plan{a: a, reach: &reachFlags{timeout: patient}, choose: &chooseFlags{}, show: &showFlags{}}
	d := device.Device{MakeModel: "Printabell T4", Serial: "PL1", Location: "Post room"}
	d.Reached.SNMP.OK = true
	if err := p.identify(t.Context(), []device.Device{d}, false, report.Options{}); err != nil {
		t.Fatal(err)
	}
	if out, _ := shown(); !strings.Contains(out, "does not answer over IPP") || !strings.Contains(out, "PL1") {
		t.Errorf("said: %s", out)
	}
}

func TestActionWords(t *testing.T) {
	for want, actions := range map[string][]string{
		"show itself in its own way":                   {},
		"flash":                                        {"flash"},
		"flash and sound":                              {"flash", "sound"},
		"sound and show a message on its panel":        {"sound", "display"},
		"flash, sound and show a message on its panel": {"flash", "sound", "display"},
	} {
		if got := actionWords(actions); got != want {
			t.Errorf("%v: %q, want %q", actions, got, want)
		}
	}
}
