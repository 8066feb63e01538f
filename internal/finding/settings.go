package finding

import (
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// settings sees what makes good hardware print wrong: defaults that are not the
// site's, media and stock that do not go together, finishing that is asked for
// and not there, a clock that is off, and how the device is reached. Orientation,
// sizes of the site and page languages are seen by defaults and languages.
func (j *judge) settings() {
	n := &j.norm
	j.normDefaults(n)
	j.readyMedia(n)
	j.stock(n)
	j.defaultFinishing()
	j.punching(n)
	j.clock()
	j.firmware()
	j.transport()
}

// normed is one default that a norm can state.
type normed struct {
	code   string
	what   string // for people
	object string // the attribute that it comes from
	is     func(*device.Defaults) string
	want   func(*device.Norm) string
	same   func(is, want string) (same, judged bool)
}

// normedDefaults are the defaults that are compared word by word. They are
// attributes of IPP; the Printer MIB has no such objects.
var normedDefaults = []normed{
	{DefaultMedia, "default medium", "media-default",
		func(d *device.Defaults) string { return string(d.Media) }, func(n *device.Norm) string { return n.Media },
		func(is, want string) (same, judged bool) { return sameSize(namedSize(is), namedSize(want)) }},
	{DefaultSides, "default sides", "sides-default",
		func(d *device.Defaults) string { return string(d.Sides) }, func(n *device.Norm) string { return n.Sides }, sameWord},
	{DefaultColorMode, "default colour mode", "print-color-mode-default",
		func(d *device.Defaults) string { return string(d.ColorMode) }, func(n *device.Norm) string { return n.ColorMode }, sameWord},
	{DefaultResolution, "default resolution", "printer-resolution-default",
		func(d *device.Defaults) string { return string(d.Resolution) }, func(n *device.Norm) string { return dpi(n.Resolution) }, sameWord},
	{DefaultOutputBin, "default output bin", "output-bin-default",
		func(d *device.Defaults) string { return string(d.OutputBin) }, func(n *device.Norm) string { return n.OutputBin }, sameWord},
	{DefaultFinishings, "default finishing", "finishings-default",
		func(d *device.Defaults) string { return wordList(d.Finishings) }, func(n *device.Norm) string { return wordList(n.Finishings) }, sameWord},
}

func sameWord(is, want string) (same, judged bool) { return strings.EqualFold(is, want), true }

func dpi(n int) string {
	if n <= 0 {
		return ""
	}
	return fmt.Sprintf("%ddpi", n)
}

// wordList joins keywords in an order of their own.
func wordList(words []string) string {
	w := slices.Clone(words)
	slices.Sort(w)
	return strings.Join(slices.Compact(w), ", ")
}

// normDefaults sees defaults that differ from the norm.
func (j *judge) normDefaults(n *device.Norm) {
	def := &j.d.Defaults
	for _, x := range normedDefaults {
		is, want := x.is(def), x.want(n)
		switch {
		case want == "":
		case is == "":
			j.gaps = append(j.gaps, fmt.Sprintf("%s: %s is not known", x.code, x.object))
		default:
			same, judged := x.same(is, want)
			if !judged {
				j.gaps = append(j.gaps, fmt.Sprintf("%s: %s and %s cannot be compared", x.code, is, want))
			}
			if same || !judged {
				continue
			}
			j.conclusion(x.code, device.ImpactDue, fmt.Sprintf("%s is %s", x.what, is), "the norm is "+want, device.Subunit{},
				device.Evidence{Source: def.Source, Object: x.object, Value: is})
		}
	}
}

// readyMedia sees media that have to be in a tray and are in none: a job for
// them stops and asks.
func (j *judge) readyMedia(n *device.Norm) {
	loaded := j.loaded()
	for _, want := range n.Ready {
		in := slices.ContainsFunc(loaded, func(m inTray) bool {
			same, _ := sameSize(namedSize(want), m.sheet)
			return same
		})
		switch {
		case in:
		case len(loaded) == 0 || j.unknownTray() && len(j.d.Defaults.Ready) == 0:
			j.gaps = append(j.gaps, fmt.Sprintf("%s: what every tray holds is not known, and %s is to be in one", MediaMismatch, want))
		default:
			var there []string
			for _, m := range loaded {
				there = append(there, m.what)
			}
			j.conclusion(MediaMismatch, device.ImpactImpaired, shortMedia(namedSize(want).name)+" is in no tray",
				"the norm wants it to be; a job for it stops and asks", device.Subunit{Group: "input"},
				device.Evidence{Source: j.mediaSource(), Object: readyObject, Value: strings.Join(there, ", ")})
		}
	}
}

// readyObject names the evidence of media that are in no tray.
const readyObject = "media that are ready"

func (j *judge) mediaSource() device.Source {
	if len(j.d.Trays) > 0 {
		return j.d.Trays[0].Source
	}
	return j.d.Defaults.Source
}

// stock sees trays that are set to another size, type or weight than what lies
// in them by the norm.
func (j *judge) stock(n *device.Norm) {
	for _, want := range n.Trays {
		t := j.trayNamed(want.Tray)
		if t == nil {
			j.gaps = append(j.gaps, fmt.Sprintf("%s: no tray is called %s", TraySetting, want.Tray))
			continue
		}
		contradicts, unknown := contradictions(&t.Media, &want)
		for _, u := range unknown {
			j.gaps = append(j.gaps, fmt.Sprintf("%s: %s of %s", TraySetting, u, calledTray(t)))
		}
		if len(contradicts) == 0 {
			continue
		}
		j.conclusion(TraySetting, device.ImpactDue, fmt.Sprintf("%s is set to %s", calledTray(t), strings.Join(contradicts, " and ")),
			"the norm says that it holds "+stockWords(&want), device.Subunit{Group: "input", Index: t.Index, Name: t.Name},
			device.Evidence{Source: t.Source, Object: fmt.Sprintf("medium of tray %d", t.Index), Value: strings.Join(contradicts, ", ")})
	}
}

// trayNamed finds a tray by its name, else by its index.
func (j *judge) trayNamed(name string) *device.Tray {
	for _, fits := range []func(*device.Tray) bool{
		func(t *device.Tray) bool { return strings.EqualFold(string(t.Name), name) },
		func(t *device.Tray) bool { return fmt.Sprint(t.Index) == name },
	} {
		for i := range j.d.Trays {
			if fits(&j.d.Trays[i]) {
				return &j.d.Trays[i]
			}
		}
	}
	return nil
}

// contradictions lists in what a tray's setting cannot be the stock, and what
// cannot be compared.
func contradictions(m *device.Media, want *device.TrayNorm) (contradicts, unknown []string) {
	if want.Media != "" {
		is := sizeOf(m)
		switch same, judged := sameSize(is, namedSize(want.Media)); {
		case is.width <= 0 && is.name == "" || !judged && !same:
			unknown = append(unknown, "the size")
		case !same:
			contradicts = append(contradicts, shortMedia(is.name))
		}
	}
	if want.Type != "" {
		is, to := mediaType(string(m.Type)), mediaType(want.Type)
		switch {
		case is == to:
		case is == "" || !slices.Contains(mediaTypes, is) || !slices.Contains(mediaTypes, to):
			unknown = append(unknown, "the type, which is no keyword of PWG 5100.7,")
		default:
			contradicts = append(contradicts, string(m.Type))
		}
	}
	if want.Weight > 0 {
		switch {
		case m.WeightG == nil:
			unknown = append(unknown, "the weight")
		case *m.WeightG < want.Weight*(1-weightTolerance) || *m.WeightG > want.Weight*(1+weightTolerance):
			contradicts = append(contradicts, number(*m.WeightG)+" g/m2")
		}
	}
	return contradicts, unknown
}

// weightTolerance is how far a weight may lie from that of the stock: makers
// divide weights into classes about as wide (common practice, no source).
const weightTolerance = 0.15

func stockWords(t *device.TrayNorm) string {
	var words []string
	for _, w := range []string{shortMedia(namedSize(t.Media).name), t.Type} {
		if w != "" {
			words = append(words, w)
		}
	}
	if t.Weight > 0 {
		words = append(words, number(t.Weight)+" g/m2")
	}
	return strings.Join(words, ", ")
}

// mediaTypes are the keywords of media-type that are compared (RFC 8011
// appendix C and PWG 5100.7 section 6.3; the list is from memory and holds the
// common ones).
var mediaTypes = []string{
	"stationery", "stationery-heavyweight", "stationery-lightweight", "stationery-letterhead", "stationery-preprinted",
	"stationery-prepunched", "stationery-colored", "stationery-recycled", "stationery-bond", "stationery-coated", "stationery-inkjet",
	"stationery-fine", "stationery-cover", "cardstock", "envelope", "envelope-plain", "envelope-window", "labels", "transparency",
	"photographic", "photographic-glossy", "photographic-matte", "continuous", "continuous-long", "continuous-short", "tab-stock", "multi-layer", "screen", "roll",
}

// mediaType folds the plain words that devices use for a keyword.
func mediaType(s string) string {
	s = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(s)), " ", "-")
	switch s {
	case "plain", "plain-paper", "paper":
		return "stationery"
	case "envelopes":
		return "envelope"
	case "label":
		return "labels"
	case "heavy", "thick", "heavyweight":
		return "stationery-heavyweight"
	case "letterhead":
		return "stationery-letterhead"
	}
	return s
}
