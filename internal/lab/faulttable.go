package lab

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"
)

// faults is everything that can be wrong, most urgent first.
var faults = slices.Concat([]fault{
	{name: "media-jam", help: "paper is jammed in the path", fits: sheetFed, needed: "sheets",
		finds: []string{"media-jam"}, apply: jam},
	{name: "cover-open", help: "a cover is open (:N for the Nth)", fits: always,
		finds: []string{"cover-open"}, apply: coverOpen},
	{name: "interlock-open", help: "an interlock is open (:N for the Nth cover)", fits: always,
		finds: []string{"interlock-open"}, apply: interlockOpen},
	{name: "toner-empty", help: "toner is out (:black, :cyan, …)", fits: has("toner", "tonerCartridge"), needed: "toner",
		finds: []string{"toner-empty"}, apply: empty("markerTonerEmpty", "toner-empty", "noToner", "Replace toner", "toner", "tonerCartridge")},
	{name: "marker-toner-cartridge-missing", help: "a toner cartridge is not there (:black, …)", fits: has("tonerCartridge"), needed: "a toner cartridge",
		finds: []string{"marker-toner-cartridge-missing"}, apply: cartridgeMissing},
	{name: "marker-ink-empty", help: "ink is out (:black, :cyan, …)", fits: has("inkCartridge"), needed: "ink",
		finds: []string{"marker-ink-empty"}, apply: empty("markerInkEmpty", "marker-ink-empty", "noToner", "Replace ink", "inkCartridge")},
	{name: "marker-print-ribbon-empty", help: "the ribbon is used up", fits: has("inkRibbon"), needed: "a ribbon",
		finds: []string{"marker-print-ribbon-empty"}, apply: empty("markerPrintRibbonEmpty", "marker-print-ribbon-empty", "noToner", "Ribbon out", "inkRibbon")},
	{name: "marker-waste-toner-receptacle-full", help: "the waste toner box is full", fits: has("wasteToner"), needed: "a waste toner box",
		finds: []string{"marker-waste-toner-receptacle-full"}, apply: wasteFull("markerWasteTonerReceptacleFull", "marker-waste-toner-receptacle-full", "wasteToner")},
	{name: "marker-waste-ink-receptacle-full", help: "the waste ink box is full", fits: has("wasteInk"), needed: "a waste ink box",
		finds: []string{"marker-waste-ink-receptacle-full"}, apply: wasteFull("markerWasteInkReceptacleFull", "marker-waste-ink-receptacle-full", "wasteInk")},
	{name: "media-empty", help: "no tray holds the medium any more", fits: always,
		finds: []string{"media-empty"}, apply: mediaEmpty},
	{name: "media-needed", help: "a job waits for another medium", fits: sheetFed, needed: "sheets",
		finds: []string{"media-needed"}, apply: mediaNeeded},
	{name: "input-tray-missing", help: "a tray is pulled out (:N)", fits: sheetFed, needed: "trays",
		finds: []string{"input-tray-missing"}, apply: trayMissing},
	{name: "output-area-full", help: "the output bin is full", fits: sheetFed, needed: "an output bin with a sensor",
		finds: []string{"output-area-full"}, apply: outputFull},
	{name: "fuser-over-temp", help: "the fuser is too hot", fits: has("fuser"), needed: "a fuser",
		finds: []string{"fuser-over-temp"}, apply: fuserHot},
	{name: "opc-life-over", help: "the drum is at its end and printing has stopped", fits: has("opc"), needed: "a drum",
		finds: []string{"opc-life-over"}, apply: drumOver},
	{name: "offline", help: "somebody took it off line", fits: always,
		finds: []string{"subunit-offline"}, apply: offline},
	{name: "derived-no-answer", help: "switched off, though expected", fits: always, shy: true,
		finds: []string{"derived-no-answer"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.silent = true }},
	{name: "derived-queue-stalled", help: "the first job in the queue does not move", fits: hasIPP, needed: "IPP",
		finds: []string{"derived-queue-stalled"}, apply: stuckJob},
	{name: "derived-media-mismatch", help: "the trays hold another size than the default", fits: mismatchFits, needed: "IPP and trays of sheets",
		finds: []string{"derived-media-mismatch"}, apply: mismatch},
	{name: "stapler-empty", help: "no staples left", fits: hasStock("staples"), needed: "a stapler",
		finds: []string{"stapler-empty"}, apply: finisherSupply("staplerEmpty", "stapler-empty", "staples", 0)},
	{name: "puncher-full", help: "the punch scrap box is full", fits: hasStock("wastePaper"), needed: "a punch unit",
		finds: []string{"puncher-full"}, apply: finisherSupply("puncherFull", "puncher-full", "wastePaper", 0)},
	{name: "scan-media-path-jam", help: "the document feeder is jammed; printing works", fits: hasScanner, needed: "a scanner and IPP",
		finds: []string{"scan-media-path-jam"}, apply: only("scan-media-path-jam", "-warning")},
	{name: "fuser-end", help: "the fuser is at its end, still printing", fits: has("fuser"), needed: "a fuser",
		finds: []string{"subunit-life-over"}, apply: lifeOver},
	{name: "toner-low", help: "toner is low (:black, :cyan, …)", fits: has("toner", "tonerCartridge"), needed: "toner",
		finds: []string{"toner-low"}, apply: low("markerTonerAlmostEmpty", "toner-low", "lowToner", "Toner low", "toner", "tonerCartridge")},
	{name: "marker-ink-almost-empty", help: "ink is low (:black, :cyan, …)", fits: has("inkCartridge"), needed: "ink",
		finds: []string{"marker-ink-almost-empty"}, apply: low("markerInkAlmostEmpty", "marker-ink-almost-empty", "lowToner", "Ink low", "inkCartridge")},
	{name: "marker-supply-low", help: "a supply is low, said over IPP in general words only", fits: has("inkCartridge"), needed: "ink",
		finds: []string{"marker-ink-almost-empty"}, apply: low("subunitAlmostEmpty", "marker-supply-low", "lowToner", "Ink low", "inkCartridge"), shy: true},
	{name: "marker-print-ribbon-almost-empty", help: "the ribbon is nearly used up", fits: has("inkRibbon"), needed: "a ribbon",
		finds: []string{"marker-print-ribbon-almost-empty"}, apply: low("markerPrintRibbonAlmostEmpty", "marker-print-ribbon-almost-empty", "", "Ribbon low", "inkRibbon")},
	{name: "marker-waste-toner-receptacle-almost-full", help: "the waste toner box is nearly full", fits: has("wasteToner"), needed: "a waste toner box",
		finds: []string{"marker-waste-toner-receptacle-almost-full"}, apply: low("markerWasteTonerReceptacleAlmostFull", "marker-waste-toner-receptacle-almost-full", "", "Waste toner near full", "wasteToner")},
	{name: "marker-waste-ink-receptacle-almost-full", help: "the waste ink box is nearly full", fits: has("wasteInk"), needed: "a waste ink box",
		finds: []string{"marker-waste-ink-receptacle-almost-full"}, apply: low("markerWasteInkReceptacleAlmostFull", "marker-waste-ink-receptacle-almost-full", "", "Maintenance box near full", "wasteInk")},
	{name: "opc-near-eol", help: "the drum is near its end", fits: has("opc"), needed: "a drum",
		finds: []string{"opc-near-eol"}, apply: low("markerOpcLifeAlmostOver", "opc-near-eol", "", "Replace drum soon", "opc")},
	{name: "input-pick-roller-life-warn", help: "a feed roller is worn (:N for the tray), said over IPP", fits: hasIPP, needed: "IPP",
		finds: []string{"input-pick-roller-life-warn"}, apply: only("input-pick-roller-life-warn", "-warning")},

	{name: "wrong-orientation", help: "the default orientation is landscape", fits: sheetFed, needed: "sheets", shy: true,
		finds: []string{"derived-default-orientation"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.landscape = true }},
	{name: "missing-language", help: "PostScript is not there, though other devices of the model have it", fits: always, shy: true,
		finds: []string{"derived-language-missing"}, apply: missingLanguage},
	{name: "levels-unknown", help: "levels are unknown, some left, or without limit", fits: has("toner", "tonerCartridge", "inkCartridge"), needed: "supplies", shy: true,
		note: "levels are unknown", apply: levelsUnknown},
	{name: "stale-alert", help: "an old warning stays in the alert table though the toner was replaced", fits: staleFits, needed: "SNMP and toner",
		note: "a unary warning outlived its condition", apply: staleAlert, shy: true},
	{name: "tray-empty-other-holds", help: "one tray is empty, another holds the same medium", fits: severalTrays(2), needed: "two trays",
		note: "one tray is empty, another holds the medium", apply: oneTrayEmpty, shy: true},
	{name: "media-low", help: "a tray is nearly empty", fits: sheetFed, needed: "sheets", shy: true,
		note: "a tray is nearly empty", apply: mediaLow},
	{name: "power-save", help: "asleep to save power", fits: always, shy: true,
		note: "power save", apply: powerSave},
	{name: "deep-sleep", help: "answers only the second probe, after 4 s", fits: hasSNMP, needed: "SNMP", shy: true,
		note: "sleeps deeply", apply: func(d *machine, _ string, _ *rand.Rand) { d.wake = &wake{lost: 1, delay: 4 * time.Second} }},
}, missettings, takingFaults)

func hasScanner(d *machine) bool { return d.Scanner && d.place.IPP }

func hasStock(kind string) func(*machine) bool {
	return func(d *machine) bool { _, _, n := d.stockOf(kind); return n > 0 }
}

func staleFits(d *machine) bool { return hasSNMP(d) && has("toner", "tonerCartridge")(d) }

func mismatchFits(d *machine) bool { return hasIPP(d) && sheetFed(d) }

func jam(d *machine, _ string, r *rand.Rand) {
	area := 1 + r.IntN(3)
	d.raise(alert{code: "jam", severity: "critical", training: "untrained", group: "mediaPath", index: 1,
		location: area, text: fmt.Sprintf("Paper jam, area %d", area), age: minutes(r, 2, 50), bit: "jammed", keyword: "media-jam"})
	d.console = []string{fmt.Sprintf("Paper jam, area %d", area), "Open the front cover"}
}

func coverOpen(d *machine, part string, r *rand.Rand) {
	n := number(part, len(d.covers))
	d.covers[n-1].open = true
	text := d.covers[n-1].name + " open"
	if d.Language == "de" {
		text = d.covers[n-1].name + " offen"
	}
	d.raise(alert{code: "coverOpen", severity: "critical", training: "untrained", group: "cover", index: n,
		location: n, text: text, age: minutes(r, 1, 30), bit: "doorOpen", keyword: "cover-open"})
}

func interlockOpen(d *machine, part string, r *rand.Rand) {
	n := number(part, len(d.covers))
	d.covers[n-1].open, d.covers[n-1].interlock = true, true
	d.raise(alert{code: "interlockOpen", severity: "critical", training: "untrained", group: "cover", index: n,
		location: n, text: "Close " + d.covers[n-1].name, age: minutes(r, 1, 30), bit: "doorOpen", keyword: "interlock-open"})
}

// empty makes the fault of a consumed supply that is out: critical, level 0.
func empty(code, keyword, bit, words string, kinds ...string) func(*machine, string, *rand.Rand) {
	return func(d *machine, part string, r *rand.Rand) {
		i := d.supplyAt(part, kinds...)
		d.supplies[i].level = 0
		d.raise(alert{code: code, severity: "critical", training: "trained", group: "markerSupplies", index: i + 1,
			location: 10 + i, text: words + colorWord(d.supplies[i]), age: minutes(r, 5, 200), bit: bit, keyword: keyword})
	}
}

// low makes the fault of a supply that is near its end or a receptacle that is
// nearly full: a warning that goes away by itself, 2 to 5 percent left.
func low(code, keyword, bit, words string, kinds ...string) func(*machine, string, *rand.Rand) {
	return func(d *machine, part string, r *rand.Rand) {
		i := d.supplyAt(part, kinds...)
		d.supplies[i].setPercent(2 + r.IntN(4))
		d.raise(alert{code: code, severity: "warningBinaryChangeEvent", training: "trained", group: "markerSupplies",
			index: i + 1, location: 10 + i, text: words + colorWord(d.supplies[i]), age: minutes(r, 60, 3000), bit: bit, keyword: keyword})
	}
}

// supplyAt is supplyOf that falls back to the first supply of the kinds; fits
// made sure that there is one.
func (d *machine) supplyAt(part string, kinds ...string) int {
	if i := d.supplyOf(part, kinds...); i >= 0 {
		return i
	}
	return d.supplyOf("", kinds...)
}

func colorWord(s supply) string {
	if s.Colorant == "" {
		return ""
	}
	return " (" + s.Colorant + ")"
}

func cartridgeMissing(d *machine, part string, r *rand.Rand) {
	i := d.supplyAt(part, "tonerCartridge")
	d.supplies[i].level = levelUnknown
	d.raise(alert{code: "markerTonerCartridgeMissing", severity: "critical", training: "trained", group: "markerSupplies",
		index: i + 1, location: 10 + i, text: "Install toner" + colorWord(d.supplies[i]), age: minutes(r, 1, 60),
		bit: "markerSupplyMissing", keyword: "marker-toner-cartridge-missing"})
}

func wasteFull(code, keyword, kind string) func(*machine, string, *rand.Rand) {
	return func(d *machine, _ string, r *rand.Rand) {
		i := d.supplyAt("", kind)
		d.supplies[i].level = 0 // a receptacle's level is the room left (RFC 3805 section 6)
		d.raise(alert{code: code, severity: "critical", training: "trained", group: "markerSupplies", index: i + 1,
			location: 10 + i, text: "Replace " + d.supplies[i].Name, age: minutes(r, 10, 600),
			bit: "serviceRequested", keyword: keyword})
	}
}

func drumOver(d *machine, _ string, r *rand.Rand) {
	i := d.supplyAt("", "opc")
	d.supplies[i].level = 0
	d.raise(alert{code: "markerOpcLifeOver", severity: "critical", training: "trained", group: "markerSupplies", index: i + 1,
		location: 10 + i, text: "Replace drum", age: minutes(r, 10, 600), bit: "serviceRequested", keyword: "opc-life-over"})
}

func lifeOver(d *machine, _ string, r *rand.Rand) {
	i := d.supplyAt("", "fuser")
	d.supplies[i].level = 0
	d.raise(alert{code: "subunitLifeOver", severity: "warningBinaryChangeEvent", training: "fieldService", group: "markerSupplies",
		index: i + 1, location: 10 + i, text: "Fuser life over", age: minutes(r, 600, 9000), bit: "serviceRequested",
		keyword: "subunit-life-over"})
}

func fuserHot(d *machine, _ string, r *rand.Rand) {
	d.raise(alert{code: "markerFuserOverTemperature", severity: "critical", training: "fieldService", group: "marker", index: 1,
		location: 20, text: "Service call F-21", age: minutes(r, 5, 100), bit: "serviceRequested", keyword: "fuser-over-temp"})
	d.console = []string{"Service call F-21", "Switch off, call service"}
}

func outputFull(d *machine, _ string, r *rand.Rand) {
	d.bins[0].room = 0
	d.raise(alert{code: "outputMediaTrayFull", severity: "critical", training: "untrained", group: "output", index: 1,
		location: 30, text: d.bins[0].Name + " full", age: minutes(r, 2, 90), bit: "outputFull", keyword: "output-area-full"})
}

func offline(d *machine, _ string, r *rand.Rand) {
	d.raise(alert{code: "subunitOffline", severity: "critical", training: "untrained", group: "generalPrinter", index: 1,
		location: levelUnknown, text: "Offline", age: minutes(r, 20, 900), bit: "offline", keyword: "subunit-offline", request: true})
	d.console = []string{"Offline", "Press Online"}
}

func only(keyword, suffix string) func(*machine, string, *rand.Rand) {
	return func(d *machine, _ string, _ *rand.Rand) {
		d.onlyReasons = append(d.onlyReasons, reason{keyword, suffix})
	}
}

// finisherSupply empties or fills what a finisher needs. Printing goes on
// without it.
func finisherSupply(code, keyword, kind string, level int) func(*machine, string, *rand.Rand) {
	return func(d *machine, _ string, r *rand.Rand) {
		f, row, index := d.stockOf(kind)
		d.finishers[f].stock[row].level = level
		d.raise(alert{code: code, severity: "warningBinaryChangeEvent", training: "untrained", group: "finSupply", index: index,
			location: 40 + f, text: d.finishers[f].stock[row].Name + " needs attention", age: minutes(r, 10, 500), keyword: keyword})
	}
}
