package report

import (
	"net/netip"
	"time"

	"printround/internal/device"
)

// The organisation, makers and models below are invented.

var seen = time.Date(2025, 3, 4, 17, 5, 0, 0, time.UTC)

func ptr[T any](v T) *T { return &v }

func addrs(list ...string) []netip.Addr {
	var out []netip.Addr
	for _, a := range list {
		out = append(out, netip.MustParseAddr(a))
	}
	return out
}

func reached(snmp, ipp bool) device.Reached {
	r := device.Reached{SNMP: device.SNMPReach{Tried: true}, IPP: device.IPPReach{Tried: true}}
	if snmp {
		r.SNMP = device.SNMPReach{OK: true, Tried: true, Version: "2c", Credential: "office", RoundTrips: 9, Values: 412, Bytes: 8123}
	}
	if ipp {
		r.IPP = device.IPPReach{OK: true, Tried: true, URI: "ipps://printer.example:631/ipp/print",
			TLS: &device.TLS{Version: "TLS 1.3", Fingerprint: "00ff11ee", SelfSigned: true, NotAfter: ptr(seen.AddDate(5, 0, 0))}}
		r.MDNS = device.MDNSReach{OK: true, Instance: "Ground floor MFP"}
	}
	return r
}

func toner(index int, color device.Text, left int64) device.Supply {
	return device.Supply{Index: index, Name: color + " toner", Kind: "tonerCartridge", Role: device.Consumed, Colorant: color,
		Unit: "impressions", Capacity: ptr(int64(10000)), Level: device.KnownLevel(left, 10000, device.Remaining),
		LowAt: ptr(10.0), Source: device.SourceSNMP, Object: "prtMarkerSuppliesLevel.1." + string(rune('0'+index))}
}

func jamFinding() device.Finding {
	return device.Finding{Code: "media-jam", Impact: device.ImpactStopped, Subunit: device.Subunit{Group: "mediaPath", Index: 1, Name: "Fuser path"},
		Summary: "Paper jam in the fuser path", AgeS: ptr(int64(720)), Weight: 0.9, Why: "critical alert on the print path, error bit jammed",
		Evidence: []device.Evidence{{Source: device.SourceSNMP, Object: "prtAlertCode.1.7", Value: "jam"},
			{Source: device.SourceSNMP, Object: "hrPrinterDetectedErrorState.1", Value: "jammed"},
			{Source: device.SourceIPP, Object: "printer-state-reasons", Value: "media-jam-error"}},
		Advice: device.Advice{Meaning: "A sheet is stuck on its way through the fuser.", Causes: []string{"damp or curled paper", "worn exit rollers"},
			Steps:      []string{"Open the rear cover and take the sheet out in the direction it travels.", "Close all covers and wait for the device to become ready."},
			PhoneSteps: 2, Part: "fuser", Who: device.Untrained, Minutes: 5, Caution: "The fuser is hot enough to burn. Let it cool down; see the maker's documentation."}}
}

func dueFinding(supply string, weight float64) device.Finding {
	return device.Finding{Code: "toner-low", Impact: device.ImpactDue, Subunit: device.Subunit{Group: "markerSupplies", Index: 1, Name: device.Text(supply)},
		Summary: supply + " is at 6%", Weight: weight, Why: "at or below 10% within 14 days",
		Evidence: []device.Evidence{{Source: device.SourceSNMP, Object: "prtMarkerSuppliesLevel.1.1", Value: "600"}},
		Advice:   device.Advice{Meaning: "The cartridge is nearly empty.", Steps: []string{"Have a cartridge ready and swap it when the print fades."}, Part: "toner cartridge", Who: device.Untrained, Minutes: 3}}
}

// fullDevice has every fact that a device can have.
func fullDevice() device.Device {
	d := device.Device{Key: "serial:quillon:0012345", Aliases: []string{"serial:quillon:0012345", "mac:02:00:5e:10:00:01"}, Site: "North branch",
		Name: "Ground floor MFP", Role: device.RolePrinter, Technology: "electrophotographicLaser", ObservedAt: seen,
		Addresses: addrs("10.20.1.30", "fd00::30"), Hostname: "mfp-ground.example", MakeModel: "Quillon Tandem C55", Serial: "0012345",
		Location: "Ground floor, copy room", Contact: "Service desk", Firmware: "4.2.1", UUID: "5ad43c1e-0000-4000-8000-02005e100001",
		MAC: "02:00:5e:10:00:01", Sole: true, Reached: reached(true, true), Attention: device.Stopped, Urgency: 100,
		NotJudged: []string{"derived-run-out: no history", "derived-service-due: no history", "media-empty: level of Bypass is unknown", "cover-open"}}
	d.State = device.State{Device: "down", Printer: "other", PrinterState: "stopped", Message: "Papierstau", Overall: "Unavailable because broken, critical alert",
		ErrorBits: []string{"jammed"}, Reasons: []string{"media-jam-error"}, Conditions: []string{"media-jam", "toner-low"},
		Console: []string{"PAPIERSTAU", "Hintere Klappe öffnen"}, Lights: []device.Light{{Name: "Attention", Color: "amber", State: "blinking"}}, UptimeS: ptr(int64(400000))}
	low := dueFinding("black toner", 0.4)
	note := device.Finding{Code: "power-saver", Impact: device.ImpactNote, Summary: "Saving power", Why: "an event, not a fault"}
	stale := device.Finding{Code: "cover-open", Impact: device.ImpactStopped, Subunit: device.Subunit{Group: "cover", Index: 2}, Summary: "Rear cover open", Stale: true, Why: "prtCoverStatus says closed"}
	d.Findings = []device.Finding{jamFinding(), low, note, stale}
	black := toner(1, "black", 600)
	black.Other = &device.Reading{Source: device.SourceIPP, Object: "marker-levels[0]", Level: device.KnownLevel(7, 100, device.Remaining)}
	d.Supplies = []device.Supply{black, toner(2, "cyan", 5500), toner(3, "magenta", 4800),
		{Index: 4, Name: "yellow toner", Kind: "tonerCartridge", Role: device.Consumed, Colorant: "yellow", Level: device.NoLevel(device.LevelSomeLeft), Source: device.SourceSNMP, Object: "prtMarkerSuppliesLevel.1.4"},
		{Index: 5, Name: "Waste box", Kind: "wasteToner", Role: device.Receptacle, Unit: "percent", Capacity: ptr(int64(100)), Level: device.KnownLevel(35, 100, device.SpaceLeft), Source: device.SourceSNMP, Object: "prtMarkerSuppliesLevel.1.5"},
		{Index: 6, Name: "black drum", Kind: "opc", Role: device.Consumed, Colorant: "black", Unit: "impressions", Capacity: ptr(int64(60000)), Level: device.KnownLevel(1200, 60000, device.Remaining), Source: device.SourceSNMP, Object: "prtMarkerSuppliesLevel.1.6"}}
	d.Trays = []device.Tray{{Index: 1, Name: "Tray 1", Kind: "sheetFeedAutoRemovableTray", Unit: "sheets", Capacity: ptr(int64(500)), Level: device.KnownLevel(250, 500, device.Remaining),
		Media:  device.Media{Name: "iso_a4_210x297mm", WidthMM: ptr(210.0), LengthMM: ptr(297.0), Type: "stationery", Color: "white", WeightG: ptr(80.0)},
		Status: device.StatusFrom(0), Source: device.SourceSNMP, Object: "prtInputCurrentLevel.1.1"},
		{Index: 2, Name: "Bypass", Kind: "sheetFeedManual", Level: device.NoLevel(device.LevelUnknown), Status: device.StatusFrom(9), Source: device.SourceSNMP, Object: "prtInputCurrentLevel.1.2"}}
	d.Outputs = []device.Output{{Index: 1, Name: "Face-down bin", Kind: "removableBin", Unit: "sheets", Capacity: ptr(int64(250)), Level: device.NoLevel(device.LevelSomeLeft), Status: device.StatusFrom(0), Source: device.SourceSNMP, Object: "prtOutputRemainingCapacity.1.1"}}
	d.Covers = []device.Cover{{Index: 1, Name: "Front cover", Status: "coverClosed", Object: "prtCoverStatus.1.1"}}
	d.Finishers = []device.Finisher{{Index: 1, Name: "Finisher", Kind: "stitcher", Present: "on", Status: device.StatusFrom(0), Object: "finDeviceStatus.1.1",
		Supplies:   []device.Supply{{Index: 1, Name: "Staples", Kind: "staples", Role: device.Consumed, Unit: "items", Capacity: ptr(int64(5000)), Level: device.KnownLevel(4000, 5000, device.Remaining), Source: device.SourceSNMP, Object: "finSupplyCurrentLevel.1.1"}},
		Inputs:     []device.Tray{{Index: 1, Name: "Cover sheets", Unit: "sheets", Capacity: ptr(int64(100)), Level: device.KnownLevel(20, 100, device.Remaining), Source: device.SourceSNMP, Object: "finSupplyMediaInputCurrentLevel.1.1"}},
		Attributes: map[string]string{"finStitchingType": "stapleTopLeft", "deviceMediaSheets": "50"}}}
	d.Paths = []device.Path{{Index: 1, Name: "Duplex path", Kind: "longEdgeBindingDuplex", Speed: ptr(int64(55)), Unit: "sheetsPerHour", Status: device.StatusFrom(0)}}
	d.Channels = []device.Channel{{Index: 1, Kind: "chPort9100", State: "printDataAccepted", Status: device.StatusFrom(0)}}
	d.Languages = []device.Language{{Family: "langPCL", Level: "6", Version: "2.1", Orientation: "portrait"}, {Family: "langPS", Level: "3"}}
	d.Storage = []device.Storage{{Name: "RAM", Kind: "hrStorageRam", Size: ptr(int64(1 << 30)), Used: ptr(int64(1 << 29)), Fails: ptr(int64(2))}}
	d.Counters = device.Counters{Life: device.Count{Value: ptr(int64(1234567)), Unit: "impressions", Source: device.SourceSNMP, Object: "prtMarkerLifeCount.1.1"}, Color: device.Count{Reason: "not reported"}}
	d.Queue = device.Queue{Accepting: ptr(true), Queued: ptr(2), Jobs: []device.Job{{ID: 41, State: "processing-stopped", Reasons: []string{"printer-stopped"}, AgeS: ptr(int64(800)), Pages: ptr(int64(3))}, {ID: 42, State: "pending"}}}
	d.Defaults = device.Defaults{Media: "iso_a4_210x297mm", Orientation: "portrait", Sides: "two-sided-long-edge", Finishings: []string{"none"}, ColorMode: "auto", Ready: []string{"iso_a4_210x297mm"}, Source: device.SourceIPP}
	d.Alerts = []device.Alert{{Source: device.SourceSNMP, Object: "prtAlertCode.1.7", Index: 7, Code: "jam", Severity: "critical", Training: "untrained", Group: "mediaPath", GroupIndex: 1, Description: "Papierstau", AgeS: ptr(int64(720))},
		{Source: device.SourceSNMP, Object: "prtAlertCode.1.9", Index: 9, Code: "coverOpen", Severity: "warning", Group: "cover", GroupIndex: 2, AgeReason: "prtAlertTime is after sysUpTime"}}
	d.Disagreements = []device.Disagreement{{Fact: "supply[1].level", SNMP: "6%", IPP: "7%", Kept: device.SourceSNMP}}
	d.Errors = []device.Problem{{Address: "10.20.1.30", Stage: "snmp", Message: "prtInputTable ended early after 2 rows"}}
	return d
}

// plainDevice is one of several of the same model.
func plainDevice(n int, name, location, host, addr string) device.Device {
	return device.Device{Key: "addr:" + addr, Role: device.RolePrinter, Site: "North branch", Name: device.Text(name), ObservedAt: seen, Addresses: addrs(addr), Hostname: device.Text(host),
		MakeModel: "Norvelt Page 400", Serial: device.Text("000" + string(rune('0'+n))), Location: device.Text(location), Reached: reached(true, false),
		Attention: device.Due, Urgency: 36 - n, Findings: []device.Finding{dueFinding("Black cartridge", 0.5)},
		Supplies: []device.Supply{toner(1, "black", 600)}, Counters: device.Counters{Life: device.Count{Value: ptr(int64(98000 + n)), Unit: "impressions"}}}
}

func silentDevice() device.Device {
	return device.Device{Key: "addr:10.20.1.31", Role: device.RolePrinter, Site: "North branch", Name: "Front desk", Location: "Reception", ObservedAt: seen, Addresses: addrs("10.20.1.31"), Reached: reached(false, false),
		Attention: device.Silent, Urgency: 70, Findings: []device.Finding{{Code: "derived-no-answer", Impact: device.ImpactSilent, Summary: "No answer over SNMP or IPP", Weight: 0.5, Why: "expected by the site file",
			Advice: device.Advice{Meaning: "The device is off, disconnected or at another address.", Steps: []string{"Ask somebody on site whether it is switched on and its network cable is in."}, Who: device.Untrained, Minutes: 5}}},
		Errors: []device.Problem{{Address: "10.20.1.31", Stage: "snmp", Message: "no answer after 3 tries of 2 s"}, {Address: "10.20.1.31", Stage: "tcp", Message: "no route to host"}}}
}

func sampleSurvey() *device.Survey {
	staples := device.Device{Key: "uuid:6f0c2a4e-0000-4000-8000-000000000004", Role: device.RolePrinter, Site: "North branch", Name: "Finance MFP", ObservedAt: seen, Addresses: addrs("10.20.1.33"), Hostname: "mfp-finance.example",
		MakeModel: "Quillon Tandem C70", Location: "2nd floor, finance", Reached: reached(true, true), Attention: device.Impaired, Urgency: 52,
		Findings: []device.Finding{{Code: "stapler-empty", Impact: device.ImpactImpaired, Subunit: device.Subunit{Group: "finDevice", Index: 1}, Summary: "No staples left in the finisher", Weight: 0.6, Why: "warning alert, printing goes on",
			Advice: device.Advice{Meaning: "Jobs that ask for staples wait or come out unstapled.", Steps: []string{"Put a staple cartridge into the finisher."}, Part: "staples", Who: device.Untrained, Minutes: 2, Caution: "Keep fingers away from the stapler head."}}},
		Supplies: []device.Supply{toner(1, "black", 8000), toner(2, "cyan", 900)}, Counters: device.Counters{Life: device.Count{Value: ptr(int64(45210)), Unit: "impressions"}}}
	label := device.Device{Key: "addr:10.20.1.60", Role: device.RolePrinter, Site: "North branch", Name: "Dispatch labels", ObservedAt: seen, Addresses: addrs("10.20.1.60"), MakeModel: "Tessaro Strip 4", Location: "Warehouse",
		Reached: reached(true, false), Attention: device.Clear, Technology: "thermalTransfer", Counters: device.Counters{Life: device.Count{Reason: "not reported"}},
		Supplies: []device.Supply{{Index: 1, Name: "Ribbon", Kind: "inkRibbon", Role: device.Consumed, Level: device.NoLevel(device.LevelSomeLeft)}},
		Trays:    []device.Tray{{Index: 1, Name: "Roll", Kind: "continuousRoll", Media: device.Media{WidthMM: ptr(104.0)}, Level: device.NoLevel(device.LevelUnknown)}}}
	queue := device.Device{Key: "uuid:77777777-0000-4000-8000-000000000007", Role: device.RoleServerQueue, Name: "Shared laser", ObservedAt: seen, Addresses: addrs("10.20.1.5"), Hostname: "files.example", Attention: device.Clear,
		Reached: device.Reached{IPP: device.IPPReach{OK: true, Tried: true, URI: "ipp://files.example:631/printers/laser"}}}
	ink := plainDevice(6, "", "", "ink-studio.example", "10.20.1.45")
	ink.MakeModel, ink.Attention, ink.Urgency, ink.Findings, ink.Reached = "Tessaro Aqua 9", device.Clear, 2, nil, reached(false, true)
	return &device.Survey{Schema: device.SurveySchema, Started: seen.Add(-90 * time.Second), Finished: seen, ToolVersion: "0.1.0", Site: "North branch",
		Scope: device.Scope{Targets: []string{"10.20.1.0/24", "10.20.9.0/24"}, Addresses: 508, Probed: 508, Answered: 14, NotPrinters: 3, Unconfirmed: 1, SilentExpected: 1,
			Prefixes: []device.Prefix{{Target: "10.20.1.0/24", Probed: 254, Answered: 14, Printers: 10}, {Target: "10.20.9.0/24", Probed: 254, Note: "no route, firewall or empty"}},
			Notes:    []string{"DNS-SD does not cross subnets: announcements from other subnets were not seen."}},
		Devices: []device.Device{fullDevice(), silentDevice(), staples,
			plainDevice(1, "", "1st floor, corridor", "prn-101.example", "10.20.1.41"), plainDevice(2, "", "1st floor, corridor", "prn-102.example", "10.20.1.42"),
			plainDevice(3, "", "3rd floor, west wing, room 301", "", "10.20.1.43"), plainDevice(4, "", "3rd floor, west wing, room 301", "", "10.20.1.44"), plainDevice(5, "", "Archive", "", "10.20.1.46"),
			ink, label, queue},
		Unconfirmed: []device.Unconfirmed{{Address: netip.MustParseAddr("10.20.1.90"), Description: "Quillon JetServer 2", Reason: "answers SNMP, has neither the Printer MIB nor IPP"}},
		Changes: &device.Changes{Since: seen.AddDate(0, 0, -1), New: []device.Change{{Key: "serial:quillon:0012345", Device: "Ground floor MFP", Code: "media-jam", What: "paper jam in the fuser path"}},
			Cleared: []device.Change{{Key: "addr:10.20.1.45", Device: "Tessaro Aqua 9", Code: "marker-supply-low", What: "ink low"}},
			Moved:   []device.Change{{Key: "addr:10.20.1.60", Device: "Dispatch labels", What: "10.20.1.61 to 10.20.1.60"}}},
		Errors: []device.Problem{{Address: "printer-x.example", Stage: "name", Message: "no such host; check the spelling or give the address"}}}
}
