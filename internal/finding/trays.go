package finding

import (
	"fmt"
	"math"
	"strings"

	"printround/internal/device"
	"printround/internal/media"
)

// trays sees the levels of the trays. An empty tray is impaired only if no
// other tray holds its medium, and a nearly empty one is a note.
func (j *judge) trays() {
	for i := range j.d.Trays {
		t := &j.d.Trays[i]
		p, ok := t.Level.Percent()
		if !ok {
			if r := t.Level.Reason(); r != device.LevelSomeLeft && r != device.LevelUnlimited {
				j.gaps = append(j.gaps, fmt.Sprintf("media-empty: level of %s is %s", calledTray(t), r))
			}
			continue
		}
		if p > j.o.TrayLow || j.byHand(t) {
			continue
		}
		code := "media-low"
		if v, _ := t.Level.Value(); v == 0 {
			code = "media-empty"
		}
		s := &sighting{
			term: known().term(code), sev: warning, sub: device.Subunit{Group: "input", Index: t.Index, Name: t.Name},
			proof: device.Evidence{Source: t.Source, Object: t.Object, Value: levelValue(t.Level)},
		}
		j.weigh(s)
		if code == "media-empty" {
			s.rule = "empty, by its level"
			j.easeTray(s, t)
			s.mayStop = s.impact != device.ImpactNote
		} else {
			s.rule = "a nearly empty tray is a note"
		}
		j.see(s)
	}
}

func calledTray(t *device.Tray) string {
	if t.Name != "" {
		return string(t.Name)
	}
	return fmt.Sprintf("tray %d", t.Index)
}

// byHand reports a tray for feeding by hand beside others: it is usually empty,
// and nobody has to do anything about that.
func (j *judge) byHand(t *device.Tray) bool {
	return t.Kind == "sheetFeedManual" && len(j.d.Trays) > 1
}

// easeTray makes a note of an empty tray that stops nobody.
func (j *judge) easeTray(s *sighting, t *device.Tray) {
	switch other := j.substitute(t); {
	case j.byHand(t):
		s.impact = device.ImpactNote
		s.rule += "; a tray for feeding by hand is usually empty"
	case other != "":
		s.impact = device.ImpactNote
		s.rule += "; " + other
	default:
		s.rule += "; no other tray holds its medium"
	}
}

// easeEmpty makes a note of a word that some tray is empty, not said to be an
// error, when each tray known to be empty has a substitute.
func (j *judge) easeEmpty(s *sighting) {
	if s.impact != device.ImpactImpaired {
		return
	}
	rule := ""
	for i := range j.d.Trays {
		t := &j.d.Trays[i]
		if v, ok := t.Level.Value(); !ok || v != 0 || !t.Level.Known() {
			continue
		}
		e := *s
		e.impact = device.ImpactImpaired
		j.easeTray(&e, t)
		if e.impact != device.ImpactNote {
			return
		}
		rule = e.rule
	}
	if rule != "" {
		s.impact, s.rule = device.ImpactNote, rule
	}
}

// substitute says which other tray stands in for an empty one: one that holds
// the same medium. When a medium is not known, a tray with something in it is
// believed to; empty when none does.
func (j *judge) substitute(t *device.Tray) string {
	doubtful := ""
	for i := range j.d.Trays {
		o := &j.d.Trays[i]
		if o.Index == t.Index || !holdsSomething(o) {
			continue
		}
		switch same, judged := sameMedia(&t.Media, &o.Media); {
		case judged && same:
			return calledTray(o) + " holds the same medium"
		case !judged:
			doubtful = calledTray(o) + " is loaded, and the media are not known"
		}
	}
	return doubtful
}

// holdsSomething reports a level above zero, or at least one sheet.
func holdsSomething(t *device.Tray) bool {
	v, ok := t.Level.Value()
	return ok && v > 0 && t.Level.Reason() != device.LevelContradictory || t.Level.Reason() == device.LevelSomeLeft
}

// sameMedia compares two media by size, and by type and colour where both are
// known. judged is false when the sizes cannot be compared.
func sameMedia(a, b *device.Media) (same, judged bool) {
	same, judged = sameSize(sizeOf(a), sizeOf(b))
	if !judged || !same {
		return same, judged
	}
	differ := func(x, y device.Text) bool { return x != "" && y != "" && !strings.EqualFold(string(x), string(y)) }
	return !differ(a.Type, b.Type) && !differ(a.Color, b.Color), true
}

// sheet is a size of media in millimetres. A roll has no length.
type sheet struct {
	width, length float64
	name          string // for comparing when there are no dimensions
}

func sizeOf(m *device.Media) sheet {
	s := sheet{name: string(m.Name)}
	if m.WidthMM != nil && *m.WidthMM > 0 {
		s.width = *m.WidthMM
		if m.LengthMM != nil && *m.LengthMM > 0 {
			s.length = *m.LengthMM
		}
		return s
	}
	return namedSize(s.name)
}

func namedSize(name string) sheet {
	s := sheet{name: name}
	if size, ok := media.ByName(name); ok {
		s.width, s.length = size.Width, size.Length
	}
	return s
}

// sizeTolerance is how far two edges of one size may lie apart, in
// millimetres: half a millimetre of rounding on either side (common practice,
// no source).
const sizeTolerance = 1.0

// sameSize compares two sizes in either orientation, a roll by its width alone.
// Without dimensions equal names are equal sizes; different ones prove nothing.
func sameSize(a, b sheet) (same, judged bool) {
	if a.width <= 0 || b.width <= 0 {
		equal := a.name != "" && strings.EqualFold(a.name, b.name)
		return equal, equal
	}
	near := func(x, y float64) bool { return math.Abs(x-y) <= sizeTolerance }
	if a.length <= 0 || b.length <= 0 {
		return near(a.width, b.width) || a.length <= 0 && near(a.width, b.length) || b.length <= 0 && near(a.length, b.width), true
	}
	return near(a.width, b.width) && near(a.length, b.length) ||
		near(a.width, b.length) && near(a.length, b.width), true
}
