package finding

import (
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// alerts sees prtAlertTable and printer-alert. A row is active when its
// severity is critical or binary, or when other present facts agree with it;
// otherwise it may be over, because unary events stay listed, and is a note
// (RFC 3805 section 2.2.13.3). A row that present facts contradict is stale.
func (j *judge) alerts() {
	others := len(j.seen) // alerts do not support each other
	for i := range j.d.Alerts {
		a := &j.d.Alerts[i]
		s := j.alert(a)
		if s == nil {
			continue
		}
		j.hold(a, s, j.seen[:others])
		j.see(s)
	}
}

// alert reads one row, nil when it says nothing at all.
func (j *judge) alert(a *device.Alert) *sighting {
	c := known()
	code, ok := c.alerts[a.Code]
	if !ok {
		code.keyword = j.unlisted(a.Code)
	}
	if saysNothing(a, code.keyword) {
		return nil
	}
	s := &sighting{term: c.term(c.refined(a.Group, code.keyword, j.finisherPrefix(a))), age: a.AgeS, who: training(a.Training)}
	s.proof = device.Evidence{Source: a.Source, Object: a.Object, Value: alertValue(a)}
	s.text = string(a.Description)
	if !ok && s.text == "" && code.keyword == "unknown" && a.Code != "" {
		s.text = "alert code " + a.Code // no name, but it can be looked up
	}
	s.sub = j.alertSubunit(a, s.term)
	switch a.Severity {
	case "critical":
		s.sev = failing
	case "warning", "warningBinaryChangeEvent":
		s.sev = warning
	}
	if s.condition.Nature == "unnamed" {
		s.name(a, c)
	}
	if s.sub.Group == "markerSupplies" && s.specific() {
		if supply := j.d.Supply(s.sub.Index); supply != nil {
			j.refineSupply(s, supply)
			j.aboutSupply(s, supply)
		}
	} else if s.sub.Group == "markerSupplies" {
		if only := j.onlySupply(s); only != nil {
			j.aboutSupply(s, only)
		}
	}
	return s
}

// saysNothing reports an empty entry, as firmware pads its list with: IPP has no
// way to say that there is no alert, and devices send unknown or other of
// severity other.
func saysNothing(a *device.Alert, keyword string) bool {
	if a.Severity == "critical" || a.Severity == "warningBinaryChangeEvent" {
		return false
	}
	empty := a.Description == "" || slices.Contains(nothingToSay, strings.ToLower(strings.Trim(string(a.Description), " .")))
	return keyword == "unknown" && (empty || a.Severity != "warning") || keyword == "other" && empty
}

// nothingToSay are texts of such padding (common practice, no source; English
// only), in lower case.
var nothingToSay = []string{"idle", "ready", "none", "ok", "normal", "on-line", "online", "no alert", "no alerts", "non-alert", "no error"}

// unlisted reads a code that is no label of PrtAlertCodeTC: some devices put a
// state reason there.
func (j *judge) unlisted(code string) string {
	if t, _, _ := known().reason(code); known().terms[t.keyword] != nil {
		return t.keyword
	}
	return "unknown"
}

// name tells alerts without a code of their own apart by their text, and an
// event from a condition.
func (s *sighting) name(a *device.Alert, c *catalogue) {
	text := strings.ToLower(string(a.Description))
	t := *s.term
	t.family += ":" + text + "/" + a.Group
	if path := groupPaths[a.Group]; path != "" {
		subject := *t.subject
		subject.Path = path
		t.subject = &subject
	}
	for _, e := range c.events {
		if strings.Contains(text, e[0]) && a.Severity != "critical" {
			condition := *t.condition
			condition.Nature = "event"
			for _, unless := range c.events {
				if unless[0] == e[0] && unless[1] != "" && strings.Contains(text, unless[1]) {
					condition.Nature = "unnamed"
				}
			}
			t.condition = &condition
			break
		}
	}
	s.term = &t
}

// groupPaths are the groups of alerts that never stop printing. They are no
// labels of 2011 and from memory.
var groupPaths = map[string]string{
	"scanDevice": "scan", "scanner": "scan", "scanMediaPath": "scan", "faxDevice": "fax", "faxModem": "fax",
}

// refineSupply makes the end of life of a supply, which alert codes 10, 11, 16
// and 17 name without saying of what, the condition of its kind.
func (j *judge) refineSupply(s *sighting, supply *device.Supply) {
	k := kindOf(supply)
	if k.low == ServiceDue && s.family == known().terms[ServiceDue].family {
		return // the registered keyword says more than ours
	}
	switch s.keyword {
	case "subunit-life-almost-over", "subunit-near-limit", "marker-supply-low":
		s.term = known().term(k.low)
	case "subunit-life-over", "subunit-at-limit", "marker-supply-empty":
		s.term = known().term(k.out)
	}
}

// alertSubunit says which part an alert is about. An index counts only in the
// group that the code belongs to: a toner code in the marker's group does not
// name a supply.
func (j *judge) alertSubunit(a *device.Alert, t *term) device.Subunit {
	group, index := a.Group, a.GroupIndex
	if group == "finSupply" {
		group, index = "finDevice", j.finisherOf(index)
	}
	own := t.subject.Group
	switch {
	case own == "" || t.subject.Kind == "general" || t.subject.Kind == "derived" || t.condition.Nature == "unnamed":
		return j.describe(group, index)
	case own == group, t.family == "media/jam":
		return j.describe(group, index)
	}
	return device.Subunit{Group: own}
}

// hold decides whether an alert holds now, and gives it its impact.
func (j *judge) hold(a *device.Alert, s *sighting, others []*sighting) {
	s.said = s.sev != report
	supported := j.supported(s, others)
	against := ""
	if !supported {
		against = j.contradiction(s)
	}
	listedOnly := a.Source == device.SourceIPP && s.sev == failing && !supported &&
		j.d.State.PrinterState != "" && j.d.State.PrinterState != "stopped" && !j.stopped
	switch {
	case s.who == device.Nobody && !j.stopped:
		j.note(s, "the device says that nobody has to act")
	case s.condition.Nature == "event" || s.condition.Nature == "activity":
		j.note(s, "an event or a state that passes")
	case against != "":
		s.stale = true
		j.note(s, "contradicted: "+against)
	case listedOnly:
		s.stale = true
		j.note(s, "contradicted: printer-state is "+string(j.d.State.PrinterState)+" and no reason agrees")
	case a.Severity == "critical":
		j.critical(s)
	case a.Severity == "warningBinaryChangeEvent" || supported:
		j.weigh(s)
		if s.family == "media/level" && s.condition.Stage == 2 {
			j.easeEmpty(s)
		}
	default:
		s.past = true
		j.note(s, "listed, but nothing present agrees, and such events stay listed after they are over")
	}
	if s.impact == device.ImpactDue && !s.hasNear {
		s.near = nearness(s)
	}
}

func (j *judge) note(s *sighting, rule string) {
	s.impact, s.rule = device.ImpactNote, rule
	s.reported = s.condition.Nature == "activity" || s.who == device.Nobody
}

// critical weighs a critical alert: printing stops at once and does not go on
// until it is cleared (RFC 3805 section 2.2.13.3). An empty tray is left to the
// other trays while the device says that it is not stopped.
func (j *judge) critical(s *sighting) {
	j.weigh(s)
	n := known().natures[s.condition.Nature]
	switch {
	case n.stop != device.ImpactStopped:
	case s.family == "media/level" && !j.stopped:
		s.impact = device.ImpactImpaired
		s.rule = "a critical alert about one tray while the device is not stopped"
		j.easeEmpty(s)
	default:
		s.impact = n.stop
		s.rule = "a critical alert: printing stops at once (RFC 3805)"
		j.cap(s)
	}
}

// supported reports that another source agrees with an alert.
func (j *judge) supported(s *sighting, others []*sighting) bool {
	for _, o := range others {
		if o.stale || !sameThing(o, s) && !sameThing(s, o) {
			continue
		}
		if !o.specific() || !s.specific() || o.sub.Group == s.sub.Group && o.sub.Index == s.sub.Index {
			return true
		}
	}
	if st, ok := j.statusOf(s.sub); ok && s.specific() {
		return st.Critical() || st.NonCritical() || st.Broken()
	}
	return false
}

// contradiction says which present fact speaks against an alert: its cover is
// closed, its tray has sheets, its supply's level is above its threshold, its
// bin has room. Empty when none does. For a waste receptacle the alert is
// believed and not the level, because makers disagree which way it counts.
func (j *judge) contradiction(s *sighting) string {
	switch s.family {
	case "cover/open":
		return j.coversClosed(s)
	case "media/level":
		for i := range j.d.Trays {
			t := &j.d.Trays[i]
			if s.sub.Group != "input" || t.Index != s.sub.Index || !t.Level.Known() {
				continue
			}
			if p, _ := t.Level.Percent(); s.condition.Stage == 2 && p > 0 || p > j.o.TrayLow {
				return fmt.Sprintf("%s is at %s%%", calledTray(t), number(p))
			}
		}
	case "bin/room":
		for i := range j.d.Outputs {
			o := &j.d.Outputs[i]
			p, ok := o.Level.Percent()
			if ok && o.Index == s.sub.Index && s.specific() && (s.condition.Stage == 2 && p > 0 || p > j.o.TrayLow) {
				return fmt.Sprintf("%s%% of the bin is free", number(p))
			}
		}
	case "waste/room":
		return ""
	}
	return j.supplyAbove(s)
}

func (j *judge) coversClosed(s *sighting) string {
	closed := 0
	for _, c := range j.d.Covers {
		about := !s.specific() || s.sub.Group != "cover" || c.Index == s.sub.Index
		if !about {
			continue
		}
		if c.Status != "coverClosed" && c.Status != "interlockClosed" {
			return ""
		}
		closed++
	}
	if closed == 0 {
		return ""
	}
	return "the cover's own status is closed"
}

// supplyAbove speaks against a supply's alert. Without a low level of the
// device's own, an alert that holds by its severity is the device's own low
// flag, and only one far above our threshold is not believed.
func (j *judge) supplyAbove(s *sighting) string {
	if s.sub.Group != "markerSupplies" || !s.specific() || s.condition.Stage == 0 {
		return ""
	}
	supply := j.d.Supply(s.sub.Index)
	if supply == nil {
		return ""
	}
	p, ok := supply.Level.Percent()
	limit, whose := j.limit(supply)
	if !ok || p <= limit {
		return ""
	}
	own := supply.LowAt != nil && *supply.LowAt > 0
	if !own && s.condition.Stage == 1 && s.said && p <= ownFlagMax {
		return ""
	}
	return fmt.Sprintf("the level is %s%%, above %s of %s%%", number(p), whose, number(limit))
}

// ownFlagMax is the highest level, in percent, at which a device that states
// no low level is believed when it calls a supply low: devices warn at up to
// about a third (common practice, no source).
const ownFlagMax = 35

// training maps PrtAlertTrainingLevelTC onto who can act; empty when the alert
// does not say.
func training(label string) device.Who {
	switch label {
	case "untrained":
		return device.Untrained
	case "trained":
		return device.Trained
	case "fieldService":
		return device.FieldService
	case "management":
		return device.Management
	case "noInterventionRequired":
		return device.Nobody
	}
	return ""
}

// alertValue is an alert as evidence.
func alertValue(a *device.Alert) string {
	words := []string{a.Code}
	for _, w := range []string{a.Severity, a.Group} {
		if w != "" {
			words = append(words, w)
		}
	}
	if a.GroupIndex > 0 {
		words = append(words, fmt.Sprint(a.GroupIndex))
	}
	v := strings.Join(words, " ")
	if a.Description != "" {
		v += `: "` + string(a.Description) + `"`
	}
	if a.AgeS == nil && a.AgeReason != "" {
		v += " (age unknown: " + string(a.AgeReason) + ")"
	}
	return v
}
