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
