package finding

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/needtest"
)

func TestEmbeddedDataIsSound(t *testing.T) {
	if _, err := readCatalogue(); err != nil {
		t.Fatal(err)
	}
}

// IANA IPP registry, attribute printer-state-reasons (RFC 8011 section 5.4.12).
func TestRegistryEqualsTheSharedOne(t *testing.T) {
	rows := needtest.Rows(t, "state-reasons.tsv")
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
	rows := needtest.Rows(t, "alert-to-reason.tsv")
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
	return j.resolve(&cluster{seen: []*sighting{s}}, s, device.Subunit{Group: s.subject.Group})
}

var (
	tonerWords = regexp.MustCompile(`(?i)\b(toner|fuser|drum|opc|developer)\b`)
	inkWords   = regexp.MustCompile(`(?i)\b(ink|nozzle|nozzles)\b`)
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
	for _, w := range known().advice {
		check(w.String(), strings.Join(slices.Concat([]string{w.Meaning, w.Part}, w.Causes, w.Steps), "\n"))
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
	owner := map[string]string{}
	for _, w := range known().advice {
		name := w.String()
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
	}
	t.Logf("%d hand-written rows", len(known().advice))
}

// String names a row for messages.
func (w *written) String() string {
	name := w.Code
	for _, list := range [][]string{w.Tech, w.At, w.Of} {
		if len(list) > 0 {
			name += " " + strings.Join(list, ",")
		}
	}
	if w.Stage > 0 {
		name += fmt.Sprintf(" stage %d", w.Stage)
	}
	return name
}

// Every selector of a hand-written row names something that there is, no two
// rows are for the same, and every row is the best for something.
func TestHandWrittenRowsFitTheTables(t *testing.T) {
	c := known()
	techs, places, nouns := []string{classRoll, classUnknown}, []string{}, []string{}
	for _, tech := range c.tech {
		techs = append(techs, tech.class)
	}
	for _, p := range c.places {
		places = append(places, p[2])
	}
	for _, k := range c.kinds {
		nouns = append(nouns, k.noun)
	}
	for i := range c.parts {
		nouns = append(nouns, c.parts[i].noun)
	}
	for _, w := range c.advice {
		for what, lists := range map[string][2][]string{"tech": {w.Tech, techs}, "at": {w.At, places}, "of": {w.Of, nouns}} {
			for _, v := range lists[0] {
				if !slices.Contains(lists[1], v) {
					t.Errorf("%s: %s %q is in no table", w, what, v)
				}
			}
		}
		for _, name := range w.Cautions {
			if c.cautions[name] == "" {
				t.Errorf("%s: unknown caution %q", w, name)
			}
		}
		if w.Stage < 0 || w.Stage > 2 {
			t.Errorf("%s: no such stage", w)
		}
		for _, code := range append([]string{w.Code}, w.Also...) {
			for _, tech := range orNone(w.Tech) {
				for _, at := range orNone(w.At) {
					for _, of := range orNone(w.Of) {
						st := situation{class: tech, roll: tech == classRoll, at: at, of: of, stage: w.Stage}
						if got := choose(code, st); got != w {
							t.Errorf("%s: for %s %+v the row %s is taken", w, code, st, got)
						}
					}
				}
			}
		}
	}
}

func orNone(list []string) []string {
	if len(list) == 0 {
		return []string{""}
	}
	return list
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
		for _, name := range k.Cautions {
			if c.cautions[name] == "" {
				t.Errorf("condition %v: unknown caution %q", k.Suffix, name)
			}
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
	for _, r := range needtest.Rows(t, "enums.tsv") {
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
