package device

import "time"

// Night is what is kept of one device from one run, for charts, comparisons
// and forecasts. What was not known that night is nil or empty.
type Night struct {
	At          time.Time
	Attention   Attention
	LifeCount   *int64 // prtMarkerLifeCount, or the IPP counter that stands in for it
	LifeUnit    string // unit of LifeCount: PrtMarkerCounterUnitTC label
	LifeSource  Source
	UptimeS     *int64
	Supplies    []SupplyReading
	Address     string // where it answered
	RoundTrips  int
	FindingKeys []string // code and subunit of what held, sorted
}

// CountsPages reports whether a life counter of a unit counts pages or sides
// (PrtMarkerCounterUnitTC labels, RFC 3805 section 6).
func CountsPages(unit string) bool { return unit == "impressions" || unit == "sheets" }

// SupplyReading is one supply that night.
type SupplyReading struct {
	Index    int
	Name     string // the device's own name
	Kind     string // PrtMarkerSuppliesTypeTC label
	Role     string // consumed, or receptacle (its level is the space left)
	Colorant string
	Percent  *float64 // 0..100
	Value    *int64   // raw level in Unit
	Capacity *int64
	Unit     string // PrtMarkerSuppliesSupplyUnitTC label
	Reason   string // why Percent is nil: a reason of LEVEL
	Source   Source
}
