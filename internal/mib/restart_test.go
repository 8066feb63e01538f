package mib

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"printround/internal/oid"
)

// restarting is a device that restarts after so many exchanges.
type restarting struct {
	before, after *Recording
	exchanges     int
}

func (r *restarting) Next(ctx context.Context, q oid.Request) (oid.Answer, error) {
	if r.exchanges--; r.exchanges < 0 {
		return r.after.Next(ctx, q)
	}
	return r.before.Next(ctx, q)
}

// prtAlertTime is the sysUpTime at which the alert was raised (RFC 3805 section
// 6): of the alerts and the clock that are kept, no alert of the new start may
// be measured by the clock of the run before.
func TestRestartWhileReading(t *testing.T) {
	device := func(clock, raised string) *Recording {
		lines := []string{"1.3.6.1.2.1.1.3.0|67|" + clock, general + ".1.1|65|3", supplies + ".8.1.1|2|100", supplies + ".9.1.1|2|40"}
		for i := range 60 { // more than the first exchanges bring
			lines = append(lines, fmt.Sprintf("%s.2.1.%d|2|3", alerts, i+1), fmt.Sprintf("%s.7.1.%d|2|8", alerts, i+1), fmt.Sprintf("%s.9.1.%d|67|%s", alerts, i+1, raised))
		}
		return recorded(t, lines...)
	}
	const newClock, newAlert = 700, 300
	whole := device("900000000", "800000000")
	read(t, whole)
	went := false
	for n := range whole.Exchanges + 1 {
		f := read(t, &restarting{before: device("900000000", "800000000"), after: device("700", "300"), exchanges: n})
		clock := f.Systems[0].UpTime.Or(-1)
		for _, a := range f.Alerts {
			if raised := a.Time.Or(-1); raised == newAlert && clock != newClock {
				t.Errorf("restart after %d exchanges: %s is %d by the clock of %d", n, a.Instance("prtAlertTime"), raised, clock)
				break
			}
		}
		for _, p := range f.Problems {
			went = went || strings.Contains(p, "sysUpTime went back from 900000000 to 700")
		}
	}
	if !went {
		t.Error("a restart was never noticed")
	}
}

// No object read has more than 255 octets (RFC 3805, RFC 2790, RFC 3418); more
// are not kept in memory.
func TestLongValues(t *testing.T) {
	f := read(t, recorded(t, general+".1.1|65|3", supplies+".6.1.1|4|"+strings.Repeat("x", 60_000), supplies+".9.1.1|2|40"))
	if n := len(f.Supplies[0].Description); n != maxOctets {
		t.Errorf("%d octets kept, want %d", n, maxOctets)
	}
	if len(f.Problems) != 1 || f.Problems[0] != "prtMarkerSuppliesDescription.1.1 has 60000 octets: only the first 1024 are kept" {
		t.Errorf("problems %v", f.Problems)
	}
}
