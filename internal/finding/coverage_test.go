package finding

import (
	"bufio"
	"cmp"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/mib"
	"printround/internal/needtest"
)

// labels returns the labels of an enumeration as the reader's generated tables
// have them.
func labels[T ~int32](last T) []string {
	var list []string
	for v := T(0); v <= last; v++ {
		l := any(v).(interface{ Label() string }).Label()
		if _, err := strconv.Atoi(l); err != nil && l != "" { // values without a label are numbers
			list = append(list, l)
		}
	}
	return list
}

// merged returns the labels of the generated table and, where the folder with
// the published ones is there, those, so that neither hides a gap.
func merged(t *testing.T, generated []string, published map[string][]string, convention string) []string {
	t.Helper()
	if len(generated) == 0 {
		t.Fatalf("no labels of %s", convention)
	}
	list := slices.Concat(generated, published[convention])
	slices.Sort(list)
	return slices.Compact(list)
}

// published returns the labels of the published conventions (IANA-PRINTER-MIB,
// RFC 2790, RFC 3805, RFC 3806), empty without the shared folder.
func published(t *testing.T) map[string][]string {
	list := map[string][]string{}
	for _, r := range needtest.RowsOrNone(t, "enums.tsv") {
		list[r[0]] = append(list[r[0]], r[2])
	}
	return list
}

// review checks pieces of advice as a senior technician would, and says each
// complaint once.
type review struct {
	t      *testing.T
	verbs  map[string]bool
	said   map[string]bool
	read   map[string]bool // what was looked at
	spoken map[string]bool // the same by class of technology
	tell   func(complaint string)
	count  int // pieces of advice looked at, the same ones too
}

func newReview(t *testing.T) *review {
	return &review{t: t, verbs: readVerbs(t), said: map[string]bool{}, read: map[string]bool{}, spoken: map[string]bool{}, tell: func(s string) { t.Helper(); t.Error(s) }}
}

// readVerbs reads the verbs that a step may begin with.
func readVerbs(t *testing.T) map[string]bool {
	t.Helper()
	f, err := os.Open("testdata/verbs.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	verbs := map[string]bool{}
	for s := bufio.NewScanner(f); s.Scan(); {
		if line := s.Text(); line != "" && !strings.HasPrefix(line, "#") {
			verbs[line] = true
		}
	}
	return verbs
}

func (r *review) complain(where, format string, args ...any) {
	r.t.Helper()
	if msg := fmt.Sprintf(format, args...); !r.said[msg] {
		r.said[msg] = true
		r.tell(where + ": " + msg)
	}
}

// look reviews one piece of advice for a device of a class of technology. own
// is the class that the condition or the supply itself belongs to.
func (r *review) look(where, class, own string, a device.Advice) {
	r.t.Helper()
	r.count++
	text := strings.Join(slices.Concat([]string{a.Meaning, string(a.Part)}, a.Causes, a.Steps), "\n")
	if key := class + own + text; !r.spoken[key] {
		r.spoken[key] = true
		r.words(where, class, own, text+"\n"+string(a.Caution))
	}
	key := fmt.Sprint(a.Who, a.Minutes, text, a.Caution)
	if r.read[key] {
		return
	}
	r.read[key] = true
	nobody := a.Who == device.Nobody
	switch {
	case a.Meaning == "":
		r.complain(where, "no meaning")
	case len(a.Causes) == 0:
		r.complain(where, "no cause")
	case len(a.Steps) == 0, len(a.Steps) < 2 && !nobody:
		r.complain(where, "%d steps: %q", len(a.Steps), a.Steps)
	case !slices.Contains([]device.Who{device.Untrained, device.Trained, device.FieldService, device.Management, device.Nobody}, a.Who):
		r.complain(where, "who is %q", a.Who)
	case nobody != (a.Minutes == 0) || a.Minutes < 0 || a.Minutes > 120:
		r.complain(where, "%d minutes for %s", a.Minutes, a.Who)
	}
	for _, s := range a.Steps {
		if verb, _, _ := strings.Cut(strings.ToLower(s), " "); !r.verbs[strings.TrimRight(verb, ",:;")] && !(nobody && strings.HasPrefix(s, "Nothing to do")) {
			r.complain(where, "the step %q does not begin with a verb", s)
		}
		if strings.HasPrefix(string(a.Part), "the ") {
			r.complain(where, "bring %q", a.Part)
		}
	}
	if slices.ContainsFunc(a.Steps, func(s string) bool { return replaces.MatchString(s) }) && a.Part == "" {
		r.complain(where, "something is replaced, and no part is named: %q", a.Steps)
	}
	if unfilled.MatchString(text) {
		r.complain(where, "not filled in: %s", text)
	}
	r.hazards(where, a)
}

// replaces tells a step that fits a part.
var replaces = regexp.MustCompile(`(?i)\b(replace|swap|fit) |\breplaced by service\b`)

var unfilled = regexp.MustCompile(`[{}]|  |\b[Tt]he the |\ba the |\bof of `)

// words finds words of another technology.
func (r *review) words(where, class, own, text string) {
	r.t.Helper()
	if class != "toner" && !(class == "unknown" && own == "toner") {
		if m := tonerWords.FindString(text); m != "" {
			r.complain(where+" on "+class, "speaks of %q: %s", m, text)
		}
	}
	if class != "ink" && !(class == "unknown" && (own == "ink" || own == "")) {
		if m := inkWords.FindString(text); m != "" {
			r.complain(where+" on "+class, "speaks of %q: %s", m, text)
		}
	}
}

// hazards are what can hurt in the words of a step, and the classes of caution
// of which one has to be with it (common practice, no source).
var hazards = []struct {
	what     *regexp.Regexp
	cautions []string
}{
	{regexp.MustCompile(`(?i)\b(pull|draw|seat|replace|fit|wipe|let|open)\b[^.;]*\bfuser\b`), []string{"fuser"}},
	{regexp.MustCompile(`(?i)\b(replace|take|slide|draw|swap|shake|rock|move|wipe|fit|try)\b[^.;]*\b(toner|drum|developer|imaging unit)\b`), []string{"toner"}},
	{regexp.MustCompile(`(?i)\b(ink cartridge|ink cover|nozzles)\b`), []string{"ink"}},
	{regexp.MustCompile(`(?i)\b(take|slide|draw|pull|empty|push|open)\b[^.;]*\bwaste\b`), []string{"waste", "toner", "ink", "blade", "liquid"}},
	{regexp.MustCompile(`(?i)\b(pull|take|put|push|draw|change|have|staple)\b[^.;]*\b(staple|staples|stitching|wire)\b`), []string{"staples", "power", "toner"}},
	{regexp.MustCompile(`(?i)\b(blade|hole punch|cutting unit|strip box|chip box|dies)\b`), []string{"blade"}},
	{regexp.MustCompile(`(?i)\bcutter\b`), []string{"blade"}},
	{regexp.MustCompile(`(?i)\blaser unit\b`), []string{"laser"}},
	{regexp.MustCompile(`(?i)\b(unplug\w*|board (replaced|seated)|with the device switched off)\b`), []string{"power"}},
	{regexp.MustCompile(`(?i)\b(wipe|clean|replace|turn)\b[^.;]*\b(roller|rollers)\b`), []string{"moving", "power", "heat"}},
	{regexp.MustCompile(`(?i)\b(pull|draw)\b[^.;]*\b(sheet|sheets|original|originals)\b`), []string{"moving"}},
	{regexp.MustCompile(`(?i)\b(gears?|drive|carriage|platform)\b`), []string{"moving"}},
	{regexp.MustCompile(`(?i)\b(print head|sealing bar|wax|molten|extruder)\b`), []string{"heat", "ink"}},
	{regexp.MustCompile(`(?i)\b(stack out in portions|is heavy|a heavy one|tank out)\b`), []string{"lift"}},
	{regexp.MustCompile(`(?i)\b(bridged|presses the switch|cover switch|door switch)\b`), []string{"interlock"}},
	{regexp.MustCompile(`(?i)\b(pour|spilt|rinse)\b`), []string{"liquid", "fuser"}},
}

func (r *review) hazards(where string, a device.Advice) {
	r.t.Helper()
	for _, h := range hazards {
		for _, s := range a.Steps {
			m := h.what.FindString(s)
			if m == "" {
				continue
			}
			if !slices.ContainsFunc(h.cautions, func(c string) bool { return strings.Contains(string(a.Caution), known().cautions[c]) }) {
				r.complain(where, "%q wants a caution of %v: %q", m, h.cautions, a.Steps)
			}
		}
	}
}

// findings reviews all findings of a judged device.
func (r *review) findings(where, class, own string, d *device.Device) {
	r.t.Helper()
	Judge(d, Defaults())
	for i := range d.Findings {
		f := &d.Findings[i]
		r.look(where+" as "+f.Code, class, own, f.Advice)
	}
}

// What the review is for, each with advice that it has to complain about and
// with the like that it has to let pass.
func TestReviewFindsWhatIsWrong(t *testing.T) {
	caution := func(names ...string) device.Text {
		var words []string
		for _, n := range names {
			words = append(words, known().cautions[n])
		}
		return device.Text(strings.Join(words, " "))
	}
	good := device.Advice{Meaning: "It is empty.", Causes: []string{"use"}, Steps: []string{"Open it", "Fill it"}, Who: device.Untrained, Minutes: 3}
	with := func(change func(*device.Advice)) device.Advice {
		a := good
		a.Causes, a.Steps = slices.Clone(good.Causes), slices.Clone(good.Steps)
		change(&a)
		return a
	}
	for _, c := range []struct {
		class     string
		a         device.Advice
		complaint string // empty: none
	}{
		{"toner", good, ""},
		{"toner", with(func(a *device.Advice) { a.Meaning = "" }), "no meaning"},
		{"toner", with(func(a *device.Advice) { a.Causes = nil }), "no cause"},
		{"toner", with(func(a *device.Advice) { a.Steps = a.Steps[:1] }), "1 steps"},
		{"toner", with(func(a *device.Advice) { a.Steps, a.Who, a.Minutes = []string{"Nothing to do"}, device.Nobody, 0 }), ""},
		{"toner", with(func(a *device.Advice) { a.Steps[0] = "Nothing to do" }), "does not begin with a verb"},
		{"toner", with(func(a *device.Advice) { a.Steps[0] = "The cover has to be opened" }), "does not begin with a verb"},
		{"toner", with(func(a *device.Advice) { a.Who = "somebody" }), "who is"},
		{"toner", with(func(a *device.Advice) { a.Minutes = 0 }), "0 minutes"},
		{"toner", with(func(a *device.Advice) { a.Who = device.Nobody }), "3 minutes for nobody"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Replace it" }), "no part is named"},
		{"toner", with(func(a *device.Advice) { a.Steps[1], a.Part = "Replace it", "lid" }), ""},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Open {name}" }), "not filled in"},
		{"ink", with(func(a *device.Advice) { a.Causes[0] = "worn fuser" }), `speaks of "fuser"`},
		{"thermal", with(func(a *device.Advice) { a.Causes[0] = "old drum" }), `speaks of "drum"`},
		{"toner", with(func(a *device.Advice) { a.Causes[0] = "no ink" }), `speaks of "ink"`},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Pull the fuser out" }), "wants a caution of [fuser]"},
		{"toner", with(func(a *device.Advice) { a.Steps[1], a.Caution = "Pull the fuser out", caution("toner") }), "wants a caution of [fuser]"},
		{"toner", with(func(a *device.Advice) { a.Steps[1], a.Caution = "Pull the fuser out", caution("fuser") }), ""},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Take the drum out" }), "wants a caution of [toner]"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Slide the waste toner box out" }), "wants a caution of"},
		{"ink", with(func(a *device.Advice) { a.Steps[1] = "Press the ink cartridge in" }), "wants a caution of [ink]"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Pull the bent staples out" }), "wants a caution of [staples"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Brush the chip box out" }), "wants a caution of [blade]"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Open the laser unit" }), "wants a caution of [laser]"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Switch off and unplug" }), "wants a caution of [power]"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Pull the sheet out" }), "wants a caution of [moving]"},
		{"thermal", with(func(a *device.Advice) { a.Steps[1] = "Clean the print head" }), "wants a caution of [heat"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Take the stack out in portions" }), "wants a caution of [lift]"},
		{"toner", with(func(a *device.Advice) { a.Steps[1] = "Have the cover switch checked" }), "wants a caution of [interlock]"},
	} {
		var said []string
		r := newReview(t)
		r.tell = func(s string) { said = append(said, s) }
		r.look("here", c.class, "", c.a)
		switch {
		case c.complaint == "" && len(said) > 0:
			t.Errorf("%+v: %q", c.a, said)
		case c.complaint != "" && !strings.Contains(strings.Join(said, "\n"), c.complaint):
			t.Errorf("%+v: no complaint %q in %q", c.a, c.complaint, said)
		}
	}
}

func sortedClasses() []string {
	list := []string{}
	for c := range classes {
		list = append(list, c)
	}
	slices.Sort(list)
	return list
}

// Every registered keyword of printer-state-reasons, and every condition of our
// own, has advice on a device of any technology.
func TestEveryKeywordHasAdvice(t *testing.T) {
	r := newReview(t)
	keywords := Keywords()
	for _, row := range needtest.RowsOrNone(t, "state-reasons.tsv") {
		keywords = append(keywords, row[1])
	}
	slices.Sort(keywords)
	keywords = slices.Compact(keywords)
	registered := len(keywords)
	for code := range known().terms {
		if strings.HasPrefix(code, "derived-") {
			keywords = append(keywords, code)
		}
	}
	slices.Sort(keywords)
	byHand, composed := 0, 0
	for _, k := range keywords {
		term := known().terms[k]
		if term == nil {
			t.Errorf("%s is not known", k)
			continue
		}
		if len(known().written[k]) > 0 || jams[term.family] != "" {
			byHand++
		} else {
			composed++
		}
		for _, class := range sortedClasses() {
			r.look(k, class, term.subject.Tech, adviceFor(k, class))
		}
	}
	t.Logf("%d registered keywords and %d of our own: %d with hand-written advice, %d composed; %d hand-written rows; %d pieces of advice read, %d of them different",
		registered, len(keywords)-registered, byHand, composed, len(known().advice), r.count, len(r.read))
	if registered < 880 || byHand < 150 {
		t.Errorf("%d registered keywords, %d by hand", registered, byHand)
	}
}

// Every PrtAlertCodeTC value has advice, as critical and as warning, in the
// group that its number belongs to; codes 1 to 38 in every PrtAlertGroupTC.
func TestEveryAlertCodeHasAdvice(t *testing.T) {
	r := newReview(t)
	p := published(t)
	codes := merged(t, labels(mib.AlertCode(40000)), p, "PrtAlertCodeTC")
	groups := merged(t, labels(mib.AlertGroup(100)), p, "PrtAlertGroupTC")
	for _, code := range codes {
		a, ok := known().alerts[code]
		if !ok {
			t.Errorf("alert code %s is not known", code)
			continue
		}
		in := []string{a.group}
		if a.group == "" || a.group == "group" {
			in = groups
		}
		for _, class := range sortedClasses() {
			for _, group := range in {
				d := &device.Device{Technology: classes[class], Reached: device.Reached{SNMP: device.SNMPReach{OK: true}}}
				d.State.Device, d.State.Printer = "down", "other"
				d.Alerts = []device.Alert{{Source: device.SourceSNMP, Object: "prtAlertCode.1.1", Code: code, Severity: "critical", Group: group, GroupIndex: 1}}
				r.findings(code+" in "+group, class, known().terms[a.keyword].subject.Tech, d)
				if len(d.Findings) == 0 {
					r.complain(code+" in "+group, "no finding")
				}
			}
		}
	}
	t.Logf("%d alert codes in %d groups; %d pieces of advice read, %d of them different", len(codes), len(groups), r.count, len(r.read))
	if len(codes) < 700 {
		t.Errorf("%d alert codes", len(codes))
	}
}

// Every bit of hrPrinterDetectedErrorState has advice.
func TestEveryErrorBitHasAdvice(t *testing.T) {
	r := newReview(t)
	bits := merged(t, labels(mib.ErrorBit(64)), published(t), "hrPrinterDetectedErrorState")
	for _, bit := range bits {
		for _, class := range sortedClasses() {
			d := &device.Device{Technology: classes[class], Reached: device.Reached{SNMP: device.SNMPReach{OK: true}}}
			d.State.Device, d.State.Printer, d.State.ErrorBits = "warning", "idle", []string{bit}
			r.findings(bit, class, "", d)
			if len(d.Findings) != 1 || d.Findings[0].Code == UnexplainedWarning {
				r.complain(bit, "%d findings", len(d.Findings))
			}
		}
	}
	t.Logf("%d error bits; %d pieces of advice read, %d of them different", len(bits), r.count, len(r.read))
	if len(bits) != 15 {
		t.Errorf("%d error bits", len(bits))
	}
}

// has reports that a device of a class can have a supply of a kind; one of a
// class that is not known can have any.
func (k *kind) has(class string) bool {
	return class == "unknown" || len(k.tech) == 0 || slices.Contains(k.tech, class)
}

func (k *kind) own() string {
	if len(k.tech) > 0 {
		return k.tech[0]
	}
	return "any"
}

// ends are near the end and at it, of what runs out and of what fills.
var ends = map[string]int64{"near": 3, "at": 0}

// Every PrtMarkerSuppliesTypeTC value has advice near its end and at it, on
// each technology that can have it, and the two differ.
func TestEverySupplyHasAdvice(t *testing.T) {
	r := newReview(t)
	kinds := merged(t, labels(mib.MarkerSuppliesType(200)), published(t), "PrtMarkerSuppliesTypeTC")
	read := 0
	for _, l := range kinds {
		k := known().kinds[foldKind(l)]
		if k == nil {
			t.Errorf("supply kind %s is not known", l)
			continue
		}
		for _, class := range sortedClasses() {
			if !k.has(class) {
				continue
			}
			steps := map[string]string{}
			minutes := map[string]int{}
			for end, level := range ends {
				d := supplied(class, device.Supply{Kind: device.Text(l)}, level, k.class == classWaste)
				own := k.own()
				if class == "unknown" {
					class = cmp.Or(technologyOf(d).class, class)
				}
				r.findings(l+" "+end, class, own, d)
				if len(d.Findings) != 1 {
					r.complain(l+" "+end+" on "+class, "%d findings", len(d.Findings))
					continue
				}
				read++
				a := d.Findings[0].Advice
				steps[end], minutes[end] = strings.Join(a.Steps, "\n"), a.Minutes
				if emptied := k.part == ""; emptied != (a.Part == "") {
					r.complain(l+" "+end+" on "+class, "bring %q", a.Part)
				}
			}
			if minutes["near"] > minutes["at"] {
				r.complain(l+" on "+class, "%d minutes near the end and %d at it", minutes["near"], minutes["at"])
			}
			if steps["near"] == steps["at"] {
				r.complain(l+" on "+class, "the same steps near the end and at it: %q", steps["at"])
			}
		}
	}
	t.Logf("%d kinds of supplies near the end and at it: %d cases, %d pieces of advice read, %d of them different", len(kinds), read, r.count, len(r.read))
	if len(kinds) < 36 {
		t.Errorf("%d kinds of supplies", len(kinds))
	}
}

func supplied(class string, s device.Supply, level int64, fills bool) *device.Device {
	s.Index, s.Source, s.Object, s.Role = 1, device.SourceSNMP, "prtMarkerSuppliesLevel.1.1", device.Consumed
	measures := device.Remaining
	if fills {
		s.Role, measures = device.Receptacle, device.SpaceLeft
	}
	s.Level = device.KnownLevel(level, 100, measures)
	d := &device.Device{Technology: classes[class], Reached: device.Reached{SNMP: device.SNMPReach{OK: true}}, Supplies: []device.Supply{s}}
	d.State.Device, d.State.Printer = "running", "idle"
	return d
}

// Long-life parts that devices name in words only have advice too.
func TestEveryPartInWordsHasAdvice(t *testing.T) {
	r := newReview(t)
	for i := range known().parts {
		k := &known().parts[i]
		for end, level := range ends {
			d := supplied("toner", device.Supply{Kind: "other", Name: device.Text(strings.ToUpper(k.name[:1]) + k.name[1:])}, level, false)
			r.findings(k.name+" "+end, "toner", "toner", d)
			if len(d.Findings) != 1 || d.Findings[0].Advice.Part == "" {
				r.complain(k.name+" "+end, "%+v", d.Findings)
			}
		}
	}
	t.Logf("%d words for parts; %d pieces of advice read, %d of them different", len(known().parts), r.count, len(r.read))
}

// Every supply that a finisher can have (finSupplyType of RFC 3806 is
// PrtMarkerSuppliesTypeTC) has advice in every FinDeviceTypeTC value.
func TestEveryFinisherSupplyHasAdvice(t *testing.T) {
	r := newReview(t)
	p := published(t)
	kinds := merged(t, labels(mib.MarkerSuppliesType(200)), p, "PrtMarkerSuppliesTypeTC")
	types := merged(t, labels(mib.FinDeviceType(60)), p, "FinDeviceTypeTC")
	for _, fin := range types {
		for _, l := range kinds {
			k := known().kinds[foldKind(l)]
			if k == nil || len(k.tech) > 0 {
				continue // belongs to the marker
			}
			for end, level := range ends {
				d := supplied("toner", device.Supply{Kind: device.Text(l)}, level, k.class == classWaste)
				d.Finishers = []device.Finisher{{Index: 1, Kind: device.Text(fin), Supplies: d.Supplies}}
				d.Supplies = nil
				r.findings(l+" "+end+" of "+fin, "toner", "any", d)
				if len(d.Findings) != 1 {
					r.complain(l+" "+end+" of "+fin, "%d findings", len(d.Findings))
				}
			}
		}
	}
	t.Logf("%d types of finishers; %d pieces of advice read, %d of them different", len(types), r.count, len(r.read))
	if len(types) < 18 {
		t.Errorf("%d types of finishers", len(types))
	}
}
