package interop

import (
	"encoding/hex"
	"errors"
	"maps"
	"net/netip"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/lab"
	"printround/internal/mib"
	"printround/internal/needtest"
	"printround/internal/oid"
	"printround/internal/snmp"
)

// readFacts reads an agent as the tool does and returns every value it read.
func readFacts(t *testing.T, addr string, cred snmp.Credential) *mib.Facts {
	t.Helper()
	session, err := snmp.Open(t.Context(), netip.MustParseAddrPort(addr), cred, snmp.Options{Timeout: 5 * time.Second, Retries: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer session.Close()
	facts, err := mib.Read(t.Context(), session)
	if err != nil && !errors.Is(err, mib.ErrNotPrinter) {
		t.Fatal(err)
	}
	return facts
}

// kinds maps the types of values to the names that the reference reader prints.
var kinds = map[oid.Kind]string{
	oid.Integer: "INTEGER", oid.OctetString: "STRING", oid.Null: "NULL", oid.ObjectID: "OID",
	oid.IPAddress: "IpAddress", oid.Counter32: "Counter32", oid.Gauge32: "Gauge32",
	oid.TimeTicks: "Timeticks", oid.Counter64: "Counter64",
}

// asReading puts a value of the tool into the form of the reference reader.
func asReading(v oid.Value) reading {
	r := reading{kind: kinds[v.Kind]}
	switch v.Kind {
	case oid.OctetString:
		r.value = hex.EncodeToString(v.Bytes)
	case oid.IPAddress:
		if a, ok := netip.AddrFromSlice(v.Bytes); ok {
			r.value = a.String()
		}
	case oid.ObjectID:
		r.value = v.ID.String()
	case oid.Counter64:
		r.value = strconv.FormatUint(uint64(v.Num), 10)
	case oid.Null:
	default:
		r.value = strconv.FormatInt(v.Num, 10)
	}
	return r
}

// Clocks run on between two readings: sysUpTime (RFC 3418) and hrSystemUptime
// (RFC 2790 section 4). Their type is compared, and that they did not go back.
var clocks = []string{"1.3.6.1.2.1.1.3.0", "1.3.6.1.2.1.25.1.1.0"}

// compareValues checks that the tool read nothing but what the reference reader
// prints, and of each column that it reads every instance. It returns how many
// values were equal.
func compareValues(t *testing.T, facts *mib.Facts, want map[string]reading) (equal int) {
	t.Helper()
	got := map[string]reading{}
	columns := map[string]bool{}
	for _, b := range facts.Raw {
		name := b.Name.String()
		if _, twice := got[name]; twice {
			t.Errorf("%s was read twice", name)
		}
		got[name] = asReading(b.Value)
		columns[column(name)] = true
	}
	for _, name := range slices.Sorted(maps.Keys(got)) {
		w, ok := want[name]
		switch {
		case !ok:
			t.Errorf("%s: the tool read %v, the reference reader has no such instance", name, got[name])
		case slices.Contains(clocks, name):
			if got[name].kind != w.kind {
				t.Errorf("%s: got %v, the reference reader prints %v", name, got[name], w)
			}
		case got[name] != w:
			t.Errorf("%s: got %v, the reference reader prints %v", name, got[name], w)
		default:
			equal++
		}
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if _, ok := got[name]; !ok && columns[column(name)] && !otherDevice(name, want) {
			t.Errorf("%s: the reference reader prints %v, the tool did not read it", name, want[name])
		}
	}
	return equal
}

// otherDevice reports whether an instance is a row of hrDeviceTable about
// something else than a printer, such as a disk or a network interface. Of such
// rows the tool reads the type only.
func otherDevice(name string, want map[string]reading) bool {
	const entry, deviceType, printer = "1.3.6.1.2.1.25.3.2.1.", "2.", "1.3.6.1.2.1.25.3.1.5"
	rest, ok := strings.CutPrefix(name, entry)
	if !ok {
		return false
	}
	_, index, _ := strings.Cut(rest, ".")
	kind, typed := want[entry+deviceType+index]
	return typed && kind.value != printer
}

// indexLength is how many sub-identifiers follow the column in the tables read
// (the INDEX clauses of RFC 3805, RFC 3806, RFC 2790 and RFC 2863); the longest
// prefix counts.
var indexLength = map[string]int{
	"1.3.6.1.2.1.1":         1, // system: instance 0
	"1.3.6.1.2.1.2.2.1":     1, // ifEntry
	"1.3.6.1.2.1.25.1":      1, // hrSystem: instance 0
	"1.3.6.1.2.1.25.2.3.1":  1, // hrStorageEntry
	"1.3.6.1.2.1.25.3.2.1":  1, // hrDeviceEntry
	"1.3.6.1.2.1.25.3.5.1":  1, // hrPrinterEntry
	"1.3.6.1.2.1.43":        2, // subunits: hrDeviceIndex and their own
	"1.3.6.1.2.1.43.5.1.1":  1, // prtGeneralEntry
	"1.3.6.1.2.1.43.33.1.1": 4, // finDeviceAttributeEntry
}

// column cuts the index off an instance.
func column(name string) string {
	longest, n := "", 0
	for prefix, length := range indexLength {
		if strings.HasPrefix(name, prefix+".") && len(prefix) > len(longest) {
			longest, n = prefix, length
		}
	}
	for ; n > 0; n-- {
		if i := strings.LastIndexByte(name, '.'); i > len(longest) {
			name = name[:i]
		}
	}
	return name
}

// Recordings of real devices, served by an agent that others wrote: each value
// that the tool reads is the one that the reference reader prints.
func TestRecordingsValueForValue(t *testing.T) {
	recordings := files(t, needtest.Shared(t, "captures", "snmp"), "*.snmprec")
	agent := startSimulator(t, recordings...)
	total := 0
	for _, p := range recordings {
		t.Run(filepath.Base(p), func(t *testing.T) {
			name := recordingCommunity(p)
			for _, version := range []snmp.Version{snmp.V2c, snmp.V1} {
				cred := named(name)
				cred.Version = version
				facts := readFacts(t, agent, cred)
				if facts.PrinterMIB != hasPrinterMIB(t, p) {
					t.Errorf("version %s: the Printer MIB is there: %v, want %v", version, facts.PrinterMIB, hasPrinterMIB(t, p))
				}
				equal := compareValues(t, facts, walk(t, community(agent, version.String(), name), "1.3.6.1"))
				if facts.PrinterMIB && equal == 0 {
					t.Errorf("version %s: no value was compared", version)
				}
				total += equal
			}
		})
	}
	t.Logf("%d values of %d recordings are equal, over version 1 and 2c", total, len(recordings))
}

// completeRecording is the invented recording of a device that fills every
// table, kept in the project.
func completeRecording(t *testing.T) string {
	t.Helper()
	return files(t, filepath.Join("..", "..", "testdata", "recordings"), "full-mfp.snmprec")[0]
}

// leastValues is the least number of values of a fully populated device.
const leastValues = 300

// A fully populated device, served by two agents that others wrote and by the
// lab: snmpsimd, and snmpd with each user-based security level (RFC 3414, RFC
// 3826, RFC 7860).
func TestCompleteDeviceValueForValue(t *testing.T) {
	recording := completeRecording(t)
	simulator, agent := startSimulator(t, recording), startAgent(t, recording)
	served, err := lab.OpenRecording(recording)
	if err != nil {
		t.Fatal(err)
	}
	own := netip.MustParseAddr("127.0.0.1")
	replayed, err := lab.ServeRecordings(t.Context(), 0, map[netip.Addr]*lab.Recording{own: served})
	if err != nil {
		t.Fatal(err)
	}
	defer replayed.Close()
	simulated := netip.AddrPortFrom(own, uint16(replayed.Port())).String()
	users := []struct {
		name string
		cred snmp.Credential
		tool []string
	}{
		{"SHA and AES", secure("reader", "SHA", "AES"), options("reader", "SHA", "AES")},
		{"MD5 and DES", secure("reader-md5-des", "MD5", "DES"), options("reader-md5-des", "MD5", "DES")},
		{"SHA-256 and AES", secure("reader-sha256-aes", "SHA256", "AES"), options("reader-sha256-aes", "SHA-256", "AES")},
		{"SHA without privacy", secure("reader-auth", "SHA", ""), options("reader-auth", "SHA", "")},
	}
	check := func(name, addr string, cred snmp.Credential, at target) {
		t.Run(name, func(t *testing.T) {
			facts := readFacts(t, addr, cred)
			if len(facts.Problems) > 0 || facts.Partial {
				t.Errorf("partial %v, problems %v", facts.Partial, facts.Problems)
			}
			equal := compareValues(t, facts, walk(t, at, "1.3.6.1.2.1"))
			t.Logf("%d values are equal", equal)
			if equal < leastValues {
				t.Errorf("%d values, want at least %d", equal, leastValues)
			}
		})
	}
	name := recordingCommunity(recording)
	for _, v := range []snmp.Version{snmp.V2c, snmp.V1} {
		byName, public := named(name), named("public")
		byName.Version, public.Version = v, v
		check("snmpsimd version "+v.String(), simulator, byName, community(simulator, v.String(), name))
		check("the lab version "+v.String(), simulated, public, community(simulated, v.String(), "public"))
		check("snmpd version "+v.String(), agent, public, community(agent, v.String(), "public"))
	}
	for _, u := range users {
		check("snmpd, "+u.name, agent, u.cred, target{agent, u.tool})
	}
}

// secure is a user of startAgent, as the tool wants it.
func secure(user, auth, priv string) snmp.Credential {
	c := snmp.Credential{Label: user, Version: snmp.V3, User: user, AuthProtocol: auth, AuthPass: agentAuth}
	if priv != "" {
		c.PrivProtocol, c.PrivPass = priv, agentPriv
	}
	return c
}

// options is the same user, as the net-snmp tools want it.
func options(user, auth, priv string) []string {
	o := []string{"-v3", "-u", user, "-a", auth, "-A", agentAuth}
	if priv == "" {
		return append(o, "-l", "authNoPriv")
	}
	return append(o, "-l", "authPriv", "-x", priv, "-X", agentPriv)
}

// A wrong passphrase and an unknown user are told apart from silence, without
// the secret in the message.
func TestWrongSecretsAreSaidSo(t *testing.T) {
	agent := startAgent(t, completeRecording(t))
	for name, cred := range map[string]snmp.Credential{
		"wrong passphrase": func() snmp.Credential {
			c := secure("reader", "SHA", "AES")
			c.AuthPass = "not-the-passphrase-at-all"
			return c
		}(),
		"unknown user": secure("nobody-of-that-name", "SHA", "AES"),
	} {
		t.Run(name, func(t *testing.T) {
			session, err := snmp.Open(t.Context(), netip.MustParseAddrPort(agent), cred, snmp.Options{Timeout: 2 * time.Second, Retries: 1})
			if err == nil {
				defer session.Close()
				_, err = mib.Read(t.Context(), session)
			}
			if !errors.Is(err, snmp.ErrAuth) {
				t.Fatalf("got %v, want that the credential was refused", err)
			}
			for _, secret := range []string{"not-the-passphrase-at-all", agentAuth, agentPriv} {
				if strings.Contains(err.Error(), secret) {
					t.Error("the message shows a passphrase")
				}
			}
		})
	}
}

// A fully populated device is read in no more exchanges than its answers need:
// the octets of its values divided by what one answer holds, rounded up, and
// three.
func TestRoundTripsOfACompleteDevice(t *testing.T) {
	recording := completeRecording(t)
	addr := startAgent(t, recording)
	session, err := snmp.Open(t.Context(), netip.MustParseAddrPort(addr), named("public"), snmp.Options{Timeout: 5 * time.Second, Retries: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer session.Close()
	facts, err := mib.Read(t.Context(), session)
	if err != nil {
		t.Fatal(err)
	}
	const answer = 1400 // octets of one answer that pass every link
	useful := 0
	for _, b := range facts.Raw {
		useful += b.Size()
	}
	stats := session.Stats()
	most := (useful+answer-1)/answer + 3
	t.Logf("%d values, %d octets of them, %d round trips, at most %d wanted", stats.Values, useful, stats.RoundTrips, most)
	if stats.RoundTrips > most {
		t.Errorf("%d round trips, want at most %d", stats.RoundTrips, most)
	}
	if len(facts.Raw) < 350 {
		t.Errorf("%d values, want at least 350 for this to say something", len(facts.Raw))
	}
}
