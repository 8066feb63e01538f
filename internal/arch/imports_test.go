package arch

import (
	"slices"
	"strings"
	"testing"
)

// Groups of packages that the rules name together.
var (
	protocols = []string{"internal/oid", "internal/snmp", "internal/mib", "internal/ipp", "internal/discover"}
	pipeline  = append([]string{"internal/survey"}, protocols...)
	outside   = []string{"cmd/printround", "internal/lab", "internal/labtest", "internal/interop", "internal/alonetest"}
)

// mustNotReach says for each package which of our packages its non-test code
// must not import, not even through others. Arrows run downward only: the
// protocols know no device, the judgement and the output know no protocol, and
// the simulator shares no code with what it is used to test.
var mustNotReach = map[string][]string{
	"internal/oid":         all("internal/oid"),
	"internal/device":      all("internal/device"),
	"internal/media":       all("internal/media"),
	"internal/tables":      all("internal/tables"),
	"internal/term":        all("internal/term"),
	"internal/printport":   all("internal/printport"),
	"internal/snmp":        all("internal/snmp", "internal/oid"),
	"internal/mib":         all("internal/mib", "internal/oid"),
	"internal/ipp":         all("internal/ipp", "internal/printport"),
	"internal/discover":    all("internal/discover", "internal/snmp", "internal/oid", "internal/printport"),
	"internal/finding":     join(pipeline, outside, []string{"internal/report", "internal/site", "internal/term"}),
	"internal/report":      join(pipeline, outside, []string{"internal/finding", "internal/site"}),
	"internal/symptom":     join(pipeline, outside, []string{"internal/report", "internal/site", "internal/term"}),
	"internal/history":     all("internal/history", "internal/device"),
	"internal/schedule":    all("internal/schedule"),
	"internal/queue":       all("internal/queue", "internal/device"),
	"internal/nightly":     join(pipeline, outside, []string{"internal/site"}),
	"internal/forecast":    all("internal/forecast", "internal/device", "internal/history"),
	"internal/visit":       all("internal/visit", "internal/device", "internal/forecast", "internal/history"),
	"internal/site":        all("internal/site", "internal/device", "internal/snmp", "internal/oid", "internal/discover", "internal/finding", "internal/printport", "internal/tables"),
	"internal/survey":      join(outside, []string{"internal/ipp/act", "internal/report", "internal/site", "internal/finding", "internal/term"}),
	"internal/lab":         join(pipeline, []string{"cmd/printround", "internal/interop", "internal/alonetest", "internal/finding", "internal/report", "internal/site", "internal/term"}),
	"internal/lab/agent":   all("internal/lab"),
	"internal/interop":     all(),
	"internal/zootest":     all(),
	"internal/release":     all("internal/release"),
	"internal/needtest":    all("internal/needtest"),
	"internal/labtest":     {"cmd/printround", "internal/interop", "internal/arch", "internal/alonetest", "internal/bench", "internal/release", "internal/report"},
	"internal/alonetest":   all(),
	"internal/colorimetry": all("internal/colorimetry"),
	"internal/cgats":       all("internal/cgats"),
	"internal/color":       all("internal/color", "internal/cgats", "internal/colorimetry", "internal/device"),
	"internal/ipp/act":     all("internal/ipp", "internal/printport"),
	"internal/proof":       all("internal/proof", "internal/colorimetry", "internal/device", "internal/term"),
	"internal/proof/send":  all("internal/proof", "internal/colorimetry", "internal/device", "internal/term", "internal/ipp", "internal/media", "internal/printport"),
	"internal/arch":        all(),
	"internal/bench":       {"cmd/printround", "internal/interop", "internal/arch", "internal/alonetest", "internal/release"},
	"cmd/printround":       {"internal/interop", "internal/arch", "internal/alonetest", "internal/labtest", "internal/needtest", "internal/bench"},
}

// everyPackage lists the packages that all() stands for.
var everyPackage = []string{
	"cmd/printround", "internal/alonetest", "internal/arch", "internal/bench", "internal/cgats", "internal/color", "internal/colorimetry", "internal/device", "internal/discover", "internal/finding",
	"internal/forecast", "internal/history", "internal/needtest", "internal/nightly", "internal/schedule",
	"internal/interop", "internal/ipp", "internal/lab", "internal/labtest", "internal/media", "internal/mib", "internal/oid",
	"internal/printport", "internal/proof", "internal/queue", "internal/release", "internal/report", "internal/site", "internal/snmp", "internal/survey", "internal/symptom", "internal/tables", "internal/term",
	"internal/visit", "internal/zootest",
}

// all returns every package but those named: they are the only ones allowed.
func all(but ...string) []string {
	return slices.DeleteFunc(slices.Clone(everyPackage), func(p string) bool { return slices.Contains(but, p) })
}

// covered reports whether a package or one that it lies below is in the list.
func covered(list []string, dir string) bool {
	return slices.ContainsFunc(list, func(p string) bool { return dir == p || strings.HasPrefix(dir, p+"/") })
}

func join(lists ...[]string) []string { return slices.Concat(lists...) }

func TestArrowsRunDownward(t *testing.T) {
	s := load(t)
	for dir, forbidden := range mustNotReach {
		for p, chain := range s.reach(dir) {
			if target, ours := s.within(p); ours && covered(forbidden, target) {
				t.Errorf("%s must not reach %s, but does: %s -> %s", dir, target, strings.Join(chain, " -> "), target)
			}
		}
	}
}

// A package that is gone would make its rule say nothing, and a new one would
// have none. Packages below a named one need a rule of their own too.
func TestEveryPackageHasARule(t *testing.T) {
	present := load(t).packages()
	for _, dir := range present {
		if _, ok := mustNotReach[dir]; !ok {
			t.Errorf("%s has no rule in mustNotReach", dir)
		}
		if !covered(everyPackage, dir) {
			t.Errorf("%s is not in everyPackage", dir)
		}
	}
	named := slices.Clone(everyPackage)
	for dir, forbidden := range mustNotReach {
		named = append(append(named, dir), forbidden...)
	}
	slices.Sort(named)
	for _, dir := range slices.Compact(named) {
		if !slices.Contains(present, dir) {
			t.Errorf("the rules name %s, which does not exist", dir)
		}
	}
}

// libraryUsers says which packages may import a library. Each library has one
// job, done in one place; the simulator may use the codecs that it needs to
// speak, and tests may use any as a reference.
var libraryUsers = map[string][]string{
	"github.com/gosnmp/gosnmp":              {"internal/snmp", "internal/lab", "internal/bench"},
	"github.com/OpenPrinting/goipp":         {"internal/ipp", "internal/lab"},
	"github.com/phin1x/go-ipp":              {"internal/ipp"},
	"github.com/grandcat/zeroconf":          {"internal/discover", "internal/lab"},
	"github.com/miekg/dns":                  {"internal/discover", "internal/lab"},
	"github.com/olekukonko/tablewriter":     {"internal/report"},
	"github.com/mattn/go-runewidth":         {"internal/report", "internal/term"},
	"github.com/schollz/progressbar":        {"internal/term"},
	"github.com/pelletier/go-toml":          {"internal/site", "internal/lab", "internal/tables"},
	"github.com/spf13/cobra":                {"cmd/printround"},
	"github.com/santhosh-tekuri/jsonschema": {"internal/report"},
	"modernc.org/sqlite":                    {"internal/history"},
	"github.com/gofrs/flock":                {"internal/history"},
	"howett.net/plist":                      {"internal/schedule"},
	"github.com/guptarohit/asciigraph":      {"internal/report"},
	"github.com/google/go-cmp":              nil,
	"github.com/rogpeppe/go-internal":       nil,
	"github.com/fxamacker/cbor":             {"internal/survey"},
	"golang.org/x/term":                     {"internal/term"},
	"net/http":                              {"internal/ipp", "internal/lab"},
	"os/exec":                               {"internal/alonetest", "internal/bench", "internal/release"}, // the tool starts no program
	"golang.org/x/net/ipv4":                 {"internal/discover", "internal/lab"},
	"golang.org/x/net/ipv6":                 {"internal/discover", "internal/lab"},
	"codeberg.org/go-pdf/fpdf":              {"internal/proof"},
	"golang.org/x/image":                    {"internal/proof"},
	"unsafe":                                {"internal/discover"}, // the layout of a kernel structure
	"testing":                               nil,                   // no test helper is built into the program
}

func TestLibrariesStayWhereTheyBelong(t *testing.T) {
	s := load(t)
	for _, f := range s.files {
		if f.test {
			continue
		}
		for _, p := range f.imports() {
			for library, users := range libraryUsers {
				if p != library && !strings.HasPrefix(p, library+"/") {
					continue
				}
				if !covered(users, f.dir) {
					t.Errorf("%s imports %s, which only %v may", f.name, p, users)
				}
			}
		}
	}
}

// Nothing of the facts' judgement or showing opens a connection.
func TestJudgementAndOutputHaveNoNetwork(t *testing.T) {
	s := load(t)
	for _, dir := range []string{"internal/oid", "internal/device", "internal/media", "internal/mib", "internal/finding", "internal/symptom", "internal/report", "internal/term", "internal/colorimetry", "internal/proof"} {
		for p, chain := range s.reach(dir) {
			if p == "net" || p == "net/http" || p == "crypto/tls" {
				t.Errorf("%s must not use the network, but reaches %s: %s", dir, p, strings.Join(chain, " -> "))
			}
		}
	}
}
