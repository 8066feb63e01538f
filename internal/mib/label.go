package mib

import (
	"cmp"
	"slices"
	"strings"
)

type convention struct {
	name   string
	values []valueLabel // ascending
}

type valueLabel struct {
	value int
	label string
}

// Label returns the label of a value of a textual convention, or of an object
// that enumerates its own values, such as FinPunchPatternTC 6, twoHoleDIN. It
// knows every convention of the MIB modules that the tool reads and of those
// that they import; false: no such convention, or a value that nobody
// registered.
func Label(of string, value int) (string, bool) {
	c, ok := slices.BinarySearchFunc(conventions, of, func(c convention, name string) int { return strings.Compare(c.name, name) })
	if !ok {
		return "", false
	}
	values := conventions[c].values
	i, ok := slices.BinarySearchFunc(values, value, func(v valueLabel, n int) int { return cmp.Compare(v.value, n) })
	if !ok {
		return "", false
	}
	return values[i].label, true
}

// Conventions returns the names of all conventions that [Label] knows, sorted.
func Conventions() []string {
	names := make([]string, len(conventions))
	for i := range conventions {
		names[i] = conventions[i].name
	}
	return names
}

// ValueConvention returns the convention that the integer value of a finisher
// attribute follows, and false when it is a plain number. IANA-FINISHER-MIB
// refers to RFC 3806 section 5.7 for it; that section was not at hand, the
// pairs are by the names of the conventions.
func (t FinAttributeType) ValueConvention() (string, bool) {
	c, ok := attributeConventions[t]
	return c, ok
}

var attributeConventions = map[FinAttributeType]string{
	FinAttributeTypeFinReferenceEdge:   "FinEdgeTC",
	FinAttributeTypeFinJogEdge:         "FinEdgeTC",
	FinAttributeTypeStitchingType:      "FinStitchingTypeTC",
	FinAttributeTypeStitchingDirection: "FinStitchingDirTypeTC",
	FinAttributeTypeFoldingType:        "FinFoldingTypeTC",
	FinAttributeTypeBindingType:        "FinBindingTypeTC",
	FinAttributeTypePunchHoleType:      "FinPunchHoleTypeTC",
	FinAttributeTypePunchPattern:       "FinPunchPatternTC",
	FinAttributeTypeSlittingType:       "FinSlittingTypeTC",
	FinAttributeTypeWrappingType:       "FinWrappingTypeTC",
	FinAttributeTypeStackOutputType:    "FinStackOutputTypeTC",
}
