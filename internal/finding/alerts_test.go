package finding

import (
	"testing"

	"printround/internal/device"
)

func ageOf(s int64) *int64 { return &s }

// RFC 3805 section 2.2.13.3: every critical alert is binary, a unary warning
// may stay listed after its condition is over.
func TestAlertsThatHoldAndAlertsThatMayBeOver(t *testing.T) {
	jam := device.Alert{Code: "jam", Severity: "critical", Group: "mediaPath", GroupIndex: 1, Training: "untrained"}
	run(t, []judgement{
		{"critical on the print path stops", answering(state("running", "idle", ""), alert(jam)), device.Stopped,
			[]want{{code: "media-jam", impact: isStopped}}},
		{"binary is active", answering(alert(device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warningBinaryChangeEvent", Group: "markerSupplies", GroupIndex: 1})), device.Due,
			[]want{{code: "toner-low", impact: isDue}}},
		{"unary that nothing supports is a note", answering(alert(device.Alert{Code: "markerOpcLifeAlmostOver", Severity: "warning", Group: "markerSupplies", GroupIndex: 3, AgeS: ageOf(9e5)})), device.Clear,
			[]want{{code: "opc-near-eol", impact: isNote}}},
		{"unary that a reason supports", answering(reasons("cover-open-warning"), alert(device.Alert{Code: "coverOpen", Severity: "warning", Group: "cover", GroupIndex: 1})), device.Impaired,
			[]want{{code: "cover-open", impact: isImpaired, proofs: 2}}},
		{"unary that an error bit supports", answering(state("warning", "idle", ""), bits("lowToner"), alert(device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warning", Group: "markerSupplies", GroupIndex: 1})), device.Due,
			[]want{{code: "toner-low", impact: isDue, proofs: 2}}},
		{"unary that a level supports", answering(toner("black", 4), alert(device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warning", Group: "markerSupplies", GroupIndex: 1})), device.Due,
			[]want{{code: "toner-low", impact: isDue, proofs: 2, summary: "black toner at 4%"}}},
		{"unary that only the state supports", answering(state("warning", "idle", ""), alert(device.Alert{Code: "outputMediaTrayFull", Severity: "warning", Group: "output", GroupIndex: 1})), device.Impaired,
			[]want{{code: "output-area-full", impact: isImpaired}}},
		{"severity other is information", answering(alert(device.Alert{Code: "subunitMissing", Severity: "other", Group: "output", GroupIndex: 1, Description: "Bin removed"})), device.Clear,
			[]want{{code: "output-tray-missing", impact: isNote}}},
		{"an IPP list that is a history: ready, and an old jam", answering(state("", "", "idle"), alert(device.Alert{Source: device.SourceIPP, Code: "jam", Severity: "critical", Group: "mediaPath", GroupIndex: 4})), device.Clear,
			[]want{{code: "media-jam", impact: isNote, stale: true}}},
		{"an IPP list that the state agrees with", answering(state("", "", "stopped"), reasons("media-jam-error"), alert(device.Alert{Source: device.SourceIPP, Code: "jam", Severity: "critical", Group: "mediaPath", GroupIndex: 4})), device.Stopped,
			[]want{{code: "media-jam", impact: isStopped, proofs: 2}}},
		{"empty entries say nothing", answering(alert(device.Alert{Source: device.SourceIPP, Code: "unknown", Severity: "other"}), alert(device.Alert{Source: device.SourceIPP, Code: "other"})), device.Clear, nil},
		{"ready to print", answering(alert(device.Alert{Source: device.SourceIPP, Code: "printerReadyToPrint", Severity: "other", Group: "generalPrinter"})), device.Clear,
			[]want{{code: "printer-ready-to-print", impact: isNote}}},
	})
}

func TestStaleAlerts(t *testing.T) {
	open := device.Alert{Code: "coverOpen", Severity: "critical", Group: "cover", GroupIndex: 1}
	low := device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warning", Group: "markerSupplies", GroupIndex: 1, AgeS: ageOf(950400)}
	ten := 10.0
	run(t, []judgement{
		{"the cover is closed", answering(cover("coverClosed"), alert(open)), device.Clear, []want{{code: "cover-open", impact: isNote, stale: true}}},
		{"another cover is closed", answering(cover("coverOpen"), cover("coverClosed"), alert(open)), device.Stopped, []want{{code: "cover-open", impact: isStopped, proofs: 2, summary: "Cover A open"}}},
		{"the toner was replaced", answering(toner("black", 88), alert(low)), device.Clear, []want{{code: "toner-low", impact: isNote, stale: true}}},
		{"above the device's own low level", answering(
			supply(device.Supply{Kind: "toner", LowAt: &ten, Level: device.KnownLevel(22, 100, device.Remaining)}),
			alert(device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warningBinaryChangeEvent", Group: "markerSupplies", GroupIndex: 1})), device.Clear,
			[]want{{code: "toner-low", impact: isNote, stale: true}}},
		{"the device's own low flag, above our threshold", answering(toner("black", 22),
			alert(device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warningBinaryChangeEvent", Group: "markerSupplies", GroupIndex: 1})), device.Due,
			[]want{{code: "toner-low", impact: isDue, summary: "black toner at 22%"}}},
		{"toner is said to be empty and is not", answering(toner("black", 60), alert(device.Alert{Code: "markerTonerEmpty", Severity: "critical", Group: "markerSupplies", GroupIndex: 1})), device.Clear,
			[]want{{code: "toner-empty", impact: isNote, stale: true}}},
		{"the tray was filled", answering(paper(300, a4), alert(device.Alert{Code: "inputMediaSupplyEmpty", Severity: "critical", Group: "input", GroupIndex: 1})), device.Clear,
			[]want{{code: "media-empty", impact: isNote, stale: true}}},
		{"a full waste box is believed, whatever its level", answering(
			supply(device.Supply{Kind: "wasteToner", Role: device.Receptacle, Level: device.KnownLevel(95, 100, device.SpaceLeft)}),
			alert(device.Alert{Code: "markerWasteTonerReceptacleFull", Severity: "critical", Group: "markerSupplies", GroupIndex: 1})), device.Stopped,
			[]want{{code: "marker-waste-toner-receptacle-full", impact: isStopped}}},
		{"stopped all the same: the stale alert does not account for it", answering(state("down", "other", "stopped"), cover("coverClosed"), alert(open)), device.Stopped,
			[]want{{code: "derived-stopped-unexplained", impact: isStopped}, {code: "cover-open", impact: isNote, stale: true}}},
	})
	d := answering(toner("black", 88), alert(low))
	Judge(d, Defaults())
	f := d.Findings[0]
	if f.Weight != 0 || d.NextStep() != "" || d.Why() != "" || len(d.State.Conditions) != 0 {
		t.Errorf("a stale alert counts: weight %v, next step %q, conditions %v", f.Weight, d.NextStep(), d.State.Conditions)
	}
	if f.AgeS == nil || *f.AgeS != 950400 {
		t.Errorf("age %v, want 950400 s", f.AgeS)
	}
}

// Sleep, warming up, on-line, configuration change, genuine parts and closed
// doors are notes (common practice).
func TestEventsAreNotes(t *testing.T) {
	for _, code := range []string{
		"powerUp", "powerDown", "subunitPowerSaver", "subunitWarmingUp", "subunitTurnedOn", "printerReadyToPrint",
		"configurationChange", "coverClosed", "doorClosed", "interlockClosed", "subunitAdded", "subunitResourceAdded",
		"alertRemovalOfBinaryChangeEntry", "inputMediaSizeChange", "markerAdjustingPrintQuality", "stitcherCoverClosed",
	} {
		for _, severity := range []string{"critical", "warning", "warningBinaryChangeEvent", "other"} {
			d := answering(alert(device.Alert{Code: code, Severity: severity, Group: "generalPrinter", GroupIndex: 1}))
			Judge(d, Defaults())
			if d.Attention != device.Clear || d.Urgency != 0 {
				t.Errorf("%s, %s: %s %d, want clear: %+v", code, severity, d.Attention, d.Urgency, d.Findings)
			}
		}
	}
	for _, r := range []string{"standby", "hibernate", "suspend", "power-down", "testing", "resuming", "connecting-to-device",
		"marker-warming-up", "subunit-power-saver", "identify-printer-requested", "wifi-not-configured", "scan-media-path-input-empty"} {
		for _, suffix := range []string{"", "-warning", "-error", "-report"} {
			d := answering(reasons(r + suffix))
			Judge(d, Defaults())
			if d.Attention != device.Clear {
				t.Errorf("%s%s: %s, want clear: %+v", r, suffix, d.Attention, d.Findings)
			}
		}
	}
	run(t, []judgement{
		{"a genuine part", answering(alert(device.Alert{Code: "other", Severity: "warningBinaryChangeEvent", Group: "markerSupplies", GroupIndex: 1, Description: "Genuine cartridge installed"})),
			device.Clear, []want{{code: "other", impact: isNote, summary: `reports "Genuine cartridge installed"`}}},
		{"a part that is not genuine is no such event", answering(alert(device.Alert{Code: "other", Severity: "warningBinaryChangeEvent", Group: "markerSupplies", GroupIndex: 1, Description: "Non-genuine cartridge"})),
			device.Due, []want{{code: "other", impact: isDue}}},
		{"two conditions without a name stay two", answering(
			alert(device.Alert{Code: "other", Severity: "warningBinaryChangeEvent", Group: "marker", GroupIndex: 1, Description: "Clean the lens"}),
			alert(device.Alert{Code: "other", Severity: "warningBinaryChangeEvent", Group: "marker", GroupIndex: 1, Description: "Replace the pad"})),
			device.Due, []want{{code: "other", impact: isDue, summary: "Clean the lens"}, {code: "other", impact: isDue, summary: "Replace the pad"}}},
		{"standby", answering(state("running", "other", "idle")), device.Clear, []want{{code: "standby", impact: isNote}}},
		{"warming up", answering(state("down", "warmup", "idle")), device.Clear, []want{{code: "subunit-warming-up", impact: isNote, summary: "printer warming up"}}},
	})
}

func TestTrainingLevel(t *testing.T) {
	who := func(training, severity string, opts ...option) device.Finding {
		t.Helper()
		opts = append(opts, alert(device.Alert{Code: "jam", Severity: severity, Group: "mediaPath", GroupIndex: 1, Training: training}))
		d := answering(opts...)
		Judge(d, Defaults())
		if len(d.Findings) != 1 {
			t.Fatalf("findings %+v", d.Findings)
		}
		return d.Findings[0]
	}
	// RFC 3805 section 6, PrtAlertTrainingLevelTC.
	for label, want := range map[string]device.Who{
		"untrained": device.Untrained, "trained": device.Trained, "fieldService": device.FieldService, "management": device.Management,
		"other": device.Untrained, "unknown": device.Untrained, "": device.Untrained, // the advice table decides
	} {
		if f := who(label, "critical"); f.Advice.Who != want {
			t.Errorf("training %q: who %q, want %q", label, f.Advice.Who, want)
		}
	}
	if f := who("noInterventionRequired", "critical"); f.Impact != isNote || f.Advice.Who != device.Nobody {
		t.Errorf("nobody has to act: %s, who %s", f.Impact, f.Advice.Who)
	}
	// The state of the device goes before the alert's word.
	if f := who("noInterventionRequired", "critical", state("down", "other", "stopped")); f.Impact != isStopped || f.Advice.Who != device.Nobody {
		t.Errorf("stopped: %s, who %s", f.Impact, f.Advice.Who)
	}
}

// Scanner, fax and document feeder are impaired at most and say that printing
// works; a finisher blocks finishing.
func TestWhatDoesNotPrintDoesNotStop(t *testing.T) {
	run(t, []judgement{
		{"scanner, error while idle", answering(reasons("scanner-light-failure-error")), device.Impaired,
			[]want{{code: "scanner-light-failure", impact: isImpaired, summary: "printing works"}}},
		{"document feeder, warning", answering(reasons("scan-media-path-jam-warning")), device.Impaired,
			[]want{{code: "scan-media-path-jam", impact: isImpaired, summary: "printing works"}}},
		{"document feeder, said to be an error, and the device stopped by something else", answering(state("", "", "stopped"), reasons("scan-media-path-jam-error", "media-jam-error")), device.Stopped,
			[]want{{code: "media-jam", impact: isStopped}, {code: "scan-media-path-jam", impact: isImpaired, summary: "document feeder jam"}}},
		{"fax", answering(state("", "", "idle"), reasons("fax-modem-missing-error")), device.Impaired,
			[]want{{code: "fax-modem-missing", impact: isImpaired, summary: "printing works"}}},
		{"a jam in a group of the scanner", answering(alert(device.Alert{Code: "jam", Severity: "critical", Group: "scanMediaPath", GroupIndex: 1})), device.Impaired,
			[]want{{code: "scan-media-path-jam", impact: isImpaired, summary: "printing works"}}},
		{"a finisher's critical alert while the printer prints", answering(alert(device.Alert{Code: "staplerJam", Severity: "critical", Group: "finDevice", GroupIndex: 1})), device.Impaired,
			[]want{{code: "stapler-jam", impact: isImpaired}}},
		{"a finisher that the device says it is stopped by", answering(state("down", "other", "stopped"), reasons("stapler-jam-error")), device.Stopped,
			[]want{{code: "stapler-jam", impact: isStopped}}},
		{"a finisher that is all that can be why", answering(state("down", "other", ""), alert(device.Alert{Code: "stackerFull", Severity: "warningBinaryChangeEvent", Group: "finDevice", GroupIndex: 1})), device.Stopped,
			[]want{{code: "stacker-full", impact: isStopped}}},
		{"storage", answering(reasons("storage-full-error")), device.Impaired, []want{{code: "storage-full", impact: isImpaired}}},
	})
}

// Alert codes 1 to 38 name no subunit; the group does (RFC 3805
// PrtAlertGroupTC).
func TestGenericCodesTakeTheirGroup(t *testing.T) {
	punch := func(d *device.Device) {
		d.Finishers = append(d.Finishers, device.Finisher{Index: 2, Name: "Punch unit", Kind: "puncher"})
	}
	binary := func(code, group string, index int) option {
		return alert(device.Alert{Code: code, Severity: "warningBinaryChangeEvent", Group: group, GroupIndex: index})
	}
	run(t, []judgement{
		{"input", answering(paper(0, a4), binary("subunitEmpty", "input", 1)), device.Impaired, []want{{code: "media-empty", impact: isImpaired, proofs: 2}}},
		{"output", answering(binary("subunitFull", "output", 1)), device.Impaired, []want{{code: "output-area-full", impact: isImpaired}}},
		{"marker", answering(binary("subunitMotorFailure", "marker", 1)), device.Impaired, []want{{code: "marker-motor-failure", impact: isImpaired}}},
		{"finisher", answering(punch, binary("jam", "finDevice", 2)), device.Impaired, []want{{code: "puncher-jam", impact: isImpaired, summary: "Punch unit jammed"}}},
		{"storage", answering(binary("subunitFull", "hostResourcesMIBStorageTable", 4)), device.Impaired, []want{{code: "storage-full", impact: isImpaired}}},
		{"drum", answering(supply(device.Supply{Kind: "opc", Level: device.NoLevel(device.LevelSomeLeft)}), binary("subunitLifeAlmostOver", "markerSupplies", 1)), device.Due,
			[]want{{code: "opc-near-eol", impact: isDue, summary: "drum near the end of its life"}}},
		{"fuser, with its level and the reason", answering(
			supply(device.Supply{Kind: "fuser", Name: "Fuser unit", Level: device.KnownLevel(0, 100, device.Remaining)}),
			reasons("subunit-life-over-warning"), binary("subunitLifeOver", "markerSupplies", 1)), device.Due,
			[]want{{code: "subunit-life-over", impact: isDue, proofs: 3, summary: "Fuser unit at the end of its life"}}},
		{"a supply code in the marker's group names no supply", answering(toner("black", 50), toner("cyan", 3), binary("markerTonerAlmostEmpty", "marker", 1)), device.Due,
			[]want{{code: "toner-low", impact: isDue, proofs: 2, summary: "cyan toner at 3%"}}},
		{"a number without a label", answering(alert(device.Alert{Code: "30999", Severity: "warningBinaryChangeEvent", Group: "finDevice", GroupIndex: 1, Description: "Booklet tray open"})), device.Due,
			[]want{{code: "unknown", impact: isDue, summary: "Booklet tray open"}}},
		{"a critical one", answering(alert(device.Alert{Code: "30999", Severity: "critical", Group: "generalPrinter", GroupIndex: 1})), device.Stopped,
			[]want{{code: "unknown", impact: isStopped}}},
	})
}
