package symptom

import (
	"embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/tables"
)

// The knowledge of the trade, as data. The head of each file says what a row
// is and where it comes from.
//
//go:embed data
var dataFiles embed.FS

var data = tables.Data{FS: dataFiles}

// knowledge is the embedded data, read once.
type knowledge struct {
	symptoms []*symptom
	byName   map[string]*symptom
	causes   []*cause
	steps    map[string]*step
	facts    map[string]*reported
	ratios   []*ratio
	curves   map[string]curve
	profiles []profile
	decide   []*pair
	rollers  []class
}

// symptom is a row of symptoms.toml.
type symptom struct {
	Name, Group, Looks string
	Ask                []string
	Prove              string
	ProveOn            map[string]string `toml:"prove_on"` // by class of technology
}

// cause is a row of causes.toml.
type cause struct {
	Code  string
	Class []string           // of technology, any of them; empty: all, and unknown ones
	Feed  string             // sheet or roll; empty: both
	Kind  string             // transfer or direct; empty: both
	Needs []string           // traits that must not be known to be absent
	Odds  map[string]float64 // symptom -> prior odds against "something else"
	Cause string
	Sign  string
	Signs map[string]string // symptom -> sign, where it differs
	Part  string
	Steps []string
}

// step is a row of steps.toml.
type step struct {
	ID       string
	Text     string
	Who      string
	Minutes  int
	Tells    float64 // chance that it cures or shows the cause, given that cause
	Dear     float64 // price and risk of it, 1 for none
	Cautions []string
}

// reported is a row of facts.toml: a fact that is there when the device
// reports one of the conditions.
type reported struct {
	ID         string
	Conditions []string // keywords of findings; a trailing * matches any rest
	Unless     string   // computed fact that says the same more exactly
}

// ratio is a row of ratios.tsv.
type ratio struct {
	fact     string
	causes   []string
	symptoms []string // nil: all
	value    float64
	curve    string // for graded facts, instead of a value
	source   string
}

// curve makes a ratio of a percentage: that of the first point whose limit is
// not below it.
type curve []struct{ atMost, ratio float64 }

func (c curve) at(percent float64) float64 {
	for _, p := range c {
		if percent <= p.atMost {
			return p.ratio
		}
	}
	return 1
}

// pair is a row of decide.toml: what tells two causes apart.
type pair struct {
	Causes   []string
	Symptoms []string // empty: all
	Text     []string
}

var known = sync.OnceValue(func() *knowledge {
	k, err := readKnowledge()
	if err != nil {
		panic(fmt.Sprintf("symptom: embedded data: %v", err))
	}
	return k
})

func readKnowledge() (*knowledge, error) {
	k := &knowledge{byName: map[string]*symptom{}, steps: map[string]*step{}, facts: map[string]*reported{}, curves: map[string]curve{}}
	for _, read := range []func() error{k.readSymptoms, k.readSteps, k.readCauses, k.readFacts, k.readCurves, k.readRatios, k.readProfiles, k.readDecide, k.readRollers} {
		if err := read(); err != nil {
			return nil, err
		}
	}
	return k, nil
}

func (k *knowledge) readSymptoms() error {
	var f struct{ Symptom []*symptom }
	if err := data.TOML("symptoms.toml", &f); err != nil {
		return err
	}
	k.symptoms = f.Symptom
	for _, s := range f.Symptom {
		if k.byName[s.Name] != nil {
			return fmt.Errorf("symptoms.toml: %q occurs twice", s.Name)
		}
		k.byName[s.Name] = s
	}
	return nil
}

func (k *knowledge) readSteps() error {
	var f struct{ Step []*step }
	if err := data.TOML("steps.toml", &f); err != nil {
		return err
	}
	for _, s := range f.Step {
		if k.steps[s.ID] != nil {
			return fmt.Errorf("steps.toml: %q occurs twice", s.ID)
		}
		if _, ok := finding.Caution(s.Cautions); !ok {
			return fmt.Errorf("steps.toml: %s: unknown caution in %v", s.ID, s.Cautions)
		}
		if s.Dear == 0 {
			s.Dear = 1
		}
		if s.Tells <= 0 || s.Tells > 1 || s.Minutes <= 0 || s.Dear < 1 {
			return fmt.Errorf("steps.toml: %s: tells, minutes or dear out of range", s.ID)
		}
		k.steps[s.ID] = s
	}
	return nil
}

func (k *knowledge) readCauses() error {
	var f struct{ Cause []*cause }
	if err := data.TOML("causes.toml", &f); err != nil {
		return err
	}
	k.causes = f.Cause
	for _, c := range f.Cause {
		for s, odds := range c.Odds {
			if k.byName[s] == nil || odds <= 0 {
				return fmt.Errorf("causes.toml: %s: odds %g of %q", c.Code, odds, s)
			}
		}
		for s := range c.Signs {
			if c.Odds[s] == 0 {
				return fmt.Errorf("causes.toml: %s: a sign for %q without odds", c.Code, s)
			}
		}
		for _, s := range c.Steps {
			if k.steps[s] == nil {
				return fmt.Errorf("causes.toml: %s: unknown step %q", c.Code, s)
			}
		}
	}
	return nil
}

func (k *knowledge) readFacts() error {
	var f struct{ Fact []*reported }
	if err := data.TOML("facts.toml", &f); err != nil {
		return err
	}
	for _, r := range f.Fact {
		if k.facts[r.ID] != nil || computed[r.ID] != nil {
			return fmt.Errorf("facts.toml: %q occurs twice", r.ID)
		}
		if r.Unless != "" && computed[r.Unless] == nil {
			return fmt.Errorf("facts.toml: %s: unknown fact %q", r.ID, r.Unless)
		}
		k.facts[r.ID] = r
	}
	return nil
}

func (k *knowledge) readCurves() error {
	rows, err := data.Rows("curves.tsv", "curve", "at_most", "ratio")
	for _, r := range rows {
		at, e1 := strconv.ParseFloat(r[1], 64)
		v, e2 := strconv.ParseFloat(r[2], 64)
		c := k.curves[r[0]]
		if e1 != nil || e2 != nil || v <= 0 || len(c) > 0 && at <= c[len(c)-1].atMost {
			return fmt.Errorf("curves.tsv: %v", r)
		}
		k.curves[r[0]] = append(c, struct{ atMost, ratio float64 }{at, v})
	}
	return err
}

func (k *knowledge) readRatios() error {
	rows, err := data.Rows("ratios.tsv", "fact", "causes", "symptoms", "ratio", "source")
	if err != nil {
		return err
	}
	for _, r := range rows {
		x := &ratio{fact: r[0], causes: strings.Split(r[1], ","), source: r[4]}
		if computed[x.fact] == nil && k.facts[x.fact] == nil {
			return fmt.Errorf("ratios.tsv: unknown fact %q", x.fact)
		}
		if r[2] != "*" {
			x.symptoms = strings.Split(r[2], ",")
		}
		if x.value, err = strconv.ParseFloat(r[3], 64); err != nil {
			if x.curve = r[3]; k.curves[x.curve] == nil {
				return fmt.Errorf("ratios.tsv: %s: unknown curve %q", x.fact, x.curve)
			}
		} else if x.value <= 0 {
			return fmt.Errorf("ratios.tsv: %s: ratio %g", x.fact, x.value)
		}
		for _, c := range x.causes {
			if !slices.ContainsFunc(k.causes, func(have *cause) bool { return have.Code == c && x.fitsAny(have) }) {
				return fmt.Errorf("ratios.tsv: %s: no cause %q for %s", x.fact, c, r[2])
			}
		}
		k.ratios = append(k.ratios, x)
	}
	return nil
}

// fitsAny reports whether the ratio applies to a symptom that the cause has.
func (r *ratio) fitsAny(c *cause) bool {
	return r.symptoms == nil || slices.ContainsFunc(r.symptoms, func(s string) bool { return c.Odds[s] > 0 })
}

func (k *knowledge) readProfiles() error {
	rows, err := data.Rows("profiles.tsv", "class", "feed", "kind", "share", "words")
	for _, r := range rows {
		share, e := strconv.ParseFloat(r[3], 64)
		if e != nil || share <= 0 {
			return fmt.Errorf("profiles.tsv: %v", r)
		}
		k.profiles = append(k.profiles, profile{r[0], r[1], r[2], share, r[4]})
	}
	return err
}

func (k *knowledge) readDecide() error {
	var f struct{ Pair []*pair }
	if err := data.TOML("decide.toml", &f); err != nil {
		return err
	}
	for _, p := range f.Pair {
		if len(p.Causes) != 2 || len(p.Text) == 0 {
			return fmt.Errorf("decide.toml: %v: wanted two causes and a text", p.Causes)
		}
		for _, c := range p.Causes {
			if !slices.ContainsFunc(k.causes, func(have *cause) bool { return have.Code == c }) {
				return fmt.Errorf("decide.toml: unknown cause %q", c)
			}
		}
	}
	k.decide = f.Pair
	return nil
}

func (k *knowledge) readRollers() error {
	rows, err := data.Rows("rollers.tsv", "class", "cause", "name", "part", "low_mm", "high_mm")
	for _, r := range rows {
		low, e1 := strconv.ParseFloat(r[4], 64)
		high, e2 := strconv.ParseFloat(r[5], 64)
		if e1 != nil || e2 != nil || low <= 0 || high <= low {
			return fmt.Errorf("rollers.tsv: %v", r)
		}
		k.rollers = append(k.rollers, class{technology: r[0], cause: r[1], name: r[2], part: r[3], low: low, high: high})
	}
	return err
}

// caution returns the words of a step's cautions.
func (s *step) caution() device.Text {
	words, _ := finding.Caution(s.Cautions) // the classes were checked when the data was read
	return words
}
