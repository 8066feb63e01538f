package discover

import (
	"slices"

	"printround/internal/snmp"
)

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
// numbers those of each kind of pass.
type ways struct {
	all              []variant
	first            []int // the first credential
	own              []int // each credential in its own version, and the question for an engine
	old              []int // each community of SNMPv2c in SNMPv1
	even, odd, extra []int // see in
}

// newWays plans how credentials are used. A v3 engine is asked for itself,
// without any user, and so at most once a pass.
func newWays(creds []snmp.Credential) ways {
	var w ways
	engine := false
	for i, c := range creds[:min(len(creds), MaxCredentials)] {
		n := len(w.all)
		if c.Version == snmp.V3 {
			if !engine {
				w.all = append(w.all, variant{-1, snmp.V3, "", discoverV3()})
				w.own = append(w.own, n)
			}
			engine = true
			continue
		}
		community := c.Community.Reveal()
		w.all = append(w.all, variant{i, c.Version, community, getNext(c.Version, community, askNames[:]...)})
		w.own = append(w.own, n)
		if c.Version == snmp.V2c {
			w.all = append(w.all, variant{i, snmp.V1, community, getNext(snmp.V1, community, askNames[:]...)})
			w.old = append(w.old, n+1)
		}
	}
	w.first = w.own[:min(1, len(w.own)):min(1, len(w.own))]
	w.extra = slices.Concat(w.own, w.old)
	for n, own := range w.own {
		// A community has its SNMPv1 form right behind it.
		old := own
		if slices.Contains(w.old, own+1) {
			old = own + 1
		}
		if n == 0 {
			w.odd, w.even = append(w.odd, old), append(w.even, own)
		} else {
			w.odd, w.even = append(w.odd, own), append(w.even, old)
		}
	}
	return w
}

// in returns the ways of a pass. The first asks with the first credential. In
// later ones each credential is used once, and those of SNMPv2c alternate with
// their SNMPv1 form, the first credential one pass ahead of the others: almost
// every device speaks both, and two packets for each silent address would
// double the time of a large sweep. Where time is short of nothing (thorough),
// and in the second of two passes with several credentials, both versions are
// asked, and so are the promising in their extra pass.
func (w *ways) in(pass, passes int, thorough bool) []int {
	switch {
	case pass == 0:
		return w.first
	case thorough || pass >= passes || passes == 2 && len(w.own) > 1:
		return w.extra
	case pass%2 == 1:
		return w.odd
	}
	return w.even
}
