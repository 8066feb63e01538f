package finding

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
)

func TestEmbeddedDataIsSound(t *testing.T) {
	if _, err := readCatalogue(); err != nil {
		t.Fatal(err)
	}
}

// shared returns the rows of a table of the shared standards folder, which
// holds the registries as published. In continuous integration it has to be
// there.
func shared(t *testing.T, name string) [][]string {
	t.Helper()
	dir := os.Getenv("PRINTROUND_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared")
	}
	b, err := os.ReadFile(filepath.Join(dir, "standards", name))
	if err != nil {
		if os.Getenv("PRINTROUND_CI") == "1" {
			t.Fatalf("the shared standards folder is missing: %v", err)
		}
		t.Skipf("no shared standards folder: %v", err)
	}
	var rows [][]string
	for _, line := range strings.Split(strings.TrimSuffix(string(b), "\n"), "\n") {
		if !strings.HasPrefix(line, "#") {
			rows = append(rows, strings.Split(line, "\t"))
		}
	}
	return rows[1:]
}

// IANA IPP registry, attribute printer-state-reasons (RFC 8011 section 5.4.12).
func TestRegistryEqualsTheSharedOne(t *testing.T) {
	rows := shared(t, "state-reasons.tsv")
	want := map[string]string{}
	for _, r := range rows {
		want[r[1]] = strings.TrimSpace(r[2])
	}
	got := known().registry
	if len(got) != len(want) {
		t.Errorf("%d keywords, the registry has %d", len(got), len(want))
	}
	for k, label := range want {
		if g, ok := got[k]; !ok || g != label {
			t.Errorf("%s: label %q, %v; want %q", k, g, ok, label)
		}
	}
	t.Logf("%d registered keywords compared", len(want))
}

// IANA-PRINTER-MIB, PrtAlertCodeTC; a keyword is registered where it equals
// the label in keyword form.
func TestAlertCodesEqualTheSharedOnes(t *testing.T) {
	rows := shared(t, "alert-to-reason.tsv")
	if got := len(known().alerts); got != len(rows) {
		t.Errorf("%d alert codes, the convention has %d", got, len(rows))
	}
	for _, r := range rows {
		got, ok := Keyword(r[1])
		if !ok {
			t.Errorf("%s (%s) is missing", r[1], r[0])
			continue
		}
		if r[3] != "" && got != r[3] {
			t.Errorf("%s: %q, want %q", r[1], got, r[3])
		}
		if r[3] == "" && !strings.HasPrefix(got, "derived-") {
			t.Errorf("%s: %q, but no keyword is registered for it", r[1], got)
		}
	}
	t.Logf("%d alert codes compared", len(rows))
}

// classes are the technologies that the words of advice are checked for, each
// by a label of PrtMarkerMarkTechTC.
var classes = map[string]device.Text{
	"toner": "electrophotographicLaser", "ink": "inkjetAqueous", "thermal": "thermalTransfer",
	"impact": "impactMovingHeadDotMatrix24pin", "unknown": "",
}

func adviceFor(keyword, class string) device.Advice {
	d := &device.Device{Technology: classes[class]}
	j := &judge{d: d, o: Defaults(), tech: technologyOf(d)}
	s := &sighting{term: known().term(keyword)}
	return j.resolve(s, device.Subunit{Group: s.subject.Group})
}

// Every alert code and every registered keyword resolves to advice, on a
// device of any technology, and so does every condition of our own.
func TestEveryConditionResolvesToAdvice(t *testing.T) {
	keywords := Keywords()
	for code := range known().terms {
		if strings.HasPrefix(code, "derived-") {
			keywords = append(keywords, code)
		}
	}
	for label := range known().alerts {
		k, _ := Keyword(label)
		keywords = append(keywords, k)
	}
	slices.Sort(keywords)
	byHand, composed := 0, 0
	for _, k := range slices.Compact(slices.Clone(keywords)) {
		if writtenFor(k, "toner") != nil || writtenFor(k, "ink") != nil {
			byHand++
		} else {
			composed++
		}
		for class := range classes {
			checkAdvice(t, k, class, adviceFor(k, class))
		}
	}
	t.Logf("%d registered keywords and %d alert codes resolve; %d conditions by hand, %d composed",
		len(Keywords()), len(known().alerts), byHand, composed)
	if byHand < 40 {
		t.Errorf("%d conditions have hand-written advice, want at least 40", byHand)
	}
}

func checkAdvice(t *testing.T, code, class string, a device.Advice) {
	t.Helper()
	if a.Meaning == "" || len(a.Steps) == 0 {
		t.Errorf("%s on %s: no meaning or no steps: %+v", code, class, a)
	}
	if !slices.Contains([]device.Who{device.Untrained, device.Trained, device.FieldService, device.Management, device.Nobody}, a.Who) {
		t.Errorf("%s on %s: who is %q", code, class, a.Who)
	}
	if a.Who == device.Nobody && a.Minutes != 0 || a.Minutes < 0 || a.Minutes > 120 {
		t.Errorf("%s on %s: %d minutes for %s", code, class, a.Minutes, a.Who)
	}
	text := strings.Join(slices.Concat([]string{a.Meaning, string(a.Part)}, a.Causes, a.Steps), "\n")
	if strings.ContainsAny(text, "{}") || strings.Contains(text, "  ") || strings.Contains(text, "the the ") {
		t.Errorf("%s on %s: not filled in: %s", code, class, text)
	}
	if own := known().terms[code].subject.Tech; class != "toner" && !(class == "unknown" && own == "toner") {
		if m := tonerWords.FindString(text + string(a.Caution)); m != "" {
			t.Errorf("%s on %s speaks of %q: %s", code, class, m, text)
		}
	}
	if class == "toner" || class == "thermal" || class == "impact" {
		if m := inkWords.FindString(text + string(a.Caution)); m != "" {
			t.Errorf("%s on %s speaks of %q: %s", code, class, m, text)
		}
	}
	if m := hazard.FindString(strings.Join(a.Steps, "\n")); m != "" && a.Caution == "" {
		t.Errorf("%s on %s: a step (%q) without a caution: %q", code, class, m, a.Steps)
	}
}

var (
	tonerWords = regexp.MustCompile(`(?i)\b(toner|fuser|drum|opc|developer)\b`)
	inkWords   = regexp.MustCompile(`(?i)\b(ink|nozzle)\b`)
	// What can hurt: hands inside the device, heat, blades, staples, high
	// voltage, dust (common practice, no source).
	hazard = regexp.MustCompile(`(?i)\b(replace the (fuser|drum|cartridge)|pull .* out slowly|pull the sheet|reach|roller|rollers|fuser|toner|staples|pliers|blade|punch|drive|motor|heater|lift(ed|ing)?|print head|box out)\b`)
)

// Names of makers have no place in advice. A list of them would name them, so
// what is checked is that no word but the first of a sentence has a capital,
// save a few that are no names.
func TestAdviceNamesNoMaker(t *testing.T) {
	allowed := regexp.MustCompile(`^(SNMP|SNMPv3|IPP|PDF|RFC|A4|Letter|C|Or|If|It|No|TCP|UDP|MIB)$`)
	word := regexp.MustCompile(`[A-Za-z][A-Za-z0-9]*`)
	check := func(where, text string) {
		for _, sentence := range regexp.MustCompile(`[.:;!?]\s+|\n`).Split(text, -1) {
			for i, w := range word.FindAllString(regexp.MustCompile(`\{[a-z]+\}`).ReplaceAllString(sentence, "x"), -1) {
				if i > 0 && w[0] >= 'A' && w[0] <= 'Z' && !allowed.MatchString(w) {
					t.Errorf("%s: %q in %q looks like a name", where, w, sentence)
				}
			}
		}
	}
	for code, rows := range known().written {
		for _, w := range rows {
			check(code, strings.Join(slices.Concat([]string{w.Meaning, w.Part}, w.Causes, w.Steps), "\n"))
		}
	}
	for _, k := range known().conditions {
		check(k.Suffix[0], strings.Join(slices.Concat([]string{k.Meaning, k.Part, k.Summary}, k.Causes, k.Steps), "\n"))
	}
	for _, s := range known().subjects {
		check(s.Prefix, s.Noun+"\n"+s.Part)
	}
	for k, c := range known().cautions {
		check(k, c)
	}
}

func TestHandWrittenStepsAreAllDifferent(t *testing.T) {
	rows := 0
	owner := map[string]string{}
	for code, list := range known().written {
		for _, w := range list {
			rows++
			name := code + " " + strings.Join(w.Tech, ",")
			key := strings.Join(w.Steps, "\n")
			if other, ok := owner[key]; ok {
				t.Errorf("%s and %s have the same steps", name, other)
			}
			owner[key] = name
			first := w.Steps[0]
			if other, ok := owner["first\n"+first]; ok {
				t.Errorf("%s and %s begin with the same step %q", name, other, first)
			}
			owner["first\n"+first] = name
			for _, c := range w.Cautions {
				if known().cautions[c] == "" {
					t.Errorf("%s: unknown caution %q", name, c)
				}
			}
		}
	}
	t.Logf("%d hand-written rows", rows)
}

// Every row of the tables is used, and names only what exists.
func TestTablesFitEachOther(t *testing.T) {
	c := known()
	used := map[*condition]bool{}
	subjects := map[*subject]bool{}
	for _, k := range c.terms {
		used[k.condition], subjects[k.subject] = true, true
	}
	for _, k := range c.conditions {
		if !used[k] {
			t.Errorf("condition %v of %v makes no keyword", k.Suffix, k.Kinds)
		}
		if len(k.Steps) == 0 && !slices.Contains(k.Kinds, "derived") {
			t.Errorf("condition %v has no steps", k.Suffix)
		}
	}
	for _, s := range c.subjects {
		if !subjects[s] && s.Prefix != "output" {
			t.Errorf("subject %q makes no keyword", s.Prefix)
		}
		for _, name := range s.Cautions {
			if c.cautions[name] == "" {
				t.Errorf("subject %q: unknown caution %q", s.Prefix, name)
			}
		}
		if s.Neutral != "" && !slices.ContainsFunc(c.subjects, func(o *subject) bool { return o.Prefix == s.Neutral && o.Tech == "" }) {
			t.Errorf("subject %q: %q is no neutral subject", s.Prefix, s.Neutral)
		}
	}
	for _, k := range c.kinds {
		for _, code := range []string{k.low, k.out} {
			if c.terms[code] == nil {
				t.Errorf("kind %s: unknown code %q", k.name, code)
			}
		}
	}
	for _, k := range c.parts {
		if c.terms[k.low] == nil || c.terms[k.out] == nil {
			t.Errorf("part %s: unknown code", k.name)
		}
	}
	for bit, code := range c.bits {
		if c.terms[code] == nil {
			t.Errorf("bit %s: unknown code %q", bit, code)
		}
	}
	for _, r := range c.refine {
		if !strings.HasSuffix(r.keyword, "-") && (c.terms[r.keyword] == nil || c.terms[r.becomes] == nil) {
			t.Errorf("refine %+v: unknown code", r)
		}
	}
}

// The kinds of supplies are the labels of PrtMarkerSuppliesTypeTC, the bits
// those of hrPrinterDetectedErrorState, the technologies labels of
// PrtMarkerMarkTechTC, and the groups of subjects labels of PrtAlertGroupTC.
func TestLabelsAreThoseOfTheMIB(t *testing.T) {
	labels := map[string][]string{}
	for _, r := range shared(t, "enums.tsv") {
		labels[r[0]] = append(labels[r[0]], r[2])
	}
	for _, l := range labels["PrtMarkerSuppliesTypeTC"] {
		if known().kinds[foldKind(l)] == nil {
			t.Errorf("supply kind %s is missing", l)
		}
	}
	if got, want := len(known().kinds), len(labels["PrtMarkerSuppliesTypeTC"]); got != want {
		t.Errorf("%d kinds, want %d", got, want)
	}
	for _, l := range labels["hrPrinterDetectedErrorState"] {
		if known().bits[l] == "" {
			t.Errorf("error bit %s is missing", l)
		}
	}
	if got, want := len(known().bits), len(labels["hrPrinterDetectedErrorState"]); got != want {
		t.Errorf("%d error bits, want %d", got, want)
	}
	for l := range known().tech {
		if !slices.Contains(labels["PrtMarkerMarkTechTC"], l) {
			t.Errorf("%s is no technology", l)
		}
	}
	for l := range finisherPrefixes {
		if !slices.Contains(labels["FinDeviceTypeTC"], string(l)) {
			t.Errorf("%s is no finisher type", l)
		}
	}
	for _, s := range known().subjects {
		if s.Group != "" && !slices.Contains(labels["PrtAlertGroupTC"], s.Group) {
			t.Errorf("subject %q: %s is no alert group", s.Prefix, s.Group)
		}
	}
	for _, l := range labels["PrtAlertTrainingLevelTC"] {
		if who := training(l); (who == "") != (l == "other" || l == "unknown") {
			t.Errorf("training level %s: %q", l, who)
		}
	}
}
