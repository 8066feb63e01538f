package finding

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
)

// Audit lists how a judged device is set, beside the norms that it was judged
// by. What differs is what its findings say.
func Audit(d *device.Device, o Options) *device.Audit {
	n := device.NormFor(o.Norms, string(d.MakeModel))
	o.follow(&n)
	a := &auditor{d: d, o: o, n: &n}
	a.media()
	a.defaults()
	a.trays()
	a.able()
	a.reach()
	out := &device.Audit{
		Schema: device.SettingsSchema, Key: d.Key, Name: d.Name, MakeModel: d.MakeModel, Serial: d.Serial, Location: d.Location,
		Site: d.Site, ObservedAt: d.ObservedAt, Settings: a.out,
	}
	for i := range d.Findings {
		if f := &d.Findings[i]; !f.Stale && slices.ContainsFunc(a.out, func(s device.Setting) bool { return slices.Contains(s.Codes, f.Code) }) {
			out.Findings = append(out.Findings, *f)
		}
	}
	return out
}

type auditor struct {
	d   *device.Device
	o   Options
	n   *device.Norm
	out []device.Setting
}

// about says which findings are about a setting.
type about struct {
	codes  []string
	index  int      // of the subunit; 0: any
	object []string // one of these in the evidence; nil: any
}

func (a about) is(f *device.Finding) bool {
	return !f.Stale && slices.Contains(a.codes, f.Code) && (a.index == 0 || f.Subunit.Index == a.index) &&
		(a.object == nil || slices.ContainsFunc(f.Evidence, func(e device.Evidence) bool { return slices.Contains(a.object, e.Object) }))
}

// row adds a setting. ruled is true where a rule looks at it without a norm.
func (a *auditor) row(name, value, norm string, ruled bool, x about) {
	s := device.Setting{Name: name, Value: device.Clean(value), Norm: device.Clean(norm)}
	for i := range a.d.Findings {
		f := &a.d.Findings[i]
		if !x.is(f) {
			continue
		}
		s.Codes, s.Why = append(s.Codes, f.Code), append(s.Why, f.Summary)
		if s.Impact == nil || f.Impact.Rank() < s.Impact.Rank() {
			impact := f.Impact
			s.Impact = &impact
		}
	}
	missing := a.missing(x)
	switch {
	case len(s.Codes) > 0:
		s.Verdict = device.SettingDiffers
	case len(missing) > 0:
		s.Verdict, s.Why = device.SettingNotJudged, missing
	case s.Value == "":
		s.Verdict, s.Why = device.SettingNotJudged, []string{"not told by the device"}
	case s.Norm == "" && !ruled:
		s.Verdict = device.SettingNoNorm
	default:
		s.Verdict = device.SettingFits
	}
	a.out = append(a.out, s)
}

// missing lists why the conditions of a setting were not judged, when that is
// about it.
func (a *auditor) missing(x about) []string {
	if x.index > 0 {
		return nil
	}
	var out []string
	for _, l := range a.d.NotJudged {
		code, why, _ := strings.Cut(l, ": ")
		if slices.Contains(x.codes, code) && !slices.Contains(out, why) {
			out = append(out, why)
		}
	}
	return out
}

func (a *auditor) media() {
	def := &a.d.Defaults
	norm := a.n.Media
	if norm == "" && len(a.o.ExpectedMedia) > 0 {
		norm = "one of " + strings.Join(a.o.ExpectedMedia, ", ")
	}
	a.row("default medium", string(def.Media), norm, true, about{codes: []string{DefaultMedia, MediaMismatch}, object: []string{"media-default"}})
	j := &judge{d: a.d, o: a.o}
	var ready []string
	for _, m := range j.loaded() {
		ready = append(ready, m.what)
	}
	norm = strings.Join(a.n.Ready, ", ")
	if norm == "" && len(a.o.ExpectedMedia) > 0 {
		norm = "one of " + strings.Join(a.o.ExpectedMedia, ", ")
	}
	objects := []string{readyObject}
	for i := range a.d.Trays {
		objects = append(objects, fmt.Sprintf("medium of tray %d", a.d.Trays[i].Index))
	}
	a.row("media in the trays", strings.Join(ready, ", "), norm, false, about{codes: []string{MediaMismatch}, object: objects})
}

func (a *auditor) defaults() {
	a.row("default orientation", string(a.d.Defaults.Orientation), a.o.ExpectedOrientation, false, about{codes: []string{DefaultOrientation}})
	for _, x := range normedDefaults[1:] {
		a.row(x.what, x.is(&a.d.Defaults), x.want(a.n), false, about{codes: []string{x.code}})
	}
}

func (a *auditor) trays() {
	j := &judge{d: a.d, o: a.o}
	for i := range a.d.Trays {
		t := &a.d.Trays[i]
		var is []string
		for _, w := range []string{shortMedia(sizeOf(&t.Media).name), string(t.Media.Type)} {
			if w != "" {
				is = append(is, w)
			}
		}
		if t.Media.WeightG != nil {
			is = append(is, number(*t.Media.WeightG)+" g/m2")
		}
		norm := ""
		for k := range a.n.Trays {
			if w := &a.n.Trays[k]; j.trayNamed(w.Tray) == t {
				norm = stockWords(w)
			}
		}
		a.row("setting of "+calledTray(t), strings.Join(is, ", "), norm, false, about{codes: []string{TraySetting}, index: t.Index})
	}
}

// able are the things that the device can do or cannot.
func (a *auditor) able() {
	var families []string
	for _, l := range a.d.Languages {
		families = append(families, string(l.Family))
	}
	a.row("page languages", strings.Join(families, ", "), strings.Join(a.o.ExpectedLanguages, ", "), false, about{codes: []string{LanguageMissing}})
	finishing := wordList(a.d.Defaults.CanFinish)
	a.row("finishing offered", finishing, "", len(a.d.Defaults.Finishings) > 0, about{codes: []string{FinishingUnavailable}})
	j := &judge{d: a.d, o: a.o}
	patterns, _ := j.punchPatterns()
	value := strings.Join(patterns, ", ")
	if value == "" && (len(a.d.Defaults.CanFinish) > 0 || len(a.d.Finishers) > 0) {
		value = "none"
	}
	a.row("punch patterns", value, strings.Join(a.n.Punch, ", "), false, about{codes: []string{PunchPattern}})
	a.row("firmware", string(a.d.Firmware), string(a.o.peerFirmware), false, about{codes: []string{FirmwareDiffers}})
}

// reach are clock and network.
func (a *auditor) reach() {
	clock := ""
	if off := a.d.State.ClockOffS; off != nil {
		switch {
		case *off > 0:
			clock = device.Span(*off) + " ahead"
		case *off < 0:
			clock = device.Span(-*off) + " behind"
		default:
			clock = "right"
		}
	}
	a.row("clock", clock, fmt.Sprintf("within %d min", a.o.ClockOffMin), true, about{codes: []string{ClockOff}})
	r := &a.d.Reached
	community := ""
	switch {
	case !r.SNMP.OK:
	case r.SNMP.Version == "3":
		community = "none: version 3"
	case r.SNMP.Delivered || r.SNMP.Credential == SNMPDefaultLabel:
		community = "that of delivery"
	default:
		community = "one of its own"
	}
	a.row("SNMP community", community, "not that of delivery", true, about{codes: []string{DefaultCommunity}})
	encryption, end := "", ""
	switch {
	case r.IPP.TLS != nil:
		encryption = string(r.IPP.TLS.Version)
		if t := r.IPP.TLS.NotAfter; t != nil {
			end = "valid until " + t.UTC().Format(time.DateOnly)
		}
	case r.IPP.OK:
		encryption = "none"
	}
	a.row("IPP encryption", encryption, "TLS", true, about{codes: []string{IPPUnencrypted}})
	a.row("certificate", end, fmt.Sprintf("valid for more than %d days", a.o.CertificateDays), true, about{codes: []string{CertificateEnded, CertificateEnds}})
}

// CompareSettings lists the settings that differ between two devices.
func CompareSettings(a, b *device.Audit) *device.SettingsDiff {
	of := func(x *device.Audit) device.SettingsOf {
		return device.SettingsOf{Key: x.Key, Name: x.Name, MakeModel: x.MakeModel, Serial: x.Serial, Location: x.Location}
	}
	out := &device.SettingsDiff{Schema: device.SettingsDiffSchema, A: of(a), B: of(b)}
	seen := map[string]bool{}
	for _, s := range a.Settings {
		seen[s.Name] = true
		i := slices.IndexFunc(b.Settings, func(x device.Setting) bool { return x.Name == s.Name })
		other := device.Text("")
		if i >= 0 {
			other = b.Settings[i].Value
		}
		compareSetting(out, s.Name, s.Value, other)
	}
	for _, s := range b.Settings {
		if !seen[s.Name] {
			compareSetting(out, s.Name, "", s.Value)
		}
	}
	return out
}

// perDevice are settings that say something of one device at one moment.
var perDevice = []string{"clock", "certificate"}

func compareSetting(out *device.SettingsDiff, name string, a, b device.Text) {
	switch {
	case slices.Contains(perDevice, name):
	case a == "" && b == "":
	case strings.EqualFold(string(a), string(b)):
		out.Same = append(out.Same, name)
	case a == "" || b == "":
		out.Unknown = append(out.Unknown, name)
	default:
		out.Differ = append(out.Differ, device.SettingDiffer{Name: name, A: a, B: b})
	}
}
