package interop

import (
	"net"
	"net/netip"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/finding"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/needtest"
	"printround/internal/snmp"
)

// fixedSeed is the seed where the environment names none; the check script
// draws one and prints it.
const fixedSeed = 20260304

func labSeed(t *testing.T) int64 {
	t.Helper()
	text := os.Getenv("PRINTROUND_LAB_SEED")
	if text == "" {
		return fixedSeed
	}
	seed, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		t.Fatalf("PRINTROUND_LAB_SEED: %v", err)
	}
	return seed
}

// surveyLab surveys the lab by its own site file, each branch as a site, and
// judges what was found.
func surveyLab(t *testing.T, l *lab.Lab) []device.Device {
	t.Helper()
	labPorts(t, l) // skips where the addresses are not to be had
	file, surveys, err := labtest.Survey(t.Context(), l, t.TempDir(), discover.Config{
		Timeout: time.Second, Listen: 4 * time.Second, Interfaces: []net.Interface{loopback(t)},
	})
	if err != nil {
		t.Fatal(err)
	}
	var all []device.Device
	for i, s := range surveys {
		for _, p := range s.Errors {
			t.Logf("%s: %s: %s", p.Address, p.Stage, p.Message)
		}
		o := finding.Defaults()
		o.ExpectedMedia, o.Norms = file.Sites[i].ExpectedMedia, file.Sites[i].Norms
		finding.JudgeAll(s.Devices, o)
		all = append(all, s.Devices...)
	}
	finding.Rank(all)
	return all
}

// labPorts are the ports that all devices of the lab share.
func labPorts(t *testing.T, l *lab.Lab) (snmpPort, ippPort uint16) {
	t.Helper()
	set := func(to *uint16, port int) {
		if port == 0 {
			return
		}
		if *to != 0 && *to != uint16(port) {
			needtest.Missing(t, "this system has no loopback address for each device")
		}
		*to = uint16(port)
	}
	for _, d := range l.Devices() {
		set(&snmpPort, d.SNMPPort)
		set(&ippPort, d.IPPPort)
	}
	return snmpPort, ippPort
}

// The lab with the faults of its scenario, its levels, counters and serials
// drawn from a seed.
func TestLabFaultsAreFound(t *testing.T) {
	seed := labSeed(t)
	t.Logf("lab seed %d", seed)
	l := labtest.Start(t, lab.Options{Seed: seed})
	checkLab(t, l, surveyLab(t, l))
}

// The lab with faults drawn from a seed over a clean scenario.
func TestLabRandomFaultsAreFound(t *testing.T) {
	seed := labSeed(t)
	faults, err := lab.RandomFaults(seed)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("lab seed %d, faults %v", seed, faults)
	l := labtest.Start(t, lab.Options{Seed: seed, Clean: true, Faults: faults})
	checkLab(t, l, surveyLab(t, l))
}

// checkLab compares what was found with what the lab knows to be true: every
// condition on the right device and nothing that asks for somebody elsewhere,
// every printer once, and nothing else.
func checkLab(t *testing.T, l *lab.Lab, found []device.Device) {
	t.Helper()
	taken := map[string]string{}
	printers := 0
	for _, want := range l.Devices() {
		if want.Queue {
			printers += checkQueue(t, want, found)
			continue
		}
		d := match(want, found)
		if !want.Printer {
			if d != nil {
				t.Errorf("%s, a %s, is listed as %s", want.Name, want.Kind, d.Key)
			}
			continue
		}
		printers++
		if d == nil {
			t.Errorf("%s, a %s at %s, was not found", want.Name, want.Kind, want.Addr)
			continue
		}
		if other, twice := taken[d.Key]; twice {
			t.Errorf("%s and %s are one device: %s", other, want.Name, d.Key)
		}
		taken[d.Key] = want.Name
		checkDevice(t, want, d)
	}
	if len(found) != printers {
		t.Errorf("%d devices, want %d", len(found), printers)
	}
	t.Logf("%d devices, %d printers and queues", len(l.Devices()), printers)
	if changes := l.Received(); len(changes) > 0 {
		t.Errorf("the tool tried to change devices: %v", changes)
	}
}

// checkQueue checks that a print server's queue is no device.
func checkQueue(t *testing.T, want lab.Device, found []device.Device) (listed int) {
	t.Helper()
	for _, d := range found {
		if slices.Contains(d.Addresses, want.Addr) {
			listed++
			if d.Role != device.RoleServerQueue {
				t.Errorf("%s, a %s, is listed as a %s", want.Name, want.Kind, d.Role)
			}
		}
	}
	return listed
}

// match finds a device of the lab among those found: by what it says of itself
// and, where it is silent or no printer, by address.
func match(want lab.Device, found []device.Device) *device.Device {
	for i := range found {
		d := &found[i]
		switch {
		case want.Printer && !want.Silent && want.Serial != "" && string(d.Serial) == want.Serial,
			want.Printer && !want.Silent && want.UUID != "" && strings.EqualFold(string(d.UUID), want.UUID):
			return d
		case (!want.Printer || want.Silent || want.Serial == "") && slices.Contains(d.Addresses, want.Addr):
			return d
		}
	}
	return nil
}

func checkDevice(t *testing.T, want lab.Device, d *device.Device) {
	t.Helper()
	if want.Silent {
		if d.Attention != device.Silent {
			t.Errorf("%s is switched off and reported %s", want.Name, d.Attention)
		}
		return
	}
	for _, a := range want.Addrs {
		if !slices.Contains(d.Addresses, a) {
			t.Errorf("%s: addresses %v, want %v", want.Name, d.Addresses, want.Addrs)
		}
	}
	codes := map[string]device.Impact{}
	for _, f := range d.Findings {
		if f.Stale {
			continue
		}
		if old, ok := codes[f.Code]; !ok || f.Impact.Rank() < old.Rank() {
			codes[f.Code] = f.Impact
		}
	}
	for _, c := range want.Conditions {
		if _, ok := codes[c]; !ok {
			t.Errorf("%s (%s %s): %s was not found; findings %v", want.Name, d.Key, d.Attention, c, codes)
		}
	}
	for code, impact := range codes {
		if impact != device.ImpactNote && !slices.Contains(want.Conditions, code) {
			t.Errorf("%s (%s): %s (%s) was found, which is not there", want.Name, d.Key, code, impact)
		}
	}
	if len(want.Conditions) == 0 && d.Attention != device.Clear {
		t.Errorf("%s: nothing is wrong and it is %s: %s", want.Name, d.Attention, d.Why())
	}
}

// toolProtocol maps the names of protocols to those of the net-snmp tools
// (snmpcmd(1), options -a and -x).
var toolProtocol = map[string]string{
	"MD5": "MD5", "SHA": "SHA", "SHA224": "SHA-224", "SHA256": "SHA-256", "SHA384": "SHA-384", "SHA512": "SHA-512",
	"DES": "DES", "AES": "AES",
}

// The lab's agent against the reference reader, in every version it speaks, and
// the tool against both: every value that the tool reads from it is the one
// that snmpbulkwalk prints.
func TestLabValueForValue(t *testing.T) {
	l := labtest.Start(t, lab.Options{Seed: labSeed(t), NoMDNS: true})
	users := labtest.Users(t, l)
	devices, secured, total := 0, 0, 0
	for _, d := range l.Devices() {
		if d.SNMP == "" || d.Silent || !d.Printer {
			continue
		}
		t.Run(d.Name, func(t *testing.T) {
			addr := netip.AddrPortFrom(d.Addr, uint16(d.SNMPPort)).String()
			at, cred := community(addr, d.SNMP, d.Community), named(d.Community)
			switch d.SNMP {
			case "1":
				cred.Version = snmp.V1
			case "3":
				cred = users[d.Site]
				at = target{addr, []string{"-v3", "-u", cred.User, "-l", "authPriv",
					"-a", toolProtocol[cred.AuthProtocol], "-A", cred.AuthPass.Reveal(),
					"-x", toolProtocol[cred.PrivProtocol], "-X", cred.PrivPass.Reveal()}}
				secured++
			}
			want := walk(t, at, "1.3.6.1")
			if len(want) != d.Values {
				t.Errorf("the reference reader prints %d values, the lab has %d", len(want), d.Values)
			}
			total += compareValues(t, readFacts(t, addr, cred), want)
			devices++
		})
	}
	t.Logf("%d values of %d devices are equal, %d of them over version 3", total, devices, secured)
	if secured == 0 {
		t.Error("no device was read over version 3")
	}
	if devices < 10 {
		t.Errorf("%d devices were compared, want at least 10", devices)
	}
}

// The lab's IPP printers pass the stock test of the IPP test client.
func TestLabPrintersSatisfyIpptool(t *testing.T) {
	l := labtest.Start(t, lab.Options{Seed: labSeed(t), NoMDNS: true})
	tested := 0
	for _, d := range l.Devices() {
		if d.IPPPort == 0 || d.Silent {
			continue
		}
		t.Run(d.Name, func(t *testing.T) {
			uri := "ipp://" + netip.AddrPortFrom(d.Addr, uint16(d.IPPPort)).String() + d.IPPPath
			attributes := printerAttributes(t, uri)
			if d.Printer && attributes["printer-make-and-model"] != d.Model {
				t.Errorf("printer-make-and-model %q, want %q", attributes["printer-make-and-model"], d.Model)
			}
			tested++
		})
	}
	if tested < 10 {
		t.Errorf("%d printers were tested, want at least 10", tested)
	}
}
