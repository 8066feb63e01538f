package finding

import (
	"printround/internal/device"
)

// outputs sees the room in the output bins.
func (j *judge) outputs() {
	for i := range j.d.Outputs {
		o := &j.d.Outputs[i]
		p, ok := o.Level.Percent()
		if !ok || p > j.o.TrayLow {
			continue
		}
		code := "output-area-almost-full"
		if v, _ := o.Level.Value(); v == 0 {
			code = "output-area-full"
		}
		s := &sighting{
			term: known().term(code), sev: warning, sub: device.Subunit{Group: "output", Index: o.Index, Name: o.Name},
			proof: device.Evidence{Source: o.Source, Object: o.Object, Value: levelValue(o.Level)},
		}
		j.weigh(s)
		if code == "output-area-full" {
			s.rule = "no room left, by its level"
			if j.roomElsewhere(o) {
				s.impact, s.mayStop = device.ImpactNote, false
				s.rule += "; another bin has room"
			}
		}
		j.see(s)
	}
}

func (j *judge) roomElsewhere(full *device.Output) bool {
	for i := range j.d.Outputs {
		o := &j.d.Outputs[i]
		v, ok := o.Level.Value()
		if o.Index != full.Index && (ok && v > 0 || o.Level.Reason() == device.LevelSomeLeft || o.Level.Reason() == device.LevelUnlimited) {
			return true
		}
	}
	return false
}

// covers sees open covers and interlocks (prtCoverStatus, RFC 3805).
func (j *judge) covers() {
	codes := map[device.Text]string{"coverOpen": "cover-open", "interlockOpen": "interlock-open"}
	for i := range j.d.Covers {
		c := &j.d.Covers[i]
		code, open := codes[c.Status]
		if !open {
			continue
		}
		s := &sighting{
			term: known().term(code), sev: warning, sub: device.Subunit{Group: "cover", Index: c.Index, Name: c.Name},
			proof: device.Evidence{Source: device.SourceSNMP, Object: c.Object, Value: string(c.Status)},
		}
		if j.stopped {
			s.sev = failing
		}
		j.weigh(s)
		j.see(s)
	}
}
