package discover

import "printround/internal/snmp"

// MaxCredentials is how many credentials a silent address is tried with.
const MaxCredentials = 3

// variant is one way to ask: a credential in one version of the protocol.
type variant struct {
	credential int // -1: the question for a v3 engine
	version    snmp.Version
	community  string
	probe      question
}

// fits reports whether a message can answer a question of this variant.
func (v *variant) fits(r *reply) bool {
	if r.version != v.version {
		return false
	}
	if v.version == snmp.V3 {
		return r.pdu == tagReport
	}
	return r.pdu == tagResponse && string(r.community) == v.community
}

// ways are the ways to ask silent addresses: all there are, and by their
// numbers those of the first pass, of later ones and of the last.
type ways struct {
	all                 []variant
	first, middle, last []int
}

// newWays plans how credentials are used. The first pass asks with the first
// credential. Later passes ask with each, and with the first community in
// SNMPv1; the last pass asks in SNMPv1 with every community of SNMPv2c. A v3
// engine is asked for itself, without any user, and so at most once a pass.
func newWays(creds []snmp.Credential) ways {
	var w ways
	var fallback []int
	engine := false
	for i, c := range creds[:min(len(creds), MaxCredentials)] {
		n := len(w.all)
		if c.Version == snmp.V3 {
			if !engine {
				w.all = append(w.all, variant{-1, snmp.V3, "", discoverV3()})
				w.middle = append(w.middle, n)
			}
			engine = true
			continue
		}
		community := c.Community.Reveal()
		w.all = append(w.all, variant{i, c.Version, community, getNext(c.Version, community, askNames[:]...)})
		w.middle = append(w.middle, n)
		if c.Version == snmp.V2c {
			w.all = append(w.all, variant{i, snmp.V1, community, getNext(snmp.V1, community, askNames[:]...)})
			fallback = append(fallback, n+1)
		}
	}
	w.first = w.middle[:min(1, len(w.middle)):min(1, len(w.middle))]
	w.last = append(append(w.last, w.middle...), fallback...)
	if len(fallback) > 0 {
		w.middle = append(w.middle, fallback[0])
	}
	return w
}

// in returns the ways of a pass.
func (w *ways) in(pass, passes int) []int {
	switch {
	case pass == 0:
		return w.first
	case pass >= passes-1:
		return w.last
	}
	return w.middle
}
