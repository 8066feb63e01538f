package finding

import (
	"testing"

	"printround/internal/device"
)

func part(kind, name string, percent int64) option {
	return supply(device.Supply{Kind: device.Text(kind), Name: device.Text(name), Level: device.KnownLevel(percent, 100, device.Remaining)})
}

func waste(kind string, spaceLeft int64) option {
	return supply(device.Supply{Kind: device.Text(kind), Role: device.Receptacle, Level: device.KnownLevel(spaceLeft, 100, device.SpaceLeft)})
}

func lowAt(kind string, percent int64, low float64) option {
	return supply(device.Supply{Kind: device.Text(kind), Colorant: "black", LowAt: &low, Level: device.KnownLevel(percent, 100, device.Remaining)})
}

// Thresholds: 10 % for consumables, 5 % for long-life parts, 10 % space left
// for waste (common practice).
func TestSupplyThresholds(t *testing.T) {
	run(t, []judgement{
		{"toner at the threshold", answering(toner("black", 10)), device.Due, []want{{code: "toner-low", impact: isDue, summary: "black toner at 10%"}}},
		{"toner above it", answering(toner("black", 11)), device.Clear, nil},
		{"ink", answering(part("inkCartridge", "", 9)), device.Due, []want{{code: "marker-ink-almost-empty", impact: isDue, summary: "ink at 9%"}}},
		{"ribbon, in keyword form", answering(part("ink-ribbon", "", 3)), device.Due, []want{{code: "marker-print-ribbon-almost-empty", impact: isDue}}},
		{"an unknown kind", answering(part("", "Fluid", 3)), device.Due, []want{{code: "marker-supply-low", impact: isDue, summary: "Fluid at 3%"}}},
		{"drum above the threshold of long-life parts", answering(part("opc", "Drum", 6)), device.Clear, nil},
		{"drum", answering(part("opc", "Drum", 5)), device.Due, []want{{code: "opc-near-eol", impact: isDue, summary: "Drum at 5%"}}},
		{"fuser has no keyword", answering(part("fuser", "Fuser", 4)), device.Due, []want{{code: "derived-service-due", impact: isDue, summary: "Fuser at 4%"}}},
		{"fuser at its end still prints", answering(part("fuser", "Fuser", 0)), device.Due, []want{{code: "derived-service-due", impact: isDue, summary: "Fuser due for replacement"}}},
		{"transfer unit", answering(part("transferUnit", "", 4)), device.Due, []want{{code: "derived-service-due", impact: isDue, summary: "transfer unit at 4%"}}},
		{"cleaning unit", answering(part("cleanerUnit", "", 4)), device.Due, []want{{code: "cleaner-life-almost-over", impact: isDue}}},
		{"a roller kit of kind other, above its threshold", answering(part("other", "Tray 2 Feed Roller Kit", 6)), device.Clear, nil},
		{"a roller kit of kind other", answering(part("other", "Tray 2 Feed Roller Kit", 4)), device.Due, []want{{code: "input-pick-roller-life-warn", impact: isDue}}},
		{"a maintenance kit", answering(part("other", "Maintenance Kit 220V", 2)), device.Due, []want{{code: "derived-service-due", impact: isDue}}},
		{"a print head", answering(part("other", "Printhead 203 dpi", 2)), device.Due, []want{{code: "marker-life-almost-over", impact: isDue}}},
		{"waste box", answering(waste("wasteToner", 10)), device.Due, []want{{code: "marker-waste-toner-receptacle-almost-full", impact: isDue, summary: "waste toner box: 10% space left"}}},
		{"waste box with room", answering(waste("wasteToner", 11)), device.Clear, nil},
		{"a receptacle of another kind", answering(waste("other", 4)), device.Due, []want{{code: "marker-waste-almost-full", impact: isDue}}},
		{"waste ink", answering(waste("wasteInk", 0)), device.Impaired, []want{{code: "marker-waste-ink-receptacle-full", impact: isImpaired, summary: "waste ink box full"}}},
		{"level 0 while it prints is not stopped", answering(state("running", "printing", "processing"), toner("black", 0)), device.Impaired, []want{{code: "toner-empty", impact: isImpaired, summary: "black toner empty"}}},
		{"level 0 while stopped with nothing else", answering(state("down", "other", "stopped"), toner("black", 0)), device.Stopped, []want{{code: "toner-empty", impact: isStopped}}},
		{"unknown levels are no finding", answering(
			supply(device.Supply{Kind: "toner", Level: device.NoLevel(device.LevelSomeLeft)}), supply(device.Supply{Kind: "toner", Level: device.NoLevel(device.LevelUnknown)}),
			supply(device.Supply{Kind: "toner", Level: device.NoLevel(device.LevelUnlimited)}), supply(device.Supply{Kind: "toner", Level: device.KnownLevel(101, 100, device.Remaining)})), device.Clear, nil},
	})
}

// The device's own low level goes before ours.
func TestOwnThresholdsWin(t *testing.T) {
	run(t, []judgement{
		{"below its own, above ours", answering(lowAt("toner", 18, 20)), device.Due, []want{{code: "toner-low", impact: isDue}}},
		{"at its own", answering(lowAt("toner", 20, 20)), device.Due, []want{{code: "toner-low", impact: isDue}}},
		{"above its own, below ours: said, and asks for nobody", answering(lowAt("toner", 8, 5)), device.Clear, []want{{code: "toner-low", impact: isNote}}},
		{"its own of 0 says nothing", answering(lowAt("toner", 8, 0)), device.Due, []want{{code: "toner-low", impact: isDue}}},
		{"its own low flag though the level is above both", answering(toner("black", 30), reasons("toner-low-warning")), device.Due, []want{{code: "toner-low", impact: isDue, summary: "black toner at 30%"}}},
	})
}

// The same condition from several sources is one finding.
func TestSourcesOfOneSupplyAreOneFinding(t *testing.T) {
	low := device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warningBinaryChangeEvent", Group: "markerSupplies", GroupIndex: 2, Training: "trained"}
	named := func(d *device.Device) { d.Supplies[1].Name = "Toner C2" }
	run(t, []judgement{
		{"level, alert, reason and bit", answering(state("warning", "idle", "idle"), toner("black", 70), toner("cyan", 6), named, alert(low), reasons("toner-low-warning"), bits("lowToner")), device.Due,
			[]want{{code: "toner-low", impact: isDue, proofs: 4, summary: "Toner C2 at 6%"}}},
		{"the general keyword of IPP", answering(toner("black", 70), toner("cyan", 6), reasons("marker-supply-low-warning")), device.Due,
			[]want{{code: "toner-low", impact: isDue, proofs: 2}}},
		{"two low, one word: two findings that it supports", answering(toner("black", 70), toner("cyan", 6), toner("magenta", 8), reasons("marker-supply-low-warning")), device.Due,
			[]want{{code: "toner-low", impact: isDue, proofs: 2, summary: "cyan"}, {code: "toner-low", impact: isDue, proofs: 2, summary: "magenta"}}},
		{"low and empty, both words", answering(toner("magenta", 9), toner("cyan", 0), toner("yellow", 0), toner("black", 33), reasons("marker-supply-empty-error", "marker-supply-low-warning")), device.Impaired,
			[]want{{code: "toner-empty", impact: isImpaired, proofs: 2, summary: "cyan"}, {code: "toner-empty", impact: isImpaired, proofs: 2, summary: "yellow"}, {code: "toner-low", impact: isDue, proofs: 2, summary: "magenta"}}},
		{"said to be empty, by its level nearly so", answering(toner("black", 4), reasons("toner-empty-warning")), device.Impaired,
			[]want{{code: "toner-empty", impact: isImpaired, proofs: 2, summary: "black toner at 4%, called empty"}}},
		{"said to be empty, and another level is unknown", answering(toner("black", 4), supply(device.Supply{Kind: "toner", Colorant: "cyan"}), reasons("toner-empty-warning")), device.Impaired,
			[]want{{code: "toner-empty", impact: isImpaired, proofs: 1}, {code: "toner-low", impact: isDue, proofs: 1}}},
		{"the only toner is the one meant", answering(supply(device.Supply{Kind: "toner", Name: "Black cartridge", Level: device.NoLevel(device.LevelSomeLeft)}), part("opc", "Drum", 60), reasons("toner-low-warning")), device.Due,
			[]want{{code: "toner-low", impact: isDue, proofs: 1, summary: "Black cartridge low"}}},
		{"toner and drum are two", answering(toner("black", 4), part("opc", "Drum", 3)), device.Due,
			[]want{{code: "toner-low", impact: isDue}, {code: "opc-near-eol", impact: isDue}}},
		{"ink that the device calls toner", answering(part("inkCartridge", "Cyan ink", 6), alert(device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warningBinaryChangeEvent", Group: "markerSupplies", GroupIndex: 1})), device.Due,
			[]want{{code: "marker-ink-almost-empty", impact: isDue, proofs: 2}}},
		{"a missing cartridge", answering(state("down", "other", "stopped"), toner("black", 50), bits("markerSupplyMissing"), reasons("marker-toner-cartridge-missing-error")), device.Stopped,
			[]want{{code: "marker-toner-cartridge-missing", impact: isStopped, proofs: 2}}},
	})
	d := answering(toner("black", 70), toner("cyan", 6), alert(low))
	Judge(d, Defaults())
	f := d.Findings[0]
	if f.Subunit != (device.Subunit{Group: "markerSupplies", Index: 2}) || f.Advice.Part != "cyan toner cartridge" || f.Advice.Who != device.Trained {
		t.Errorf("subunit %+v, part %q, who %q", f.Subunit, f.Advice.Part, f.Advice.Who)
	}
}

func TestFinisherSupplies(t *testing.T) {
	finisher := func(kind, supplyKind string, role device.SupplyRole, percent int64) option {
		return func(d *device.Device) {
			m := device.Remaining
			if role == device.Receptacle {
				m = device.SpaceLeft
			}
			d.Finishers = append(d.Finishers, device.Finisher{Index: len(d.Finishers) + 1, Name: "Finisher", Kind: device.Text(kind),
				Supplies: []device.Supply{{Index: len(d.Finishers) + 1, Kind: device.Text(supplyKind), Role: role, Level: device.KnownLevel(percent, 100, m)}}})
		}
	}
	run(t, []judgement{
		{"staples nearly out", answering(finisher("stitcher", "staples", device.Consumed, 4)), device.Due, []want{{code: "stapler-almost-empty", impact: isDue, summary: "Finisher at 4%"}}},
		{"staples out, with the alert of the supply and the other keyword", answering(finisher("stitcher", "staples", device.Consumed, 0), reasons("stitcher-empty-warning"),
			alert(device.Alert{Code: "staplerEmpty", Severity: "warningBinaryChangeEvent", Group: "finSupply", GroupIndex: 1})), device.Impaired, []want{{code: "stapler-empty", impact: isImpaired, proofs: 3}}},
		{"wire of a stitcher", answering(finisher("stitcher", "stitchingWire", device.Consumed, 0)), device.Impaired, []want{{code: "stitcher-empty", impact: isImpaired}}},
		{"chips of a punch", answering(finisher("puncher", "wastePaper", device.Receptacle, 0)), device.Impaired, []want{{code: "puncher-full", impact: isImpaired}}},
		{"chips of a punch, nearly", answering(finisher("puncher", "wastePaper", device.Receptacle, 8)), device.Due, []want{{code: "puncher-almost-full", impact: isDue}}},
	})
}
