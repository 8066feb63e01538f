package finding

import (
	"strings"
	"testing"

	"printround/internal/device"
)

// What devices of offices were seen to say, with invented names and words. What
// follows from it is common practice, no source, except where a section is
// named.

func queueOf(accepting bool) option {
	return func(d *device.Device) { d.Queue.Accepting = &accepting }
}

func ippAlert(code, severity, text string) option {
	return alert(device.Alert{Source: device.SourceIPP, Code: code, Severity: severity, Description: device.Text(text)})
}

func serverQueue(d *device.Device) {
	d.Role = device.RoleServerQueue
	d.Reached.SNMP = device.SNMPReach{}
	d.State = device.State{PrinterState: "idle"}
}

func ippOnly(d *device.Device) {
	d.Reached.SNMP = device.SNMPReach{}
	d.State.Device, d.State.Printer = "", ""
}

func TestWhatOfficesSay(t *testing.T) {
	run(t, []judgement{
		// RFC 8011 section 5.4.23: false means that no more jobs are taken now.
		{"a device that holds one job at a time and is printing it", answering(state("running", "printing", "processing"), queueOf(false), reasons("spool-area-full-report")), device.Clear,
			[]want{{code: "derived-not-accepting-jobs", impact: isNote, summary: "until one has printed"}, {code: "spool-area-full", impact: isNote}}},
		{"refusing jobs for no reason", answering(state("running", "printing", "processing"), queueOf(false)), device.Impaired,
			[]want{{code: "derived-not-accepting-jobs", impact: isImpaired, summary: "refuses new jobs"}}},

		{"alert lists padded with an entry that says nothing", answering(ippAlert("other", "", "Idle"), ippAlert("other", "other", "no alert."), ippAlert("unknown", "warning", "ready")), device.Clear, nil},
		{"but not when it is called critical", answering(state("down", "other", "stopped"), ippAlert("other", "critical", "idle")), device.Stopped,
			[]want{{code: "other", impact: isStopped}}},

		{"a word of the server's software is no condition of a printer", answering(serverQueue, reasons("made-up-protocol-gap")), device.Clear,
			[]want{{code: "made-up-protocol-gap", impact: isNote}}},
		{"a registered one is", answering(serverQueue, reasons("toner-low-warning")), device.Due, []want{{code: "toner-low", impact: isDue}}},
		{"nor does it excuse an error", answering(serverQueue, reasons("made-up-filter-error")), device.Impaired,
			[]want{{code: "made-up-filter-error", impact: isImpaired}}},

		{"a stale alert does not read like a level", answering(toner("black", 88), alert(device.Alert{Code: "markerTonerAlmostEmpty", Severity: "warning", Group: "markerSupplies", GroupIndex: 1})), device.Clear,
			[]want{{code: "toner-low", impact: isNote, stale: true, summary: "black toner low, though at 88%"}}},
	})
}

func TestFirstStepsFitWhatIsKnown(t *testing.T) {
	for _, c := range []struct {
		name, summary, step string
		d                   *device.Device
	}{
		{"service without a part", "preventive service is due", "Print the status page", answering(state("warning", "idle", "idle"), bits("overduePreventMaint"))},
		{"service of a part", "Fuser at 3%", "Bring a replacement for Fuser", answering(part("fuser", "Fuser", 3))},
		{"a low supply that is not named", "supply low", "Read at the panel which supply is meant",
			answering(reasons("marker-supply-low-warning"), part("toner", "Black", -1), part("toner", "Cyan", -1))},
		{"a stop without a name is not fine when the panel shows ready", "without a name", "Read the panel and the alert text",
			answering(state("down", "other", "stopped"), alert(device.Alert{Code: "unknown", Severity: "critical"}))},
		{"a code outside the list can be looked up", `"alert code 40017"`, "Read the panel and the alert text",
			answering(state("down", "other", "stopped"), alert(device.Alert{Code: "40017", Severity: "critical"}))},
		{"a fault without a name at the scanner", `reports "Lid"; printing works`, "Read the panel and the alert text",
			answering(alert(device.Alert{Code: "40018", Severity: "critical", Group: "scanner", GroupIndex: 1, Description: "Lid"}))},
	} {
		Judge(c.d, Defaults())
		f := c.d.Findings[0]
		if !strings.Contains(f.Summary, c.summary) || !strings.HasPrefix(f.Advice.Steps[0], c.step) {
			t.Errorf("%s: %q, step %q", c.name, f.Summary, f.Advice.Steps[0])
		}
		if scanner := strings.HasSuffix(c.summary, "printing works"); scanner && f.Impact != isImpaired {
			t.Errorf("%s: %s", c.name, f.Impact)
		}
	}
}

// A supply that is called by a letter or by its colour is told by what it is.
func TestSupplyNamesThatSayNothing(t *testing.T) {
	for _, c := range []struct{ name, colorant, want string }{
		{"C", "cyan", "C (cyan toner) at 4%"},
		{"BK", "black", "BK (black toner) at 4%"},
		{"Magenta", "magenta", "magenta toner at 4%"},
		{"Toner 12M", "magenta", "Toner 12M at 4%"},
		{"", "yellow", "yellow toner at 4%"},
		{"X1", "", "X1 (toner) at 4%"},
	} {
		d := answering(supply(device.Supply{Name: device.Text(c.name), Kind: "toner", Colorant: device.Text(c.colorant), Level: device.KnownLevel(4, 100, device.Remaining)}))
		Judge(d, Defaults())
		f := d.Findings[0]
		if f.Summary != c.want || f.Subunit.Name != device.Text(c.name) {
			t.Errorf("%q: summary %q, subunit %q", c.name, f.Summary, f.Subunit.Name)
		}
		if called, _, _ := strings.Cut(c.want, " at "); !strings.Contains(f.Advice.Steps[0], called) {
			t.Errorf("%q: step %q", c.name, f.Advice.Steps[0])
		}
	}
}

// Nobody fans a roll or pushes it in until it clicks, whatever the rest of the
// device is fed from.
func TestRollsAreNoSheets(t *testing.T) {
	onRoll := func(kind, tech string) option {
		return func(d *device.Device) {
			d.Technology = device.Text(tech)
			d.Trays = append(d.Trays, device.Tray{Index: len(d.Trays) + 1, Kind: device.Text(kind), Name: "Feed", Source: device.SourceSNMP,
				Level: device.KnownLevel(0, 150, device.Remaining), Media: device.Media{Name: "custom_feed_610x0mm"}})
		}
	}
	for _, c := range []struct {
		name string
		d    *device.Device
		part device.Text
	}{
		{"a roll of a wide-format device", answering(onRoll("continuousRoll", "inkjetAqueous")), "roll of media"},
		{"a roll beside a tray", answering(onRoll("continuousRoll", "inkjetAqueous"), paper(300, a4)), "roll of media"},
		{"a tray", answering(onRoll("sheetFeedAutoRemovableTray", "inkjetAqueous")), "paper"},
		{"labels", answering(onRoll("continuousRoll", "thermalTransfer")), "roll of media"},
	} {
		Judge(c.d, Defaults())
		f := c.d.Findings[0]
		text := strings.Join(f.Advice.Steps, "\n")
		if f.Code != "media-empty" || f.Advice.Part != c.part {
			t.Errorf("%s: %s, bring %q", c.name, f.Code, f.Advice.Part)
		}
		if sheets := strings.Contains(text, "Fan the stack"); sheets != (c.part == "paper") {
			t.Errorf("%s: %s", c.name, text)
		}
	}
}

// What failed is the finisher, not what it consumes.
func TestPartOfAFinisher(t *testing.T) {
	for code, part := range map[string]device.Text{
		"stitcher-unrecoverable-failure": "stitcher unit", "stitcher-empty": "staple cartridge or stitching wire",
		"perforater-over-temperature": "perforating unit", "bander-almost-empty": "banding material",
	} {
		if a := adviceFor(code, "toner"); a.Part != part {
			t.Errorf("%s: bring %q, want %q", code, a.Part, part)
		}
	}
}

// A jam is taken out as its technology and the place ask where it stuck.
func TestJamsByTechnology(t *testing.T) {
	for _, c := range []struct{ code, class, word string }{
		{"media-path-jam", "toner", "drum unit"},
		{"media-path-jam", "ink", "carriage"},
		{"media-path-jam", "thermal", "platen roller"},
		{"media-path-jam", "impact", "tractor"},
		{"media-path-input-jam", "toner", "tray in use"},
		{"media-path-output-jam", "toner", "pressure levers"},
		{"media-path-output-jam", "ink", "exit rollers"},
		{"media-path-output-jam", "thermal", "platen roller"},
		{"input-media-tray-jam", "toner", "below the mark"},
		{"input-media-tray-jam", "ink", "below the mark"},
		{"input-media-tray-jam", "thermal", "platen roller"},
		{"output-media-tray-jam", "toner", "out of the bin"},
		{"scan-media-path-input-jam", "ink", "feeder cover"},
		{"media-jam", "toner", "drum unit"},
	} {
		if a := adviceFor(c.code, c.class); !strings.Contains(strings.Join(a.Steps, "\n"), c.word) {
			t.Errorf("%s on %s: no %q in %q", c.code, c.class, c.word, a.Steps)
		}
	}
}

// An alert that names a part, or whose text names a place, says where a sheet
// stuck.
func TestJamsByPlace(t *testing.T) {
	tray := func(kind device.Text) option {
		return func(d *device.Device) { d.Trays = append(d.Trays, device.Tray{Index: 4, Name: "Feed 4", Kind: kind}) }
	}
	path := func(kind device.Text) option {
		return func(d *device.Device) { d.Paths = append(d.Paths, device.Path{Index: 2, Kind: kind}) }
	}
	jam := func(group string, index int, text device.Text) option {
		return alert(device.Alert{Code: "jam", Severity: "critical", Group: group, GroupIndex: index, Description: text})
	}
	for _, c := range []struct {
		name string
		d    *device.Device
		word string
	}{
		{"a tray", answering(tray("sheetFeedAutoRemovableTray"), jam("input", 4, "")), "Pull Feed 4 out"},
		{"the bypass, by its kind", answering(tray("sheetFeedManual"), jam("input", 4, "")), "off the bypass"},
		{"the bypass, by words", answering(tray("sheetFeedAutoNonRemovableTray"), jam("input", 4, "Jam at multipurpose feeder")), "off the bypass"},
		{"turning, by the path", answering(path("longEdgeBindingDuplex"), jam("mediaPath", 2, "")), "duplex unit"},
		{"turning, by words", answering(jam("mediaPath", 1, "Paper jam in duplexer")), "duplex unit"},
		{"the way to printing", answering(jam("mediaPath", 1, "Registration area")), "tray in use first"},
		{"the exit", answering(jam("mediaPath", 1, "Jam in the fuser area")), "fuser cool"},
		{"the exit of an ink device", answering(tech("inkjetAqueous"), jam("mediaPath", 1, "Jam at exit")), "Take the prints out"},
		{"a bin", answering(jam("output", 1, "")), "out of the bin"},
		{"a finisher", answering(jam("finDevice", 1, "")), "finisher door"},
		{"originals", answering(jam("mediaPath", 1, "Paper jam: document feeder")), "draw the original out"},
		{"nobody says", answering(jam("mediaPath", 1, "Paper jam")), "in the order that the panel shows"},
		{"labels stay labels", answering(tech("thermalTransfer"), tray("continuousRoll"), jam("input", 4, "")), "open the print head"},
		{"wide format stays wide format", answering(tech("inkjetAqueous"), tray("continuousRoll"), jam("input", 4, "")), "Cut the media between the roll"},
	} {
		Judge(c.d, Defaults())
		if f := c.d.Findings[0]; !strings.Contains(strings.Join(f.Advice.Steps, "\n"), c.word) {
			t.Errorf("%s: %s: no %q in %q", c.name, f.Code, c.word, f.Advice.Steps)
		}
	}
}

// The source of a status is the protocol that was read.
func TestStatusProof(t *testing.T) {
	broken := func(d *device.Device) {
		d.Outputs = append(d.Outputs, device.Output{Index: 1, Name: "Upper", Status: device.StatusFrom(17 + 2)})
	}
	for _, c := range []struct {
		d    *device.Device
		want device.Source
	}{{answering(broken), device.SourceSNMP}, {answering(broken, ippOnly), device.SourceIPP}} {
		Judge(c.d, Defaults())
		if got := c.d.Findings[0].Evidence[0].Source; got != c.want {
			t.Errorf("source %s, want %s", got, c.want)
		}
	}
}
