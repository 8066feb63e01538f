package finding

import (
	"cmp"
	"slices"
	"strings"

	"printround/internal/device"
)

// Rank sorts judged devices, the most urgent first: attention level and
// urgency, then key. Queues that a server keeps come last.
func Rank(devices []device.Device) {
	RankBy(devices, func(*device.Device) (float64, bool) { return 0, false })
}

// RankBy is Rank with the pages a day of each device, where known, deciding
// between equal urgencies: the busier device first, a known one before an
// unknown one.
func RankBy(devices []device.Device, pagesPerDay func(*device.Device) (float64, bool)) {
	type placed struct {
		Place
		d *device.Device
	}
	places := make([]placed, len(devices)) // devices are large: their places are sorted
	for i := range devices {
		pages, known := pagesPerDay(&devices[i])
		places[i] = placed{PlaceOf(&devices[i], pages, known), &devices[i]}
	}
	slices.SortStableFunc(places, func(a, b placed) int { return a.Compare(b.Place) })
	ranked := make([]device.Device, 0, len(devices))
	for _, p := range places {
		ranked = append(ranked, *p.d)
	}
	copy(devices, ranked)
}

// Place is what decides about the place of a judged device in the ranking. It
// is small: devices can be ranked that are not in memory.
type Place struct {
	role, attention int
	urgency         int
	pages           float64
	known           bool
	key             string
}

// PlaceOf returns the place of a judged device that prints so many pages a day,
// where that is known.
func PlaceOf(d *device.Device, pagesPerDay float64, known bool) Place {
	return Place{
		role: rankBool(d.Role == device.RoleServerQueue), attention: d.Attention.Rank(), urgency: d.Urgency,
		pages: pagesPerDay, known: known, key: d.Key,
	}
}

// Compare puts the more urgent place first.
func (p Place) Compare(q Place) int {
	return cmp.Or(
		cmp.Compare(p.role, q.role),
		cmp.Compare(q.urgency, p.urgency),
		cmp.Compare(p.attention, q.attention),
		cmp.Compare(rankBool(q.known), rankBool(p.known)),
		cmp.Compare(q.pages, p.pages),
		strings.Compare(p.key, q.key),
	)
}

func rankBool(b bool) int {
	if b {
		return 1
	}
	return 0
}
