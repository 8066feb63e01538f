package lab

import (
	"math/rand/v2"
	"time"
)

const letter = "na_letter_8.5x11in"

// mediaEmpty empties every tray that holds the medium of the first one, so
// that it cannot be printed on.
func mediaEmpty(d *machine, _ string, r *rand.Rand) {
	name := d.trays[0].loaded
	age := minutes(r, 3, 120)
	for i := range d.trays {
		t := &d.trays[i]
		if t.loaded != name {
			continue
		}
		t.level = 0
		bit := "noPaper"
		if i > 0 {
			bit = "inputTrayEmpty"
		}
		d.raise(alert{code: "inputMediaSupplyEmpty", severity: "critical", training: "untrained", group: "input", index: i + 1,
			location: 50 + i, text: t.Name + " empty", age: age, bit: bit, keyword: "media-empty"})
	}
}

func oneTrayEmpty(d *machine, _ string, r *rand.Rand) {
	rows := d.sensed()
	i := rows[0]
	d.trays[i].level = 0
	d.trays[rows[1]].loaded = d.trays[i].loaded
	d.raise(alert{code: "inputMediaSupplyEmpty", severity: "warningBinaryChangeEvent", training: "untrained", group: "input", index: i + 1,
		location: 50 + i, text: d.trays[i].Name + " empty", age: minutes(r, 3, 120), bit: "inputTrayEmpty",
		keyword: "media-empty", request: true})
}

func mediaLow(d *machine, _ string, r *rand.Rand) {
	i := d.sensed()[0]
	t := &d.trays[i]
	t.level = max(1, t.Capacity*4/100)
	d.raise(alert{code: "inputMediaSupplyLow", severity: "warningBinaryChangeEvent", training: "untrained", group: "input",
		index: i + 1, location: 50 + i, text: t.Name + " low", age: minutes(r, 3, 120), bit: "lowPaper", keyword: "media-low"})
}

func mediaNeeded(d *machine, _ string, r *rand.Rand) {
	i := d.sensed()[0]
	d.raise(alert{code: "inputMediaChangeRequest", severity: "critical", training: "untrained", group: "input", index: i + 1,
		location: 50 + i, text: "Load A5 in " + d.trays[i].Name, age: minutes(r, 3, 120), bit: "serviceRequested",
		keyword: "media-needed", request: true})
	d.console = []string{"Load A5 in " + d.trays[i].Name, "Press OK"}
}

func trayMissing(d *machine, part string, r *rand.Rand) {
	rows := d.sensed()
	i := rows[number(part, len(rows))-1]
	d.trays[i].absent, d.trays[i].level = true, levelUnknown
	d.raise(alert{code: "inputMediaTrayMissing", severity: "critical", training: "untrained", group: "input", index: i + 1,
		location: 50 + i, text: "Insert " + d.trays[i].Name, age: minutes(r, 1, 40), bit: "inputTrayMissing", keyword: "input-tray-missing"})
}

// mismatch loads US Letter everywhere while A4 stays the default.
func mismatch(d *machine, _ string, _ *rand.Rand) {
	for i := range d.trays {
		d.trays[i].loaded = letter
	}
}

// stuckJob leaves a job in processing for hours without a page, and others
// behind it.
func stuckJob(d *machine, _ string, r *rand.Rand) {
	d.printing = true
	first := 1000 + r.IntN(4000)
	since := 2*time.Hour + minutes(r, 5, 170)
	d.jobs = append(d.jobs, job{id: first, name: "Tide tables, spring", owner: "desk-3", state: 5,
		reasons: []string{"job-printing"}, created: since + 2*time.Minute, started: since, done: 0, pages: 48, stuck: true})
	names := []string{"Berth plan", "Invoice 20817", "Rota week 31"}
	for i, name := range names {
		d.jobs = append(d.jobs, job{id: first + 1 + i, name: name, owner: "desk-1", state: 3, reasons: []string{"none"},
			created: since - time.Duration(20*(i+1))*time.Minute, pages: 1 + r.IntN(6)})
	}
	d.console = []string{"Processing"}
}

func missingLanguage(d *machine, _ string, _ *rand.Rand) {
	kept := d.speaks[:0]
	for _, l := range d.speaks {
		if l.Family != "langPS" && l.Family != "langPS3" {
			kept = append(kept, l)
		}
	}
	d.speaks = kept
}

func levelsUnknown(d *machine, _ string, _ *rand.Rand) {
	values := []int{levelSomeLeft, levelUnknown, levelSomeLeft, levelOther}
	for i := range d.supplies {
		s := &d.supplies[i]
		s.level = values[i%len(values)]
		if s.level != levelSomeLeft {
			s.max = s.level
		}
	}
}

func staleAlert(d *machine, _ string, _ *rand.Rand) {
	i := d.supplyAt("black", "toner", "tonerCartridge")
	d.supplies[i].setPercent(88)
	d.raise(alert{code: "markerTonerAlmostEmpty", severity: "warning", training: "trained", group: "markerSupplies",
		index: i + 1, location: 10 + i, text: "Toner low (black)", age: 11 * 24 * time.Hour, gone: true})
}

func powerSave(d *machine, _ string, r *rand.Rand) {
	d.standby = true
	d.raise(alert{code: "subunitPowerSaver", severity: "other", training: "noInterventionRequired", group: "generalPrinter",
		index: 1, location: levelUnknown, text: "Sleep", age: minutes(r, 30, 700), keyword: "subunit-power-saver"})
	d.console = []string{"Sleep"}
}
