package lab

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"net/netip"
	"slices"
	"strings"
	"time"
)

// Special values of levels and capacities (RFC 3805 section 6).
const (
	levelOther    = -1
	levelUnknown  = -2
	levelSomeLeft = -3
)

// machine is one simulated printer: what it is made of and how it is doing.
// The SNMP objects and the IPP attributes are both made from it, so that they
// agree unless a fault says otherwise.
type machine struct {
	*model
	place *placement

	serial string
	uuid   string
	mac    [6]byte
	mac2   [6]byte // of the second interface
	index  int     // hrDeviceIndex

	supplies  []supply
	trays     []tray
	bins      []bin
	covers    []cover
	finishers []finisher
	speaks    []language
	jobs      []job // not ended, the next one first
	finished  []job // ended since the lab began, in the order of their ends
	alerts    []alert

	life, powerOn, colored int
	landscape              bool // default orientation
	set                    settings
	printing               bool
	standby                bool
	console                []string // what the panel shows instead of "ready"
	onlyReasons            []reason // IPP reasons that the MIB does not show

	taking     taking // how it takes jobs
	printed    []Printed
	identified []string // identify-actions last asked for
	odd        oddity   // how it misbehaves on the network
	silent     bool
	wake       *wake
	conditions []string // finding codes that must be found
	notes      []string // facts that ask for nobody
}

type supply struct {
	supplyRow
	level, max int
}

type tray struct {
	trayType
	level  int
	loaded string // medium in it, PWG 5101.1 name
	absent bool
}

type bin struct {
	binType
	room int
}

type cover struct {
	name      string
	open      bool
	interlock bool
}

type finisher struct {
	finType
	stock []supply
}

// alert is a row of prtAlertTable.
type alert struct {
	code     string // PrtAlertCodeTC label
	severity string // PrtAlertSeverityLevelTC label
	training string // PrtAlertTrainingLevelTC label
	group    string // PrtAlertGroupTC label
	index    int    // prtAlertGroupIndex
	location int
	text     string
	age      time.Duration
	bit      string // hrPrinterDetectedErrorState label, or none
	keyword  string // printer-state-reasons keyword without suffix
	request  bool   // the subunit waits for a person, it is not broken (RFC 3805 section 2.2.13.2.2)
	gone     bool   // a unary event whose condition is over
}

// reason is a printer-state-reasons value with its suffix.
type reason struct{ keyword, suffix string }

func (a *alert) critical() bool { return a.severity == "critical" }

// job is one job in the printer's own queue.
type job struct {
	id          int
	name, owner string
	state       int // RFC 8011 section 5.3.7
	reasons     []string
	created     time.Duration // before the lab began; below 0: after it
	started     time.Duration // the same; 0: not yet
	ended       time.Duration // the same, of a job that came to its end
	stuck       bool          // makes no progress by itself
	done        int           // impressions completed
	pages       int           // impressions
}

// random returns the generator of one device: the same seed and name give the
// same numbers, whatever other devices there are.
func random(seed int64, name string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(name))
	return rand.New(rand.NewPCG(uint64(seed), h.Sum64()))
}

// newMachine returns a healthy printer.
func newMachine(m *model, p *placement, seed int64) *machine {
	r := random(seed, p.Name)
	d := &machine{model: m, place: p, index: max(p.Index, 1), speaks: slices.Clone(m.Languages)}
	d.serial = fmt.Sprintf("%s%05d", makerPrefix(m.Make), r.IntN(90000)+10000)
	d.uuid = newUUID(r)
	d.mac, d.mac2 = newMAC(r), newMAC(r)
	for _, s := range m.Supplies {
		d.supplies = append(d.supplies, newSupply(s, r))
	}
	for _, t := range m.Trays {
		d.trays = append(d.trays, newTray(t, r))
	}
	for _, b := range m.Bins {
		n := bin{binType: b, room: b.Capacity * (50 + r.IntN(50)) / 100}
		if b.Unsensed {
			n.room = levelSomeLeft
		}
		d.bins = append(d.bins, n)
	}
	for _, name := range m.Covers {
		d.covers = append(d.covers, cover{name: name})
	}
	for _, f := range m.Finishers {
		n := finisher{finType: f}
		for _, s := range f.Supplies {
			n.stock = append(n.stock, newSupply(s, r))
		}
		d.finishers = append(d.finishers, n)
	}
	d.life = p.Pages + r.IntN(p.Pages/20+1)
	d.powerOn = min(d.life, 40*p.Days+r.IntN(40*p.Days+1))
	if m.Color {
		d.colored = d.life * (30 + r.IntN(30)) / 100
	}
	return d
}

func makerPrefix(maker string) string {
	return strings.ToUpper(maker[:1] + maker[len(maker)-1:])
}

func newUUID(r *rand.Rand) string {
	var b [16]byte
	binary.BigEndian.PutUint64(b[:], r.Uint64())
	binary.BigEndian.PutUint64(b[8:], r.Uint64())
	b[6] = b[6]&0x0f | 0x40 // version 4, RFC 9562 section 5.4
	b[8] = b[8]&0x3f | 0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])
}

// newMAC returns a locally administered address, which no maker owns.
func newMAC(r *rand.Rand) [6]byte {
	var b [6]byte
	binary.BigEndian.PutUint32(b[2:], r.Uint32())
	b[0], b[1] = 0x02, byte(r.Uint32())
	return b
}

// newSupply returns a supply far enough from its end that nobody is needed.
func newSupply(s supplyRow, r *rand.Rand) supply {
	n := supply{supplyRow: s, max: s.Capacity}
	n.level = s.Capacity * (45 + r.IntN(50)) / 100
	if s.receptacle() {
		n.level = s.Capacity * (55 + r.IntN(40)) / 100
	}
	return n
}

func newTray(t trayType, r *rand.Rand) tray {
	n := tray{trayType: t, loaded: t.Media, level: t.Capacity * (40 + r.IntN(55)) / 100}
	if t.Unsensed {
		n.level = levelSomeLeft
	}
	return n
}

// receptacle reports whether the supply is filled and not used up.
func (s supplyRow) receptacle() bool {
	switch s.Kind {
	case "wasteToner", "wasteInk", "wastePaper":
		return true
	}
	return false
}

// percent is the level in percent, ok when level and capacity are stated.
func (s *supply) percent() (p int, ok bool) {
	if s.max <= 0 || s.level < 0 {
		return 0, false
	}
	return s.level * 100 / s.max, true
}

func (s *supply) setPercent(p int) { s.level = s.Capacity * p / 100 }

func (d *machine) address() netip.Addr { return netip.MustParseAddr(d.place.Address) }

func (d *machine) second() (netip.Addr, bool) {
	a, err := netip.ParseAddr(d.place.Second)
	return a, err == nil
}

func (d *machine) raise(a alert) { d.alerts = append(d.alerts, a) }

// worst returns the alert that decides what the printer says of itself.
func (d *machine) worst() *alert {
	var w *alert
	for i := range d.alerts {
		a := &d.alerts[i]
		if !a.gone && (w == nil || a.critical() && !w.critical()) {
			w = a
		}
	}
	return w
}

// stopped reports whether a critical alert keeps the device from printing.
func (d *machine) stopped() bool {
	w := d.worst()
	return w != nil && w.critical()
}
