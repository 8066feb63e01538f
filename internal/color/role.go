package color

import (
	"strconv"
	"strings"

	"printround/internal/device"
)

// channels in the order of the process colours.
var channels = [4]string{"cyan", "magenta", "yellow", "black"}

type roleKind int

const (
	other roleKind = iota
	paper
	tone
	grey
)

// role is what a patch tells: a step of a channel, a grey, the paper.
type role struct {
	kind    roleKind
	channel int     // of a tone: index into channels
	percent float64 // of a tone, 100 is the solid
}

// roles finds what each patch tells, by its name as the page gives it or else by
// its device values. Names are no help in charts that number their fields like
// a map: C20 is a place there.
func (s *Set) roles() []role {
	out := make([]role, len(s.Patches))
	named := !s.gridded()
	for i := range s.Patches {
		p := &s.Patches[i]
		for _, t := range []device.Text{p.ID, p.Name} {
			if r := roleByName(t); out[i].kind == other && (named || r.kind == paper) {
				out[i] = r
			}
		}
		if out[i].kind == other {
			out[i] = roleByInk(p)
		}
	}
	return out
}

// gridded reports whether names are places: letters beyond those of colours.
func (s *Set) gridded() bool {
	for i := range s.Patches {
		for _, t := range []device.Text{s.Patches[i].ID, s.Patches[i].Name} {
			letters, percent, ok := split(fold(t))
			if ok && len(letters) == 1 && percent > 0 && !strings.Contains("cmykrgbnw", letters) {
				return true
			}
		}
	}
	return false
}

// split parts a folded name into letters and the number behind them.
func split(name string) (letters string, number int, ok bool) {
	letters = strings.TrimRight(name, "0123456789")
	number, err := strconv.Atoi(name[len(letters):])
	return letters, number, err == nil && letters != ""
}

func roleByName(t device.Text) role {
	name := fold(t)
	switch name {
	case "w", "white", "paper", "paperwhite":
		return role{kind: paper}
	}
	letters, n, ok := split(name)
	if !ok {
		return role{}
	}
	if letters == "n" || letters == "grey" || letters == "gray" {
		return role{kind: grey}
	}
	for i, c := range channels {
		short := c[:1]
		if c == "black" {
			short = "k"
		}
		if (letters == short || letters == c) && n >= 1 && n <= 100 {
			return role{tone, i, float64(n)}
		}
	}
	return role{}
}

// roleByInk goes by what was sent: one colorant alone, none, or equal values.
func roleByInk(p *Patch) role {
	if p.CMYK != nil {
		return roleByCMYK(p)
	}
	if p.RGB == nil {
		return role{}
	}
	v := *p.RGB
	least, most := min(v[0], v[1], v[2]), max(v[0], v[1], v[2])
	switch {
	case least > 254:
		return role{kind: paper}
	case most-least <= 2:
		return role{kind: grey}
	}
	for i := range 3 { // cyan takes red away, and so on
		if v[(i+1)%3] > 254 && v[(i+2)%3] > 254 {
			return role{tone, i, 100 * (255 - v[i]) / 255}
		}
	}
	return role{}
}

// nearGrey is the chroma up to which a mixture of three colorants is meant to be
// grey.
const nearGrey = 5

func roleByCMYK(p *Patch) role {
	v := *p.CMYK
	used, last := 0, 0
	for i := range v {
		if v[i] >= 0.5 {
			used, last = used+1, i
		}
	}
	switch {
	case used == 0:
		return role{kind: paper}
	case used == 1:
		return role{tone, last, v[last]}
	case used == 3 && v[3] < 0.5 && p.Lab.Chroma() <= nearGrey:
		return role{kind: grey}
	}
	return role{}
}
