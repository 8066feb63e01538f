package interop

import (
	"encoding/hex"
	"fmt"
	"printround/internal/needtest"
	"regexp"
	"strings"
	"testing"
)

// reading is one value as the reference reader prints it: kind is the name of
// its type in RFC 3416 section 3 (INTEGER, STRING, …), value its canonical
// text: decimal numbers, octets in lower-case hex, identifiers dotted without a
// leading dot.
type reading struct{ kind, value string }

// target is an SNMP agent and how to get in, as options of the net-snmp tools.
type target struct {
	addr string   // host:port
	auth []string // -v2c -c name, or the options of version 3
}

func community(addr, version, name string) target {
	return target{addr, []string{"-v" + version, "-c", name}}
}

// numeric makes the net-snmp tools print every value in one canonical way: no
// MIB files, numeric identifiers, all octet strings in hex, enumerations and
// TimeTicks as numbers.
var numeric = []string{"-m", "", "-On", "-Ox", "-Oe", "-Ot", "-t", "5", "-r", "3"}

// walk reads a subtree with snmpbulkwalk, or with snmpwalk for version 1.
func walk(t *testing.T, at target, base string) map[string]reading {
	t.Helper()
	tool, check := needtest.Program(t, "snmpbulkwalk"), "-Cc"
	if at.auth[0] == "-v1" {
		tool = needtest.Program(t, "snmpwalk")
	}
	args := append(append([]string{}, numeric...), at.auth...)
	out, err := run(t, tool, append(args, check, at.addr, base)...)
	if err != nil {
		t.Fatalf("%s %s %s: %v\n%s", tool, at.addr, base, err, tail(out, 5))
	}
	values, err := parseWalk(out)
	if err != nil {
		t.Fatal(err)
	}
	return values
}

var hexLine = regexp.MustCompile(`^(?:[0-9A-F]{2} *)+$`)

var walkLine = regexp.MustCompile(`^\.(1(?:\.\d+)+) = ?(.*)$`)

// parseWalk reads the output of a net-snmp tool. Long octet strings go on over
// several lines.
func parseWalk(out string) (map[string]reading, error) {
	var joined []string
	for line := range strings.Lines(out) {
		line = strings.TrimRight(line, "\r\n")
		switch {
		case walkLine.MatchString(line):
			joined = append(joined, line)
		case len(joined) > 0 && hexLine.MatchString(line):
			joined[len(joined)-1] += " " + line
		}
	}
	values := map[string]reading{}
	for _, line := range joined {
		m := walkLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		r, ok, err := parseReading(strings.TrimSpace(m[2]))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", line, err)
		}
		if ok {
			values[m[1]] = r
		}
	}
	return values, nil
}

// parseReading reads what stands behind the equals sign; ok is false where it
// is no value (end of view, no such object).
func parseReading(s string) (r reading, ok bool, err error) {
	if strings.HasPrefix(s, "No ") {
		return reading{}, false, nil
	}
	if s == `""` {
		return reading{"STRING", ""}, true, nil
	}
	if s == "NULL" {
		return reading{"NULL", ""}, true, nil
	}
	kind, value, typed := strings.Cut(s, ": ")
	if !typed {
		return reading{"Timeticks", s}, true, nil // -Ot prints the bare number
	}
	switch kind {
	case "INTEGER", "Counter32", "Gauge32", "Counter64", "IpAddress":
		return reading{kind, strings.TrimSpace(value)}, true, nil
	case "OID":
		return reading{kind, strings.TrimPrefix(strings.TrimSpace(value), ".")}, true, nil
	case "Hex-STRING", "BITS":
		octets, err := hex.DecodeString(strings.ReplaceAll(value, " ", ""))
		return reading{"STRING", hex.EncodeToString(octets)}, true, err
	}
	return reading{}, false, fmt.Errorf("type %q is not known", kind)
}

// A parser that misreads the reference would make every comparison worthless,
// so it is checked against lines written by hand. The layout of the lines is
// that of snmpcmd(1), section output options.
func TestReferenceParser(t *testing.T) {
	out := `.1.3.6.1.2.1.1.1.0 = Hex-STRING: 41 42 43 20 
44 45 
.1.3.6.1.2.1.1.2.0 = OID: .1.3.6.1.4.1.8072.3.2.10
.1.3.6.1.2.1.1.3.0 = 25225470
.1.3.6.1.2.1.1.4.0 = ""
.1.3.6.1.2.1.1.7.0 = INTEGER: -3
.1.3.6.1.2.1.2.2.1.10.1 = Counter32: 4294967295
.1.3.6.1.2.1.43.5.1.1.15.1 = NULL
.1.3.6.1.2.1.4.20.1.1.127.0.0.1 = IpAddress: 127.0.0.1
.1.3.6.1.2.1.4.20.1.1.127.0.0.1 = No more variables left in this MIB View (It is past the end of the MIB tree)
End of MIB
`
	want := map[string]reading{
		"1.3.6.1.2.1.1.1.0":              {"STRING", "414243204445"},
		"1.3.6.1.2.1.1.2.0":              {"OID", "1.3.6.1.4.1.8072.3.2.10"},
		"1.3.6.1.2.1.1.3.0":              {"Timeticks", "25225470"},
		"1.3.6.1.2.1.1.4.0":              {"STRING", ""},
		"1.3.6.1.2.1.1.7.0":              {"INTEGER", "-3"},
		"1.3.6.1.2.1.2.2.1.10.1":         {"Counter32", "4294967295"},
		"1.3.6.1.2.1.43.5.1.1.15.1":      {"NULL", ""},
		"1.3.6.1.2.1.4.20.1.1.127.0.0.1": {"IpAddress", "127.0.0.1"},
	}
	got, err := parseWalk(out)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != len(want) {
		t.Errorf("got %d values, want %d", len(got), len(want))
	}
	for oid, w := range want {
		if got[oid] != w {
			t.Errorf("%s: got %v, want %v", oid, got[oid], w)
		}
	}
}
