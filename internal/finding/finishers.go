package finding

import (
	"cmp"
	"fmt"

	"printround/internal/device"
)

// finisherPrefixes maps FinDeviceTypeTC labels onto the prefixes of state
// reasons. There is no label for a stapler: a stitcher whose supply is staples
// is one.
var finisherPrefixes = map[device.Text]string{
	"stitcher": "stitcher", "folder": "folder", "binder": "binder", "trimmer": "trimmer",
	"dieCutter": "die-cutter", "puncher": "puncher", "perforater": "perforater", "slitter": "slitter",
	"separationCutter": "separation-cutter", "imprinter": "imprinter", "wrapper": "wrapper",
	"bander": "bander", "makeEnvelope": "make-envelope", "stacker": "stacker",
	"sheetRotator": "sheet-rotator", "inserter": "inserter",
}

func prefixOf(f *device.Finisher) string {
	p := finisherPrefixes[f.Kind]
	if p != "stitcher" {
		return p
	}
	for i := range f.Supplies {
		if foldKind(string(f.Supplies[i].Kind)) == "staples" {
			return "stapler"
		}
	}
	return p
}

// finisherPrefix returns the prefix of the finisher that an alert names.
func (j *judge) finisherPrefix(a *device.Alert) string {
	if f := j.finisher(a.GroupIndex); f != nil && a.Group == "finDevice" {
		return prefixOf(f)
	}
	return ""
}

func (j *judge) finisher(index int) *device.Finisher {
	for i := range j.d.Finishers {
		if j.d.Finishers[i].Index == index {
			return &j.d.Finishers[i]
		}
	}
	return nil
}

// finisherOf returns the index of the only finisher that has a supply with the
// given index; 0 when none or several do.
func (j *judge) finisherOf(supply int) int {
	found := 0
	for i := range j.d.Finishers {
		for _, s := range j.d.Finishers[i].Supplies {
			if s.Index != supply {
				continue
			}
			if found != 0 && found != j.d.Finishers[i].Index {
				return 0
			}
			found = j.d.Finishers[i].Index
		}
	}
	return found
}

// finishers sees the supplies of the finishers (finSupplyTable, RFC 3806). A
// receptacle is what the finisher fills, such as the chips of a punch.
func (j *judge) finishers() {
	for i := range j.d.Finishers {
		f := &j.d.Finishers[i]
		prefix := prefixOf(f)
		for n := range f.Supplies {
			s := &f.Supplies[n]
			k := *kindOf(s)
			if s.Role == device.Receptacle && prefix != "" {
				k.low, k.out = prefix+"-almost-full", prefix+"-full"
			} else if known().terms[k.low].subject.Kind != "finisher" && prefix != "" {
				k.low, k.out = prefix+"-almost-empty", prefix+"-empty"
			}
			name := cmp.Or(s.Name, f.Name)
			j.level(s, &k, device.Subunit{Group: "finDevice", Index: f.Index, Name: name}, k.low)
		}
	}
}

// statusOf returns the status of the subunit that a sighting names.
func (j *judge) statusOf(sub device.Subunit) (device.Status, bool) {
	for _, u := range j.units() {
		if u.group == sub.Group && u.index == sub.Index {
			return u.status, u.status.Reported()
		}
	}
	return device.Status{}, false
}

// unit is a part of the device that has a status (PrtSubUnitStatusTC).
type unit struct {
	group  string
	index  int
	name   device.Text
	object string
	status device.Status
	broken string // what "unavailable because broken" is called
	tray   *device.Tray
}

func (j *judge) units() []unit {
	d := j.d
	var list []unit
	for i := range d.Trays {
		t := &d.Trays[i]
		list = append(list, unit{"input", t.Index, t.Name, "prtInputStatus", t.Status, "input-media-tray-failure", t})
	}
	for _, o := range d.Outputs {
		list = append(list, unit{"output", o.Index, o.Name, "prtOutputStatus", o.Status, "output-media-tray-failure", nil})
	}
	for _, p := range d.Paths {
		list = append(list, unit{"mediaPath", p.Index, p.Name, "prtMediaPathStatus", p.Status, "media-path-failure", nil})
	}
	for i := range d.Finishers {
		f := &d.Finishers[i]
		list = append(list, unit{"finDevice", f.Index, f.Name, "finDeviceStatus", f.Status, cmp.Or(prefixOf(f), "subunit") + "-recoverable-failure", nil})
	}
	return list
}

// statuses sees the status of the subunits. The status says that something is
// the matter, seldom what: where another source names it, the status supports
// that; by itself it becomes the most general condition that it can mean (RFC
// 8011 section 5.4.12 equates 17 with media-needed, and 19, broken and
// critical, with being empty, full, jammed or missing).
func (j *judge) statuses() {
	j.sort()
	for _, u := range j.units() {
		st := u.status
		if !st.Reported() || !st.Critical() && !st.NonCritical() && !st.Broken() {
			continue
		}
		proof := device.Evidence{Source: device.SourceSNMP, Object: fmt.Sprintf("%s %d", u.object, u.index), Value: fmt.Sprintf("%d %v", st.Code(), st.Words())}
		if !j.d.Reached.SNMP.OK {
			proof.Source, proof.Object = device.SourceIPP, fmt.Sprintf("status of %s %d", u.group, u.index)
		}
		named := j.namedAt(u)
		if named == nil {
			named = j.namedElsewhere(u)
		}
		if named != nil {
			joined := *named
			joined.proof, joined.age, joined.who = proof, nil, ""
			j.see(&joined)
			continue
		}
		code := SubunitAlert
		switch {
		case st.Availability() == "on-request" && st.Critical() && u.group == "input":
			code = "media-needed"
		case st.Broken() && !st.Critical():
			code = u.broken
		case st.Critical():
			code = SubunitUnavailable
		}
		s := &sighting{term: known().term(code), sev: warning, sub: device.Subunit{Group: u.group, Index: u.index, Name: u.name}, proof: proof}
		j.weigh(s)
		s.reported = true
		s.rule = "by the status of the part"
		if u.tray != nil && s.impact == device.ImpactImpaired {
			j.easeTray(s, u.tray)
		}
		if u.tray == nil || !j.byHand(u.tray) {
			j.see(s)
		}
	}
}

// namedAt returns a sighting that names what is the matter with the unit.
func (j *judge) namedAt(u unit) *sighting {
	for _, s := range j.seen {
		if s.specific() && s.sub.Group == u.group && s.sub.Index == u.index && !s.stale && s.condition.Nature != "event" {
			return s
		}
	}
	return nil
}

// namedElsewhere returns a fault that the status of the unit is a sign of
// though it was named elsewhere: one of its group without a part, or a jam, an
// open cover or an off-line printer, which show at any part along the way.
func (j *judge) namedElsewhere(u unit) *sighting {
	for _, s := range j.seen {
		if s.stale || s.past || s.condition.Nature != "fault" {
			continue
		}
		switch s.family {
		case "media/jam", "cover/open", "printer/offline":
			return s
		}
		if !s.specific() && s.sub.Group == u.group {
			return s
		}
	}
	return nil
}
