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

const (
	// wakeTime is how much is sent at once: a few timer ticks.
	wakeTime = 5 * time.Millisecond
	// burstTime is how much unused time may be made up for at once, so that the
	// pace holds on a busy machine, and no more, so that a machine that was
	// asleep does not wake up shouting. At a low pace it is more, as long as it
	// is few packets.
	burstTime = 20 * time.Millisecond
	lowTime   = 50 * time.Millisecond
	fewAtOnce = 100
)

// burstOf is how many packets may be made up for at once.
func burstOf(perSecond float64) float64 {
	return max(1, perSecond*burstTime.Seconds(), min(perSecond*lowTime.Seconds(), fewAtOnce))
}

// pacer is a token bucket whose rate falls under pressure and comes back.
type pacer struct {
	most      float64 // packets a second that were allowed
	cap       float64 // at most this many of them, after loss
	perSecond float64 // now
	burst     float64
	tokens    float64
	last      time.Time
	slowed    time.Time // when the rate last fell, or rose again
}

func newPacer(perSecond int, now time.Time) *pacer {
	p := float64(max(perSecond, 1))
	return &pacer{most: p, cap: p, perSecond: p, burst: burstOf(p), tokens: 1, last: now}
}

// wait returns how long it is until packets may go; 0: one may now. Once the
// bucket is empty it is half a wake time that is worth waking up for: a timer
// for each packet costs several times what sending it does.
func (p *pacer) wait(now time.Time) time.Duration {
	if gone := now.Sub(p.last); gone > 0 {
		p.tokens = min(p.burst, p.tokens+gone.Seconds()*p.perSecond)
		p.last = now
	}
	if p.perSecond < p.cap && now.Sub(p.slowed) >= recovery {
		p.perSecond = min(p.perSecond+p.most/20, p.cap)
		p.slowed = now
	}
	if p.tokens >= 1 {
		return 0
	}
	worth := max(1, p.perSecond*wakeTime.Seconds()/2)
	// Rounded up: a moment too early would mean to wait once more.
	return max(time.Microsecond, time.Duration(math.Ceil((worth-p.tokens)/p.perSecond*float64(time.Second)))+1)
}

// take counts one packet. It may overdraw: what has to go out goes, and the
// others wait longer.
func (p *pacer) take() { p.tokens-- }

const (
	recovery  = 500 * time.Millisecond // for a twentieth of the pace
	slowEvery = 100 * time.Millisecond // one event is one reason
	slowest   = 16                     // part of the pace that is always left
)

// slow lets the rate fall: the system had no room to send, or lost answers. It
// comes back while nothing more of the kind happens.
func (p *pacer) slow(now time.Time) {
	if !p.slowed.IsZero() && now.Sub(p.slowed) < slowEvery {
		return
	}
	p.perSecond = max(p.perSecond*0.7, p.most/slowest, min(p.most, 1))
	p.slowed = now
}

// limit halves the rate for the rest of the run: the network loses packets.
func (p *pacer) limit() {
	p.cap = max(p.cap/2, p.most/slowest, min(p.most, 1))
	p.perSecond = min(p.perSecond, p.cap)
}
