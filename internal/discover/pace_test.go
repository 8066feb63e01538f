package discover

import (
	"testing"
	"time"
)

// A sender that sleeps as long as the pacer says sends at the pace, never more
// than a burst at once, and does not wake up for each packet.
func TestPacerWakesForBatches(t *testing.T) {
	for _, c := range []struct {
		pace  int
		wakes int // a second, at most
	}{{20, 20}, {300, 300}, {2000, 400}, {20000, 400}} {
		now := time.Unix(0, 0)
		p := newPacer(c.pace, now)
		end := now.Add(10 * time.Second)
		sent, wakes, row := 0, 0, 0
		for now.Before(end) {
			if d := p.wait(now); d > 0 {
				now = now.Add(d)
				wakes++
				row = 0
				continue
			}
			p.take()
			sent++
			if row++; float64(row) > p.burst+1 {
				t.Fatalf("pace %d: %d packets in a row, burst %v", c.pace, row, p.burst)
			}
		}
		if most := int(10*float64(c.pace) + p.burst + 1); sent > most || sent < 10*c.pace*99/100 {
			t.Errorf("pace %d: %d packets in 10 s", c.pace, sent)
		}
		if wakes > 10*c.wakes+1 {
			t.Errorf("pace %d: woke up %d times in 10 s", c.pace, wakes)
		}
	}
}

// A clock that stood still or jumped, as on a machine that slept, brings one
// burst, and one that goes back brings none.
func TestPacerAfterAJump(t *testing.T) {
	now := time.Unix(1000, 0)
	for _, jump := range []time.Duration{time.Hour, 365 * 24 * time.Hour, -time.Hour} {
		p := newPacer(1000, now)
		p.wait(now)
		then := now.Add(jump)
		sent := 0
		for ; p.wait(then) == 0 && sent < 1000; sent++ {
			p.take()
		}
		if most := int(p.burst) + 1; sent > most || jump < 0 && sent > 1 {
			t.Errorf("after %v %d packets at once", jump, sent)
		}
		if d := p.wait(then); d <= 0 || d > time.Second {
			t.Errorf("after %v the next is %v away", jump, d)
		}
	}
}

func TestPacerSlowsAndRecovers(t *testing.T) {
	now := time.Unix(0, 0)
	p := newPacer(1000, now)
	for range 100 {
		now = now.Add(slowEvery)
		p.slow(now)
	}
	if p.perSecond != 1000.0/slowest {
		t.Errorf("slowest %v", p.perSecond)
	}
	for range 100 {
		now = now.Add(recovery)
		p.wait(now)
	}
	if p.perSecond != 1000 {
		t.Errorf("recovered to %v", p.perSecond)
	}
	p.limit()
	for range 100 {
		now = now.Add(recovery)
		p.wait(now)
	}
	if p.perSecond != 500 {
		t.Errorf("after loss %v", p.perSecond)
	}
	if p = newPacer(1, now); p.perSecond != 1 {
		t.Error("a pace of 1 is lost")
	}
	p.slow(now.Add(time.Hour))
	if p.limit(); p.perSecond != 1 {
		t.Errorf("a pace of 1 falls to %v", p.perSecond)
	}
}
