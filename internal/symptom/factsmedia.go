package symptom

import (
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/media"
)

// Weights of media, g/m² (common practice, no source): office paper is made for
// 60 to 105, and a printer that is told "plain" fuses and feeds for that.
const (
	lightBelow = 60
	heavyFrom  = 120
)

// heavyMedia holds when every tray has heavy paper, and is set to it.
func (v *view) heavyMedia() (sign, bool) {
	if _, wrong := v.heavyAsPlain(); wrong {
		return sign{}, false
	}
	heavy, other := (*device.Tray)(nil), false
	for _, t := range v.sheets() {
		switch {
		case t.Kind == "sheetFeedManual" && t.Media.WeightG == nil:
		case isHeavy(t):
			heavy = t
		default:
			other = true
		}
	}
	if heavy == nil || other {
		return sign{}, false
	}
	return plain("%s holds %s", trayName(heavy), mediaWords(heavy))
}

func (v *view) heavySomewhere() (sign, bool) {
	if _, wrong := v.heavyAsPlain(); wrong {
		return sign{}, false
	}
	if _, ok := v.heavyMedia(); ok {
		return sign{}, false
	}
	for _, t := range v.sheets() {
		if isHeavy(t) {
			return plain("one of the trays, %s, holds %s", trayName(t), mediaWords(t))
		}
	}
	return sign{}, false
}

func isHeavy(t *device.Tray) bool {
	kind := strings.ToLower(string(t.Media.Type))
	return t.Media.WeightG != nil && *t.Media.WeightG >= heavyFrom || strings.Contains(kind, "heavy") || strings.Contains(kind, "card")
}

// heavyAsPlain is the contradiction itself: weight above what the type means.
func (v *view) heavyAsPlain() (sign, bool) {
	for _, t := range v.sheets() {
		kind := strings.ToLower(string(t.Media.Type))
		if t.Media.WeightG != nil && *t.Media.WeightG >= heavyFrom && (kind == "stationery" || kind == "plain" || strings.HasSuffix(kind, "lightweight")) {
			return plain("%s is set to %s but its paper is given as %s g/m²", trayName(t), t.Media.Type, number(*t.Media.WeightG))
		}
	}
	return sign{}, false
}

func (v *view) lightMedia() (sign, bool) {
	for _, t := range v.sheets() {
		if w := t.Media.WeightG; w != nil && *w > 0 && *w < lightBelow || strings.HasSuffix(strings.ToLower(string(t.Media.Type)), "lightweight") {
			return plain("%s holds %s", trayName(t), mediaWords(t))
		}
	}
	return sign{}, false
}

// ordinaryMedia holds when every tray whose paper is known has office paper.
func (v *view) ordinaryMedia() (sign, bool) {
	var last *device.Tray
	for _, t := range v.sheets() {
		kind := strings.ToLower(string(t.Media.Type))
		w := t.Media.WeightG
		switch {
		case w == nil && kind == "":
			continue
		case w != nil && (*w < lightBelow || *w >= heavyFrom), kind != "" && kind != "stationery" && kind != "plain":
			return sign{}, false
		}
		last = t
	}
	if last == nil {
		return sign{}, false
	}
	return plain("the trays hold ordinary paper (%s)", mediaWords(last))
}

// mediaType makes the fact that the trays hold a kind of media: all trays of
// which the kind is known, or one among others.
func mediaType(all bool, words ...string) func(*view) (sign, bool) {
	return func(v *view) (sign, bool) {
		var found *device.Tray
		other := false
		for _, t := range v.sheets() {
			kind := strings.ToLower(string(t.Media.Type))
			switch {
			case slices.ContainsFunc(words, func(w string) bool { return strings.Contains(kind, w) }):
				found = t
			case kind != "":
				other = true
			}
		}
		if found == nil || other == all {
			return sign{}, false
		}
		return plain("%s holds %s", trayName(found), mediaWords(found))
	}
}

func (v *view) aSupply(kind, words string) (sign, bool) {
	if slices.ContainsFunc(v.d.Supplies, func(s device.Supply) bool { return string(s.Kind) == kind }) {
		return plain("%s", words)
	}
	return sign{}, false
}

func (v *view) trayEmpty() (sign, bool) {
	for i := range v.d.Trays {
		t := &v.d.Trays[i]
		if p, ok := t.Level.Percent(); ok && p == 0 {
			return plain("%s is empty", trayName(t))
		}
	}
	if said, ok := v.reports("media-empty", "media-needed", "roll-media-empty*"); ok {
		return plain("the device reports: %s", said)
	}
	return sign{}, false
}

func (v *view) traysHold() (sign, bool) {
	n := 0
	for i := range v.d.Trays {
		p, ok := v.d.Trays[i].Level.Percent()
		if ok && p < 5 {
			return sign{}, false
		}
		if ok {
			n++
		}
	}
	if n == 0 {
		return sign{}, false
	}
	return plain("no tray with a known level is nearly empty")
}

func (v *view) trayFull() (sign, bool) {
	for _, t := range v.sheets() {
		if p, ok := t.Level.Percent(); ok && p >= 98 {
			return plain("%s is filled to %s", trayName(t), percentWords(p))
		}
	}
	return sign{}, false
}

// defaultFits holds when a tray has the size that jobs without one get.
func (v *view) defaultFits() (sign, bool) {
	want, ok := media.ByName(string(v.d.Defaults.Media))
	for i := range v.d.Trays {
		if n := v.d.Trays[i].Media.Name; n != "" && n == v.d.Defaults.Media { // a roll has no length to compare
			return plain("the default size %s is in %s", n, trayName(&v.d.Trays[i]))
		}
		have, told := trayLength(&v.d.Trays[i])
		if ok && told && near(have.Width, want.Width) && near(have.Length, want.Length) {
			return plain("the default size %s is in %s", v.d.Defaults.Media, trayName(&v.d.Trays[i]))
		}
	}
	return sign{}, false
}

func near(a, b float64) bool { return a-b < 1 && b-a < 1 }
