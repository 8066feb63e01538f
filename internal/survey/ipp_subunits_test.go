package survey

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/OpenPrinting/goipp"
	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/needtest"
)

func TestIPPAlerts(t *testing.T) {
	got := ippAlerts(ippDecoded(t,
		ippOctets("printer-alert",
			"code=jam;index=22;severity=critical;training=trained;group=mediaPath;groupindex=4;location=6",                                       // PWG 5100.9 section 5.2
			"printer-alert[0] = code=markerTonerEmpty;index=1;severity=critical;group=markerSupplies;groupindex=-1;location=9200;time=188491075", // as found
			"code=unknown;severity=otherother", // as found, truncated
			"other",                            // as found: no grammar
			"code=unknown;severity=other;group=other",       // as found: no alert
			"code=unknown;severity=other;group=other",       // the same with a text
			"code=unknown;severity=other;group=other",       // and again
			"code=notACode;severity=critical;group=input",   // no code of PrtAlertCodeTC
			"code=COVEROPEN;severity=Critical;group=cover;", // case
			"code=8;severity=3;group=13;groupindex=99999999999",
			"severity=critical", ""),
		ippTexts("printer-alert-description", "Paper jam", "printer-alert-description[1] = '09-200 Toner is empty.'", "", "", "", "ready", "ready", "x", "Cover\x1b[31m open")))
	var lines []string
	for _, a := range got {
		lines = append(lines, fmt.Sprintf("%d %s %s %s %s %d %d %q %s", a.Index, a.Code, a.Severity, a.Training, a.Group, a.GroupIndex, a.Location, a.Description, a.Object))
		if a.AgeS != nil || a.AgeReason == "" {
			t.Errorf("%s has an age", a.Object)
		}
	}
	want := []string{
		`22 jam critical trained mediaPath 4 6 "Paper jam" printer-alert[1]`,
		`1 markerTonerEmpty critical  markerSupplies -1 9200 "09-200 Toner is empty." printer-alert[2]`,
		`6 unknown other  other -1 -2 "ready" printer-alert[6]`,
		`9 coverOpen critical  cover -1 -2 "Cover open" printer-alert[9]`,
		`10 jam critical  mediaPath -1 -2 "" printer-alert[10]`,
	}
	if d := cmp.Diff(want, lines); d != "" {
		t.Error(d)
	}
}

func TestIPPFinishersAndCovers(t *testing.T) {
	a := ippDecoded(t,
		// Keys: ABNF of PWG 5100.1; the supplies' keys are from memory.
		ippOctets("printer-finisher", "type=stitcher;unit=sheets;maxcapacity=50;index=3;presentonoff=on;status=19", "type=puncher;index=4;presentonoff=notPresent;status=0", ""),
		ippTexts("printer-finisher-description", "Stapler", "Punch"),
		ippOctets("printer-finisher-supplies", "class=supplyThatIsConsumed;type=staples;unit=items;max=5000;level=0;color=none;index=1;deviceindex=3",
			"class=receptacleThatIsFilled;type=wastePaper;unit=percent;maxcapacity=100;level=40;index=2;deviceindex=4", "type=staples;deviceindex=77"),
		ippTexts("printer-finisher-supplies-description", "Staple cartridge"),
		ippOctets("printer-cover", "index=1;name=Front;status=coverOpen", "index=2;status=4", "status=ajar"),
		ippTexts("printer-cover-description", "", "Rear door"))
	f := ippFinishers(a)
	if len(f) != 2 || f[0].Kind != "stitcher" || f[0].Index != 3 || f[0].Present != "on" || !f[0].Status.Critical() || f[1].Present != "notPresent" {
		t.Fatalf("finishers %+v", f)
	}
	if s := f[0].Supplies; len(s) != 1 || supplyLine(s[0]) != `1 "Staple cartridge" staples consumed "" 5000/items 0% remaining low - printer-finisher-supplies[1]` {
		t.Errorf("stapler's supplies %+v", s)
	}
	if s := f[1].Supplies; len(s) != 1 || s[0].Level.String() != "40%" || s[0].Level.Measures() != device.SpaceLeft {
		t.Errorf("punch's supplies %+v", s)
	}
	c := ippCovers(a)
	if len(c) != 2 || c[0].Name != "Front" || c[0].Status != "coverOpen" || c[1].Name != "Rear door" || c[1].Status != "coverClosed" {
		t.Errorf("covers %+v", c)
	}
}

// The labels found by word or number equal the registry.
func TestLabels(t *testing.T) {
	dir := needtest.Shared(t)
	f, err := os.Open(filepath.Join(dir, "standards", "enums.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	tables := map[string]labels{
		"PrtMarkerSuppliesTypeTC": suppliesTypes(), "PrtMarkerSuppliesSupplyUnitTC": suppliesUnits(), "PrtCapacityUnitTC": capacityUnits(),
		"PrtInputTypeTC": inputTypes(), "PrtOutputTypeTC": outputTypes(), "PrtCoverStatusTC": coverStatuses(), "FinDeviceTypeTC": finisherTypes(),
		"PresentOnOff": presence(), "PrtAlertCodeTC": alertCodes(), "PrtAlertSeverityLevelTC": alertSeverities(),
		"PrtAlertTrainingLevelTC": alertTrainings(), "PrtAlertGroupTC": alertGroups(), "PrtInterpreterLangFamilyTC": languages(),
	}
	counts := map[string]int{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		c := strings.Split(lines.Text(), "\t")
		table, ok := tables[c[0]]
		if !ok {
			continue
		}
		counts[c[0]]++
		for _, word := range []string{c[1], c[2], strings.ToUpper(c[2])} {
			if got, _ := table.find(word); got != c[2] {
				t.Errorf("%s %s: got %q, want %q", c[0], word, got, c[2])
			}
		}
	}
	for name, table := range tables {
		if len(table) != 2*counts[name] {
			t.Errorf("%s: %d words, want twice %d", name, len(table), counts[name])
		}
	}
}

func TestIPPLanguages(t *testing.T) {
	got := ippLanguages(ippDecoded(t, ippAttr("document-format-supported", goipp.TagMimeType,
		"application/octet-stream", "application/vnd.hp-PCL", "APPLICATION/PostScript", "image/pwg-raster", "image/jpeg", "image/jpeg", "text/plain")), ipp.DeviceID{})
	var families []string
	for _, l := range got {
		families = append(families, string(l.Family))
	}
	want := []string{"langAutomatic", "langPCL", "langPS", "image/pwg-raster", "langJPEG", "text/plain"}
	if !slices.Equal(families, want) {
		t.Errorf("got %v, want %v", families, want)
	}
}
