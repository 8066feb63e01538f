package finding

import (
	"slices"

	"printround/internal/device"
)

// account makes sure that what the device says of itself as a whole is
// accounted for (RFC 3805 section 2.2.13.2): a device that says that it is
// stopped has a finding that stops it, one that says warning has one that
// warns. A rosy list of details never hides it.
func (j *judge) account(clusters []*cluster) []*cluster {
	clusters = absorb(clusters)
	if j.stopped {
		return j.accountForStop(clusters)
	}
	if j.d.State.Device == "warning" && !slices.ContainsFunc(clusters, explains) {
		if revived := j.revive(clusters, warning); revived {
			return clusters
		}
		return append(clusters, j.own(UnexplainedWarning, device.ImpactDue, "hrDeviceStatus is warning and nothing accounts for it", j.stateProof()...))
	}
	return clusters
}

// absorb lets the vague word that service is requested support the worst of
// what the device says more exactly; only alone is it a finding.
func absorb(clusters []*cluster) []*cluster {
	i := slices.IndexFunc(clusters, func(c *cluster) bool { return c.seen[0].keyword == ServiceRequested })
	if i < 0 {
		return clusters
	}
	var into *cluster
	for n, c := range clusters {
		if n == i || !explains(c) || c.impact() == device.ImpactNote {
			continue
		}
		if into == nil || c.impact().Rank() < into.impact().Rank() {
			into = c
		}
	}
	if into == nil {
		return clusters
	}
	for _, s := range clusters[i].seen {
		joined := *into.worst()
		joined.proof, joined.age, joined.who = s.proof, nil, ""
		into.seen = append(into.seen, &joined)
	}
	return slices.Delete(clusters, i, i+1)
}

// explains reports that a cluster is the device's own word that something is
// the matter, however small.
func explains(c *cluster) bool {
	return !c.stale() && !c.past() && slices.ContainsFunc(c.seen, func(s *sighting) bool { return s.reported && !s.stale })
}

func (j *judge) accountForStop(clusters []*cluster) []*cluster {
	if slices.ContainsFunc(clusters, func(c *cluster) bool { return !c.stale() && c.impact() == device.ImpactStopped }) {
		return clusters
	}
	for _, t := range suspects {
		raised := false
		for _, c := range clusters {
			if !c.stale() && !c.past() && slices.ContainsFunc(c.seen, func(s *sighting) bool { return !s.stale && !s.past && t.fits(c, s) }) {
				c.raise, raised = t.rule, true
			}
		}
		if raised {
			return clusters
		}
	}
	if j.revive(clusters, failing) {
		return clusters
	}
	return append(clusters, j.own(UnexplainedStop, device.ImpactStopped, "the device says that it is stopped and nothing accounts for it", j.stateProof()...))
}

// suspects are the conditions that may be why a device has stopped that names
// no error, the likeliest first.
var suspects = []struct {
	rule string
	fits func(*cluster, *sighting) bool
}{
	{"the device says that it is stopped, and this may be why", func(c *cluster, s *sighting) bool {
		return s.mayStop && c.impact() == device.ImpactImpaired
	}},
	{"the device says that it is stopped, and this is all that it reports", func(c *cluster, s *sighting) bool {
		return s.mayStop && s.reported && s.condition.Stage == 2
	}},
	{"the device says that it is stopped, and this is its only fault", func(c *cluster, s *sighting) bool {
		return s.subject.Path == "finish" && c.impact() == device.ImpactImpaired
	}},
}

// revive believes the alerts that nothing else supports when the state of the
// device is not to be explained without them: then the state supports them
// (such as unary warnings, which stay listed after they are over).
func (j *judge) revive(clusters []*cluster, sev severity) bool {
	revived := false
	for _, c := range clusters {
		for _, s := range c.seen {
			if !s.past || s.stale || s.condition.Nature == "event" || s.condition.Nature == "activity" {
				continue
			}
			s.past = false
			s.sev = warning
			j.weigh(s)
			s.rule += ", supported by the state of the device only"
			if s.impact == device.ImpactNote {
				continue
			}
			if sev == failing && s.mayStop {
				c.raise = "the device says that it is stopped, and this alert may be why"
			}
			revived = revived || sev == warning || c.raise != ""
		}
	}
	return revived
}

// own makes a cluster of a condition that the tool itself concludes about the
// device as a whole.
func (j *judge) own(code string, impact device.Impact, rule string, proof ...device.Evidence) *cluster {
	c := &cluster{}
	for _, p := range proof {
		c.seen = append(c.seen, &sighting{term: known().term(code), impact: impact, rule: rule, proof: p})
	}
	return c
}

// stateProof is the evidence of what the device says of itself as a whole.
func (j *judge) stateProof() []device.Evidence {
	var list []device.Evidence
	s := &j.d.State
	if s.Device != "" {
		list = append(list, device.Evidence{Source: device.SourceSNMP, Object: "hrDeviceStatus", Value: string(s.Device)})
	}
	if s.Printer != "" {
		list = append(list, device.Evidence{Source: device.SourceSNMP, Object: "hrPrinterStatus", Value: string(s.Printer)})
	}
	if s.PrinterState != "" {
		list = append(list, device.Evidence{Source: device.SourceIPP, Object: "printer-state", Value: string(s.PrinterState)})
	}
	return list
}
