package finding

import (
	"testing"

	"printround/internal/device"
)

func TestMissed(t *testing.T) {
	silent := func() device.Device {
		d := device.Device{Key: "serial:A", Role: device.RolePrinter}
		d.Reached.SNMP.Tried = true
		Judge(&d, Defaults())
		return d
	}
	jam := device.Finding{Code: "media-jam", Impact: device.ImpactStopped, Weight: 0.9, Summary: "paper jam", Advice: device.Advice{Steps: []string{"Take the sheet out"}}}
	d := silent()
	if d.Attention != device.Silent {
		t.Fatalf("without an answer it is %s", d.Attention)
	}
	Missed(&d, "no answer this time", "one miss is a note", nil)
	if d.Attention != device.Clear || d.Urgency != 0 || d.Why() != "" || len(d.Findings) != 1 || d.Findings[0].Summary != "no answer this time" {
		t.Errorf("%s %d %+v", d.Attention, d.Urgency, d.Findings)
	}
	d = silent()
	Missed(&d, "no answer this time", "one miss is a note", []device.Finding{{Code: NoAnswer, Impact: device.ImpactSilent}, jam})
	if d.Attention != device.Stopped || d.Why() != "paper jam" || d.NextStep() != "Take the sheet out" || len(d.Findings) != 2 || len(d.State.Conditions) != 2 {
		t.Errorf("%s %d %+v %v", d.Attention, d.Urgency, d.Findings, d.State.Conditions)
	}
	// Something that answers and is no printer is no silence.
	d = device.Device{Key: "serial:A", Role: device.RolePrinter}
	d.Reached.SNMP = device.SNMPReach{Tried: true, Version: "2c"}
	Judge(&d, Defaults())
	Missed(&d, "no answer this time", "one miss is a note", nil)
	if d.Attention != device.Silent {
		t.Errorf("another machine at its place: %s", d.Attention)
	}
}
