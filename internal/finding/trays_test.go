package finding

import (
	"testing"

	"printround/internal/device"
)

func bin(room, capacity int64) option {
	return func(d *device.Device) {
		d.Outputs = append(d.Outputs, device.Output{Index: len(d.Outputs) + 1, Level: device.KnownLevel(room, capacity, device.SpaceLeft)})
	}
}

func status(group string, index int, code int64) option {
	return func(d *device.Device) {
		switch s := device.StatusFrom(code); group {
		case "input":
			d.Trays[index-1].Status = s
		case "output":
			d.Outputs[index-1].Status = s
		case "mediaPath":
			d.Paths = append(d.Paths, device.Path{Index: index, Name: "Duplex path", Status: s})
		}
	}
}

func TestTrays(t *testing.T) {
	manual := tray(device.Tray{Kind: "sheetFeedManual", Name: "Bypass", Level: device.KnownLevel(0, 100, device.Remaining), Media: device.Media{Name: "iso_a5_148x210mm"}})
	unknownMedium := tray(device.Tray{Level: device.KnownLevel(200, 500, device.Remaining)})
	width, length := 210.0, 297.0
	measured := tray(device.Tray{Level: device.NoLevel(device.LevelSomeLeft), Media: device.Media{WidthMM: &length, LengthMM: &width}})
	recycled := tray(device.Tray{Level: device.KnownLevel(200, 500, device.Remaining), Media: device.Media{Name: a4, Type: "labels"}})
	plain := tray(device.Tray{Name: "Tray A", Level: device.KnownLevel(0, 500, device.Remaining), Media: device.Media{Name: a4, Type: "stationery"}})
	run(t, []judgement{
		{"one empty, another holds the medium", answering(paper(0, a4), paper(300, a4)), device.Clear, []want{{code: "media-empty", impact: isNote, summary: "tray 1 empty"}}},
		{"the other one by its measures, fed across", answering(paper(0, a4), measured), device.Clear, []want{{code: "media-empty", impact: isNote}}},
		{"one empty, the other holds another size", answering(paper(0, a4), paper(300, letter)), device.Impaired, []want{{code: "media-empty", impact: isImpaired}}},
		{"the same size of another type", answering(plain, recycled), device.Impaired, []want{{code: "media-empty", impact: isImpaired, summary: "Tray A empty"}}},
		{"one empty, the medium of the other is not known", answering(paper(0, a4), unknownMedium), device.Clear, []want{{code: "media-empty", impact: isNote}}},
		{"all empty", answering(paper(0, a4), paper(0, a4)), device.Impaired, []want{{code: "media-empty", impact: isImpaired}, {code: "media-empty", impact: isImpaired}}},
		{"a tray for feeding by hand is usually empty", answering(manual, paper(300, a4), status("input", 1, 19)), device.Clear, nil},
		{"unless a source complains", answering(manual, paper(300, a4), reasons("media-empty-error")), device.Impaired, []want{{code: "media-empty", impact: isImpaired}}},
		{"nearly empty is a note", answering(paper(40, a4)), device.Clear, []want{{code: "media-low", impact: isNote, summary: "tray 1 nearly empty"}}},
		{"a reason and the tray it can mean", answering(paper(0, a4), paper(300, letter), reasons("media-empty-warning")), device.Impaired, []want{{code: "media-empty", impact: isImpaired, proofs: 2}}},
		{"a warning about a tray that has a substitute", answering(paper(0, a4), paper(300, a4), reasons("media-empty-warning"), bits("inputTrayEmpty"), state("warning", "idle", "idle"),
			alert(device.Alert{Code: "inputMediaSupplyEmpty", Severity: "warningBinaryChangeEvent", Group: "input", GroupIndex: 1})), device.Clear,
			[]want{{code: "media-empty", impact: isNote, proofs: 4}}},
		{"a report while idle", answering(paper(0, a4), paper(300, a4), reasons("media-empty-report")), device.Clear, []want{{code: "media-empty", impact: isNote, proofs: 2}}},
		{"an error while idle, whatever the other trays hold", answering(paper(0, a4), paper(300, a4), reasons("media-empty-error")), device.Impaired, []want{{code: "media-empty", impact: isImpaired}}},
		{"a critical alert about one of several, device not stopped", answering(paper(0, a4), paper(300, a4), alert(device.Alert{Code: "inputMediaSupplyEmpty", Severity: "critical", Group: "input", GroupIndex: 1})), device.Clear,
			[]want{{code: "media-empty", impact: isNote, proofs: 2}}},
		{"a critical alert about the only tray, device stopped", answering(state("down", "other", "stopped"), paper(0, a4), reasons("media-empty-error"), bits("noPaper"),
			alert(device.Alert{Code: "inputMediaSupplyEmpty", Severity: "critical", Group: "input", GroupIndex: 1})), device.Stopped,
			[]want{{code: "media-empty", impact: isStopped, proofs: 4}}},
		{"stopped, and the empty tray with a substitute is all it reports", answering(state("", "", "stopped"), paper(0, a4), paper(300, a4), reasons("media-empty")), device.Stopped,
			[]want{{code: "media-empty", impact: isStopped}}},
		{"stopped by a jam, and a tray is empty", answering(state("", "", "stopped"), paper(0, a4), paper(300, a4), reasons("media-empty", "media-jam")), device.Stopped,
			[]want{{code: "media-jam", impact: isStopped}, {code: "media-empty", impact: isNote, proofs: 2}}},
	})
}

func TestOutputs(t *testing.T) {
	run(t, []judgement{
		{"nearly full is a note", answering(bin(10, 250)), device.Clear, []want{{code: "output-area-almost-full", impact: isNote}}},
		{"the only bin is full", answering(bin(0, 250)), device.Impaired, []want{{code: "output-area-full", impact: isImpaired}}},
		{"another bin has room", answering(bin(0, 250), bin(200, 250)), device.Clear, []want{{code: "output-area-full", impact: isNote}}},
		{"full and stopped", answering(state("down", "other", ""), bin(0, 250), bits("outputFull")), device.Stopped, []want{{code: "output-area-full", impact: isStopped, proofs: 2}}},
	})
}

// PrtSubUnitStatusTC: 8 non-critical alerts, 17 unavailable on request and
// critical, 19 broken and critical (RFC 3805 section 2.2.13.2.2; RFC 8011
// section 5.4.12 equates 17 with media-needed).
func TestSubunitStatus(t *testing.T) {
	run(t, []judgement{
		{"media needed", answering(paper(300, a4), status("input", 1, 17)), device.Impaired, []want{{code: "media-needed", impact: isImpaired, summary: "paper needed in tray 1"}}},
		{"broken supports what the level says", answering(paper(0, a4), status("input", 1, 19)), device.Impaired, []want{{code: "media-empty", impact: isImpaired, proofs: 2}}},
		{"unavailable with an alert that nobody names: empty, or jammed, or out", answering(paper(300, letter), tray(device.Tray{Name: "Lower tray", Level: device.NoLevel(device.LevelUnknown), Media: device.Media{Name: a4}}), status("input", 2, 19)), device.Impaired,
			[]want{{code: "derived-subunit-unavailable", impact: isImpaired, summary: "Lower tray not available"}}},
		{"the same while another tray holds the medium", answering(paper(300, a4), tray(device.Tray{Level: device.NoLevel(device.LevelUnknown), Media: device.Media{Name: a4}}), status("input", 2, 19)), device.Clear,
			[]want{{code: "derived-subunit-unavailable", impact: isNote}}},
		{"the same while the device says that it is stopped", answering(state("down", "other", ""), paper(300, a4), status("mediaPath", 1, 19)), device.Stopped,
			[]want{{code: "derived-subunit-unavailable", impact: isStopped, summary: "Duplex path not available"}}},
		{"broken by itself", answering(paper(300, a4), status("input", 1, 3)), device.Impaired, []want{{code: "input-media-tray-failure", impact: isImpaired}}},
		{"non-critical by itself is a note", answering(paper(300, a4), status("input", 1, 8)), device.Clear, []want{{code: "derived-subunit-alert", impact: isNote}}},
		{"on the path of a jam that another source names", answering(state("down", "other", "stopped"), reasons("media-jam-error"), status("mediaPath", 1, 19)), device.Stopped,
			[]want{{code: "media-jam", impact: isStopped, proofs: 2}}},
		{"a unary alert that the status supports", answering(paper(300, a4), status("input", 1, 8), alert(device.Alert{Code: "inputTrayElevationFailure", Severity: "warning", Group: "input", GroupIndex: 1})), device.Impaired,
			[]want{{code: "input-tray-elevation-failure", impact: isImpaired, proofs: 2}}},
		{"standby off-line is sleep", answering(paper(300, a4), status("input", 1, 34)), device.Clear, nil},
	})
}

func TestJamNamesItsPlace(t *testing.T) {
	d := answering(status("mediaPath", 2, 19), alert(device.Alert{Code: "jam", Severity: "critical", Group: "mediaPath", GroupIndex: 2}), reasons("media-jam-error"), bits("jammed"), state("down", "other", "stopped"))
	checkJudged(t, d, device.Stopped, want{code: "media-jam", impact: isStopped, proofs: 4, summary: "paper jam in Duplex path"})
}
