package lab

import (
	"math"
	"math/rand/v2"
	"strings"
	"time"
)

// slot is the place of one supply in a simulated device, with what is in it.
type slot struct {
	supplyRow
	index int
	color int // of use.coverIn; -1: none
	gauge gauge
	nominal,
	dust float64 // pages that a full one of the usual size gives; factor of this place on wear

	left     float64   // 1 is full
	yield    float64   // wear that a full one of what is in takes
	max      int       // its capacity
	early    float64   // taken out at this much left; 0: when empty
	fixAt    time.Time // somebody comes then to replace it; zero: nobody is called
	life     int       // index of History.Lives
	wearLeft float64   // share of wear that this gauge counts wrongly, around 1
}

// gauge is how a device shows what is left.
type gauge struct {
	bend     [3]float64 // what it shows too much at 75, 50 and 25 % left
	step     float64    // percent; 0: as fine as the unit
	rounding rounding
	some     float64 // below this many percent only "some left" is reported
	silent   bool    // the level is never reported
}

type rounding int

const (
	nearestStep rounding = iota
	wholeSteps           // what is shown is left at least
	begunSteps           // what is shown is left at most
)

// ghost is a supply that was taken out early: it goes on being used up as if
// it were still in, so that its true run-out is known.
type ghost struct {
	slot  int
	life  int
	left  float64
	yield float64
}

var colorIndex = map[string]int{"black": 0, "cyan": 1, "magenta": 2, "yellow": 3}

// newSlot returns a place with a supply that was in use before the history
// began. What the model decides, such as the gauge, is the same in every device
// of the model.
func newSlot(row supplyRow, index int, modelID string, r *rand.Rand, o NightsOptions) slot {
	s := slot{supplyRow: row, index: index, color: -1}
	if i, ok := colorIndex[row.Colorant]; ok {
		s.color = i
	}
	design := random(o.Seed, "gauge "+modelID+" "+row.Name)
	s.gauge = newGauge(row, design, o)
	s.nominal = pagesOf(row) * normal(design, 0.15)
	s.dust = normal(r, 0.08)
	s.put(r, row.Capacity)
	s.left = 0.03 + 0.97*r.Float64()
	return s
}

func newGauge(row supplyRow, r *rand.Rand, o NightsOptions) gauge {
	var g gauge
	bend, kind := 0.05, r.Float64()
	if counted(row.Kind) {
		bend = 0 // the device counts pages
	}
	for i := range g.bend {
		g.bend[i] = bend * r.NormFloat64()
	}
	switch {
	case kind < 0.15 && row.Unit != "percent":
		g.step = 0
	case kind < 0.6 || counted(row.Kind):
		g.step = 1
	case kind < 0.75:
		g.step = 5
	case kind < 0.9:
		g.step = 10
	default:
		g.step = 20
	}
	g.rounding = []rounding{nearestStep, nearestStep, wholeSteps, wholeSteps, begunSteps}[r.IntN(5)]
	if r.Float64() < 0.06 {
		g.some = 10
	}
	g.silent = r.Float64() < 0.04
	if o.Step > 0 {
		g.step = o.Step
	}
	return g
}

// counted reports parts whose life the device counts in pages, which is what
// wears them.
func counted(kind string) bool {
	switch kind {
	case "fuser", "transferUnit", "cleanerUnit":
		return true
	}
	return false
}

// pagesOf is about how many usual pages a full supply gives. For units that do
// not say it the numbers are common practice, no source.
func pagesOf(row supplyRow) float64 {
	switch {
	case row.Unit == "impressions":
		return float64(row.Capacity)
	case row.Unit == "tenthsOfMilliliters" && row.Capacity >= 1000:
		return float64(row.Capacity) * 0.9
	case row.Unit == "tenthsOfMilliliters":
		return float64(row.Capacity) * 3.5
	case row.Unit == "tenthsOfGrams":
		return float64(row.Capacity) * 2.2
	}
	switch row.Kind {
	case "opc":
		return 50000
	case "wasteToner", "wasteInk":
		return 22000
	case "inkRibbon":
		return 4000
	}
	return 9000
}

// put puts a full new supply of the given capacity in.
func (s *slot) put(r *rand.Rand, capacity int) {
	s.left, s.max, s.fixAt = 1, capacity, time.Time{}
	s.yield = s.nominal * float64(capacity) / float64(s.Capacity)
	s.wearLeft = 1
	if !counted(s.Kind) {
		s.yield *= normal(r, 0.04)
		s.wearLeft = normal(r, 0.01)
	}
	s.early = whenTaken(s.Kind, r)
}

// whenTaken draws how much is left when people take a supply out.
func whenTaken(kind string, r *rand.Rand) float64 {
	x := r.Float64()
	if counted(kind) || kind == "opc" { // changed on a visit
		switch {
		case x < 0.5:
			return 0
		case x < 0.9:
			return 0.01 + 0.04*r.Float64()
		}
		return 0.05 + 0.25*r.Float64()
	}
	switch {
	case x < 0.65:
		return 0
	case x < 0.9: // the panel warns
		return 0.02 + 0.08*r.Float64()
	case x < 0.97:
		return 0.10 + 0.25*r.Float64()
	}
	return 0.35 + 0.45*r.Float64() // tried on a fault
}

// wear is what a stretch of printing takes, in usual pages.
func (s *slot) wear(b batch, r *rand.Rand) float64 {
	switch {
	case s.Kind == "wasteToner":
		used := 0.0
		for _, c := range b.cover {
			used += c / 5
		}
		return s.dust * (0.3*b.pages*used + 0.5*b.jobs)
	case s.Kind == "wasteInk":
		return s.dust * (0.2*b.pages + 4*b.jobs)
	case s.Kind == "opc":
		if s.color > 0 || strings.Contains(s.Name, "colour") {
			if b.cover[1] == 0 {
				return 0.1 * b.pages * s.dust
			}
		}
		return s.dust * (0.7*b.pages + 1.5*b.jobs) // it turns before and after each job
	case counted(s.Kind):
		return b.pages
	case s.color < 0 || s.Kind == "inkRibbon":
		return s.dust * b.pages
	}
	return s.dust * (b.pages*b.cover[s.color]/5 + 0.3*b.jobs)
}

// idle is what a day takes, whatever is printed, in usual pages.
func (s *slot) idle(r *rand.Rand) float64 {
	switch s.Kind {
	case "inkCartridge":
		w := 0.0012 * s.nominal
		if r.Float64() < 0.04 { // the heads are cleaned
			w += 0.012 * s.nominal * r.Float64()
		}
		return w
	case "wasteInk":
		return 0.0008 * s.nominal
	}
	return 0
}

// stops reports whether nothing can be printed without the supply.
func (s *slot) stops() bool { return !counted(s.Kind) && s.Kind != "opc" }

// shown is the level as the device reports it, in percent, and why there is
// none.
func (s *slot) shown() (percent float64, reason string) {
	if s.gauge.silent {
		return 0, "unknown"
	}
	p := 100 * s.gauge.bent(s.left, s.wearLeft)
	if s.gauge.some > 0 && p < s.gauge.some {
		return 0, "some-left"
	}
	step := s.gauge.step
	if step == 0 {
		return p, ""
	}
	switch n := p / step; s.gauge.rounding {
	case wholeSteps:
		p = math.Floor(n+1e-9) * step
	case begunSteps:
		p = math.Ceil(n-1e-9) * step
	default:
		p = math.Round(n) * step
	}
	return min(max(p, 0), 100), ""
}

// bent is what the gauge takes for left: the truth at both ends, more or less
// in between.
func (g gauge) bent(left, wrong float64) float64 {
	at := [5]float64{0, 0.25 + g.bend[2], 0.5 + g.bend[1], 0.75 + g.bend[0], 1}
	for i := 1; i < 4; i++ {
		at[i] = min(max(at[i], at[i-1]+0.03), 1-0.03*float64(4-i))
	}
	x := min(max(left*4, 0), 4)
	i := min(int(x), 3)
	v := at[i] + (at[i+1]-at[i])*(x-float64(i))
	return min(max(1-(1-v)*wrong, 0), 1)
}
