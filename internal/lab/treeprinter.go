package lab

import (
	"cmp"
	"slices"
	"time"

	"printround/internal/lab/agent"
)

// group returns a table of the Printer MIB: 1.3.6.1.2.1.43.a.b.1.
func group(b *agent.Builder, a, c uint32) table { return table{b, oidPrinter.With(a, c, 1)} }

// putPrinter writes the rows of one printer: hrPrinterTable, the Printer MIB
// and the Finisher MIB.
func (d *machine) putPrinter(b *agent.Builder) {
	i := uint32(d.index)
	_, status := d.overall()
	hr := table{b, oidHrPrinter}
	hr.num(1, hrPrinterStatus.of(status), i)
	hr.put(2, agent.Octets(d.errorBits()), i)
	d.putGeneral(b, i)
	d.putCovers(b, i)
	d.putInputs(b, i)
	d.putOutputs(b, i)
	d.putMarker(b, i)
	d.putSupplies(b, i)
	d.putPath(b, i)
	d.putChannels(b, i)
	d.putInterpreters(b, i)
	d.putConsole(b, i)
	d.putAlerts(b, i)
	d.putFinishers(b, i)
	d.putFinisherInputs(b, i)
}

func (d *machine) putGeneral(b *agent.Builder, i uint32) {
	t := group(b, 5, 1)
	t.put(1, agent.Counter32(uint32(len(d.trays)+len(d.bins))), i)
	t.num(2, 1, i)
	t.num(3, 3, i) // notResetting
	t.text(4, "", i)
	t.text(5, "", i)
	t.num(6, 1, i)
	t.num(7, 1, i)
	t.num(8, 1, i)
	t.num(9, 1, i)
	t.num(10, 1, i)
	t.num(11, d.Lines, i)
	t.num(12, d.Chars, i)
	t.num(13, 3, i) // console enabled
	t.num(14, presentOnOff.of("off"), i)
	t.num(15, presentOnOff.of("off"), i)
	t.text(16, d.place.Title, i)
	t.text(17, d.serial, i)
	critical, all := d.events()
	t.put(18, agent.Counter32(uint32(critical)), i)
	t.put(19, agent.Counter32(uint32(all)), i)

	l := group(b, 7, 1)
	l.text(2, d.Language, i, 1)
	l.text(3, d.Country, i, 1)
	l.num(4, d.Charset, i, 1)
}

func (d *machine) putCovers(b *agent.Builder, i uint32) {
	t := group(b, 6, 1)
	for k, c := range d.covers {
		status := "coverClosed"
		switch {
		case c.open && c.interlock:
			status = "interlockOpen"
		case c.open:
			status = "coverOpen"
		}
		n := uint32(k + 1)
		t.text(2, d.local(c.name), i, n)
		t.num(3, prtCoverStatusTC.of(status), i, n)
	}
}

const unitMicrometers = 4 // PrtMediaUnitTC

func (d *machine) putInputs(b *agent.Builder, i uint32) {
	t := group(b, 8, 2)
	for k, in := range d.trays {
		n := uint32(k + 1)
		m := mustMedia(in.loaded)
		feed := m.Length
		if feed == 0 {
			feed = levelOther // no restriction along a roll
		}
		t.num(2, prtInputTypeTC.of(in.Kind), i, n)
		t.num(3, unitMicrometers, i, n)
		t.num(4, feed, i, n)
		t.num(5, m.Width, i, n)
		t.num(6, feed, i, n)
		t.num(7, m.Width, i, n)
		t.num(8, prtCapacityUnitTC.of(in.Unit), i, n)
		t.num(9, in.Capacity, i, n)
		t.num(10, in.level, i, n)
		t.num(11, d.subunit("input", k+1), i, n)
		t.text(12, in.loaded, i, n)
		t.text(13, d.local(in.Name), i, n)
		t.text(14, d.Make, i, n)
		t.text(15, d.Make+" "+in.Source, i, n)
		t.text(16, "1.0", i, n)
		t.text(17, "", i, n)
		t.text(18, d.local(in.Name), i, n)
		t.num(19, presentOnOff.of("notPresent"), i, n)
		t.num(20, orUnknown(in.Weight), i, n)
		t.text(21, in.Type, i, n)
		t.text(22, "white", i, n)
		t.num(23, 1, i, n)
		t.num(24, -1, i, n) // waits for ever for media
		t.num(25, -2, i, n) // the device chooses the next tray
	}
}

func orUnknown(n int) int {
	if n == 0 {
		return levelUnknown
	}
	return n
}

func (d *machine) putOutputs(b *agent.Builder, i uint32) {
	t := group(b, 9, 2)
	largest, smallest := mustMedia(d.MaxMedia), mustMedia(d.MinMedia)
	for k, o := range d.bins {
		n := uint32(k + 1)
		order, face := 3, 4 // firstToLast, faceDown
		if o.FaceUp {
			order, face = 4, 3
		}
		t.num(2, prtOutputTypeTC.of(o.Kind), i, n)
		t.num(3, prtCapacityUnitTC.of("sheets"), i, n)
		t.num(4, o.Capacity, i, n)
		t.num(5, o.room, i, n)
		t.num(6, d.subunit("output", k+1), i, n)
		t.text(7, d.local(o.Name), i, n)
		t.text(8, d.Make, i, n)
		t.text(9, d.Make+" "+o.Keyword, i, n)
		t.text(10, "1.0", i, n)
		t.text(11, "", i, n)
		t.text(12, d.local(o.Name), i, n)
		t.num(13, presentOnOff.of("notPresent"), i, n)
		t.num(14, unitMicrometers, i, n)
		t.num(15, largest.Length, i, n)
		t.num(16, largest.Width, i, n)
		t.num(17, smallest.Length, i, n)
		t.num(18, smallest.Width, i, n)
		t.num(19, order, i, n)
		t.num(20, face, i, n)
		t.num(21, presentOnOff.of("notPresent"), i, n)
		t.num(22, presentOnOff.of("notPresent"), i, n)
		t.num(23, presentOnOff.of("on"), i, n)
		t.num(24, presentOnOff.of("off"), i, n)
	}
}

func (d *machine) putMarker(b *agent.Builder, i uint32) {
	t := group(b, 10, 2)
	const margin = 4230 // a sixth of an inch, in micrometres
	t.num(2, prtMarkerMarkTechTC.of(d.Technology), i, 1)
	t.num(3, prtMarkerCounterUnitTC.of(d.CounterUnit), i, 1)
	t.put(4, agent.Counter32(uint32(d.life)), i, 1)
	t.put(5, agent.Counter32(uint32(d.powerOn)), i, 1)
	t.num(6, len(d.colorants()), i, 1)
	t.num(7, 0, i, 1)
	t.num(8, 3, i, 1) // tenThousandthsOfInches: dots per inch (RFC 3805 section 6)
	t.num(9, d.Resolution, i, 1)
	t.num(10, d.Resolution, i, 1)
	for column := uint32(11); column <= 14; column++ {
		t.num(column, margin*10000/25400, i, 1)
	}
	t.num(15, d.subunit("marker", 1), i, 1)

	c := group(b, 12, 1)
	for k, name := range d.colorants() {
		n := uint32(k + 1)
		c.num(2, 1, i, n)
		c.num(3, prtMarkerColorantRole.of("process"), i, n)
		c.text(4, name, i, n)
		c.num(5, 256, i, n)
	}
}

// colorants lists the colours that the device marks with, in the order of its
// supplies.
func (d *machine) colorants() (names []string) {
	for _, s := range d.supplies {
		switch s.Kind {
		case "toner", "tonerCartridge", "ink", "inkCartridge", "inkRibbon":
			names = append(names, s.Colorant)
		}
	}
	if len(names) == 0 {
		names = []string{"black"}
	}
	return names
}

func (d *machine) colorantIndex(color string) int {
	for k, name := range d.colorants() {
		if name == color {
			return k + 1
		}
	}
	return 0
}

func (s supplyRow) class() string {
	if s.receptacle() {
		return "receptacleThatIsFilled"
	}
	return "supplyThatIsConsumed"
}

func (d *machine) putSupplies(b *agent.Builder, i uint32) {
	t := group(b, 11, 1)
	for k, s := range d.supplies {
		n := uint32(k + 1)
		t.num(2, 1, i, n)
		t.num(3, d.colorantIndex(s.Colorant), i, n)
		t.num(4, prtMarkerSuppliesClassTC.of(s.class()), i, n)
		t.num(5, prtMarkerSuppliesTypeTC.of(s.Kind), i, n)
		t.text(6, d.local(s.Name), i, n)
		t.num(7, prtMarkerSuppliesUnitTC.of(s.Unit), i, n)
		t.num(8, s.max, i, n)
		t.num(9, s.level, i, n)
	}
}

func (d *machine) putPath(b *agent.Builder, i uint32) {
	t := group(b, 13, 4)
	largest, smallest := mustMedia(d.MaxMedia), mustMedia(d.MinMedia)
	kinds := []struct {
		kind  string
		name  string
		speed int
	}{{"simplex", "Simplex path", d.Speed * 60}}
	if d.Duplex {
		kinds = append(kinds, struct {
			kind  string
			name  string
			speed int
		}{"longEdgeBindingDuplex", "Duplex path", d.Speed * 54})
	}
	for k, p := range kinds {
		n := uint32(k + 1)
		t.num(2, prtMediaPathSpeedTC.of(d.CounterUnit+"PerHour"), i, n)
		t.num(3, unitMicrometers, i, n)
		t.num(4, p.speed, i, n)
		t.num(5, largest.Length, i, n)
		t.num(6, largest.Width, i, n)
		t.num(7, smallest.Length, i, n)
		t.num(8, smallest.Width, i, n)
		t.num(9, prtMediaPathTypeTC.of(p.kind), i, n)
		t.text(10, p.name, i, n)
		t.num(11, d.subunit("mediaPath", k+1), i, n)
	}
}

func (d *machine) putConsole(b *agent.Builder, i uint32) {
	text := group(b, 16, 5)
	for k, line := range d.panel() {
		text.text(2, d.local(line), i, uint32(k+1))
	}
	t := group(b, 17, 6)
	stopped := d.stopped()
	lamps := []struct {
		name, color string
		on          bool
	}{{"Ready", "green", !stopped && !d.standby}, {"Data", "green", d.printing}, {"Attention", "orange", stopped || d.warned()}}
	for k, l := range lamps {
		n := uint32(k + 1)
		on, off := 0, 1000
		switch {
		case l.on && l.name == "Ready":
			on, off = 1000, 0
		case l.on:
			on, off = 500, 500 // blinking, milliseconds
		}
		t.num(2, on, i, n)
		t.num(3, off, i, n)
		t.num(4, prtConsoleColorTC.of(l.color), i, n)
		t.text(5, l.name, i, n)
	}
}

// numbered is an alert with its prtAlertIndex.
type numbered struct {
	alert
	row int
}

// alertRows numbers the alerts in the order in which they were raised. Rows
// begin above 1 and leave gaps, as they do once earlier alerts were removed.
func (d *machine) alertRows() []numbered {
	rows := make([]numbered, len(d.alerts))
	for i, a := range d.alerts {
		rows[i].alert = a
	}
	slices.SortStableFunc(rows, func(a, b numbered) int { return cmp.Compare(b.age, a.age) })
	for i := range rows {
		rows[i].row = firstAlert + alertStep*i
	}
	return rows
}

const (
	firstAlert = 3
	alertStep  = 4
)

// events is how many alerts were raised since power-on, those removed
// included.
func (d *machine) events() (critical, all int) {
	for _, a := range d.alerts {
		if a.critical() {
			critical++
		}
	}
	if len(d.alerts) == 0 {
		return 0, 0
	}
	return critical, firstAlert + alertStep*(len(d.alerts)-1)
}

func (d *machine) putAlerts(b *agent.Builder, i uint32) {
	t := group(b, 18, 1)
	for _, a := range d.alertRows() {
		n := uint32(a.row)
		t.num(1, a.row, i, n)
		t.num(2, prtAlertSeverityTC.of(a.severity), i, n)
		t.num(3, prtAlertTrainingTC.of(a.training), i, n)
		t.num(4, prtAlertGroupTC.of(a.group), i, n)
		t.num(5, a.index, i, n)
		t.num(6, a.location, i, n)
		t.num(7, prtAlertCodeTC.of(a.code), i, n)
		t.text(8, d.local(a.text), i, n)
		t.put(9, agent.TimeTicks(d.raisedAt(a.age)), i, n)
	}
}

// raisedAt is sysUpTime at the moment an alert was raised: the device started
// d.up() ago, the alert came age ago.
func (d *machine) raisedAt(age time.Duration) uint32 {
	return uint32(max(d.up()-age, time.Minute) / (10 * time.Millisecond))
}

// up is how long the device had been running when the lab started.
func (d *machine) up() time.Duration {
	return time.Duration(max(d.place.Days, 1))*24*time.Hour + time.Duration(d.index%7)*time.Hour
}
