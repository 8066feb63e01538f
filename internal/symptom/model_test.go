package symptom

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/finding"
)

// The names of DESIGN's list, which is what people and programs type.
var wantNames = strings.Fields(`lengthwise-line crosswise-line faint-print blank-page ghost repeating-mark smear
	background-haze garbled-characters missing-color color-mismatch wrong-size wrong-orientation image-shifted
	image-cut-off printed-twice skew jam no-feed several-sheets creased curled grinding squealing staple-fault
	punch-missing punch-misplaced jobs-pile-up slow unreachable`)

func TestNames(t *testing.T) {
	have := Names()
	slices.Sort(have)
	want := slices.Clone(wantNames)
	slices.Sort(want)
	if !slices.Equal(have, want) {
		t.Errorf("names %v, want %v", have, want)
	}
	n := 0
	for _, g := range Index() {
		n += len(g.Symptoms)
	}
	if n != len(want) {
		t.Errorf("the index has %d symptoms, want %d", n, len(want))
	}
}

func TestNear(t *testing.T) {
	for typed, want := range map[string]string{
		"lenghtwise-line": "lengthwise-line", "ghosting": "ghost", "Smears": "smear", "paper jam": "jam", "streak": "lengthwise-line",
		"missing colour": "missing-color", "creases": "creased", "slow printing": "slow", "holes": "punch-missing", "staples": "staple-fault",
		"characters": "garbled-characters", "blank": "blank-page", "curl": "curled",
	} {
		if Exists(Fold(typed)) {
			if Fold(typed) != want {
				t.Errorf("%q folds to %q, want %q", typed, Fold(typed), want)
			}
			continue
		}
		if got := Near(typed); !slices.Contains(got, want) || len(got) > mostNear {
			t.Errorf("near %q: %v, want %s among them", typed, got, want)
		}
	}
	if got := Near("xyzzyplugh"); len(got) != 0 {
		t.Errorf("near nonsense: %v", got)
	}
}

// printers are bare devices of each kind.
func printers() map[string]*device.Device {
	roll, sheet := "continuousRoll", "sheetFeedAutoRemovableTray"
	make := func(tech string, feed string) *device.Device {
		d := &device.Device{Key: "addr:10.0.0.1", Technology: device.Text(tech)}
		d.Reached.SNMP.OK = true
		d.Trays = []device.Tray{{Index: 1, Kind: device.Text(feed)}}
		finding.Judge(d, finding.Defaults())
		return d
	}
	return map[string]*device.Device{
		"laser": make("electrophotographicLaser", sheet), "inkjet": make("inkjetAqueous", sheet), "plotter": make("inkjetAqueous", roll),
		"label": make("thermalTransfer", roll), "receipt": make("thermalSensitive", roll), "dot matrix": make("impactMovingHeadDotMatrix24pin", sheet),
		"form printer": make("impactMovingHeadDotMatrix24pin", "continuousFanFold"), "typesetter": make("photographicOther", sheet),
	}
}

// everything that a triage says of what to do and what it is.
func everything(t *device.Triage) []string {
	out := slices.Concat(t.Notes, t.Decide, t.Ask, []string{t.Prove})
	for _, c := range t.Causes {
		out = append(out, c.Cause, c.Sign, string(c.Part))
		out = append(out, c.Why...)
		for _, s := range c.Try {
			out = append(out, s.Step, string(s.Caution))
		}
	}
	for _, s := range t.First {
		out = append(out, s.Step, string(s.Caution))
	}
	return out
}

// Words that belong to one way of printing only.
var wordsOf = map[string]*regexp.Regexp{
	"toner":   regexp.MustCompile(`(?i)\btoner|\bfus(er|ing)|\bdrum|photoconductor|charge (wire|roller)|\blaser|\bdeveloper|transfer (roller|unit|belt)`),
	"ink":     regexp.MustCompile(`(?i)\bink\b|nozzle|head cleaning`),
	"thermal": regexp.MustCompile(`(?i)\blabel (format|printer)|gap or mark|isopropyl|thermal paper|head test`),
	"impact":  regexp.MustCompile(`(?i)tractor|\bpin of|\bpins\b`),
	"ribbon":  regexp.MustCompile(`(?i)\bribbon`),
	"duplex":  regexp.MustCompile(`(?i)fan the|separation (roller|pad)`),
}

// No fuser on an inkjet, no drum on a label printer.
func TestWordsFitTheKindOfPrinter(t *testing.T) {
	never := map[string][]string{
		"laser": {"ink", "thermal", "impact", "ribbon"}, "inkjet": {"toner", "thermal", "impact", "ribbon"},
		"plotter": {"toner", "thermal", "impact", "ribbon", "duplex"}, "label": {"toner", "ink", "impact", "duplex"},
		"receipt": {"toner", "ink", "impact", "ribbon", "duplex"}, "dot matrix": {"toner", "ink", "thermal"},
		"form printer": {"toner", "ink", "thermal"}, "typesetter": {"toner", "ink", "thermal", "impact", "ribbon"},
	}
	for kind, d := range printers() {
		for _, name := range Names() {
			for _, text := range everything(Triage(name, d, Options{})) {
				for _, class := range never[kind] {
					if m := wordsOf[class].FindString(text); m != "" && !harmless(text, m) {
						t.Errorf("%s, %s: %q in %q", kind, name, m, text)
					}
				}
			}
		}
	}
}

// harmless are words of another kind in a sentence that is true of this one.
func harmless(text, word string) bool {
	return strings.Contains(text, "with ribbon, or direct") || strings.Contains(text, "no ink or toner has") ||
		strings.Contains(text, "mode (with ribbon")
}

// A device that has PostScript only is not sent looking for PCL.
func TestLanguagesAreTheDevicesOwn(t *testing.T) {
	for have, not := range map[string]string{"langPS": "PCL", "langPCL": "PostScript"} {
		d := printers()["laser"]
		d.Languages = []device.Language{{Family: device.Text(have)}}
		got := Triage("garbled-characters", d, Options{})
		for _, c := range got.Causes {
			for _, s := range c.Try {
				if strings.Contains(s.Step, not) {
					t.Errorf("%s: %q", have, s.Step)
				}
				if strings.Contains(s.Step, "what the device interprets") && !strings.Contains(s.Step, languageName(have)) {
					t.Errorf("%s is not named in %q", have, s.Step)
				}
			}
		}
	}
}

// Every symptom has something to offer on every kind of printer that can have
// it, probabilities in order that sum to at most 1, steps, a proof.
func TestEverySymptomOnEveryPrinter(t *testing.T) {
	all := printers()
	all["any"] = nil
	silent := &device.Device{Key: "addr:10.0.0.9"}
	all["silent"] = silent
	for kind, d := range all {
		for _, name := range Names() {
			got := Triage(name, d, Options{})
			where := kind + ", " + name
			least := 2
			if kind == "form printer" || strings.HasPrefix(name, "punch") || strings.HasPrefix(name, "staple") {
				least = 1 // that there is no stapler, for one
			}
			if kind == "typesetter" {
				least = 0 // nobody knows: the notes say so
			}
			if len(got.Causes) < least {
				t.Errorf("%s: %d causes", where, len(got.Causes))
			}
			sum, last := got.Else, 1.0
			for _, c := range got.Causes {
				sum += c.Probability
				if c.Probability > last || c.Probability < 0 {
					t.Errorf("%s: %s out of order", where, c.Code)
				}
				last = c.Probability
				if len(c.Try) == 0 || c.Sign == "" || len(c.Why) == 0 {
					t.Errorf("%s: %s has no step, sign or reason", where, c.Code)
				}
			}
			if math.Abs(sum-1) > 0.002 {
				t.Errorf("%s: probabilities and the rest sum to %g", where, sum)
			}
			if got.Prove == "" || got.Looks == "" || len(got.Ask) == 0 {
				t.Errorf("%s: no proof, looks or questions", where)
			}
			if len(got.Causes) > 1 && len(got.Decide) == 0 {
				t.Errorf("%s: nothing decides", where)
			}
			if kind == "silent" && !strings.Contains(strings.Join(got.Notes, " "), "did not answer") {
				t.Errorf("%s: does not say that the device is silent: %v", where, got.Notes)
			}
		}
	}
}

// What is not known counts nothing: a device of which only the technology is
// known has the order of its kind.
func TestUnknownCountsNothing(t *testing.T) {
	bare := printers()["laser"]
	unknown := printers()["laser"]
	unknown.Supplies = []device.Supply{
		{Index: 1, Kind: "opc", Role: device.Consumed, Level: device.NoLevel(device.LevelUnknown)},
		{Index: 2, Kind: "fuser", Role: device.Consumed, Level: device.LevelFrom(-3, 100, "percent", device.Remaining)},
		{Index: 3, Kind: "toner", Role: device.Consumed, Level: device.LevelFrom(900, 100, "percent", device.Remaining)},
	}
	for _, name := range Names() {
		a, b := Triage(name, bare, Options{}), Triage(name, unknown, Options{})
		if summary(a) != summary(b) {
			t.Errorf("%s:\n%s\n%s", name, summary(a), summary(b))
		}
	}
}

// The less life a part has left, the likelier it is the cause; of everything
// else the order does not matter.
func TestWearOnlyEverRaisesItsPart(t *testing.T) {
	for _, c := range []struct{ kind, code, symptom string }{
		{"opc", "drum", "lengthwise-line"}, {"opc", "drum", "ghost"}, {"fuser", "fuser", "smear"}, {"fuser", "fuser", "ghost"},
		{"transferUnit", "transfer", "faint-print"}, {"toner", "toner-low", "faint-print"}, {"developer", "developer", "background-haze"},
	} {
		last := -1.0
		for left := int64(100); left >= 0; left -= 5 {
			d := printers()["laser"]
			d.Supplies = []device.Supply{{Index: 1, Kind: device.Text(c.kind), Role: device.Consumed, Level: device.KnownLevel(left, 100, device.Remaining)}}
			p := probability(Triage(c.symptom, d, Options{}), c.code)
			if p < last {
				t.Errorf("%s at %d%%: %g after %g", c.kind, left, p, last)
			}
			last = p
		}
	}
}

func probability(t *device.Triage, code string) float64 {
	p := 0.0
	for _, c := range t.Causes {
		if c.Code == code {
			p += c.Probability
		}
	}
	return p
}

// The arithmetic by hand, on a label printer's crosswise lines: odds of the
// platen 3.5, ribbon tension 1, print head 0.6, drive 0.4; sum with 1 for
// something else 6.5; platen 3.5/6.5 = 0.5385.
func TestArithmeticByHand(t *testing.T) {
	got := Triage("crosswise-line", printers()["label"], Options{})
	for code, want := range map[string]float64{"platen": 0.5385, "ribbon-tension": 0.1538, "print-head": 0.0923, "drive": 0.0615} {
		if p := probability(got, code); math.Abs(p-want) > 0.00006 {
			t.Errorf("%s %g, want %g", code, p, want)
		}
	}
	if math.Abs(got.Else-1/6.5) > 1e-9 {
		t.Errorf("something else %g, want %g", got.Else, 1/6.5)
	}
}

// hazards are words of steps in which somebody can be hurt, with the cautions
// of which one at least has to be there.
var hazards = []struct {
	words    string
	cautions []string
}{
	{`(?i)fuser`, []string{"fuser"}},
	{`(?i)(open|take|taking|look|wipe|clean|replace|swap|reach).*(cover|inside|roller|drum|belt|cartridge|unit|carriage|head\b)`, []string{"moving", "fuser", "heat", "toner", "power", "ink"}},
	{`(?i)(replace|swap|take|rock|put).*toner|drum unit|waste toner|loose toner|charge wire`, []string{"toner", "waste"}},
	{`(?i)(replace|take|put).*ink cartridge`, []string{"ink"}},
	{`(?i)laser|beam`, []string{"laser"}},
	{`(?i)high voltage|unplug`, []string{"power"}},
	{`(?i)staple cartridge|bent staple`, []string{"staples"}},
	{`(?i)cutter|knife`, []string{"blade"}},
	{`(?i)field service`, []string{"power", "moving", "staples", "fuser", "ink"}},
	{`(?i)print head.*(cool|cold)|head is cool`, []string{"heat"}},
}

// notHazardous are steps in which the words mean no work inside.
var notHazardous = regexp.MustCompile(`(?i)^(Run the device's|Compare|Look whether the guides of the finisher|Let the device|Clean the narrow strip|If the device copies|Note where|Look at the device's|Print |Let running|Listen)`)

func TestHazardousStepsHaveTheirCaution(t *testing.T) {
	seen := 0
	for _, s := range known().steps {
		for _, h := range hazards {
			if !regexp.MustCompile(h.words).MatchString(s.Text) || notHazardous.MatchString(s.Text) {
				continue
			}
			seen++
			if !slices.ContainsFunc(h.cautions, func(c string) bool { return slices.Contains(s.Cautions, c) }) {
				t.Errorf("%s: %q matches %s and has cautions %v", s.ID, s.Text, h.words, s.Cautions)
			}
		}
		if len(s.Cautions) > 0 && !strings.HasSuffix(string(s.caution()), "The maker's documentation and qualified service come first.") {
			t.Errorf("%s: the caution does not defer to the maker", s.ID)
		}
	}
	if seen < 40 {
		t.Errorf("only %d hazards were looked at", seen)
	}
}

var verbs = regexp.MustCompile(`^(If|Print|Clean|Measure|Stop|Take|Swap|Replace|Run|Have|Let|Look|Compare|Load|Set|Open|Put|Scratch|Blow|Turn|Switch|Note|Adjust|Keep|Listen|Cancel|Remove|Send|Read|Do|Reserve|From|Staple|Flatten)\b`)

// The tables hang together: nothing is defined that nothing uses, steps are
// sentences that begin with what to do, and dear ones come last.
func TestTablesHangTogether(t *testing.T) {
	k := known()
	used := map[string]bool{}
	for _, c := range k.causes {
		if c.Sign == "" || c.Cause == "" || len(c.Steps) == 0 {
			t.Errorf("%s: no words, sign or steps", c.Code)
		}
		dear := 0.0
		for _, id := range c.Steps {
			used[id] = true
			s := k.steps[id]
			if s.cost() < dear/4 {
				t.Errorf("%s: %s is much cheaper than the step before it", c.Code, id)
			}
			dear = max(dear, s.cost())
		}
	}
	for id, s := range k.steps {
		if !used[id] {
			t.Errorf("step %s is in no cause", id)
		}
		if !verbs.MatchString(s.Text) || !strings.HasSuffix(s.Text, ".") {
			t.Errorf("step %s does not begin with what to do, or does not end: %q", id, s.Text)
		}
		if !slices.Contains([]device.Who{device.Untrained, device.Trained, device.FieldService, device.Management}, device.Who(s.Who)) {
			t.Errorf("step %s: nobody is %q", id, s.Who)
		}
	}
	facts := map[string]bool{}
	for _, r := range k.ratios {
		facts[r.fact] = true
		if r.source == "" {
			t.Errorf("ratio of %s has no source", r.fact)
		}
	}
	for id, f := range k.facts {
		if !facts[id] {
			t.Errorf("fact %s moves nothing", id)
		}
		registered := finding.Keywords()
		for _, c := range f.Conditions {
			if !slices.Contains(registered, c) && !strings.HasPrefix(c, "derived-") {
				t.Errorf("fact %s: %s is no registered printer-state-reason", id, c)
			}
		}
	}
	for id := range computed {
		if !facts[id] {
			t.Errorf("fact %s moves nothing", id)
		}
	}
	t.Logf("%d symptoms, %d causes, %d steps, %d facts, %d ratios, %d pairs", len(k.symptoms), len(k.causes), len(k.steps), len(facts), len(k.ratios), len(k.decide))
}

// What to try first is cheap before dear for one and the same cause: nobody
// swaps a part before looking.
func TestLooksBeforeSwaps(t *testing.T) {
	for kind, d := range printers() {
		for _, name := range Names() {
			got := Triage(name, d, Options{})
			for i, s := range got.First {
				for _, later := range got.First[i+1:] {
					if dear(s.Step) >= 2 && dear(later.Step) <= 1 && later.Minutes <= 3 && slices.Contains(later.For, s.For[0]) {
						t.Errorf("%s, %s: %q comes before %q", kind, name, s.Step, later.Step)
					}
				}
			}
		}
	}
}

func dear(text string) float64 {
	for _, s := range known().steps {
		if s.Text == text {
			return s.Dear
		}
	}
	return 1
}

// Case by case the facts change the order: the same symptom on two devices of
// one kind leads elsewhere.
func TestEvidenceChangesTheOrder(t *testing.T) {
	leads := map[string]map[string]bool{}
	for _, c := range readCases(t, "cases.toml") {
		if c.Device != nil && strings.HasPrefix(c.Device.Technology, "electro") {
			if leads[c.Symptom] == nil {
				leads[c.Symptom] = map[string]bool{}
			}
			leads[c.Symptom][Triage(c.Symptom, c.Device.build(), Options{}).Causes[0].Code] = true
		}
	}
	n := 0
	for _, l := range leads {
		if len(l) > 1 {
			n++
		}
	}
	if n < 12 {
		t.Errorf("only %d symptoms have more than one leading cause: %s", n, fmt.Sprint(leads))
	}
}
