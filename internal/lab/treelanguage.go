package lab

import (
	"fmt"

	"printround/internal/lab/agent"
)

func (d *machine) putChannels(b *agent.Builder, i uint32) {
	t := group(b, 14, 1)
	rows := []struct {
		kind, version, information string
		network                    bool
	}{
		{"chPort9100", "", "", true},
		{"chLPDServer", "RFC1179", "Queue=print\nQueue=raw\n", true},
		{"chUSB", "2.0", "", false},
	}
	if d.place.IPP {
		rows = append(rows, rows[0])
		rows[len(rows)-1].kind, rows[len(rows)-1].version = "chIPP", "2.0"
		rows[len(rows)-1].information = fmt.Sprintf("URI=ipp://%s.example%s\n", d.place.Hostname, d.path())
	}
	for k, c := range rows {
		n := uint32(k + 1)
		t.num(2, prtChannelTypeTC.of(c.kind), i, n)
		t.text(3, c.version, i, n)
		t.num(4, 0, i, n)
		t.num(5, min(1, len(d.speaks)), i, n)
		t.num(6, 3, i, n) // printDataAccepted
		t.num(7, map[bool]int{true: 1, false: 0}[c.network], i, n)
		t.num(8, d.subunit("channel", k+1), i, n)
		t.text(9, c.information, i, n)
	}
}

func (d *machine) putInterpreters(b *agent.Builder, i uint32) {
	t := group(b, 15, 1)
	orientation := "portrait"
	if d.landscape {
		orientation = "landscape"
	}
	const utf8, latin1 = 106, 4 // IANACharset
	for k, l := range d.speaks {
		n := uint32(k + 1)
		t.num(2, prtLangFamilyTC.of(l.Family), i, n)
		t.text(3, l.Level, i, n)
		t.text(4, l.Version, i, n)
		t.text(5, d.local(l.Name), i, n)
		t.text(6, d.version(), i, n)
		t.num(7, prtOrientationTC.of(orientation), i, n)
		t.num(8, d.Resolution, i, n)
		t.num(9, d.Resolution, i, n)
		t.num(10, latin1, i, n)
		t.num(11, utf8, i, n)
		t.num(12, 3, i, n) // two-way
	}
}

// putFinishers writes the Finisher MIB: devices, their supplies and
// attributes (RFC 3806 section 4).
func (d *machine) putFinishers(b *agent.Builder, i uint32) {
	dev, sup, attr := group(b, 30, 1), group(b, 31, 1), group(b, 33, 1)
	row := 0
	for k, f := range d.finishers {
		n := uint32(k + 1)
		dev.num(2, finDeviceTypeTC.of(f.Kind), i, n)
		dev.num(3, presentOnOff.of("on"), i, n)
		dev.num(4, prtCapacityUnitTC.of(f.Unit), i, n)
		dev.num(5, f.Capacity, i, n)
		dev.num(6, 0, i, n)
		// Bit maps: the most significant bit is index 1.
		paths := byte(0x80)
		if d.Duplex {
			paths = 0xc0
		}
		dev.put(7, agent.Octets([]byte{paths}), i, n)
		dev.put(8, agent.Octets([]byte{0x80 >> (len(d.bins) - 1)}), i, n)
		dev.num(9, d.finisherStatus(k), i, n)
		dev.text(10, d.local(f.Name), i, n)
		for _, s := range f.stock {
			row++
			r := uint32(row)
			sup.num(2, k+1, i, r)
			sup.num(3, prtMarkerSuppliesClassTC.of(s.class()), i, r)
			sup.num(4, prtMarkerSuppliesTypeTC.of(s.Kind), i, r)
			sup.text(5, d.local(s.Name), i, r)
			sup.num(6, prtMarkerSuppliesUnitTC.of(s.Unit), i, r)
			sup.num(7, s.max, i, r)
			sup.num(8, s.level, i, r)
			sup.text(9, "", i, r)
		}
		texts := map[string]string{"deviceName": f.Name, "deviceVendorName": d.Make, "deviceModel": f.Model,
			"deviceVersion": "2.1", "deviceSerialNumber": fmt.Sprintf("%s-F%d", d.serial, k+1)}
		for name, s := range texts {
			putAttribute(attr, name, levelUnknown, s, i, n)
		}
		numbers := append([]finNumber{{"maximumSheets", f.Sheets}}, f.Numbers...)
		for _, a := range numbers {
			putAttribute(attr, a.Type, a.Value, "", i, n)
		}
	}
}

// putFinisherInputs writes finSupplyMediaInputTable: where a finisher takes
// sheets of its own from.
func (d *machine) putFinisherInputs(b *agent.Builder, i uint32) {
	t := group(b, 32, 1)
	row, supplies := uint32(0), 0
	for k, f := range d.finishers {
		supplies += len(f.stock)
		for _, in := range f.Inputs {
			row++
			m := mustMedia(in.Media)
			t.num(2, k+1, i, row)
			t.num(3, supplies, i, row)
			t.num(4, prtInputTypeTC.of(in.Kind), i, row)
			t.num(5, unitMicrometers, i, row)
			t.num(6, m.Length, i, row)
			t.num(7, m.Width, i, row)
			t.num(8, d.finisherStatus(k), i, row)
			t.text(9, in.Media, i, row)
			t.text(10, d.local(in.Name), i, row)
			t.text(11, d.local(in.Name), i, row)
			t.num(12, presentOnOff.of("notPresent"), i, row)
			t.num(13, orUnknown(in.Weight), i, row)
			t.num(14, levelUnknown, i, row)
			t.text(15, in.Type, i, row)
		}
	}
}

// putAttribute writes one row of finDeviceAttributeTable; a row has a number or
// octets, and the default value in the other column (RFC 3806 section 4).
func putAttribute(t table, name string, n int, s string, device, finisher uint32) {
	kind := uint32(finAttributeTypeTC.of(name))
	t.num(3, n, device, finisher, kind, 1)
	t.text(4, s, device, finisher, kind, 1)
}

// finisherStatus is the status of one finishing device; its supplies' alerts
// show at it.
func (d *machine) finisherStatus(k int) int {
	status := d.subunit("finDevice", k+1)
	row := 0
	for f := range d.finishers {
		for range d.finishers[f].stock {
			row++
			if f != k {
				continue
			}
			if s := d.subunit("finSupply", row); s&(nonCriticalAlerts|criticalAlerts) != 0 {
				return s
			}
		}
	}
	return status
}
