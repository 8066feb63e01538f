package device

import (
	"slices"
	"strings"
)

// Catalogue is what a technician knows of the models in the field and no
// protocol tells: part numbers, roller diameters, service intervals. It comes
// from the site file; every entry is optional.
type Catalogue struct {
	Parts  []CataloguePart
	Models []Model
}

// CataloguePart is an orderable part. Of several entries that fit, the one with
// a Model goes before the one without.
type CataloguePart struct {
	Model    string // make and model it fits, case-insensitive; a trailing * matches any rest; empty: every model
	Supply   string // PrtMarkerSuppliesTypeTC label or part class of the advice, such as toner, opc, fuser, feed roller kit
	Colorant string // black, cyan, …; empty: any
	Number   string // order number
	Name     string // in words; may be empty
}

// Model is what is known of a make and model.
type Model struct {
	Match         string // make and model, matched as in CataloguePart
	Rollers       []Roller
	Services      []ServiceInterval
	PagesPerMonth int // load the maker recommends; 0: not stated
}

// Roller is a part that turns with the sheet and can leave a mark once a turn.
type Roller struct {
	Name        string  // such as photoconductor drum, fuser roller
	DiameterMM  float64 // > 0
	ToleranceMM float64 // of the repeat interval (half width), > 0
	Part        string  // class of part that replaces it
}

// ServiceInterval is the life of a part in pages.
type ServiceInterval struct {
	Part  string // class of part, such as fuser, feed roller kit, maintenance kit
	Pages int    // > 0
}

// Part returns the orderable part for one of the supplies or part classes named
// and the colorant, empty for none, of a make and model. The entry that says
// most goes first: one for the model before one for all models, the longer
// pattern before the shorter, one with the colorant before one without, then the
// earlier one.
func (c *Catalogue) Part(makeModel, colorant string, supplies ...string) (CataloguePart, bool) {
	best, found := -1, CataloguePart{}
	for _, p := range c.Parts {
		fits := slices.ContainsFunc(supplies, func(s string) bool { return SameSupply(p.Supply, s) })
		if !fits || p.Model != "" && !MatchModel(p.Model, makeModel) || p.Colorant != "" && !strings.EqualFold(p.Colorant, colorant) {
			continue
		}
		says := 2 * specificity(p.Model)
		if p.Colorant != "" {
			says++
		}
		if says > best {
			best, found = says, p
		}
	}
	return found, best >= 0
}

// Model returns what is known of a make and model; of several entries that fit,
// the one with the longest pattern.
func (c *Catalogue) Model(makeModel string) (Model, bool) {
	best, found := 0, Model{}
	for _, m := range c.Models {
		if n := specificity(m.Match); n > best && MatchModel(m.Match, makeModel) {
			best, found = n, m
		}
	}
	return found, best > 0
}

// MatchModel reports whether a make and model fits a pattern: the same but for
// case and white space, or, where the pattern ends in *, beginning with it. An
// empty pattern, or an unknown make and model, fits nothing.
func MatchModel(pattern, makeModel string) bool {
	pattern, makeModel = foldSpace(pattern), foldSpace(makeModel)
	if pattern == "" || makeModel == "" {
		return false
	}
	if head, open := strings.CutSuffix(pattern, "*"); open {
		return strings.HasPrefix(makeModel, head)
	}
	return pattern == makeModel
}

// specificity orders patterns: a whole model before a beginning of it, a longer
// beginning before a shorter one.
func specificity(pattern string) int {
	n := len(foldSpace(pattern))
	if n > 0 && !strings.HasSuffix(pattern, "*") {
		n += MaxText
	}
	return n
}

func foldSpace(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

// SameSupply reports whether two names of a supply or a class of part mean the
// same: labels of PrtMarkerSuppliesTypeTC and plain words alike, so that toner,
// tonerCartridge and "toner cartridge" are one, and opc and "drum unit" too.
func SameSupply(a, b string) bool {
	a, b = foldSupply(a), foldSupply(b)
	return a != "" && a == b
}

func foldSupply(s string) string {
	s = strings.Map(func(r rune) rune {
		if strings.ContainsRune(" -_", r) {
			return -1
		}
		return r
	}, strings.ToLower(s))
	for _, tail := range []string{"cartridge", "unit"} {
		if head, ok := strings.CutSuffix(s, tail); ok && head != "" {
			s = head
		}
	}
	if same, ok := supplyWords[s]; ok {
		return same
	}
	return s
}

// supplyWords maps the trade's words, folded, onto the labels of
// PrtMarkerSuppliesTypeTC (common practice, no source).
var supplyWords = map[string]string{
	"drum": "opc", "photoconductor": "opc", "photoconductordrum": "opc",
	"inkbottle": "ink", "inkorbottle": "ink", "inkcartridgeorbottle": "ink",
	"ribbon": "inkribbon", "printribbon": "inkribbon",
	"wastetonerbox": "wastetoner", "wastetonerbottle": "wastetoner", "wastetonercontainer": "wastetoner",
	"wasteinkbox": "wasteink", "wasteinkboxormaintenancebox": "wasteink", "wasteinkboxorpad": "wasteink", "maintenancebox": "wasteink",
	"staple": "staples", "fuserunitoftherightvoltage": "fuser", "fuserkit": "fuser",
	"transferbelt": "transfer", "transferroller": "transfer", "cleaning": "cleaner",
}
