package color

// Tolerances are what is still taken as right. All of them are common practice,
// no source: offices are no printing houses, and what a printer makes of sRGB
// depends on its own colour handling, so they are wide against the page's
// nominal values and narrower against a page that was measured when it was good.
type Tolerances struct {
	Mean     float64 `json:"mean"`     // ΔE00
	P95      float64 `json:"p95"`      // ΔE00
	Max      float64 `json:"max"`      // ΔE00
	Strength float64 `json:"strength"` // of a solid, percent
	Tone     float64 `json:"tone"`     // mean of the steps of a channel, tone value
	Hue      float64 `json:"hue"`      // of a solid, degrees
	Grey     float64 `json:"grey"`     // mean distance of the greys from theirs in a*, b*
	Paper    float64 `json:"paper"`    // ΔE00 against a reference
}

// TolerancesAgainst returns the tolerances for a kind of reference.
func TolerancesAgainst(k Kind) Tolerances {
	if k == FromPage {
		return Tolerances{Mean: 6, P95: 12, Max: 18, Strength: 15, Tone: 10, Hue: 15, Grey: 4, Paper: 0}
	}
	return Tolerances{Mean: 3, P95: 6, Max: 9, Strength: 10, Tone: 5, Hue: 8, Grey: 3.5, Paper: 2.5}
}

// Paper that offices print on, when there is no reference for it: white, a
// little bluish from brighteners (common practice, no source).
const (
	darkPaper    = 88.0 // L* under it
	coloredPaper = 16.0 // C* above it
	yellowPaper  = 6.0  // b* above it
)

// Least numbers of patches for a judgement.
const (
	fewPatches  = 6  // fewer: no verdict
	fewForP95   = 20 // fewer: the 95th percentile is the largest
	fewSteps    = 2  // of a tone curve, beside the solid
	fewGreys    = 2
	fewForOrder = 8 // to see that readings are mixed up
)
