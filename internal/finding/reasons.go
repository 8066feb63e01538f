package finding

import (
	"strings"

	"printround/internal/device"
)

// severities are the words by which a reason says how severe it is (RFC 8011
// section 5.4.12).
var severities = map[string]severity{"error": failing, "warning": warning, "report": report}

// reason takes a printer-state-reasons value apart. A suffix is stripped only
// if a registered keyword remains: several keywords themselves end in -error. A
// keyword that is not registered keeps its suffix, which still tells how severe
// it is. said is false when nothing does.
func (c *catalogue) reason(raw string) (t *term, sev severity, said bool) {
	if _, ok := c.registry[raw]; ok {
		return c.terms[raw], 0, false
	}
	base, word := device.CutSeverity(raw)
	sev, said = severities[word]
	if _, ok := c.registry[base]; ok {
		return c.terms[base], sev, said
	}
	return c.vendor(raw), sev, said
}

// Reason returns the condition that a printer-state-reasons value names, and
// its severity: error, warning, report, or empty when the value does not say.
func Reason(value string) (keyword, severity string) {
	t, sev, said := known().reason(value)
	if !said {
		return t.keyword, ""
	}
	return t.keyword, sev.String()
}

// reasons sees printer-state-reasons. A reason without a suffix is an error
// while printer-state is stopped, else a warning (RFC 8011 section 5.4.12).
func (j *judge) reasons() {
	for _, raw := range j.d.State.Reasons {
		raw = strings.TrimSpace(raw)
		t, sev, said := known().reason(raw)
		if raw == "" || t.keyword == "none" {
			continue
		}
		if !said {
			sev = warning
			switch {
			case j.d.Role == device.RoleServerQueue && strings.HasPrefix(t.family, "vendor/"):
				sev = report // the server's software about its own workings
			case j.d.State.PrinterState == "stopped":
				sev = failing
			}
		}
		s := &sighting{term: t, sev: sev, said: said, proof: device.Evidence{Source: device.SourceIPP, Object: "printer-state-reasons", Value: raw}}
		if strings.HasPrefix(t.family, "vendor/") {
			s.text = raw
		}
		j.seeWhole(s)
	}
}

// seeWhole sees a condition whose source names no part of the device. When the
// device has only one part that can be meant, that is the one.
func (j *judge) seeWhole(s *sighting) {
	s.sub = device.Subunit{Group: s.subject.Group}
	if s.subject.Group == "markerSupplies" {
		if only := j.onlySupply(s); only != nil {
			j.aboutSupply(s, only)
		}
	}
	j.weigh(s)
	if s.family == "media/level" && s.condition.Stage == 2 && !(s.said && s.sev == failing) {
		j.easeEmpty(s)
	}
	if s.impact == device.ImpactDue && !s.hasNear {
		s.near = nearness(s)
	}
	j.see(s)
}

// nearness is how near its end a part is that only a word tells of: halfway
// when it runs low, there when it is over.
func nearness(s *sighting) float64 {
	switch {
	case s.condition.Stage == 2:
		return 1
	case s.condition.Nature == "unnamed":
		return 0
	}
	return 0.5
}

// errorBits sees hrPrinterDetectedErrorState (RFC 2790 section 4). The bits do
// not say how severe they are: hrDeviceStatus does.
func (j *judge) errorBits() {
	for _, bit := range j.d.State.ErrorBits {
		keyword, ok := known().bits[bit]
		if !ok {
			continue
		}
		sev := warning
		if j.stopped {
			sev = failing
		}
		j.seeWhole(&sighting{term: known().term(keyword), sev: sev, proof: device.Evidence{
			Source: device.SourceSNMP, Object: "hrPrinterDetectedErrorState", Value: bit,
		}})
	}
}

// state sees what the device says of itself as a whole besides its conditions:
// sleep, warming up, tests. hrPrinterStatus other with hrDeviceStatus running
// is standby (RFC 3805 section 2.2.13.2) and no fault.
func (j *judge) state() {
	s := &j.d.State
	note := func(code, object string, value device.Text) {
		j.see(&sighting{
			term: known().term(code), impact: device.ImpactNote, rule: "a state of the device that passes",
			sub:   device.Subunit{Group: "generalPrinter"},
			proof: device.Evidence{Source: device.SourceSNMP, Object: object, Value: string(value)},
		})
	}
	switch {
	case s.Overall == OverallStandby:
		note("standby", "hrPrinterStatus", s.Printer)
	case s.Printer == "warmup":
		note("subunit-warming-up", "hrPrinterStatus", s.Printer)
	case s.Device == "testing":
		note("testing", "hrDeviceStatus", s.Device)
	}
}
