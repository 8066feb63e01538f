package color

import (
	"fmt"
	"strings"

	"printround/internal/device"
)

// How patches were found in the reference.
const (
	ByName  = "name"
	ByInk   = "device values"
	ByOrder = "order"
)

// matching tells which readings are of which patch.
type matching struct {
	by    string
	of    [][]int // for each patch of the reference: the readings of it
	extra []int   // readings of no patch of the reference
}

// match finds the patches of the reference that were measured: by the names and
// numbers that both have, else by what was sent, else by the order of the page,
// where both have as many patches and the readings have nothing but numbers.
// Of the ways to compare names the one that finds most is taken.
func match(measured, reference *Set) (matching, error) {
	name := func(p *Patch) string { return fold(p.Name) }
	id := func(p *Patch) string { return fold(p.ID) }
	type key = func(*Patch) string
	best, most := matching{}, 0
	consider := func(by string, pair func(m int) int) {
		out := matching{by: by, of: make([][]int, len(reference.Patches))}
		found := 0
		for m := range measured.Patches {
			r := pair(m)
			if r < 0 || !sameInk(&measured.Patches[m], &reference.Patches[r]) {
				out.extra = append(out.extra, m)
				continue
			}
			if len(out.of[r]) == 0 {
				found++
			}
			out.of[r] = append(out.of[r], m)
		}
		if found > most {
			best, most = out, found
		}
	}
	for _, k := range [][2]key{{name, name}, {name, id}, {id, name}, {id, id}} {
		known := index(reference, k[1])
		consider(ByName, func(m int) int { return lookup(known, k[0](&measured.Patches[m])) })
	}
	if most == 0 {
		consider(ByInk, func(m int) int { return sent(&measured.Patches[m], reference) })
	}
	if most == 0 && len(measured.Patches) == len(reference.Patches) && numbered(measured) {
		consider(ByOrder, func(m int) int { return m })
	}
	if most == 0 {
		return best, fmt.Errorf("no patch of %s (%s) is one of %s: it has %s; wanted are %s", measured.Source.Name, device.Counted(len(measured.Patches), "patch", "patches"),
			reference.Source.Name, some(measured), some(reference))
	}
	return best, nil
}

// index maps the names of a set to its patches. A name of several patches
// names none.
func index(s *Set, key func(*Patch) string) map[string]int {
	out := map[string]int{}
	for i := range s.Patches {
		k := key(&s.Patches[i])
		if _, twice := out[k]; twice {
			out[k] = -1
			continue
		}
		out[k] = i
	}
	return out
}

func lookup(known map[string]int, name string) int {
	if at, ok := known[name]; ok && name != "" {
		return at
	}
	return -1
}

// sent finds the one patch of the reference with the device values of another.
func sent(p *Patch, reference *Set) int {
	found := -1
	for i := range reference.Patches {
		r := &reference.Patches[i]
		both := p.RGB != nil && r.RGB != nil || p.CMYK != nil && r.CMYK != nil
		if !both || !sameInk(p, r) {
			continue
		}
		if found >= 0 {
			return -1
		}
		found = i
	}
	return found
}

// numbered reports whether the patches have only the numbers 1 and on, or no
// names at all.
func numbered(s *Set) bool {
	for i := range s.Patches {
		p := &s.Patches[i]
		for _, t := range []device.Text{p.ID, p.Name} {
			if t != "" && strings.TrimLeft(string(t), "0") != fmt.Sprint(i+1) {
				return false
			}
		}
	}
	return true
}

// some names the first patches of a set.
func some(s *Set) string {
	const most = 6
	var out []string
	for i := range s.Patches {
		if i == most {
			out = append(out, "…")
			break
		}
		name := s.Patches[i].label()
		if name == "" {
			name = "(no name)"
		}
		out = append(out, name)
	}
	return strings.Join(out, " ")
}
