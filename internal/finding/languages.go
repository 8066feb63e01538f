package finding

import (
	"slices"
	"strings"

	"printround/internal/device"
)

// languages sees page languages that the site relies on, or that the other
// devices of the model have, and that this device lacks.
func (j *judge) languages() {
	if len(j.d.Languages) == 0 {
		return
	}
	var have []string
	for _, l := range j.d.Languages {
		have = append(have, string(l.Family))
	}
	missing := func(want, rule string) {
		if slices.ContainsFunc(have, func(h string) bool { return sameLanguage(h, want) }) {
			return
		}
		j.conclusion(LanguageMissing, device.ImpactImpaired, "does not interpret "+strings.TrimPrefix(want, "lang"), rule,
			device.Subunit{Group: "interpreter"},
			device.Evidence{Source: device.SourceDerived, Object: "prtInterpreterLangFamily", Value: strings.Join(have, ", ")})
	}
	for _, want := range j.o.ExpectedLanguages {
		missing(want, "the site expects "+want)
	}
	for _, want := range j.o.peerLanguages {
		if !slices.ContainsFunc(j.o.ExpectedLanguages, func(e string) bool { return sameLanguage(e, want) }) {
			missing(want, "every other device of this model has "+want)
		}
	}
}

// sameLanguage compares page languages by PrtInterpreterLangFamilyTC label
// (langPS), the same without lang, or MIME type (application/postscript).
func sameLanguage(a, b string) bool { return foldLanguage(a) == foldLanguage(b) }

func foldLanguage(s string) string {
	s = strings.ToLower(strings.TrimSpace(s))
	if l, ok := languageTypes[s]; ok {
		return l
	}
	s = strings.TrimPrefix(s, "lang")
	if l, ok := languageTypes[s]; ok {
		return l
	}
	return s
}

// languageTypes maps MIME types and the labels for versions of a language onto
// the label of the language, folded (PrtInterpreterLangFamilyTC; the MIME
// types are from memory of the IANA media types registry).
var languageTypes = map[string]string{
	"application/pdf": "pdf", "pdf13": "pdf", "pdf14": "pdf", "pdf15": "pdf", "pdf16": "pdf", "pdf17": "pdf",
	"application/postscript": "ps", "ps2": "ps", "ps3": "ps", "psprinter": "ps", "postscript": "ps",
	"pcl3": "pcl", "pcl5e": "pcl", "pcl5c": "pcl", "pcl6": "pclxl", "application/oxps": "openxps", "text/plain": "simpletext",
	"image/jpeg": "jpeg", "image/tiff": "tiff",
}
