package snmp

import (
	"testing"
	"time"
)

// RFC 6298 section 2, computed by hand: SRTT and RTTVAR of the first
// measurement (2.2), of later ones with alpha 1/8 and beta 1/4 (2.3), and the
// timeout SRTT + max(G, 4 RTTVAR), doubled for each repetition (5.5).
func TestTimeouts(t *testing.T) {
	ms := time.Millisecond
	for _, tt := range []struct {
		name     string
		measured []time.Duration
		smooth   time.Duration
		spread   time.Duration
		ceiling  time.Duration
		tries    []time.Duration
	}{
		{"nothing measured", nil, 0, 0, 2000 * ms, []time.Duration{500 * ms, 1000 * ms, 2000 * ms, 2000 * ms}},
		{"a ceiling below everything", nil, 0, 0, 60 * ms, []time.Duration{60 * ms, 60 * ms}},
		{"first measurement", []time.Duration{100 * ms}, 100 * ms, 50 * ms, 2000 * ms, []time.Duration{300 * ms, 600 * ms, 1200 * ms, 2000 * ms}},
		{"a second one", []time.Duration{100 * ms, 180 * ms}, 110 * ms, 57500 * time.Microsecond, 2000 * ms, []time.Duration{340 * ms, 680 * ms}},
		{"a faster one", []time.Duration{100 * ms, 20 * ms}, 90 * ms, 57500 * time.Microsecond, 5000 * ms, []time.Duration{320 * ms}},
		{"a fast device", []time.Duration{2 * ms, 2 * ms}, 2 * ms, 750 * time.Microsecond, 2000 * ms, []time.Duration{leastWait, 2 * leastWait}},
		{"a slow device", []time.Duration{1900 * ms}, 1900 * ms, 950 * ms, 2000 * ms, []time.Duration{2000 * ms, 2000 * ms}},
		{"a clock set back", []time.Duration{-5 * time.Second}, 0, 0, 2000 * ms, []time.Duration{leastWait}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var r rtt
			for _, d := range tt.measured {
				r.measure(d)
			}
			if r.smooth != tt.smooth || r.spread != tt.spread {
				t.Errorf("SRTT %v, RTTVAR %v, want %v, %v", r.smooth, r.spread, tt.smooth, tt.spread)
			}
			for try, want := range tt.tries {
				if got := r.timeout(try, tt.ceiling); got != want {
					t.Errorf("try %d waits %v, want %v", try, got, want)
				}
			}
		})
	}
}
