package survey

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/ipp"
)

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

// ippAlerts maps printer-alert (PWG 5100.9). A value without a code of
// PrtAlertCodeTC is not the grammar and is left out. So is one that says nothing:
// the code other or unknown with no severity and no description is what printers
// send for "no alert". The same alert several times is one.
func ippAlerts(a ipp.Attributes) []device.Alert {
	names := a.Get("printer-alert-description")
	var out []device.Alert
	for i, v := range a.Get("printer-alert") {
		p, ok := pairsOf(v)
		if !ok || len(out) >= maxSubunits {
			continue
		}
		code, ok := alertCodes().find(p.Text("code"))
		if !ok {
			continue
		}
		al := device.Alert{
			Source: device.SourceIPP, Object: fmt.Sprintf("printer-alert[%d]", i+1), Index: i + 1, Code: code,
			Severity: labelOrNone(alertSeverities(), p.Text("severity")),
			Training: labelOrNone(alertTrainings(), p.Text("training")),
			Group:    labelOrNone(alertGroups(), p.Text("group")),
			// RFC 3805 page 132: -1 not applicable, -2 unknown.
			GroupIndex: smallInt(p, "groupindex", -1), Location: smallInt(p, "location", -2),
			Description: alertText(textAt(names, i)),
			AgeReason:   "printer-alert gives no clock for its time",
		}
		al.Index = smallInt(p, "index", i+1)
		if empty := code == "other" || code == "unknown"; empty && al.Description == "" && (al.Severity == "" || al.Severity == "other") {
			continue
		}
		if !slices.ContainsFunc(out, func(o device.Alert) bool { return sameAlert(o, al) }) {
			out = append(out, al)
		}
	}
	return out
}

func labelOrNone(l labels, word string) string {
	s, _ := l.find(word)
	return s
}

// smallInt returns the number of a key, or what stands for none.
func smallInt(p ipp.Pairs, key string, none int) int {
	n, ok := p.Int(key)
	if !ok || n < math.MinInt32 || n > math.MaxInt32 {
		return none
	}
	return int(n)
}

// alertText cleans a description. Some printers put the attribute's own name in
// front of it, as in printer-alert-description[0] = '…'.
func alertText(s string) device.Text {
	if strings.HasPrefix(s, "printer-alert-description[") {
		if _, rest, ok := strings.Cut(s, "="); ok {
			s = unquote(rest)
		}
	}
	return device.Clean(s)
}

// ippCovers maps printer-cover, rows of prtCoverTable; its keys are from
// memory.
func ippCovers(a ipp.Attributes) []device.Cover {
	names := a.Get("printer-cover-description")
	var out []device.Cover
	for i, v := range a.Get("printer-cover") {
		p, ok := pairsOf(v)
		if !ok || len(out) >= maxSubunits {
			continue
		}
		status, ok := coverStatuses().find(p.Text("status"))
		if !ok {
			continue
		}
		out = append(out, device.Cover{
			Index: smallInt(p, "index", i+1), Name: firstText(textAt(names, i), p.Text("name")),
			Status: device.Text(status), Object: fmt.Sprintf("printer-cover[%d]", i+1),
		})
	}
	return out
}

// ippFinishers maps printer-finisher, rows of finDeviceTable (PWG 5100.1,
// RFC 3806), with the supplies of each.
func ippFinishers(a ipp.Attributes) []device.Finisher {
	names := a.Get("printer-finisher-description")
	var out []device.Finisher
	for i, v := range a.Get("printer-finisher") {
		p, ok := pairsOf(v)
		if !ok || len(out) >= maxSubunits {
			continue
		}
		f := device.Finisher{
			Index: smallInt(p, "index", i+1), Name: device.Clean(textAt(names, i)), Kind: finisherTypes().or(p.Text("type")),
			Object: fmt.Sprintf("printer-finisher[%d]", i+1),
		}
		if s, ok := presence().find(p.Text("presentonoff")); ok {
			f.Present = device.Text(s)
		}
		if status, ok := p.Int("status"); ok {
			f.Status = device.StatusFrom(status)
		}
		out = append(out, f)
	}
	finisherSupplies(a, out)
	return out
}

// finisherSupplies adds printer-finisher-supplies, rows of finSupplyTable, to
// the finisher that deviceindex names, or to the only one. The keys are from
// memory.
func finisherSupplies(a ipp.Attributes, finishers []device.Finisher) {
	names := a.Get("printer-finisher-supplies-description")
	for i, v := range a.Get("printer-finisher-supplies") {
		p, ok := pairsOf(v)
		if !ok || i >= maxSubunits {
			continue
		}
		at := slices.IndexFunc(finishers, func(f device.Finisher) bool { return f.Index == smallInt(p, "deviceindex", -1) })
		if at < 0 && len(finishers) == 1 {
			at = 0
		}
		if at < 0 {
			continue
		}
		s := device.Supply{
			Index: smallInt(p, "index", i+1), Name: device.Clean(textAt(names, i)), Kind: suppliesKind(p.Text("type")),
			Unit: suppliesUnit(p.Text("unit")), Colorant: namedColor(p.Text("color")), Source: device.SourceIPP,
			Object: fmt.Sprintf("printer-finisher-supplies[%d]", i+1),
		}
		s.Role = roleOf(p.Text("class"), s.Kind)
		capacity := "max"
		if _, ok := p.Int(capacity); !ok {
			capacity = "maxcapacity"
		}
		s.Capacity, s.Level = capacityAndLevel(p, capacity, "level", string(s.Unit), measures(s.Role))
		finishers[at].Supplies = append(finishers[at].Supplies, s)
	}
}

// ippDefaults maps what the printer does when a job says nothing.
func ippDefaults(a ipp.Attributes) device.Defaults {
	d := device.Defaults{
		Media:     device.CleanTo(a.Text("media-default"), 128),
		Sides:     device.CleanTo(a.Text("sides-default"), 64),
		ColorMode: device.CleanTo(a.Text("print-color-mode-default"), 64),
	}
	if n, ok := a.Int("orientation-requested-default"); ok && ipp.Orientation(n).Registered() {
		d.Orientation = device.Text(ipp.Orientation(n).String())
	}
	d.Finishings = finishings(a.Get("finishings-default"))
	for _, s := range a.Texts("media-ready") {
		if name := string(device.CleanTo(s, 128)); name != "" && len(d.Ready) < maxSubunits {
			d.Ready = append(d.Ready, name)
		}
	}
	d.Resolution, d.OutputBin = resolution(a.Get("printer-resolution-default")), device.CleanTo(a.Text("output-bin-default"), 64)
	d.CanFinish = finishings(a.Get("finishings-supported"))
	if d.Media != "" || d.Sides != "" || d.ColorMode != "" || d.Orientation != "" || len(d.Finishings)+len(d.Ready) > 0 {
		d.Source = device.SourceIPP
	}
	return d
}

// finishings are the keywords of finishings values, the number of one that is
// not registered.
func finishings(vs []ipp.Value) []string {
	var out []string
	for _, v := range vs {
		n, ok := v.Int()
		if !ok || len(out) >= maxSubunits {
			continue
		}
		label := itoa(n)
		if ipp.Finishing(n).Registered() {
			label = ipp.Finishing(n).String()
		}
		out = append(out, label)
	}
	return out
}

// resolution writes the first resolution in dots an inch: 600dpi, or
// 600x1200dpi where the two directions differ.
func resolution(vs []ipp.Value) device.Text {
	for _, v := range vs {
		x, y, ok := v.Resolution()
		switch {
		case !ok || x <= 0 || y <= 0:
		case x == y:
			return device.Text(fmt.Sprintf("%ddpi", x))
		default:
			return device.Text(fmt.Sprintf("%dx%ddpi", x, y))
		}
	}
	return ""
}

// clockOff is how far the printer's clock is ahead of ours, in seconds;
// printer-current-time has its zone in it (RFC 8011 section 5.4.30).
func clockOff(a ipp.Attributes, now time.Time) *int64 {
	at := clockOf(a).now
	if at.IsZero() {
		return nil
	}
	s := at.Unix() - now.Unix()
	return &s
}

// ippLanguages maps document-format-supported; without it the command sets of
// the device id that are languages of PrtInterpreterLangFamilyTC.
func ippLanguages(a ipp.Attributes, id ipp.DeviceID) []device.Language {
	var out []device.Language
	add := func(family device.Text) {
		known := slices.ContainsFunc(out, func(l device.Language) bool { return l.Family == family })
		if family != "" && !known && len(out) < maxLanguages {
			out = append(out, device.Language{Family: family})
		}
	}
	for _, s := range a.Texts("document-format-supported") {
		format := device.CleanTo(s, 128)
		if label, ok := formats[strings.ToLower(string(format))]; ok {
			format = label
		}
		add(format)
	}
	if len(out) > 0 {
		return out
	}
	for _, c := range id.Commands() {
		if label, ok := languages().find("lang" + c); ok {
			add(device.Text(label))
		}
	}
	return out
}

// sameAlert reports whether two values say the same.
func sameAlert(a, b device.Alert) bool {
	return a.Code == b.Code && a.Severity == b.Severity && a.Group == b.Group && a.GroupIndex == b.GroupIndex &&
		a.Location == b.Location && a.Description == b.Description
}
