package forecast

import (
	"math"

	"printround/internal/device"
)

// mostADay is more than any office device prints in a day: a fast one, day and
// night.
const mostADay = 150_000

// repaired returns the life count of each night as it would be if it had never
// been set back and never been read wrong; NaN where it is not known. It begins
// at 0.
func repaired(nights []device.Night) []float64 {
	out := make([]float64, len(nights))
	var known []int
	unit := commonUnit(nights)
	for i := range nights {
		out[i] = math.NaN()
		if n := nights[i].LifeCount; n != nil && *n >= 0 && nights[i].LifeUnit == unit {
			known = append(known, i)
		}
	}
	value := func(k int) float64 { return float64(*nights[known[k]].LifeCount) }
	known = trusted(nights, known, value)
	total := 0.0
	for k, i := range known {
		if k > 0 {
			total += advance(nights, known, k, value)
		}
		out[i] = total
	}
	return out
}

// advance is what was counted between two readings. A counter that went back,
// or forward by more than is possible, began anew: what was printed before that
// is not known and taken for nothing.
func advance(nights []device.Night, known []int, k int, value func(int) float64) float64 {
	d := value(k) - value(k-1)
	days := nights[known[k]].At.Sub(nights[known[k-1]].At).Hours() / 24
	if d < 0 || d > mostADay*max(days, 0.1) {
		return 0
	}
	return d
}

// trusted leaves out readings that the ones before and after speak against: a
// counter that goes up or down and comes back the next time.
func trusted(nights []device.Night, known []int, value func(int) float64) []int {
	out := make([]int, 0, len(known))
	for k, i := range known {
		if len(out) > 0 && k+1 < len(known) {
			before, here, after := float64(*nights[out[len(out)-1]].LifeCount), value(k), value(k+1)
			if after >= before && (here < before || here > after) {
				continue
			}
		}
		out = append(out, i)
	}
	// The last reading has nobody to speak for it: one that cannot be is left out.
	if n := len(out); n > 2 {
		before, here := float64(*nights[out[n-2]].LifeCount), float64(*nights[out[n-1]].LifeCount)
		days := nights[out[n-1]].At.Sub(nights[out[n-2]].At).Hours() / 24
		usual := (before - float64(*nights[out[0]].LifeCount)) / max(nights[out[n-2]].At.Sub(nights[out[0]].At).Hours()/24, 1)
		if here < before || here-before > max(50*max(usual, 0), 5000)*max(days, 1) {
			out = out[:n-1]
		}
	}
	return out
}

// commonUnit is the unit that most nights count in.
func commonUnit(nights []device.Night) string {
	seen := map[string]int{}
	best := ""
	for i := range nights {
		if nights[i].LifeCount == nil {
			continue
		}
		u := nights[i].LifeUnit
		if seen[u]++; seen[u] > seen[best] {
			best = u
		}
	}
	return best
}
