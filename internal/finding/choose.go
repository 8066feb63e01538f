package finding

import (
	"slices"
	"strings"

	"printround/internal/device"
)

// situation is what decides between the hand-written rows of one code.
type situation struct {
	class string // of technologies.tsv; empty: unknown
	roll  bool   // media on a roll of a device that is not thermal
	at    string // a place of places.tsv; empty: unknown
	of    string // the noun of kinds.tsv or partwords.tsv that a supply is; empty: none
	stage int    // 1: near the end, 2: at it; 0: not known
}

// Classes that rows may name besides those of technologies.tsv.
const (
	classUnknown = "unknown" // a device whose technology is not known
	classRoll    = "roll"
)

// choose returns the hand-written row of a code that fits a situation most
// exactly, nil when none does. The supply that is meant says more than a roll,
// a roll more than the place, the place more than the technology; of equals
// the first row is taken.
func choose(code string, st situation) *written {
	var best *written
	most := -1
	for _, w := range known().written[code] {
		if fit := w.fit(st); fit > most {
			best, most = w, fit
		}
	}
	return best
}

// fit is how exactly a row fits a situation, -1 when it does not.
func (w *written) fit(st situation) int {
	fit := 0
	if len(w.Of) > 0 {
		if !slices.Contains(w.Of, st.of) {
			return -1
		}
		fit += 16
	}
	if w.Stage != 0 {
		if w.Stage != st.stage {
			return -1
		}
		fit += 2
	}
	if len(w.At) > 0 {
		if st.at == "" || !slices.Contains(w.At, st.at) {
			return -1
		}
		fit += 4
	}
	if len(w.Tech) > 0 {
		class := st.class
		if class == "" {
			class = classUnknown
		}
		switch {
		case st.roll && slices.Contains(w.Tech, classRoll):
			fit += 8
		case slices.Contains(w.Tech, class):
			fit++
		default:
			return -1
		}
	}
	return fit
}

// situation gathers what decides about a sighting at a part of the device.
func (j *judge) situation(s *sighting, sub device.Subunit, at string) situation {
	st := situation{class: j.tech.class, roll: j.onRoll(sub), at: at, of: s.of, stage: s.condition.Stage}
	if s.maintenance(sub) {
		st.of = maintenanceKit // the bit for overdue maintenance names no part
	}
	if st.stage == 0 && s.of != "" {
		st.stage = 1
		if s.percent != nil && *s.percent == 0 {
			st.stage = 2
		}
	}
	return st
}

// maintenanceKit is the noun of a kit in partwords.tsv.
const maintenanceKit = "maintenance kit"

// place returns where a cluster's sheet or fault is, empty when nobody says or
// no advice for the code asks.
func (j *judge) place(code string, c *cluster, sub device.Subunit) string {
	if !slices.ContainsFunc(known().written[code], func(w *written) bool { return len(w.At) > 0 }) {
		return ""
	}
	for _, row := range known().places {
		source, value, place := row[0], row[1], row[2]
		fits := false
		switch source {
		case "word":
			fits = says(sub.Name, value) || slices.ContainsFunc(c.seen, func(s *sighting) bool { return !s.stale && says(device.Text(s.text), value) })
		case "keyword":
			fits = slices.ContainsFunc(c.seen, func(s *sighting) bool { return !s.stale && s.keyword == value })
		case "kind":
			fits = j.kindAt(sub) == device.Text(value)
		case "group":
			// That a keyword is about trays does not say that the sheet is there.
			fits = slices.ContainsFunc(c.seen, func(s *sighting) bool {
				return s.sub.Group == value && (s.sub.Index > 0 || s.subject.Group != value)
			})
		}
		if fits {
			return place
		}
	}
	return ""
}

func says(text device.Text, word string) bool {
	return text != "" && strings.Contains(strings.ToLower(string(text)), word)
}

// kindAt returns the kind of a tray or a path.
func (j *judge) kindAt(sub device.Subunit) device.Text {
	switch sub.Group {
	case "input":
		for i := range j.d.Trays {
			if j.d.Trays[i].Index == sub.Index {
				return j.d.Trays[i].Kind
			}
		}
	case "mediaPath":
		for i := range j.d.Paths {
			if j.d.Paths[i].Index == sub.Index {
				return j.d.Paths[i].Kind
			}
		}
	}
	return ""
}

// ofSupply returns the row that is written for the very supply of a finisher,
// nil when there is none: what a finisher consumes or fills says more than the
// kind of finisher.
func ofSupply(subject *subject, st situation) *written {
	if subject.Kind != "finisher" || st.of == "" {
		return nil
	}
	for _, k := range known().kinds {
		if k.noun != st.of {
			continue
		}
		code := k.low
		if st.stage == 2 {
			code = k.out
		}
		if w := choose(code, st); w != nil && len(w.Of) > 0 {
			return w
		}
	}
	return nil
}
