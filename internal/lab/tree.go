package lab

import (
	"fmt"
	"strings"
	"time"

	"printround/internal/lab/agent"
)

// Where the groups of objects lie (RFC 3418, RFC 2863, RFC 2790, RFC 3805,
// RFC 3806).
var (
	oidSystem    = agent.MustOID("1.3.6.1.2.1.1")
	oidIfNumber  = agent.MustOID("1.3.6.1.2.1.2.1")
	oidIfEntry   = agent.MustOID("1.3.6.1.2.1.2.2.1")
	oidHrSystem  = agent.MustOID("1.3.6.1.2.1.25.1")
	oidHrTypes   = agent.MustOID("1.3.6.1.2.1.25.3.1")
	oidHrMemory  = agent.MustOID("1.3.6.1.2.1.25.2.2")
	oidHrStorage = agent.MustOID("1.3.6.1.2.1.25.2.3.1")
	oidHrStTypes = agent.MustOID("1.3.6.1.2.1.25.2.1")
	oidHrDevice  = agent.MustOID("1.3.6.1.2.1.25.3.2.1")
	oidHrNetwork = agent.MustOID("1.3.6.1.2.1.25.3.4.1")
	oidHrPrinter = agent.MustOID("1.3.6.1.2.1.25.3.5.1")
	oidPrinter   = agent.MustOID("1.3.6.1.2.1.43")
	oidDeviceID  = agent.MustOID("1.3.6.1.4.1.2699.1.2.1.2.1.1.3") // ppmPrinterIEEE1284DeviceId, PWG 5107.1
	zeroDotZero  = agent.MustOID("0.0")
)

// Last arcs of hrDeviceTypes and hrStorageTypes (RFC 2790 section 5).
const (
	typeProcessor  = 3
	typeNetwork    = 4
	typePrinter    = 5
	storageRAM     = 2
	storageDisk    = 4
	storageFlash   = 9
	allocationUnit = 4096 // octets
)

// table writes the columns of one table.
type table struct {
	b     *agent.Builder
	entry agent.OID
}

func (t table) put(column uint32, v agent.Value, index ...uint32) {
	t.b.Put(t.entry.With(column), v, index...)
}

func (t table) num(column uint32, n int, index ...uint32) { t.put(column, agent.Integer(n), index...) }

func (t table) text(column uint32, s string, index ...uint32) {
	t.put(column, agent.Text(s), index...)
}

// upTime is sysUpTime at the moment of the answer.
func upTime(h *agent.Host, now time.Time) agent.Value { return agent.TimeTicks(h.UpTicks(now)) }

// dateAndTime is the eight octet form of DateAndTime (RFC 2579 section 2), UTC
// of the simulated clock.
func dateAndTime(_ *agent.Host, now time.Time) agent.Value {
	t := now.UTC()
	y := t.Year()
	return agent.Octets([]byte{byte(y >> 8), byte(y), byte(t.Month()), byte(t.Day()), byte(t.Hour()), byte(t.Minute()), byte(t.Second()), 0})
}

// identity is what the system group says.
type identity struct {
	description, objectID, contact, name, location string
	services                                       int
}

func putSystem(b *agent.Builder, id identity) {
	s := table{b, oidSystem}
	s.text(1, id.description, 0)
	s.put(2, agent.ObjectID(agent.MustOID(id.objectID)), 0)
	b.PutLive(oidSystem.With(3), upTime, 0)
	s.text(4, id.contact, 0)
	s.text(5, id.name, 0)
	s.text(6, id.location, 0)
	s.num(7, id.services, 0)
}

// port is one row of ifTable.
type port struct {
	name string
	kind int // IANAifType
	mac  [6]byte
	up   bool
}

func putInterfaces(b *agent.Builder, ports []port) {
	b.Put(oidIfNumber, agent.Integer(len(ports)), 0)
	t := table{b, oidIfEntry}
	for i, p := range ports {
		n := uint32(i + 1)
		t.num(1, i+1, n)
		t.text(2, p.name, n)
		t.num(3, p.kind, n)
		t.num(4, 1500, n)
		t.put(5, agent.Gauge32(1_000_000_000), n)
		t.put(6, agent.Octets(p.mac[:]), n)
		t.num(7, 1, n) // ifAdminStatus up
		t.num(8, map[bool]int{true: 1, false: 2}[p.up], n)
		t.put(9, agent.TimeTicks(1200), n)
		for _, counter := range []uint32{10, 11, 13, 14, 15, 16, 17, 19, 20} {
			t.put(counter, agent.Counter32(uint32(p.mac[5])*counter*1009%4_000_000), n)
		}
	}
}

// putHrSystem writes the host's own clock and counts.
func putHrSystem(b *agent.Builder, memoryKiB int) {
	t := table{b, oidHrSystem}
	b.PutLive(oidHrSystem.With(1), upTime, 0)
	b.PutLive(oidHrSystem.With(2), dateAndTime, 0)
	t.put(5, agent.Gauge32(0), 0)
	t.put(6, agent.Gauge32(24), 0)
	b.Put(oidHrMemory, agent.Integer(memoryKiB), 0)
}

// storage is one row of hrStorageTable; sizes in KiB.
type storage struct {
	kind       uint32
	name       string
	size, used int
}

func putStorage(b *agent.Builder, rows []storage) {
	t := table{b, oidHrStorage}
	for i, s := range rows {
		n := uint32(i + 1)
		t.num(1, i+1, n)
		t.put(2, agent.ObjectID(oidHrStTypes.With(s.kind)), n)
		t.text(3, s.name, n)
		t.num(4, allocationUnit, n)
		t.num(5, s.size*1024/allocationUnit, n)
		t.num(6, s.used*1024/allocationUnit, n)
		t.put(7, agent.Counter32(0), n)
	}
}

// hrRow is one row of hrDeviceTable.
type hrRow struct {
	index  int
	kind   uint32
	name   string
	status int
	errors int
}

func putHrDevices(b *agent.Builder, rows []hrRow) {
	t := table{b, oidHrDevice}
	for _, r := range rows {
		n := uint32(r.index)
		t.num(1, r.index, n)
		t.put(2, agent.ObjectID(oidHrTypes.With(r.kind)), n)
		t.text(3, r.name, n)
		t.put(4, agent.ObjectID(zeroDotZero), n)
		t.num(5, r.status, n)
		t.put(6, agent.Counter32(uint32(r.errors)), n)
	}
}

// printerTree is the object tree of the printers at one address: one, or
// several behind a print-server box.
func printerTree(ds []*machine, contact string) *agent.Tree { return treeOf(ds, contact).Build() }

func treeOf(ds []*machine, contact string) *agent.Builder {
	var b agent.Builder
	first := ds[0]
	id := identity{
		description: fmt.Sprintf("%s; firmware %s; network %s", first.Name, first.Firmware, first.Firmware),
		objectID:    first.ObjectID, contact: contact, name: first.place.Hostname,
		location: first.place.Location, services: 72,
	}
	ports := []port{{"Ethernet", 6, first.mac, true}}
	if _, two := first.second(); two {
		ports = append(ports, port{"Wireless", 71, first.mac2, true})
	}
	if first.place.Behind != "" {
		id.description, id.objectID, id.location = "Two-port print server box, release 3.0", "1.3.6.1.4.1.32473.16.2", "Packing hall"
	}
	putSystem(&b, id)
	putInterfaces(&b, ports)
	putHrSystem(&b, first.Memory*1024)
	rows := []storage{{storageRAM, "RAM", first.Memory * 1024, first.Memory * 1024 * 38 / 100}, {storageFlash, "Flash", 131072, 70000}}
	if first.Disk > 0 {
		rows = append(rows, storage{storageDisk, "Disk", first.Disk * 1024 * 1024, first.Disk * 1024 * 1024 / 9})
	}
	putStorage(&b, rows)
	var devices []hrRow
	used := map[int]bool{}
	for _, d := range ds {
		status, _ := d.overall()
		devices = append(devices, hrRow{d.index, typePrinter, cut(d.Name, 64), hrDeviceStatus.of(status), len(d.alerts)})
		used[d.index] = true
	}
	network := 1
	for used[network] {
		network++
	}
	devices = append(devices, hrRow{network, typeNetwork, "Network interface", hrDeviceStatus.of("running"), 0})
	putHrDevices(&b, devices)
	table{&b, oidHrNetwork}.num(1, 1, uint32(network))
	for p, d := range ds {
		d.putPrinter(&b)
		// Which storage and which other devices belong to the printer.
		for k := range rows {
			group(&b, 5, 2).num(2, d.index, uint32(k+1), uint32(p+1))
		}
		group(&b, 5, 3).num(2, network, uint32(d.index), 1)
	}
	if len(ds) == 1 {
		b.Put(oidDeviceID, agent.Text(first.deviceID()), 1)
	}
	return &b
}

// deviceID is the IEEE 1284 device id, as printer-device-id and the Port
// Monitor MIB carry it.
func (d *machine) deviceID() string {
	var commands []string
	for _, l := range d.speaks {
		commands = append(commands, strings.TrimPrefix(l.Family, "lang"))
	}
	return fmt.Sprintf("MFG:%s;MDL:%s;CMD:%s;CLS:PRINTER;SN:%s;", d.Make, d.Name, strings.Join(commands, ","), d.serial)
}

// local encodes text in the character set of the device's localisation: ISO
// 8859-1 (4) or UTF-8 (106) and its subset US-ASCII (3), IANA character set
// numbers.
func (d *machine) local(s string) string {
	const latin1 = 4
	if d.Charset != latin1 {
		return s
	}
	var b []byte
	for _, r := range s {
		if r > 0xff {
			r = '?'
		}
		b = append(b, byte(r))
	}
	return string(b)
}
