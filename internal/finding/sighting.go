package finding

import (
	"fmt"

	"printround/internal/device"
)

// severity is how bad a source calls a condition (RFC 8011 section 5.4.12).
type severity int

const (
	report severity = iota
	warning
	failing
)

func (s severity) String() string { return [...]string{"report", "warning", "error"}[s] }

// sighting is one source's word about one condition, before the sources are
// brought together.
type sighting struct {
	*term
	sub  device.Subunit // Index 0: the source does not say which part
	sev  severity
	said bool   // the source states the severity itself
	rule string // what gave the impact, for --explain

	impact   device.Impact
	mayStop  bool    // would account for a stopped device that names no other fault
	near     float64 // nearness of the end, 0 to 1; counts for due only
	hasNear  bool
	stale    bool // present facts speak against it
	past     bool // may be over: listed, and nothing present agrees
	reported bool // the device's own word about its state, which can account for it

	percent *float64 // the level behind it
	gauged  bool     // it comes from that level
	text    string   // the device's own words for a condition without a name
	noun    string   // what the part is, when the subject does not say it
	of      string   // the same without its colour, as kinds.tsv has it
	part    string   // class of part
	who     device.Who
	age     *int64
	proof   device.Evidence
}

// see adds a sighting.
func (j *judge) see(s *sighting) { j.seen = append(j.seen, s) }

// specific reports that the sighting names a part.
func (s *sighting) specific() bool { return s.sub.Index > 0 && s.sub.Group != "" }

// maintenance reports that service is due and no part is named, as the bit
// overduePreventMaint does.
func (s *sighting) maintenance(sub device.Subunit) bool {
	return s.keyword == ServiceDue && s.noun == "" && sub.Index == 0
}

// describe names the part of the device that a sighting is about, as far as
// the device told.
func (j *judge) describe(group string, index int) device.Subunit {
	sub := device.Subunit{Group: group}
	if index > 0 {
		sub.Index, sub.Name = index, j.nameOf(group, index)
	}
	return sub
}

// nameOf returns the device's own name of a subunit.
func (j *judge) nameOf(group string, index int) device.Text {
	d := j.d
	switch group {
	case "input":
		for _, t := range d.Trays {
			if t.Index == index {
				return t.Name
			}
		}
	case "output":
		for _, o := range d.Outputs {
			if o.Index == index {
				return o.Name
			}
		}
	case "cover":
		for _, c := range d.Covers {
			if c.Index == index {
				return c.Name
			}
		}
	case "markerSupplies":
		if s := j.d.Supply(index); s != nil {
			return s.Name
		}
	case "mediaPath":
		for _, p := range d.Paths {
			if p.Index == index {
				return p.Name
			}
		}
	case "finDevice":
		for _, f := range d.Finishers {
			if f.Index == index {
				return f.Name
			}
		}
	}
	return ""
}

// weigh gives a sighting its impact by nature and severity, and the rule that
// did it. An error that the source only implies, such as a reason without a
// suffix while the printer is stopped, stops the device only where the nature
// of the condition makes that likely; whatever may stop it is kept in mind for
// a stop that nothing else explains.
func (j *judge) weigh(s *sighting) {
	n := known().natures[s.condition.Nature]
	s.mayStop = n.stop == device.ImpactStopped && s.subject.Path == "print" && n.name != "low" && n.name != "tray-low"
	s.reported = n.name != "event"
	switch {
	case s.sev == failing && j.stopped && (s.said || j.stopsUnsaid(s)):
		s.impact = n.stop
		s.rule = fmt.Sprintf("%s while the device says that it is stopped", s.sev)
	case s.sev == failing && s.said:
		s.impact = n.error
		s.rule = "error while the device is not stopped"
	case s.sev == report:
		s.impact = n.note
		s.rule = "for information only"
	default:
		s.impact = n.warning
		s.rule = "warning"
	}
	j.cap(s)
}

// stopsUnsaid reports whether an error whose severity is only implied counts
// as the reason of a stop: a plain fault does, except a tray that is empty
// (another may do), and what merely runs low does not.
func (j *judge) stopsUnsaid(s *sighting) bool {
	return s.condition.Nature == "fault" && s.family != "media/level"
}

// cap keeps the impact within what the subject can block: a scanner, document
// feeder or fax never stops printing, a finisher or the storage only when the
// device itself says so.
func (j *judge) cap(s *sighting) {
	if s.impact != device.ImpactStopped || s.subject.Path == "print" {
		return
	}
	never := s.subject.Path == "scan" || s.subject.Path == "fax"
	if never || !j.stopped || !s.said {
		s.impact = device.ImpactImpaired
		s.rule += "; blocks only " + blocks[s.subject.Path]
	}
}

var blocks = map[string]string{"scan": "scanning", "fax": "fax", "finish": "finishing", "none": "part of the controller"}
