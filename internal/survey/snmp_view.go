package survey

import (
	"fmt"
	"net"
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/mib"
)

// snmpView maps what a host shows of the printer with hrDeviceIndex index:
//
//	name          prtGeneralPrinterName, sysName
//	host name     sysName, if it has the form of one
//	make, model   hrDeviceDescr, sysDescr
//	serial        prtGeneralSerialNumber
//	technology    prtMarkerMarkTech of the first marker
//	location, contact  sysLocation, sysContact
//	MAC           ifPhysAddress of the first Ethernet interface
//	uptime        hrSystemUptime, sysUpTime
//	state         hrDeviceStatus, hrPrinterStatus, hrPrinterDetectedErrorState
//
// There is no standard object for the version of the firmware.
func snmpView(f *mib.Facts, index int, o ReadOptions) device.Device {
	v := &view{f: f, index: index}
	d := device.Device{Role: device.RolePrinter, ObservedAt: o.Now()}
	for _, s := range f.Systems {
		d.Name, d.Location, d.Contact = device.Clean(s.Name), device.Clean(s.Location), device.Clean(s.Contact)
		d.Hostname = hostName(d.Name)
		d.MakeModel = device.CleanTo(s.Descr, 127)
		d.State.UptimeS = seconds(s.UpTime)
		v.clock = s.UpTime
	}
	for _, s := range f.HostSystems {
		if up := seconds(s.Uptime); up != nil {
			d.State.UptimeS = up
		}
	}
	for _, g := range of(f.Generals, index) {
		d.Serial = device.Clean(g.SerialNumber)
		d.Name = first(device.Clean(g.PrinterName), d.Name)
	}
	for _, h := range of(f.HostDevices, index) {
		d.MakeModel = first(device.Clean(h.Descr), d.MakeModel)
		d.State.Device = device.Text(h.Status.Label())
	}
	for _, p := range of(f.HostPrinters, index) {
		d.State.Printer = device.Text(p.Status.Label())
		for _, bit := range mib.ErrorBits(p.DetectedErrorState) {
			d.State.ErrorBits = append(d.State.ErrorBits, bit.Label())
		}
	}
	d.MAC = macAddress(f.Interfaces)
	v.panel(&d)
	v.supplies(&d)
	v.paper(&d)
	v.finishers(&d)
	v.counters(&d)
	v.languages(&d)
	v.alerts(&d)
	d.Storage = storages(f.Storages)
	return d
}

// view is one printer of a host on its way to a device.
type view struct {
	f     *mib.Facts
	index int
	clock mib.Num // sysUpTime
}

// row is what all rows of mib have.
type row interface{ Device() int }

// of returns the rows of one printer. They follow each other: hrDeviceIndex is
// the first index of all these tables. Nobody may change them.
func of[T row](rows []T, index int) []T {
	begin := 0
	for begin < len(rows) && rows[begin].Device() != index {
		begin++
	}
	end := begin
	for end < len(rows) && rows[end].Device() == index {
		end++
	}
	return rows[begin:end:end]
}

// seconds converts TimeTicks, hundredths of a second (RFC 2578 section 7.1.8).
func seconds(ticks mib.Num) *int64 {
	n, ok := ticks.Get()
	if !ok {
		return nil
	}
	n /= 100
	return &n
}

// hostName returns a sysName that has the form of a host name (RFC 1123
// section 2.1); people also put other things there.
func hostName(t device.Text) device.Text {
	s := strings.TrimSuffix(string(t), ".")
	if s == "" || len(s) > 253 || strings.Trim(s, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.") != "" {
		return ""
	}
	for label := range strings.SplitSeq(s, ".") {
		if label == "" || len(label) > 63 || label[0] == '-' || label[len(label)-1] == '-' {
			return ""
		}
	}
	return device.Text(s)
}

// Interface types that have a MAC address of the device (IANAifType-MIB).
const (
	ethernetCsmacd = 6
	ieee80211      = 71
)

// macAddress returns the address of the first Ethernet interface that has one,
// else of the first wireless one.
func macAddress(interfaces []mib.Interface) device.Text {
	for _, kind := range []int64{ethernetCsmacd, ieee80211} {
		for _, i := range interfaces {
			if i.Type.Or(0) == kind && physical(i.PhysAddress) {
				return device.Text(net.HardwareAddr(i.PhysAddress).String())
			}
		}
	}
	return ""
}

// physical refuses addresses that belong to no interface: all zero, and those of
// groups, all ones among them (IEEE 802, from memory).
func physical(b []byte) bool {
	return len(b) == 6 && b[0]&1 == 0 && b[0]|b[1]|b[2]|b[3]|b[4]|b[5] != 0
}

// panel maps the lines and lamps of the console (prtConsoleDisplayBufferTable,
// prtConsoleLightTable). Empty lines of the display are left out.
func (v *view) panel(d *device.Device) {
	for _, l := range of(v.f.ConsoleLines, v.index) {
		if text := device.Clean(l.Text); text != "" {
			d.State.Console = append(d.State.Console, string(text))
		}
	}
	for _, l := range of(v.f.ConsoleLights, v.index) {
		d.State.Lights = append(d.State.Lights, device.Light{
			Name: device.Clean(l.Description), Color: device.Text(l.Color.Label()), State: lampState(l.OnTime, l.OffTime),
		})
	}
}

// lampState reads the times that a lamp is on and off, in milliseconds: both
// above 0 is blinking, both 0 is off (RFC 3805 section 6, prtConsoleOnTime).
func lampState(on, off mib.Num) device.Text {
	n, okOn := on.Get()
	f, okOff := off.Get()
	switch {
	case !okOn || !okOff:
		return ""
	case n > 0 && f > 0:
		return "blinking"
	case n > 0:
		return "on"
	}
	return "off"
}

// alerts maps prtAlertTable.
func (v *view) alerts(d *device.Device) {
	rows := of(v.f.Alerts, v.index)
	d.Alerts = slices.Grow(d.Alerts, len(rows))
	for _, a := range rows {
		code, object := a.Code.Label(), "prtAlertCode"
		if code == "" {
			code = mib.AlertCodeUnknown.Label()
			object = "prtAlertSeverityLevel"
			if a.SeverityLevel == 0 {
				object = "prtAlertDescription"
			}
		}
		alert := device.Alert{
			Source: device.SourceSNMP, Object: a.Instance(object), Index: a.Index(), Code: code,
			Severity: a.SeverityLevel.Label(), Training: a.TrainingLevel.Label(), Group: a.Group.Label(),
			GroupIndex: int(a.GroupIndex.Or(-1)), Location: int(a.Location.Or(-2)), Description: device.Clean(a.Description),
		}
		alert.AgeS, alert.AgeReason = v.age(a.Time)
		d.Alerts = append(d.Alerts, alert)
	}
}

// age is how long ago an alert was raised: prtAlertTime is the sysUpTime of
// that moment (RFC 3805 section 6). A time after sysUpTime means that one of
// the clocks started again or wrapped.
func (v *view) age(raised mib.Num) (*int64, device.Text) {
	now, okNow := v.clock.Get()
	then, okThen := raised.Get()
	switch {
	case !okThen:
		return nil, "prtAlertTime is not reported"
	case !okNow:
		return nil, "sysUpTime is not reported"
	case then == 0:
		return nil, "prtAlertTime is 0"
	case then > now:
		return nil, device.Text(fmt.Sprintf("prtAlertTime %d is after sysUpTime %d: the clock restarted or wrapped", then, now))
	}
	s := (now - then) / 100
	return &s, ""
}
