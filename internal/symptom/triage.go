package symptom

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"printround/internal/device"
)

// Options are what triage may know beside the device.
type Options struct {
	Catalogue *device.Catalogue // nil: none
	Interval  *device.Repeat    // of a mark that repeats; nil: not measured
}

// Triage ranks what the symptom can come from on the device, which may be nil.
// The symptom must exist.
//
// The model: each cause has prior odds against "something else", by symptom
// and kind of printer; each fact of the device that is known multiplies the odds
// by how many times likelier the fact is with that cause than with something
// else. A fact that is not known multiplies by 1. The probabilities are the odds
// over the sum of all odds and 1 for something else, so they sum to less than
// 1. When it is not known what kind of printer it is, the kinds are weighed by
// how common they are in offices.
func Triage(name string, d *device.Device, o Options) *device.Triage {
	s := known().byName[name]
	v := newView(d, o)
	profiles := v.profilesOf()
	t := &device.Triage{
		Schema: device.TriageSchema, Symptom: s.Name, Looks: s.Looks, Ask: s.Ask, Interval: o.Interval,
		Prove: s.Prove, Expected: []device.RollerMatch{},
	}
	if s.Name == RepeatingMark {
		t.Expected = Expected(d, o.Catalogue)
	}
	m := &model{v: v, s: s}
	t.Causes, t.Else = m.rank(profiles)
	if d != nil {
		t.Device, t.Name, t.MakeModel, t.Location = device.Text(d.Key), cmp.Or(d.Name, d.Hostname), d.MakeModel, d.Location
		if !d.ObservedAt.IsZero() {
			t.ObservedAt = &d.ObservedAt
		}
	}
	if len(profiles) == 1 || oneClass(profiles) {
		t.Technology = device.Text(technologyWords(profiles))
		t.Prove = cmp.Or(s.ProveOn[profiles[0].class], s.Prove)
	}
	t.First = first(t.Causes)
	t.Decide = m.decide(t.Causes)
	t.Notes = m.notes(t, profiles)
	return t
}

func oneClass(ps []profile) bool {
	return !slices.ContainsFunc(ps, func(p profile) bool { return p.class != ps[0].class })
}

// model is one triage in the making.
type model struct {
	v *view
	s *symptom
}

// rank returns the causes with their probabilities, likely first, and what is
// left for something else.
func (m *model) rank(profiles []profile) ([]device.TriageCause, float64) {
	share := map[*cause]float64{}
	evidence := map[*cause][]device.TriageEvidence{}
	on := map[*cause][]profile{}
	rest := 0.0
	for _, p := range profiles {
		odds, total := map[*cause]float64{}, 1.0
		for _, c := range known().causes {
			if c.Odds[m.s.Name] == 0 || !m.v.possible(c, p) {
				continue
			}
			on[c] = append(on[c], p)
			if _, done := evidence[c]; !done {
				evidence[c] = m.evidence(c)
			}
			odds[c] = c.Odds[m.s.Name]
			for _, e := range evidence[c] {
				odds[c] *= e.Ratio
			}
			total += odds[c]
		}
		for c, x := range odds {
			share[c] += p.share * x / total
		}
		rest += p.share / total
	}
	var out []device.TriageCause
	for _, c := range known().causes {
		if share[c] == 0 {
			continue
		}
		out = append(out, m.cause(c, share[c], evidence[c], on[c], profiles))
	}
	slices.SortStableFunc(out, func(a, b device.TriageCause) int { return cmp.Compare(b.Probability, a.Probability) })
	return out, rest
}

func (m *model) cause(c *cause, p float64, why []device.TriageEvidence, on, all []profile) device.TriageCause {
	out := device.TriageCause{
		Code: c.Code, Cause: c.Cause, Probability: math.Round(p*1e4) / 1e4, Odds: c.Odds[m.s.Name], Evidence: why,
		Sign: cmp.Or(c.Signs[m.s.Name], c.Sign), Part: device.Text(c.Part), Why: []string{},
	}
	if len(c.Class) > 0 && !oneClass(all) {
		out.On = device.Text(technologyWords(on))
	}
	for _, e := range why {
		if e.Ratio != 1 {
			out.Why = append(out.Why, e.Words+" ("+direction(e.Ratio)+")")
		}
	}
	if len(out.Why) == 0 {
		out.Why = append(out.Why, "by experience; no fact of the device speaks for or against it")
	}
	for _, id := range c.Steps {
		out.Try = append(out.Try, m.step(known().steps[id], c.Code))
	}
	out.PartNumber = m.partNumber(c.Part)
	return out
}

// direction says in words how far evidence moves a cause.
func direction(ratio float64) string {
	switch {
	case ratio >= 5:
		return "speaks strongly for it"
	case ratio > 1:
		return "speaks for it"
	case ratio > 0.2:
		return "speaks against it"
	}
	return "speaks strongly against it"
}

func (m *model) step(s *step, code string) device.TriageStep {
	return device.TriageStep{Step: m.v.fill(s.Text), Who: device.Who(s.Who), Minutes: s.Minutes, Caution: s.caution(), For: []string{code}}
}

// evidence lists the facts that are known and that move the cause.
func (m *model) evidence(c *cause) []device.TriageEvidence {
	var out []device.TriageEvidence
	add := func(fact, words string, ratio float64, source string) {
		if ratio != 1 {
			out = append(out, device.TriageEvidence{Fact: fact, Words: words, Ratio: math.Round(ratio*100) / 100, Source: source})
		}
	}
	if m.v.d != nil {
		for _, r := range known().ratios {
			if !slices.Contains(r.causes, c.Code) || r.symptoms != nil && !slices.Contains(r.symptoms, m.s.Name) {
				continue
			}
			if got, ok := m.v.fact(r.fact); ok {
				add(r.fact, got.words, r.at(got), r.source)
			}
		}
	}
	if m.s.Name == RepeatingMark {
		technology := ""
		if len(c.Class) == 1 {
			technology = c.Class[0]
		}
		if fit, ratio, ok := m.v.intervalEvidence(c.Code, technology); ok {
			add("interval", fit, ratio, "arithmetic of the interval; widths are common practice")
		}
	}
	return out
}

func (r *ratio) at(s sign) float64 {
	if r.curve != "" {
		return known().curves[r.curve].at(s.percent)
	}
	return r.value
}

// fact returns one fact; ok is false when it does not hold or is not known.
func (v *view) fact(id string) (sign, bool) {
	f, done := v.facts[id]
	if !done {
		f.sign, f.holds = v.workOut(id)
		v.facts[id] = f
	}
	return f.sign, f.holds
}

func (v *view) workOut(id string) (sign, bool) {
	if f := computed[id]; f != nil {
		return f(v)
	}
	r := known().facts[id]
	if better := computed[r.Unless]; better != nil {
		if _, ok := better(v); ok {
			return sign{}, false
		}
	}
	if said, ok := v.reports(r.Conditions...); ok {
		return plain("the device reports: %s", said)
	}
	return sign{}, false
}

// partNumber looks the part up in the site file's catalogue. Where the device
// has black only, that is the colour of its part.
func (m *model) partNumber(part string) device.Text {
	if m.v.catalogue == nil || m.v.d == nil || part == "" {
		return ""
	}
	colorant := ""
	if has, told := m.v.color(); told && !has {
		colorant = "black"
	}
	p, ok := m.v.catalogue.Part(string(m.v.d.MakeModel), colorant, part)
	if !ok {
		return ""
	}
	return device.Text(p.Number)
}

// fill puts what the device says into a step.
func (v *view) fill(text string) string {
	if !strings.Contains(text, "{") {
		return text
	}
	languages, tray := "the languages that the device interprets (its configuration page lists them)", "the tray in use"
	if v.d != nil {
		if have := v.spoken(); len(have) > 0 {
			languages = list(have)
		}
		if len(v.d.Trays) == 1 {
			tray = trayName(&v.d.Trays[0])
		}
	}
	return strings.NewReplacer("{languages}", languages, "{tray}", tray).Replace(text)
}

// The list of what to try has the steps of the first two causes, which are to be
// told apart, and of the others that are likely enough,
// and is bounded.
const (
	leastFirst = 0.08
	mostFirst  = 10
)

// first orders the steps of the likely causes by what they are worth: the
// chance that they cure or tell, over what they cost in minutes, skill, price
// and risk. Steps that several causes share are worth more.
func first(causes []device.TriageCause) []device.TriageStep {
	type option struct {
		step   device.TriageStep
		worth  float64
		likely bool
	}
	var list []*option
	at := map[string]*option{}
	for i := range causes {
		c := &causes[i]
		for k, id := range stepsOf(c) {
			s := known().steps[id]
			o := at[id]
			if o == nil {
				o = &option{step: c.Try[k]}
				o.step.For = nil
				at[id] = o
				list = append(list, o)
			}
			if !slices.Contains(o.step.For, c.Code) {
				o.step.For = append(o.step.For, c.Code)
			}
			o.worth += c.Probability * s.Tells / s.cost()
			o.likely = o.likely || i < 2 || c.Probability >= leastFirst
		}
	}
	list = slices.DeleteFunc(list, func(o *option) bool { return !o.likely })
	slices.SortStableFunc(list, func(a, b *option) int { return cmp.Compare(b.worth, a.worth) })
	out := []device.TriageStep{}
	for i := 0; i < len(list) && i < mostFirst; i++ {
		out = append(out, list[i].step)
	}
	return out
}

// stepsOf returns the ids of the steps of a cause, in the order of its Try.
func stepsOf(c *device.TriageCause) []string {
	for _, k := range known().causes {
		if k.Code == c.Code && k.Cause == c.Cause {
			return k.Steps
		}
	}
	return nil
}

// cost is what a step costs, in minutes of somebody on site; skill, price and
// hazard make it dearer (common practice, no source).
func (s *step) cost() float64 {
	who := map[string]float64{"untrained": 1, "trained": 1.5, "management": 1.5, "field service": 4}[s.Who]
	hazard := 1 + 0.25*float64(len(s.Cautions))
	return float64(s.Minutes) * who * s.Dear * hazard
}

// decide says what result tells the two leading causes apart: a hand-written
// line for the pair, else the signs of both.
func (m *model) decide(causes []device.TriageCause) []string {
	if len(causes) < 2 {
		return []string{}
	}
	a, b := &causes[0], &causes[1]
	if apart := apartByKind(a, b); apart != "" {
		return []string{apart}
	}
	for _, p := range known().decide {
		if slices.Contains(p.Causes, a.Code) && slices.Contains(p.Causes, b.Code) && (len(p.Symptoms) == 0 || slices.Contains(p.Symptoms, m.s.Name)) {
			return p.Text
		}
	}
	return []string{
		fmt.Sprintf("For the first (%s): %s.", a.Cause, a.Sign),
		fmt.Sprintf("For the second (%s): %s.", b.Cause, b.Sign),
	}
}

// apartByKind says so when the two causes are found on different kinds of
// printers: then a look at the device decides.
func apartByKind(a, b *device.TriageCause) string {
	if a.On == "" || b.On == "" {
		return ""
	}
	for _, word := range strings.Split(string(a.On), " or ") {
		if slices.Contains(strings.Split(string(b.On), " or "), word) {
			return ""
		}
	}
	return fmt.Sprintf("What kind of printer it is decides: on %s look for the first, on %s for the second.", a.On, b.On)
}

// notes says what the reader must know of how the order came about.
func (m *model) notes(t *device.Triage, profiles []profile) []string {
	out := []string{}
	v := m.v
	switch {
	case v.d == nil:
		out = append(out, "No device was given: the order is that of offices in general. With --device it follows the device's own facts.")
	case !v.answers:
		out = append(out, "The device did not answer: the order is that of offices in general, without its facts.")
	case !slices.ContainsFunc(t.Causes, func(c device.TriageCause) bool { return len(c.Evidence) > 0 }):
		out = append(out, "Nothing that the device reports speaks for or against one of these causes.")
	}
	if v.d != nil && v.answers && !oneClass(profiles) {
		out = append(out, "The device does not tell how it prints: the causes of several kinds of printers are listed.")
	}
	if v.d != nil && v.answers && len(profiles) == 1 && profiles[0].class == "" {
		out = append(out, fmt.Sprintf("For its way of printing (%s) only what is true of all printers is known.", cmp.Or(string(v.d.Technology), "not stated")))
	}
	if v.d != nil && v.answers && v.d.Attention == device.Stopped && m.s.Name != "jobs-pile-up" && v.d.Why() != "" {
		out = append(out, "The device itself cannot print at present: "+v.d.Why()+". That comes first.")
	}
	return out
}
