package survey

import (
	"strings"
	"sync"
	"unicode"

	"printround/internal/device"
	"printround/internal/mib"
)

// labels finds the label of a convention of the Printer or Finisher MIB for a
// word that a device sends in its place. IPP gives the labels themselves
// (PWG 5100.9, PWG 5100.13); devices differ in case, and some give the number.
type labels map[string]string

// labelsOf collects the labels of a convention whose values do not exceed max.
func labelsOf[T interface {
	~int32
	Label() string
}](max T) func() labels {
	return sync.OnceValue(func() labels {
		all := labels{}
		for v := T(1); v <= max; v++ {
			if l := v.Label(); l != "" && !unicode.IsDigit(rune(l[0])) {
				all[strings.ToLower(l)] = l
				all[itoa(int64(v))] = l
			}
		}
		return all
	})
}

// find returns the label for a word, in any case, or for a number.
func (l labels) find(word string) (string, bool) {
	label, ok := l[strings.ToLower(strings.TrimSpace(word))]
	return label, ok
}

// or returns the label for a word, or the word itself, cleaned, if there is
// none: what a device says in its own words is kept.
func (l labels) or(word string) device.Text {
	if label, ok := l.find(word); ok {
		return device.Text(label)
	}
	return device.CleanTo(word, 64)
}

// Conventions, each with its highest value.
var (
	suppliesTypes   = labelsOf(mib.MarkerSuppliesType(64))
	suppliesUnits   = labelsOf(mib.MarkerSuppliesSupplyUnit(32))
	capacityUnits   = labelsOf(mib.CapacityUnit(32))
	inputTypes      = labelsOf(mib.InputType(16))
	outputTypes     = labelsOf(mib.OutputType(16))
	coverStatuses   = labelsOf(mib.CoverStatus(16))
	finisherTypes   = labelsOf(mib.FinDeviceType(64))
	presence        = labelsOf(mib.PresentOnOff(16))
	alertCodes      = labelsOf(mib.AlertCode(65535))
	alertSeverities = labelsOf(mib.AlertSeverityLevel(16))
	alertTrainings  = labelsOf(mib.AlertTrainingLevel(16))
	alertGroups     = labelsOf(mib.AlertGroup(64))
	languages       = labelsOf(mib.InterpreterLangFamily(128))
)

// suppliesKind returns the PrtMarkerSuppliesTypeTC label for the type of a
// supply, which marker-types gives in keyword form: waste-toner is wasteToner.
// Words without a label take the same form.
func suppliesKind(word string) device.Text {
	return suppliesTypes().or(camel(string(device.CleanTo(word, 64))))
}

func suppliesUnit(word string) device.Text { return suppliesUnits().or(word) }

func capacityUnit(word string) device.Text { return capacityUnits().or(word) }

// camel turns a keyword such as toner-cartridge into tonerCartridge and leaves
// anything else as it is.
func camel(s string) string {
	if !strings.Contains(s, "-") || strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return s
	}
	parts := strings.Split(s, "-")
	for i, p := range parts[1:] {
		if p != "" {
			parts[i+1] = strings.ToUpper(p[:1]) + p[1:]
		}
	}
	return strings.Join(parts, "")
}

// formats maps document formats to the label of the same language, where there
// is no doubt about it (IANA-PRINTER-MIB, PrtInterpreterLangFamilyTC, by the
// descriptions there; application/octet-stream means automatic sensing by
// RFC 8011 section 5.1.10).
var formats = map[string]device.Text{
	"application/postscript":         "langPS",
	"application/vnd.hp-pcl":         "langPCL",
	"application/vnd.hp-pclxl":       "langPCLXL",
	"application/vnd.hp-hpgl":        "langHPGL",
	"application/pdf":                "langPDF",
	"application/vnd.ms-xpsdocument": "langXPS",
	"application/oxps":               "langOpenXPS",
	"application/octet-stream":       "langAutomatic",
	"image/jpeg":                     "langJPEG",
	"image/tiff":                     "langTIFF",
}

// maxLanguages bounds the languages kept; print servers list dozens.
const maxLanguages = 64
