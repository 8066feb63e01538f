package interop

import (
	"fmt"
	"net/netip"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/snmp"
	"printround/internal/survey"
)

// office is two invented devices of the same model, each with an SNMP agent and
// an IPP printer, at two addresses that can be swapped.
type office struct {
	snmpPort, ippPort uint16
}

const (
	makeModel = "Meridian Works MW-410"
	oneAddr   = "127.43.0.11"
	otherAddr = "127.43.0.12"
)

// unit is one of the devices.
type unit struct{ serial, uuid, mac string }

var (
	firstUnit  = unit{"MW410-0007731", "7d0f3a52-6b1c-4c1e-9a53-0f4b6f2d9a01", "0242ac110a01"}
	secondUnit = unit{"MW410-0009214", "7d0f3a52-6b1c-4c1e-9a53-0f4b6f2d9a02", "0242ac110a02"}
)

// place puts the units at the two addresses.
func (o office) place(t *testing.T, units map[string]unit) {
	t.Helper()
	for addr, u := range units {
		dir := t.TempDir()
		recording := filepath.Join(dir, "public.snmprec")
		writeFile(t, recording, u.recording())
		startSimulatorAt(t, fmt.Sprintf("%s:%d", addr, o.snmpPort), recording)
		startReplayAt(t, fmt.Sprintf("%s:%d", addr, o.ippPort), u.response(t))
	}
}

// recording is a small but whole printer: what identifies it, one supply and
// no fault.
func (u unit) recording() string {
	return strings.Join([]string{
		"1.3.6.1.2.1.1.1.0|4|" + makeModel + " controller 2.1",
		"1.3.6.1.2.1.1.2.0|6|1.3.6.1.4.1.32473.1.4",
		"1.3.6.1.2.1.1.3.0|67|8640000",
		"1.3.6.1.2.1.2.2.1.6.1|4x|" + u.mac,
		"1.3.6.1.2.1.25.3.2.1.2.1|6|1.3.6.1.2.1.25.3.1.5",
		"1.3.6.1.2.1.25.3.2.1.3.1|4|" + makeModel,
		"1.3.6.1.2.1.25.3.2.1.5.1|2|2",
		"1.3.6.1.2.1.25.3.5.1.1.1|2|3",
		"1.3.6.1.2.1.25.3.5.1.2.1|4x|00",
		"1.3.6.1.2.1.43.5.1.1.1.1|65|3",
		"1.3.6.1.2.1.43.5.1.1.16.1|4|" + makeModel,
		"1.3.6.1.2.1.43.5.1.1.17.1|4|" + u.serial,
		"1.3.6.1.2.1.43.11.1.1.2.1.1|2|1",
		"1.3.6.1.2.1.43.11.1.1.4.1.1|2|3",
		"1.3.6.1.2.1.43.11.1.1.5.1.1|2|3",
		"1.3.6.1.2.1.43.11.1.1.6.1.1|4|Black toner",
		"1.3.6.1.2.1.43.11.1.1.7.1.1|2|19",
		"1.3.6.1.2.1.43.11.1.1.8.1.1|2|100",
		"1.3.6.1.2.1.43.11.1.1.9.1.1|2|64",
	}, "\n") + "\n"
}

// response is the unit's answer to Get-Printer-Attributes.
func (u unit) response(t *testing.T) []byte {
	t.Helper()
	m := goipp.NewResponse(goipp.DefaultVersion, goipp.StatusOk, 1)
	op := &m.Operation
	op.Add(goipp.MakeAttribute("attributes-charset", goipp.TagCharset, goipp.String("utf-8")))
	op.Add(goipp.MakeAttribute("attributes-natural-language", goipp.TagLanguage, goipp.String("en")))
	pr := &m.Printer
	pr.Add(goipp.MakeAttribute("printer-name", goipp.TagName, goipp.String("mw410")))
	pr.Add(goipp.MakeAttribute("printer-make-and-model", goipp.TagText, goipp.String(makeModel)))
	pr.Add(goipp.MakeAttribute("printer-device-id", goipp.TagText,
		goipp.String("MFG:Meridian Works;MDL:MW-410;CMD:PDF,PWGRaster;SN:"+u.serial+";")))
	pr.Add(goipp.MakeAttribute("printer-uuid", goipp.TagURI, goipp.String("urn:uuid:"+u.uuid)))
	pr.Add(goipp.MakeAttribute("printer-state", goipp.TagEnum, goipp.Integer(3)))
	pr.Add(goipp.MakeAttribute("printer-state-reasons", goipp.TagKeyword, goipp.String("none")))
	pr.Add(goipp.MakeAttribute("printer-is-accepting-jobs", goipp.TagBoolean, goipp.Boolean(true)))
	pr.Add(goipp.MakeAttribute("queued-job-count", goipp.TagInteger, goipp.Integer(0)))
	b, err := m.EncodeBytes()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// look surveys both addresses; known is what earlier runs saw.
func (o office) look(t *testing.T, known []device.Device, noSNMP, noIPP bool) []device.Device {
	t.Helper()
	var targets []discover.Target
	for _, a := range []string{oneAddr, otherAddr} {
		targets = append(targets, discover.Target{Addr: netip.MustParseAddr(a), SNMPPort: o.snmpPort, IPPPort: o.ippPort})
	}
	s, err := survey.Run(t.Context(), survey.Options{
		Credentials: []snmp.Credential{named("public")},
		Discover: discover.Config{
			Scope: discover.NewScope(targets), Pace: 1000, Retries: 1, Timeout: time.Second, Listen: time.Second,
			NoMDNS: true, NoSNMP: noSNMP, NoIPP: noIPP,
		},
		Known: known, NoSNMP: noSNMP, NoIPP: noIPP, Timeout: 5 * time.Second, Retries: 1,
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Devices) != 2 {
		t.Fatalf("%d devices, want 2; errors %v", len(s.Devices), s.Errors)
	}
	return s.Devices
}

// keyAt is the key of the device at an address.
func keyAt(t *testing.T, devices []device.Device, addr string) string {
	t.Helper()
	for _, d := range devices {
		if slices.Contains(d.Addresses, netip.MustParseAddr(addr)) {
			return d.Key
		}
	}
	t.Fatalf("no device at %s", addr)
	return ""
}

// A device is itself whatever its address and whichever protocol answers: two
// devices of one model swap addresses while IPP is hidden, and are read over
// IPP only in the run after that.
func TestIdentityHolds(t *testing.T) {
	onLinux(t)
	o := office{snmpPort: freeUDP(t), ippPort: freeTCP(t)}
	var known []device.Device
	var first, second string
	t.Run("both protocols", func(t *testing.T) {
		o.place(t, map[string]unit{oneAddr: firstUnit, otherAddr: secondUnit})
		known = o.look(t, nil, false, false)
		first, second = keyAt(t, known, oneAddr), keyAt(t, known, otherAddr)
		if first == second {
			t.Fatalf("both devices have the key %s", first)
		}
	})
	t.Run("swapped, SNMP only", func(t *testing.T) {
		o.place(t, map[string]unit{oneAddr: secondUnit, otherAddr: firstUnit})
		known = o.look(t, known, false, true)
		sameKeys(t, known, second, first)
	})
	t.Run("still swapped, IPP only", func(t *testing.T) {
		o.place(t, map[string]unit{oneAddr: secondUnit, otherAddr: firstUnit})
		known = o.look(t, known, true, false)
		sameKeys(t, known, second, first)
	})
	t.Run("swapped back, both protocols", func(t *testing.T) {
		o.place(t, map[string]unit{oneAddr: firstUnit, otherAddr: secondUnit})
		known = o.look(t, known, false, false)
		sameKeys(t, known, first, second)
	})
}

func sameKeys(t *testing.T, devices []device.Device, one, other string) {
	t.Helper()
	if got := keyAt(t, devices, oneAddr); got != one {
		t.Errorf("the device at %s is %s, want %s", oneAddr, got, one)
	}
	if got := keyAt(t, devices, otherAddr); got != other {
		t.Errorf("the device at %s is %s, want %s", otherAddr, got, other)
	}
}
