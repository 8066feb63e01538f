package snmp

import "time"

// patience returns how long the next try of a flight is waited for, and
// whether there is one.
//
// Nobody knows how far away a device is that never answered, or whether it is
// there: each try waits the configured time, the last of several twice as long.
// Later the tries follow the measured round-trip time, for as long as the
// configured number of tries of the configured length would take.
func (s *Session) patience(f *flight) (wait time.Duration, more bool) {
	o := &s.opts
	switch {
	case o.First > 0 && !s.settled:
		most := 1
		if s.fallsBack() {
			most = 2
		}
		return o.First << f.round, f.round < most
	case !s.awake():
		most := o.Retries + 1
		if s.fallsBack() {
			most = max(most, 2)
		}
		if f.round > 0 && f.round == most-1 {
			return 2 * o.Timeout, true
		}
		return o.Timeout, f.round < most
	case o.Retries == 0:
		return o.Timeout, f.round == 0
	}
	left := f.begun.Add(time.Duration(o.Retries+1) * o.Timeout).Sub(o.Now())
	wait = min(s.rtt.timeout(f.round, o.Timeout), left)
	return wait, left >= min(leastWait, o.Timeout)/2
}

// awake reports whether the device has answered, here or to somebody else.
func (s *Session) awake() bool { return s.settled || s.opts.Heard }

// fallsBack reports whether an answer in another version is still possible.
func (s *Session) fallsBack() bool { return !s.awake() && s.version == V2c }

// Two requests at a time, which is the most a device ever has to work on.
const (
	// pairsFrom is the round-trip time from which two at a time are worth it:
	// below, it is the device that takes the time, not the way.
	pairsFrom = 5 * time.Millisecond
	// maxStrikes is how often two at a time may go wrong with a device.
	maxStrikes = 2
)

// pairs reports whether two requests at a time are the better way.
func (s *Session) pairs() bool {
	return s.rtt.known && s.rtt.smooth >= pairsFrom && s.strikes < maxStrikes
}

// strike notes that two at a time went wrong: an answer was lost, or overtook
// the one before it.
func (s *Session) strike() {
	if s.strikes++; s.strikes == maxStrikes {
		s.opts.Log("one request at a time from now on")
	}
}
