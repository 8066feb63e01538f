package symptom

import (
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// computed are the facts that are worked out from the device; facts.toml has
// those that the device reports itself. A fact that is not known does not
// hold: its ratio is 1. Filled by init, because ratios.tsv is checked against
// it.
var computed map[string]func(*view) (sign, bool)

func init() {
	computed = map[string]func(*view) (sign, bool){
		"drum-life":      life("drum", []string{"opc-near-eol"}, []string{"opc-life-over"}, "drum", "imaging unit"),
		"fuser-life":     life("fuser", nil, nil, "fuser"),
		"transfer-life":  life("transfer unit", nil, nil, "transfer unit", "belt"),
		"cleaner-life":   life("cleaning unit", []string{"cleaner-life-almost-over"}, []string{"cleaner-life-over"}, "cleaning unit"),
		"developer-life": life("developer", []string{"developer-low"}, []string{"developer-empty"}, "developer"),
		"charger-life":   life("charge wire", nil, nil, "charge wire"),
		"head-life":      life("print head", []string{"marker-life-almost-over"}, []string{"marker-life-over"}, "print head"),
		"roller-life": life("feed roller",
			[]string{"input-pick-roller-life-warn", "media-path-pick-roller-life-warn"},
			[]string{"input-pick-roller-life-over", "media-path-pick-roller-life-over", "input-pick-roller-failure", "media-path-pick-roller-failure"}, "feed roller"),
		"toner-level":  darkness(isKind("toner", "matte toner"), "toner"),
		"ink-level":    darkness(isKind("ink", "matte ink", "solid ink"), "ink"),
		"ribbon-level": amount(isKind("ribbon", "wax ribbon"), "ribbon"),
		"color-level":  amount(func(s *device.Supply) bool { return marks(s) && s.Colorant != "" && !isBlack(string(s.Colorant)) }, "supply"),
		"waste-space":  amount(func(s *device.Supply) bool { return s.Role == device.Receptacle }, "waste container"),

		"heavy-media":     (*view).heavyMedia,
		"heavy-somewhere": (*view).heavySomewhere,
		"heavy-as-plain":  (*view).heavyAsPlain,
		"light-media":     (*view).lightMedia,
		"ordinary-media":  (*view).ordinaryMedia,
		"envelopes":       mediaType(true, "envelope"),
		"some-envelopes":  mediaType(false, "envelope"),
		"glossy-media":    mediaType(true, "glossy", "photographic", "coated"),
		"film-or-labels":  mediaType(true, "labels", "transparency", "film"),
		"wax-ribbon": func(v *view) (sign, bool) {
			return v.aSupply("ribbonWax", "a wax ribbon is fitted")
		},
		"tray-empty":  (*view).trayEmpty,
		"trays-hold":  (*view).traysHold,
		"tray-full":   (*view).trayFull,
		"default-fit": (*view).defaultFits,

		"turned-default":     (*view).turnedDefault,
		"upright-default":    (*view).uprightDefault,
		"short-edge-default": (*view).shortEdge,
		"two-sided-default":  (*view).twoSided,
		"mono-default":       (*view).monoDefault,
		"mono-device":        (*view).monoDevice,

		"few-languages":   (*view).fewLanguages,
		"all-languages":   (*view).allLanguages,
		"command-only":    (*view).commandOnly,
		"memory-full":     (*view).memoryFull,
		"memory-free":     (*view).memoryFree,
		"job-stuck":       (*view).jobStuck,
		"job-held":        (*view).jobHeld,
		"queue-empty":     (*view).queueEmpty,
		"refuses-jobs":    (*view).refusesJobs,
		"stopped":         (*view).isStopped,
		"idle":            (*view).isIdle,
		"answers":         (*view).doesAnswer,
		"silent":          (*view).isSilent,
		"no-printing":     (*view).noPrintingProtocol,
		"old-certificate": (*view).oldCertificate,
		"restarted":       (*view).restarted,

		"many-pages":    (*view).manyPages,
		"few-pages":     (*view).fewPages,
		"rollers-due":   pastService("roller", "separation", "feed"),
		"fuser-due":     pastService("fuser", "maintenance"),
		"transfer-due":  pastService("transfer", "belt"),
		"no-finisher":   (*view).noFinisher,
		"no-stapler":    without("stapler"),
		"no-puncher":    without("puncher"),
		"staples-left":  finisherSupply("stapler", "staples"),
		"punch-space":   finisherSupply("puncher", "punch box"),
		"jam-at-tray":   jamAt("input", "tray", "cassette", "pick"),
		"jam-at-exit":   jamAt("output", "fus", "exit", "fix", "output", "rear"),
		"jam-at-duplex": jamAt("", "duplex", "two-sided", "reverse"),
	}
}

func (v *view) turnedDefault() (sign, bool) {
	o := string(v.d.Defaults.Orientation)
	if strings.Contains(o, "landscape") || o == "reverse-portrait" {
		return plain("the device's own default orientation is %s", o)
	}
	for _, l := range v.d.Languages {
		if l.Orientation == "landscape" {
			return plain("%s prints landscape when a job says nothing", languageName(string(l.Family)))
		}
	}
	return sign{}, false
}

func (v *view) uprightDefault() (sign, bool) {
	if v.d.Defaults.Orientation == "portrait" {
		return plain("the device's own default orientation is portrait")
	}
	return sign{}, false
}

func (v *view) shortEdge() (sign, bool) {
	if v.d.Defaults.Sides == "two-sided-short-edge" {
		return plain("the device's own default is two-sided, turned on the short edge")
	}
	return sign{}, false
}

func (v *view) twoSided() (sign, bool) {
	if strings.HasPrefix(string(v.d.Defaults.Sides), "two-sided") {
		return plain("the device's own default is %s", v.d.Defaults.Sides)
	}
	return sign{}, false
}

func (v *view) monoDefault() (sign, bool) {
	has, told := v.color()
	if v.d.Defaults.ColorMode == "monochrome" && (has || !told) {
		return plain("the device's own default is monochrome")
	}
	return sign{}, false
}

func (v *view) monoDevice() (sign, bool) {
	if has, told := v.color(); told && !has {
		return plain("its supplies are black only")
	}
	return sign{}, false
}

func (v *view) memoryFull() (sign, bool) {
	for _, s := range v.d.Storage {
		if !strings.Contains(strings.ToLower(string(s.Kind)), "ram") && !strings.Contains(strings.ToLower(string(s.Name)), "memory") {
			continue
		}
		switch {
		case s.Fails != nil && *s.Fails > 0:
			return plain("memory %s: %d requests for room failed", s.Name, *s.Fails)
		case s.Size != nil && s.Used != nil && *s.Size > 0 && float64(*s.Used) >= 0.95*float64(*s.Size):
			return plain("memory %s is %d%% full", s.Name, *s.Used*100 / *s.Size)
		}
	}
	if said, ok := v.reports("memory-*", "storage-full", "spool-area-full", "interpreter-memory-*"); ok {
		return plain("the device reports: %s", said)
	}
	return sign{}, false
}

func (v *view) memoryFree() (sign, bool) {
	if _, full := v.memoryFull(); full {
		return sign{}, false
	}
	for _, s := range v.d.Storage {
		if strings.Contains(strings.ToLower(string(s.Kind)), "ram") && s.Size != nil && s.Used != nil && *s.Size > 0 && *s.Used >= 0 {
			if share := *s.Used * 100 / *s.Size; share < 80 {
				return plain("memory is %d%% full", share)
			}
		}
	}
	return sign{}, false
}

func (v *view) manyPages() (sign, bool) {
	if n, ok := v.pages(); ok && n >= 150_000 {
		return plain("%s pages in its life", thousands(n))
	}
	return sign{}, false
}

func (v *view) fewPages() (sign, bool) {
	if n, ok := v.pages(); ok && n < 10_000 {
		return plain("only %s pages in its life", thousands(n))
	}
	return sign{}, false
}

// pastService holds when the life count has passed the service interval that
// the site file gives for a part. Whether the part was changed since is not
// known, so the evidence is weak.
func pastService(words ...string) func(*view) (sign, bool) {
	return func(v *view) (sign, bool) {
		n, ok := v.pages()
		m := v.model()
		if !ok || m == nil {
			return sign{}, false
		}
		for _, s := range m.Services {
			part := strings.ToLower(s.Part)
			if s.Pages > 0 && n >= int64(s.Pages) && slices.ContainsFunc(words, func(w string) bool { return strings.Contains(part, w) }) {
				return plain("%s pages in its life; the site file has %s for the %s, and when it was changed is not known", thousands(n), thousands(int64(s.Pages)), s.Part)
			}
		}
		return sign{}, false
	}
}

func thousands(n int64) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func (v *view) noFinisher() (sign, bool) {
	if !v.answers || len(v.d.Finishers) > 0 {
		return sign{}, false
	}
	return plain("it reports no finisher; many devices do not tell")
}

// without makes the fact that finishers are reported and one kind is not
// among them.
func without(what string) func(*view) (sign, bool) {
	return func(v *view) (sign, bool) {
		if len(v.d.Finishers) == 0 || v.finisher(what) != nil {
			return sign{}, false
		}
		return plain("its finishers are reported and none is a %s", what)
	}
}

func finisherSupply(what, noun string) func(*view) (sign, bool) {
	return func(v *view) (sign, bool) {
		f := v.finisher(what)
		if f == nil {
			return sign{}, false
		}
		least, found := 0.0, (*device.Supply)(nil)
		for i := range f.Supplies {
			s := &f.Supplies[i]
			if p, ok := s.Level.Percent(); ok && (found == nil || p < least) {
				least, found = p, s
			}
		}
		if found == nil {
			return sign{}, false
		}
		word := "left"
		if what == "puncher" {
			word = "space left"
		}
		return graded(least, "%s: %s %s", called(found, noun), percentWords(least), word)
	}
}
