package symptom

import (
	"cmp"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"

	"printround/internal/device"
)

// Index lists the symptoms by what a person sees or hears.
func Index() []device.SymptomGroup {
	var out []device.SymptomGroup
	for _, s := range known().symptoms {
		i := slices.IndexFunc(out, func(g device.SymptomGroup) bool { return g.Name == s.Group })
		if i < 0 {
			i = len(out)
			out = append(out, device.SymptomGroup{Name: s.Group})
		}
		out[i].Symptoms = append(out[i].Symptoms, device.SymptomName{Name: s.Name, Looks: s.Looks})
	}
	return out
}

// Names returns the names of the symptoms in the order of the index.
func Names() []string {
	var out []string
	for _, s := range known().symptoms {
		out = append(out, s.Name)
	}
	return out
}

// Exists reports whether there is a symptom of that name.
func Exists(name string) bool { return known().byName[name] != nil }

// Fold writes a name as people may type it in the form of the names.
func Fold(name string) string {
	name = strings.ToLower(strings.TrimSpace(name))
	name = strings.NewReplacer(" ", "-", "_", "-", "colour", "color").Replace(name)
	return name
}

// Near returns the names that somebody may have meant, nearest first: those a
// few letters away, then those that share a word with it by name or by looks.
func Near(name string) []string {
	name = Fold(name)
	type hit struct {
		name string
		away int
	}
	var hits []hit
	for _, s := range known().symptoms {
		if d := levenshtein.ComputeDistance(name, s.Name); d <= max(2, len(name)/3) {
			hits = append(hits, hit{s.Name, d})
			continue
		}
		if n := shared(name, s); n > 0 {
			hits = append(hits, hit{s.Name, 100 - n})
		}
	}
	slices.SortStableFunc(hits, func(a, b hit) int { return cmp.Compare(a.away, b.away) })
	if len(hits) > 0 && hits[0].away <= 2 { // a slip of the finger: no other is meant
		hits = slices.DeleteFunc(hits, func(h hit) bool { return h.away > 2 })
	}
	var out []string
	for i := 0; i < len(hits) && i < mostNear; i++ {
		out = append(out, hits[i].name)
	}
	return out
}

// mostNear bounds the suggestions.
const mostNear = 4

// shared counts the words of a name that a symptom has: three for one in its
// name, one for one in what it looks like.
func shared(name string, s *symptom) int {
	n := 0
	looks := strings.FieldsFunc(strings.ToLower(s.Looks), func(r rune) bool { return r < 'a' || r > 'z' })
	for _, w := range strings.Split(name, "-") {
		switch {
		case len(w) < 3 || slices.Contains([]string{"the", "and", "not"}, w):
		case slices.ContainsFunc(strings.Split(s.Name, "-"), func(have string) bool { return sameStem(have, w) }):
			n += 3
		case slices.ContainsFunc(looks, func(have string) bool { return sameStem(have, w) }):
			n++
		}
	}
	return n
}

// sameStem takes stripe and stripes, print and printed for the same word.
func sameStem(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	return len(a) >= 3 && strings.HasPrefix(b, a) && len(b)-len(a) <= 3
}
