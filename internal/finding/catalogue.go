package finding

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"sync"
)

// term is a condition that the catalogue knows: what it is about, what is the
// matter with it, and what counts as the same thing.
type term struct {
	keyword   string
	subject   *subject
	condition *condition
	family    string // family of the subject / family of the condition
}

// catalogue is the embedded knowledge, read once.
type catalogue struct {
	registry   map[string]string // keyword -> English label of the registry
	terms      map[string]*term
	alerts     map[string]alertCode
	advice     []*written
	written    map[string][]*written // the same by code
	cautions   map[string]string
	natures    map[string]*nature
	weights    map[string]float64
	kinds      map[string]*kind
	parts      []kind
	bits       map[string]string // hrPrinterDetectedErrorState label -> keyword
	tech       map[string]technology
	refine     []refinement
	events     [][]string
	places     [][]string
	subjects   []*subject
	conditions []*condition
}

// alertCode is a row of alerts.tsv.
type alertCode struct{ group, keyword string }

// refinement is a row of refine.tsv.
type refinement struct{ group, keyword, becomes string }

var known = sync.OnceValue(func() *catalogue {
	c, err := readCatalogue()
	if err != nil {
		panic(fmt.Sprintf("finding: embedded data: %v", err))
	}
	return c
})

func readCatalogue() (*catalogue, error) {
	c := &catalogue{registry: map[string]string{}, terms: map[string]*term{}}
	for _, step := range []func() error{
		c.readSubjects, c.readRegistry, c.readAlerts, c.readAdvice, c.readSmall,
	} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return c, nil
}

func (c *catalogue) readSubjects() error {
	var s struct{ Subject []*subject }
	if err := data.TOML("subjects.toml", &s); err != nil {
		return err
	}
	var k struct{ Condition []*condition }
	if err := data.TOML("conditions.toml", &k); err != nil {
		return err
	}
	c.subjects, c.conditions = s.Subject, k.Condition
	slices.SortStableFunc(c.subjects, func(a, b *subject) int { return cmp.Compare(len(b.Prefix), len(a.Prefix)) })
	for _, s := range c.subjects {
		s.Family = cmp.Or(s.Family, s.Prefix)
		s.Place = cmp.Or(s.Place, s.Noun)
	}
	return nil
}

// readRegistry takes every registered keyword, and every derived one, apart.
func (c *catalogue) readRegistry() error {
	rows, err := data.Keyed("registry.tsv", "keyword", "label")
	if err != nil {
		return err
	}
	for k, r := range rows {
		c.registry[k] = r[1]
		if c.terms[k] = c.parse(k); c.terms[k] == nil {
			return fmt.Errorf("registry.tsv: no subject and condition make %q", k)
		}
	}
	for _, k := range c.conditions {
		if !slices.Contains(k.Kinds, "derived") {
			continue
		}
		for _, suffix := range k.Suffix {
			c.terms["derived-"+suffix] = c.parse("derived-" + suffix)
		}
	}
	families, err := data.Keyed("families.tsv", "keyword", "family")
	if err != nil {
		return err
	}
	for k, r := range families {
		if c.terms[k] == nil {
			return fmt.Errorf("families.tsv: unknown keyword %q", k)
		}
		c.terms[k].family = r[1]
	}
	return nil
}

// parse takes a keyword apart: the longest subject that leaves a condition.
func (c *catalogue) parse(keyword string) *term {
	for _, s := range c.subjects {
		suffix := keyword
		if s.Prefix != "" {
			rest, ok := strings.CutPrefix(keyword, s.Prefix+"-")
			if !ok {
				continue
			}
			suffix = rest
		}
		if k := c.condition(s.Kind, suffix); k != nil {
			return &term{keyword, s, k, s.Family + "/" + cmp.Or(k.Family, suffix)}
		}
	}
	return nil
}

func (c *catalogue) condition(kind, suffix string) *condition {
	for _, k := range c.conditions {
		if slices.Contains(k.Suffix, suffix) && (len(k.Kinds) == 0 || slices.Contains(k.Kinds, kind)) {
			return k
		}
	}
	return nil
}

func (c *catalogue) readAlerts() error {
	rows, err := data.Rows("alerts.tsv", "code", "label", "group", "keyword")
	if err != nil {
		return err
	}
	// The two codes that no keyword is registered for.
	own := map[string]string{"coverClosed": CoverClosed, "doorClosed": DoorClosed}
	c.alerts = make(map[string]alertCode, len(rows))
	for _, r := range rows {
		a := alertCode{group: r[2], keyword: cmp.Or(r[3], own[r[1]])}
		if c.terms[a.keyword] == nil {
			return fmt.Errorf("alerts.tsv: %s: unknown keyword %q", r[1], a.keyword)
		}
		c.alerts[r[1]] = a
	}
	rows, err = data.Rows("refine.tsv", "group", "keyword", "becomes")
	for _, r := range rows {
		c.refine = append(c.refine, refinement{r[0], r[1], r[2]})
	}
	return err
}

func (c *catalogue) readAdvice() error {
	if err := data.TOML("cautions.toml", &c.cautions); err != nil {
		return err
	}
	var w struct{ Advice []*written }
	if err := data.TOML("advice.toml", &w); err != nil {
		return err
	}
	c.written = map[string][]*written{}
	for _, a := range w.Advice {
		for _, code := range append([]string{a.Code}, a.Also...) {
			if c.terms[code] == nil {
				return fmt.Errorf("advice.toml: unknown code %q", code)
			}
			c.written[code] = append(c.written[code], a)
		}
	}
	c.advice = w.Advice
	return nil
}

func (c *catalogue) readSmall() (err error) {
	if c.natures, err = readNatures(); err != nil {
		return err
	}
	for _, k := range c.conditions {
		if c.natures[k.Nature] == nil {
			return fmt.Errorf("conditions.toml: %v: unknown nature %q", k.Suffix, k.Nature)
		}
	}
	if c.weights, err = readWeights(); err != nil {
		return err
	}
	if c.kinds, c.parts, err = readKinds(); err != nil {
		return err
	}
	bits, err := data.Keyed("bits.tsv", "bit", "keyword")
	if err != nil {
		return err
	}
	c.bits = map[string]string{}
	for b, r := range bits {
		c.bits[b] = r[1]
	}
	tech, err := data.Keyed("technologies.tsv", "label", "class", "paper")
	if err != nil {
		return err
	}
	c.tech = map[string]technology{}
	for l, r := range tech {
		c.tech[l] = technology{class: r[1], paper: r[2]}
	}
	if c.places, err = data.Rows("places.tsv", "source", "value", "place"); err != nil {
		return err
	}
	c.events, err = data.Rows("eventwords.tsv", "word", "unless")
	return err
}

// vendor makes a term for a reason that is not registered: nothing is known of
// it but its name and how severe it is said to be. A name with our own prefix
// is not taken over: no device concludes in our place.
func (c *catalogue) vendor(keyword string) *term {
	unnamed := c.terms["other"]
	code := keyword
	if strings.HasPrefix(keyword, "derived-") {
		code = "unknown"
	}
	return &term{code, unnamed.subject, unnamed.condition, "vendor/" + keyword}
}

// term returns the term of a keyword, registered or not.
func (c *catalogue) term(keyword string) *term {
	if t := c.terms[keyword]; t != nil {
		return t
	}
	return c.vendor(keyword)
}

// refined returns the more exact keyword that an alert's group makes of a
// keyword that names no subunit.
func (c *catalogue) refined(group, keyword, finisher string) string {
	if group == "finDevice" && finisher != "" {
		if k := finisher + "-" + suffixOf(keyword); c.terms[k] != nil {
			return k
		}
	}
	for _, r := range c.refine {
		if r.group != group {
			continue
		}
		if r.keyword == keyword {
			return r.becomes
		}
		rest, ok := strings.CutPrefix(keyword, r.keyword)
		if ok && strings.HasSuffix(r.keyword, "-") && c.terms[r.becomes+rest] != nil {
			return r.becomes + rest
		}
	}
	return keyword
}

// suffixOf returns what a finisher's keyword ends in for a condition that
// alert codes 1 to 38 name without a subunit.
func suffixOf(keyword string) string {
	if keyword == "media-jam" {
		return "jam"
	}
	return strings.TrimPrefix(keyword, "subunit-")
}

// Keywords returns the registered keywords of printer-state-reasons, sorted.
func Keywords() []string {
	list := make([]string, 0, len(known().registry))
	for k := range known().registry {
		list = append(list, k)
	}
	slices.Sort(list)
	return list
}

// Keyword returns the condition that an alert code, given by its
// PrtAlertCodeTC label, stands for: a registered state reason, or a code of
// this package where none is registered. ok is false for a label that
// PrtAlertCodeTC does not have.
func Keyword(alertLabel string) (keyword string, ok bool) {
	a, ok := known().alerts[alertLabel]
	return a.keyword, ok
}
