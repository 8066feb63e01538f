package interop

import (
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/needtest"
	"printround/internal/snmp"
	"printround/internal/survey"
)

// sweep surveys one agent on loopback, its IPP port closed.
func sweep(t *testing.T, at netip.AddrPort, creds ...snmp.Credential) *device.Survey {
	t.Helper()
	o := survey.Options{
		Credentials: creds,
		Discover: discover.Config{
			Scope:   discover.NewScope([]discover.Target{{Addr: at.Addr(), SNMPPort: at.Port(), IPPPort: freeTCP(t)}}),
			Pace:    1000,
			Retries: 2,
			Timeout: 2 * time.Second,
			Listen:  time.Second,
			NoMDNS:  true,
		},
		Timeout: 5 * time.Second,
		Retries: 2,
		Log:     func(line string) { t.Log(line) },
	}
	s, err := survey.Run(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func named(community string) snmp.Credential {
	return snmp.Credential{Label: "test", Version: snmp.V2c, Community: snmp.Secret(community)}
}

// printerMIB is the subtree of the Printer MIB (RFC 3805 section 6, printmib).
const printerMIB = "1.3.6.1.2.1.43."

// hasPrinterMIB reports whether a recording has any row of the Printer MIB: the
// mark of a printer, however little there is.
func hasPrinterMIB(t *testing.T, path string) bool {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(strings.TrimPrefix(line, "."), printerMIB) {
			return true
		}
	}
	return false
}

// Hosts that are no printers are never listed, although some share queues, some
// carry hrDeviceType printer rows and one has a printer maker's enterprise
// number. They are counted, or listed as unconfirmed with a reason.
func TestHostsThatAreNoPrintersAreNotListed(t *testing.T) {
	recordings := files(t, needtest.Shared(t, "captures", "negative"), "*.snmprec")
	agent := addrPort(t, startSimulator(t, recordings...))
	t.Run("hosts", func(t *testing.T) {
		for _, p := range recordings {
			t.Run(filepath.Base(p), func(t *testing.T) {
				t.Parallel()
				if hasPrinterMIB(t, p) {
					t.Fatal("this recording has rows of the Printer MIB")
				}
				s := sweep(t, agent, named(recordingCommunity(p)))
				for _, d := range s.Devices {
					t.Errorf("listed as a printer: %s %s", d.Key, d.MakeModel)
				}
				if s.Scope.Answered != 1 || s.Scope.NotPrinters+s.Scope.Unconfirmed != 1 {
					t.Errorf("scope %+v, want one host that answered and is no printer", s.Scope)
				}
				checkUnconfirmed(t, s)
			})
		}
	})
}

// Recorded printers are listed when they show anything of the Printer MIB. The
// others, of which only the host's own groups were recorded, are unconfirmed:
// hints of a printer prove nothing.
func TestRecordedPrinters(t *testing.T) {
	recordings := files(t, needtest.Shared(t, "captures", "snmp"), "*.snmprec")
	agent := addrPort(t, startSimulator(t, recordings...))
	unconfirmed := 0
	for _, p := range recordings {
		if !hasPrinterMIB(t, p) {
			unconfirmed++
		}
	}
	if unconfirmed != 3 || len(recordings)-unconfirmed < 5 {
		t.Errorf("%d recordings, %d of them without the Printer MIB: want 3 without and at least 5 with", len(recordings), unconfirmed)
	}
	t.Run("hosts", func(t *testing.T) {
		for _, p := range recordings {
			t.Run(filepath.Base(p), func(t *testing.T) {
				t.Parallel()
				s := sweep(t, agent, named(recordingCommunity(p)))
				devices, hosts := 1, 0
				if !hasPrinterMIB(t, p) {
					devices, hosts = 0, 1
				}
				if len(s.Devices) != devices || len(s.Unconfirmed) != hosts {
					t.Errorf("%d devices and %d unconfirmed, want %d and %d; scope %+v, errors %v",
						len(s.Devices), len(s.Unconfirmed), devices, hosts, s.Scope, s.Errors)
				}
				checkUnconfirmed(t, s)
			})
		}
	})
}

func checkUnconfirmed(t *testing.T, s *device.Survey) {
	t.Helper()
	if s.Scope.Unconfirmed != len(s.Unconfirmed) {
		t.Errorf("%d counted as unconfirmed, %d listed", s.Scope.Unconfirmed, len(s.Unconfirmed))
	}
	for _, u := range s.Unconfirmed {
		if u.Reason == "" {
			t.Errorf("%s is unconfirmed without a reason", u.Address)
		}
		t.Logf("unconfirmed: %s: %s", u.Description, u.Reason)
	}
}

// Two printers behind one address, as an external print server shows them, are
// two devices: each with its own serial number, supplies and state.
func TestPrintersBehindOneAddressStayApart(t *testing.T) {
	recording := filepath.Join("..", "..", "testdata", "recordings", "two-behind-one.snmprec")
	rows, err := readRecording(recording)
	if err != nil {
		t.Fatal(err)
	}
	const serialNumber = "1.3.6.1.2.1.43.5.1.1.17." // prtGeneralSerialNumber, RFC 3805 section 6
	var want []string
	for _, r := range rows {
		if strings.HasPrefix(strings.TrimPrefix(formatOID(r.oid), "."), serialNumber) {
			want = append(want, r.value)
		}
	}
	if len(want) != 2 {
		t.Fatalf("the recording has %d serial numbers, want 2", len(want))
	}
	agents := map[string]netip.AddrPort{
		"snmpsimd": addrPort(t, startSimulator(t, recording)),
		"snmpd":    addrPort(t, startAgent(t, recording)),
	}
	creds := map[string]snmp.Credential{"snmpsimd": named(recordingCommunity(recording)), "snmpd": named("public")}
	for name, at := range agents {
		s := sweep(t, at, creds[name])
		var got []string
		keys := map[string]bool{}
		for _, d := range s.Devices {
			got = append(got, string(d.Serial))
			keys[d.Key] = true
			if len(d.Supplies) == 0 {
				t.Errorf("%s: %s has no supplies", name, d.Key)
			}
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) || len(keys) != len(want) {
			t.Errorf("%s: serial numbers %v with keys %v, want %v", name, got, keys, want)
		}
	}
}
