package finding

import (
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// conclusion sees a condition that the tool concludes itself.
func (j *judge) conclusion(code string, impact device.Impact, summary, rule string, sub device.Subunit, proof ...device.Evidence) {
	for _, p := range proof {
		j.see(&sighting{term: known().term(code), impact: impact, text: summary, rule: rule, sub: sub, proof: p})
	}
}

// queue sees jobs that wait at a printer that does nothing, and a printer that
// takes none (RFC 8011 sections 5.3.7 and 5.4.23).
func (j *judge) queue() {
	q := &j.d.Queue
	if q.Accepting != nil && !*q.Accepting {
		j.conclusion(NotAcceptingJobs, device.ImpactImpaired, "", "printer-is-accepting-jobs is false", device.Subunit{},
			device.Evidence{Source: device.SourceIPP, Object: "printer-is-accepting-jobs", Value: "false"})
	}
	idle := j.d.State.PrinterState == "idle" || j.d.State.PrinterState == "" && j.d.State.Printer == "idle"
	waiting := 0
	var first *device.Job
	rule := ""
	for i := range q.Jobs {
		job := &q.Jobs[i]
		old := job.AgeS != nil && *job.AgeS >= int64(j.o.QueueWaitMin)*60
		switch {
		case job.State == "processing-stopped":
			rule = "a job is processing-stopped"
			if first == nil || first.State != "processing-stopped" {
				first = job
			}
		case idle && old && (job.State == "pending" || job.State == "processing"):
			if first == nil {
				first = job
				rule = fmt.Sprintf("a job has waited %d minutes or more and the printer is idle", j.o.QueueWaitMin)
			}
		case job.State != "pending" && job.State != "processing":
			continue
		}
		waiting++
	}
	if first == nil {
		return
	}
	value := string(first.State)
	if len(first.Reasons) > 0 {
		value += " (" + strings.Join(first.Reasons, ", ") + ")"
	}
	if first.AgeS != nil {
		value += ", " + duration(*first.AgeS)
	}
	summary := fmt.Sprintf("job %d is stuck", first.ID)
	if waiting > 1 {
		summary += fmt.Sprintf(", %d jobs wait", waiting)
	}
	j.conclusion(QueueStalled, device.ImpactImpaired, summary, rule, device.Subunit{},
		device.Evidence{Source: device.SourceIPP, Object: fmt.Sprintf("job-state of job %d", first.ID), Value: value})
}

func duration(s int64) string {
	switch {
	case s < 120:
		return fmt.Sprintf("%d s", s)
	case s < 2*3600:
		return fmt.Sprintf("%d min", s/60)
	case s < 2*86400:
		return fmt.Sprintf("%d h", s/3600)
	}
	return fmt.Sprintf("%d days", s/86400)
}

// defaults sees what jobs that say nothing get: a size that is in no tray, or
// not the site's, and an orientation that is not the site's.
func (j *judge) defaults() {
	def := &j.d.Defaults
	j.defaultMedia(def)
	j.siteMedia(def)
	want := j.o.ExpectedOrientation
	if want == "" || def.Orientation == "" || def.Orientation == "none" || strings.EqualFold(string(def.Orientation), want) {
		return
	}
	j.conclusion(DefaultOrientation, device.ImpactImpaired, fmt.Sprintf("default orientation is %s", def.Orientation),
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
			j.gaps = append(j.gaps, fmt.Sprintf("%s: %s and %s cannot be compared", MediaMismatch, def.Media, cmpName(m)))
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

func cmpName(m inTray) string { return m.what }

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
		if r != "" {
			list = append(list, inTray{namedSize(r), shortMedia(r), nil})
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
// tray; one odd tray among others is a note.
func (j *judge) siteMedia(def *device.Defaults) {
	if len(j.o.ExpectedMedia) == 0 {
		return
	}
	rule := "the site expects " + strings.Join(j.o.ExpectedMedia, ", ")
	if def.Media != "" && j.unexpected(namedSize(string(def.Media))) {
		j.conclusion(MediaMismatch, device.ImpactImpaired, fmt.Sprintf("default size is %s", shortMedia(string(def.Media))), rule,
			device.Subunit{Group: "input"}, device.Evidence{Source: def.Source, Object: "media-default", Value: string(def.Media)})
	}
	var odd []inTray
	fitting := 0
	for _, m := range j.loaded() {
		switch {
		case m.tray == nil || m.tray.Kind == "sheetFeedManual":
		case j.unexpected(m.sheet):
			odd = append(odd, m)
		default:
			fitting++
		}
	}
	impact := device.ImpactNote
	if fitting == 0 {
		impact = device.ImpactImpaired
	}
	for _, m := range odd {
		t := m.tray
		j.conclusion(MediaMismatch, impact, m.what+" is not what the site uses", rule,
			device.Subunit{Group: "input", Index: t.Index, Name: t.Name},
			device.Evidence{Source: t.Source, Object: fmt.Sprintf("medium of tray %d", t.Index), Value: m.what})
	}
}

// unexpected reports a size that is certainly none that the site expects.
func (j *judge) unexpected(s sheet) bool {
	for _, e := range j.o.ExpectedMedia {
		if same, judged := sameSize(namedSize(e), s); same || !judged {
			return false
		}
	}
	return true
}

// shortMedia makes iso_a4_210x297mm a4, and leaves other names alone.
func shortMedia(name string) string {
	parts := strings.Split(name, "_")
	if len(parts) != 3 || parts[1] == "" {
		return name
	}
	return strings.ToUpper(parts[1][:1]) + parts[1][1:]
}

// languages sees page languages that the site relies on and the device lacks.
func (j *judge) languages() {
	if len(j.o.ExpectedLanguages) == 0 || len(j.d.Languages) == 0 {
		return
	}
	var have []string
	for _, l := range j.d.Languages {
		have = append(have, string(l.Family))
	}
	for _, want := range j.o.ExpectedLanguages {
		if slices.ContainsFunc(have, func(h string) bool { return sameLanguage(h, want) }) {
			continue
		}
		j.conclusion(LanguageMissing, device.ImpactImpaired, "does not interpret "+strings.TrimPrefix(want, "lang"),
			"the site expects "+want, device.Subunit{Group: "interpreter"},
			device.Evidence{Source: device.SourceDerived, Object: "prtInterpreterLangFamily", Value: strings.Join(have, ", ")})
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
	"application/vnd.hp-pcl": "pcl", "pcl3": "pcl", "application/vnd.hp-pclxl": "pclxl",
	"application/vnd.ms-xpsdocument": "xps", "application/oxps": "openxps", "text/plain": "simpletext",
	"image/jpeg": "jpeg", "image/tiff": "tiff",
}

// reading sees what is to be said of how the device was read.
func (j *judge) reading() {
	r := &j.d.Reached
	note := func(code, summary, rule string, proof device.Evidence) {
		j.conclusion(code, device.ImpactNote, summary, rule, device.Subunit{}, proof)
	}
	if r.SNMP.OK && r.SNMP.Credential == SNMPDefaultLabel && r.SNMP.Version != "3" {
		note(DefaultCommunity, "answers the community that devices are delivered with", "no credential was named for it",
			device.Evidence{Source: device.SourceSNMP, Object: "credential", Value: string(r.SNMP.Credential)})
	}
	if r.IPP.OK && r.SNMP.Tried && !r.SNMP.OK {
		note(SNMPSilent, "SNMP was silent; judged by IPP alone, levels and counters may be coarser", "IPP answered and SNMP did not",
			device.Evidence{Source: device.SourceIPP, Object: "printer-uri", Value: string(r.IPP.URI)})
	}
	if r.SNMP.Partial {
		note(ReadIncomplete, "SNMP stopped answering before all was read", "part of the objects is missing",
			device.Evidence{Source: device.SourceSNMP, Object: "values read", Value: fmt.Sprint(r.SNMP.Values)})
	}
	for _, g := range j.d.Disagreements {
		note(SourcesDisagree, "the two protocols disagree about "+g.Fact, "beyond tolerance; "+string(g.Kept)+" was kept",
			device.Evidence{Source: device.SourceDerived, Object: g.Fact, Value: fmt.Sprintf("SNMP %s, IPP %s", g.SNMP, g.IPP)})
	}
}

// noAnswer sees a device that is expected and answered nothing.
func (j *judge) noAnswer() {
	d := j.d
	value := "asked over SNMP and IPP"
	switch {
	case !d.Reached.SNMP.Tried && !d.Reached.IPP.Tried:
		value = "not found in this survey"
	case !d.Reached.IPP.Tried:
		value = "asked over SNMP"
	case !d.Reached.SNMP.Tried:
		value = "asked over IPP"
	}
	summary := "no answer"
	if d.Reached.MDNS.OK {
		summary = "announces itself on the network and does not answer"
		value += "; announced as " + string(d.Reached.MDNS.Instance)
	}
	j.conclusion(NoAnswer, device.ImpactSilent, summary, "expected, and nothing answered", device.Subunit{},
		device.Evidence{Source: device.SourceDerived, Object: "answers", Value: value})
}

// storage sees disks that are full or nearly so (hrStorageTable, RFC 2790).
// Memory in use is normal for a printer; only refused requests count.
func (j *judge) storage() {
	for _, s := range j.d.Storage {
		if s.Size == nil || s.Used == nil || *s.Size <= 0 || *s.Used < 0 {
			continue
		}
		used := float64(*s.Used) / float64(*s.Size) * 100
		code := ""
		switch kind := strings.ToLower(string(s.Kind)); {
		case strings.Contains(kind, "ram") || strings.Contains(kind, "memory"):
			if used >= storageFull && s.Fails != nil && *s.Fails > 0 {
				code = "subunit-memory-exhausted"
			}
		case strings.Contains(kind, "removable") || strings.Contains(kind, "compactdisc") || strings.Contains(kind, "floppy"):
		case used >= storageFull:
			code = "storage-full"
		case used >= storageNearlyFull:
			code = "storage-almost-full"
		}
		if code == "" {
			continue
		}
		seen := &sighting{
			term: known().term(code), sev: warning, sub: device.Subunit{Group: "hostResourcesMIBStorageTable", Name: s.Name},
			proof: device.Evidence{Source: device.SourceSNMP, Object: "hrStorageUsed of " + string(s.Name), Value: fmt.Sprintf("%s%% of %d bytes", number(used), *s.Size)},
		}
		j.weigh(seen)
		seen.rule = "by the space in use"
		if code == "subunit-memory-exhausted" {
			seen.impact, seen.rule = device.ImpactNote, "memory full and requests for it refused"
		}
		j.see(seen)
	}
}

// Shares of a disk in use, in percent (common practice, no source).
const (
	storageNearlyFull = 95.0
	storageFull       = 99.5
)
