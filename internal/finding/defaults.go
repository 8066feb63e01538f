package finding

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"printround/internal/device"
)

// defaults sees what jobs that say nothing get: a size that is in no tray, or
// not the site's, and an orientation that is not the site's.
func (j *judge) defaults() {
	def := &j.d.Defaults
	j.defaultMedia(def)
	j.siteMedia(def)
	want := j.o.ExpectedOrientation
	if want == "" || j.rollFed() || def.Orientation == "" || def.Orientation == "none" || strings.EqualFold(string(def.Orientation), want) {
		return
	}
	j.conclusion(DefaultOrientation, device.ImpactDue, fmt.Sprintf("default orientation is %s", def.Orientation),
		fmt.Sprintf("the site expects %s", want), device.Subunit{},
		device.Evidence{Source: def.Source, Object: "orientation-requested-default", Value: string(def.Orientation)})
}

// defaultMedia sees a default size that no tray is set to. With a tray of
// unknown size there is no telling.
func (j *judge) defaultMedia(def *device.Defaults) {
	if def.Media == "" {
		return
	}
	want := namedSize(string(def.Media))
	var there []string
	for _, m := range j.loaded() {
		same, judged := sameSize(want, m.sheet)
		if same {
			return
		}
		if !judged {
			j.gaps = append(j.gaps, fmt.Sprintf("%s: %s and %s cannot be compared", MediaMismatch, def.Media, m.what))
			return
		}
		there = append(there, m.what)
	}
	if len(there) == 0 {
		j.gaps = append(j.gaps, MediaMismatch+": what the trays hold is not known")
		return
	}
	if len(def.Ready) == 0 && j.unknownTray() {
		j.gaps = append(j.gaps, MediaMismatch+": the size of a tray is not known")
		return
	}
	j.conclusion(MediaMismatch, device.ImpactImpaired, fmt.Sprintf("default size %s is in no tray", shortMedia(string(def.Media))),
		"a job that says no size stops and asks for the default", device.Subunit{Group: "input"},
		device.Evidence{Source: def.Source, Object: "media-default", Value: string(def.Media)},
		device.Evidence{Source: def.Source, Object: "media in the trays", Value: strings.Join(there, ", ")})
}

// inTray is a size that a tray holds or is set to.
type inTray struct {
	sheet
	what string
	tray *device.Tray // nil: from media-ready
}

// loaded lists the sizes of the trays and of media-ready.
func (j *judge) loaded() []inTray {
	var list []inTray
	for i := range j.d.Trays {
		t := &j.d.Trays[i]
		s := sizeOf(&t.Media)
		if s.width <= 0 && s.name == "" {
			continue
		}
		what := shortMedia(s.name)
		if what == "" {
			what = fmt.Sprintf("%s x %s mm", number(s.width), number(s.length))
		}
		list = append(list, inTray{s, calledTray(t) + " " + what, t})
	}
	for _, r := range j.d.Defaults.Ready {
		s := namedSize(r)
		twice := slices.ContainsFunc(list, func(m inTray) bool { same, _ := sameSize(s, m.sheet); return same })
		if r != "" && !twice {
			list = append(list, inTray{s, shortMedia(r), nil})
		}
	}
	return list
}

// unknownTray reports a tray, other than one for feeding by hand, whose size
// is not known.
func (j *judge) unknownTray() bool {
	return slices.ContainsFunc(j.d.Trays, func(t device.Tray) bool {
		s := sizeOf(&t.Media)
		return t.Kind != "sheetFeedManual" && s.width <= 0 && s.name == ""
	})
}

// siteMedia sees sizes that the site does not use: as the default, or in every
// tray; one odd tray among others is a note. Rolls are no office paper.
func (j *judge) siteMedia(def *device.Defaults) {
	if len(j.o.ExpectedMedia) == 0 || j.rollFed() {
		return
	}
	rule := "the site expects " + strings.Join(j.o.ExpectedMedia, ", ")
	if def.Media != "" && j.unexpected(namedSize(string(def.Media))) {
		j.conclusion(MediaMismatch, device.ImpactImpaired, fmt.Sprintf("default size is %s", shortMedia(string(def.Media))), rule,
			device.Subunit{Group: "input"}, device.Evidence{Source: def.Source, Object: "media-default", Value: string(def.Media)})
	}
	var odd []inTray
	var proof []device.Evidence
	fitting := 0
	for _, m := range j.loaded() {
		switch {
		case m.tray == nil || m.tray.Kind == "sheetFeedManual":
		case j.unexpected(m.sheet):
			odd = append(odd, m)
			proof = append(proof, device.Evidence{Source: m.tray.Source, Object: fmt.Sprintf("medium of tray %d", m.tray.Index), Value: m.what})
		case j.expected(m.sheet):
			fitting++
		}
	}
	if fitting == 0 {
		if len(odd) > 0 && !j.mismatched() {
			j.conclusion(MediaMismatch, device.ImpactImpaired, "no tray holds a size that the site uses", rule, device.Subunit{Group: "input"}, proof...)
		}
		return
	}
	for i, m := range odd {
		j.conclusion(MediaMismatch, device.ImpactNote, m.what+" is not what the site uses", rule,
			device.Subunit{Group: "input", Index: m.tray.Index, Name: m.tray.Name}, proof[i])
	}
}

// expected reports a size that the site uses.
func (j *judge) expected(s sheet) bool {
	return slices.ContainsFunc(j.o.ExpectedMedia, func(e string) bool {
		same, _ := sameSize(namedSize(e), s)
		return same
	})
}

// mismatched reports that the default size was already found to be missing.
func (j *judge) mismatched() bool {
	return slices.ContainsFunc(j.seen, func(s *sighting) bool { return s.keyword == MediaMismatch })
}

// rollFed reports a device that has trays and none for cut sheets.
func (j *judge) rollFed() bool {
	return len(j.d.Trays) > 0 && !slices.ContainsFunc(j.d.Trays, func(t device.Tray) bool {
		return t.Kind != "continuousRoll" && t.Kind != "continuousFanFold"
	})
}

// confusable is how far the short edges of two sheets may lie apart, in
// millimetres, for one to be taken for the other: Letter and Legal for A4
// (common practice, no source).
const confusable = 10

// unexpected reports a size that is none that the site expects and that is
// easily taken for one. Envelopes, photo cards and larger sheets in a tray of
// their own are meant.
func (j *judge) unexpected(s sheet) bool {
	near := false
	for _, e := range j.o.ExpectedMedia {
		want := namedSize(e)
		same, judged := sameSize(want, s)
		if same || !judged {
			return false
		}
		near = near || want.length > 0 && s.length > 0 && math.Abs(min(want.width, want.length)-min(s.width, s.length)) <= confusable
	}
	return near
}

// shortMedia makes A4 of iso_a4_210x297mm, and leaves other names alone.
func shortMedia(name string) string {
	parts := strings.Split(name, "_")
	if len(parts) != 3 || parts[1] == "" {
		return name
	}
	if len(parts[1]) <= 2 {
		return strings.ToUpper(parts[1])
	}
	return upper(parts[1])
}
