package symptom

import (
	"slices"
	"strings"
	"time"

	"printround/internal/device"
)

// languages are the page description languages by what jobs are made for, with
// the labels of PrtInterpreterLangFamilyTC (RFC 3805) and MIME types that stand
// for each.
var languages = []struct {
	name   string
	labels []string
}{
	{"PCL", []string{"langPCL", "langPCL3", "langPCL5e", "langPCL5c", "langPCL6"}},
	{"PCL XL", []string{"langPCLXL"}},
	{"PostScript", []string{"langPS", "langPS2", "langPS3", "langPSPrinter", "application/postscript"}},
	{"PDF", []string{"langPDF", "application/pdf"}},
	{"PWG raster", []string{"langPWGRaster", "image/pwg-raster"}},
	{"JPEG", []string{"langJPEG", "image/jpeg"}},
	{"TIFF", []string{"langTIFF", "image/tiff"}},
	{"XPS", []string{"langXPS", "langOpenXPS", "application/oxps"}},
	{"plain text", []string{"langSimpleText", "langText", "text/plain"}},
}

// languageName is a language as people call it.
func languageName(label string) string {
	for _, l := range languages {
		if slices.ContainsFunc(l.labels, func(have string) bool { return strings.EqualFold(have, label) }) {
			return l.name
		}
	}
	return strings.TrimPrefix(label, "lang")
}

// spoken lists the languages that jobs can come in; commands for the device
// itself and the automatic choice are none.
func (v *view) spoken() []string {
	var out []string
	for _, l := range v.d.Languages {
		switch l.Family {
		case "", "langAutomatic", "langPJL", "langDiagnostic", "unknown":
			continue
		case "other":
			continue // its own command language: named by nobody
		}
		if n := languageName(string(l.Family)); !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	return out
}

// office are the languages that drivers of office computers make.
var office = []string{"PCL", "PCL XL", "PostScript", "PDF"}

func (v *view) officeLanguages() int {
	n := 0
	for _, l := range v.spoken() {
		if slices.Contains(office, l) {
			n++
		}
	}
	return n
}

// fewLanguages holds when a common driver's language is missing.
func (v *view) fewLanguages() (sign, bool) {
	have := v.spoken()
	pcl, ps := slices.Contains(have, "PCL") || slices.Contains(have, "PCL XL"), slices.Contains(have, "PostScript")
	if len(have) == 0 || v.officeLanguages() == 0 || pcl && ps {
		return sign{}, false
	}
	missing := "PostScript"
	if !pcl {
		missing = "PCL"
		if !ps {
			missing = "PCL or PostScript"
		}
	}
	return plain("it interprets %s, and not %s", list(have), missing)
}

func (v *view) allLanguages() (sign, bool) {
	have := v.spoken()
	if (slices.Contains(have, "PCL") || slices.Contains(have, "PCL XL")) && slices.Contains(have, "PostScript") {
		return plain("it interprets %s: a common driver fits", list(have))
	}
	return sign{}, false
}

// commandOnly holds when none of the languages is one of office computers.
func (v *view) commandOnly() (sign, bool) {
	if len(v.d.Languages) == 0 || v.officeLanguages() > 0 {
		return sign{}, false
	}
	have := v.spoken()
	if len(have) == 0 {
		return plain("it names no page language, only its own commands")
	}
	return plain("it interprets %s, and none of the page languages of office drivers", list(have))
}

// list joins words for people.
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

func (v *view) jobStuck() (sign, bool) {
	if said, ok := v.reports("derived-queue-stalled"); ok {
		return plain("its own queue: %s", said)
	}
	return sign{}, false
}

func (v *view) jobHeld() (sign, bool) {
	for _, j := range v.d.Queue.Jobs {
		if j.State == "pending-held" {
			return plain("job %d in its queue is held and waits for somebody", j.ID)
		}
	}
	return sign{}, false
}

func (v *view) queueEmpty() (sign, bool) {
	if q := v.d.Queue.Queued; q != nil && *q == 0 && len(v.d.Queue.Jobs) == 0 {
		return plain("its own queue is empty: the jobs have not reached it")
	}
	return sign{}, false
}

func (v *view) refusesJobs() (sign, bool) {
	if a := v.d.Queue.Accepting; a != nil && !*a {
		return plain("it takes no jobs at present")
	}
	return sign{}, false
}

func (v *view) isStopped() (sign, bool) {
	if !v.answers || v.d.Attention != device.Stopped {
		return sign{}, false
	}
	if why := v.d.Why(); why != "" {
		return plain("it cannot print: %s", why)
	}
	return plain("it says that it cannot print")
}

func (v *view) isIdle() (sign, bool) {
	if v.answers && v.d.Attention != device.Stopped && (v.d.State.PrinterState == "idle" || v.d.State.PrinterState == "" && v.d.State.Printer == "idle") {
		return plain("it is idle and ready")
	}
	return sign{}, false
}

func (v *view) doesAnswer() (sign, bool) {
	if !v.answers {
		return sign{}, false
	}
	return plain("it answers this computer over %s", list(v.protocols()))
}

func (v *view) protocols() []string {
	var out []string
	if v.d.Reached.SNMP.OK {
		out = append(out, "SNMP")
	}
	if v.d.Reached.IPP.OK {
		out = append(out, "IPP")
	}
	return out
}

func (v *view) isSilent() (sign, bool) {
	if v.answers {
		return sign{}, false
	}
	return plain("it answered nothing that was asked of it")
}

func (v *view) noPrintingProtocol() (sign, bool) {
	if r := v.d.Reached; r.SNMP.OK && r.IPP.Tried && !r.IPP.OK {
		return plain("it answers SNMP and not IPP")
	}
	return sign{}, false
}

func (v *view) oldCertificate() (sign, bool) {
	t := v.d.Reached.IPP.TLS
	if t != nil && t.NotAfter != nil && !v.d.ObservedAt.IsZero() && t.NotAfter.Before(v.d.ObservedAt) {
		return plain("its certificate ended on %s", t.NotAfter.Format(time.DateOnly))
	}
	return sign{}, false
}

func (v *view) restarted() (sign, bool) {
	if u := v.d.State.UptimeS; u != nil && *u >= 0 && *u < 3600 {
		return plain("it was started %d minutes ago", *u/60)
	}
	return sign{}, false
}

// jamAt makes the fact of a jam at one place: by the group of the alert or the
// finding, else by the words that name the place.
func jamAt(group string, words ...string) func(*view) (sign, bool) {
	return func(v *view) (sign, bool) {
		for i := range v.d.Findings {
			f := &v.d.Findings[i]
			if f.Stale || !strings.Contains(f.Code, "jam") || strings.HasPrefix(f.Code, "scan-") {
				continue
			}
			if place, ok := v.jamPlace(f); ok && (names(place, words) || group != "" && f.Subunit.Group == group && !namesOther(place)) {
				return plain("the device reports: %s", place)
			}
		}
		return sign{}, false
	}
}

// jamPlace is what the device says of where a jam is.
func (v *view) jamPlace(f *device.Finding) (string, bool) {
	words := f.Summary
	if f.Subunit.Name != "" {
		words += ", " + string(f.Subunit.Name)
	}
	for _, a := range v.d.Alerts {
		if strings.Contains(strings.ToLower(a.Code), "jam") && a.Description != "" && !strings.Contains(words, string(a.Description)) {
			words += " (" + string(a.Description) + ")"
		}
	}
	return words, true
}

func names(place string, words []string) bool {
	place = strings.ToLower(place)
	return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(place, w) })
}

// namesOther reports that the words name a place themselves, and then they
// decide, not the group.
func namesOther(place string) bool {
	return names(place, []string{"fus", "exit", "duplex", "tray", "cassette", "rear"})
}
