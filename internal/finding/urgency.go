package finding

import (
	"math"

	"printround/internal/device"
)

// farWeight is what the weight of something due falls to at the horizon.
const farWeight = 0.05

// soleBonus is added within the band for the only device of its people.
const soleBonus = 5

// band is the range of urgency of an attention level.
type band struct {
	attention device.Attention
	impact    device.Impact
	low, high int
}

var bands = []band{
	{device.Stopped, device.ImpactStopped, 80, 100},
	{device.Silent, device.ImpactSilent, 60, 79},
	{device.Impaired, device.ImpactImpaired, 40, 59},
	{device.Due, device.ImpactDue, 10, 39},
	{device.Clear, device.ImpactNote, 0, 9},
}

// urgency returns the attention level of the worst finding and, within its
// band, how much all findings together ask for: 1 - Π(1 - wᵢ).
func urgency(d *device.Device) (device.Attention, int) {
	worst := device.ImpactNote
	rest := 1.0
	for _, f := range d.Findings {
		if f.Stale {
			continue
		}
		if f.Impact.Rank() < worst.Rank() {
			worst = f.Impact
		}
		rest *= 1 - f.Weight
	}
	for _, b := range bands {
		if b.impact != worst {
			continue
		}
		u := b.low + int(math.Round(float64(b.high-b.low)*(1-rest)))
		if d.Sole {
			u += soleBonus
		}
		return b.attention, min(u, b.high)
	}
	return device.Clear, 0
}

// weight returns the weight of a condition: by its code, else by its impact,
// the site's own weights before the built-in ones. What is due falls with the
// nearness of its end, 0 to 1.
func (o Options) weight(code string, impact device.Impact, near float64) float64 {
	if impact.Rank() >= device.ImpactNote.Rank() {
		return 0
	}
	w, ok := o.Weights[code]
	if !ok {
		if w, ok = o.Weights[string(impact)]; !ok {
			if w, ok = known().weights[code]; !ok {
				w = known().weights[string(impact)]
			}
		}
	}
	if math.IsNaN(w) {
		w = 0
	}
	w = min(max(w, 0), 1)
	if impact == device.ImpactDue && w > farWeight {
		w = farWeight + (w-farWeight)*min(max(near, 0), 1)
	}
	return math.Round(w*1000) / 1000
}
