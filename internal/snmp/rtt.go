package snmp

import "time"

// Bounds of the waiting for one answer.
const (
	// leastWait is the shortest timeout of a try, however fast the device
	// answered until now: printers take longer for some tables than for others.
	leastWait = 200 * time.Millisecond
	// firstWait is the timeout before the first measurement, of a device that
	// is known to be awake. RFC 6298 section 2.1 has a second, for any host.
	firstWait = 500 * time.Millisecond
	// grain is the clock granularity G of RFC 6298.
	grain = time.Millisecond
)

// rtt estimates the round-trip time of one device and how long to wait for its
// answers, by RFC 6298 section 2. Every try of a request has an id of its own,
// so an answer always tells which try it belongs to: what Karn's rule (section
// 3) guards against, an answer counted for the wrong try, cannot happen, and
// answers to repeated requests are measured like those to others.
type rtt struct {
	known  bool
	smooth time.Duration // SRTT
	spread time.Duration // RTTVAR
}

// measure takes in how long an answer took.
func (r *rtt) measure(took time.Duration) {
	took = max(took, 0) // a clock may be set back
	if !r.known {
		r.known, r.smooth, r.spread = true, took, took/2
		return
	}
	r.spread += ((r.smooth - took).Abs() - r.spread) / 4
	r.smooth += (took - r.smooth) / 8
}

// timeout is how long to wait in a try, the first being 0: twice as long each
// time (RFC 6298 section 5.5), at most the ceiling.
func (r *rtt) timeout(try int, ceiling time.Duration) time.Duration {
	wait := firstWait
	if r.known {
		wait = max(r.smooth+max(grain, 4*r.spread), leastWait)
	}
	for range try {
		if wait >= ceiling {
			break
		}
		wait *= 2
	}
	return min(wait, ceiling)
}
