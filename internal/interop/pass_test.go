package interop

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
)

// passRecordingEnv names the recording that the test binary serves when snmpd
// starts it as a pass_persist program.
const passRecordingEnv = "PRINTROUND_PASS_RECORDING"

// row is one line of a recording, read here and not by the tool's own reader.
type row struct {
	oid   []uint32
	kind  string // tag as written: 2, 4, 4x, 6, 64, 65, 66, 67, 70
	value string
}

func readRecording(path string) ([]row, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var rows []row
	for i, line := range strings.Split(string(text), "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		f := strings.SplitN(line, "|", 3)
		if len(f) != 3 {
			return nil, fmt.Errorf("%s:%d: want OID|TAG|VALUE", path, i+1)
		}
		oid, err := parseOID(f[0])
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", path, i+1, err)
		}
		rows = append(rows, row{oid, f[1], strings.TrimSuffix(f[2], "\r")})
	}
	slices.SortFunc(rows, func(a, b row) int { return slices.Compare(a.oid, b.oid) })
	return rows, nil
}

func parseOID(s string) ([]uint32, error) {
	var oid []uint32
	for part := range strings.SplitSeq(strings.TrimPrefix(s, "."), ".") {
		n, err := strconv.ParseUint(part, 10, 32)
		if err != nil {
			return nil, fmt.Errorf("object identifier %q: %w", s, err)
		}
		oid = append(oid, uint32(n))
	}
	return oid, nil
}

func formatOID(oid []uint32) string {
	var b strings.Builder
	for _, n := range oid {
		fmt.Fprintf(&b, ".%d", n)
	}
	return b.String()
}

// servePass speaks the pass_persist protocol of snmpd.conf(5): a command line
// (PING, get, getnext, set), an OID line, and three lines or NONE back.
func servePass(path string, in io.Reader, out io.Writer) int {
	rows, err := readRecording(path)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		switch strings.ToLower(lines.Text()) {
		case "ping":
			fmt.Fprintln(out, "PONG")
		case "get", "getnext":
			next := strings.EqualFold(lines.Text(), "getnext")
			if !lines.Scan() {
				return 0
			}
			fmt.Fprintln(out, passAnswer(rows, lines.Text(), next))
		case "set":
			lines.Scan()
			lines.Scan()
			fmt.Fprintln(out, "not-writable")
		default:
			return 0
		}
	}
	return 0
}

func passAnswer(rows []row, asked string, next bool) string {
	oid, err := parseOID(asked)
	if err != nil {
		return "NONE"
	}
	i, exact := slices.BinarySearchFunc(rows, oid, func(r row, o []uint32) int { return slices.Compare(r.oid, o) })
	if next && exact {
		i++
	}
	if i >= len(rows) || !next && !exact {
		return "NONE"
	}
	kind, value := passValue(rows[i])
	return formatOID(rows[i].oid) + "\n" + kind + "\n" + value
}

// passValue turns a row into the type word and value of the protocol.
func passValue(r row) (kind, value string) {
	switch r.kind {
	case "2":
		return "integer", r.value
	case "6":
		return "objectid", "." + strings.TrimPrefix(r.value, ".")
	case "64":
		return "ipaddress", r.value
	case "65":
		return "counter", r.value
	case "66":
		return "gauge", r.value
	case "67":
		return "timeticks", r.value
	case "4x":
		return "octet", spaced(r.value)
	}
	return "octet", spaced(hex.EncodeToString([]byte(r.value)))
}

// spaced writes hex digits in pairs, as the protocol wants octets.
func spaced(digits string) string {
	var b strings.Builder
	for i := 0; i+1 < len(digits); i += 2 {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(digits[i : i+2])
	}
	return b.String()
}
