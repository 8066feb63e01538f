package discover

import (
	"math"
	"time"
)

// DefaultPace is how many packets a second a sweep sends when nobody says
// otherwise. A question has about 150 octets, so this is 2.4 Mbit/s: little for
// a switch, and little enough for a router that has to look for every address
// that nobody has. A /16 takes 33 s a pass.
const DefaultPace = 2000

// burstTime is how much unused time may be made up for at once: a few timer
// ticks, so that the pace holds, and no more, so that a machine that was asleep
// does not wake up shouting.
const burstTime = 5 * time.Millisecond

// pacer is a token bucket.
type pacer struct {
	perSecond float64
	burst     float64
	tokens    float64
	last      time.Time
}

func newPacer(perSecond int, now time.Time) *pacer {
	p := float64(max(perSecond, 1))
	return &pacer{perSecond: p, burst: max(1, p*burstTime.Seconds()), tokens: 1, last: now}
}

// wait returns how long it is until packets may go; 0: one may now. Once the
// bucket is empty it is half a burst that is worth waking up for: a timer for
// each packet costs several times what sending it does.
func (p *pacer) wait(now time.Time) time.Duration {
	if gone := now.Sub(p.last); gone > 0 {
		p.tokens = min(p.burst, p.tokens+gone.Seconds()*p.perSecond)
		p.last = now
	}
	if p.tokens >= 1 {
		return 0
	}
	worth := max(1, p.burst/2)
	// Rounded up: a moment too early would mean to wait once more.
	return max(time.Microsecond, time.Duration(math.Ceil((worth-p.tokens)/p.perSecond*float64(time.Second)))+1)
}

// take counts one packet. It may overdraw: what has to go out goes, and the
// others wait longer.
func (p *pacer) take() { p.tokens-- }
