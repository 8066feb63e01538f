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
	type place struct {
		d     *device.Device
		pages float64
		known bool
	}
	places := make([]place, len(devices)) // devices are large: their places are sorted
	for i := range devices {
		pages, known := pagesPerDay(&devices[i])
		places[i] = place{&devices[i], pages, known}
	}
	slices.SortStableFunc(places, func(a, b place) int {
		return cmp.Or(
			cmp.Compare(roleRank(a.d.Role), roleRank(b.d.Role)),
			cmp.Compare(b.d.Urgency, a.d.Urgency),
			cmp.Compare(a.d.Attention.Rank(), b.d.Attention.Rank()),
			cmp.Compare(rankBool(b.known), rankBool(a.known)),
			cmp.Compare(b.pages, a.pages),
			strings.Compare(a.d.Key, b.d.Key),
		)
	})
	ranked := make([]device.Device, 0, len(devices))
	for _, p := range places {
		ranked = append(ranked, *p.d)
	}
	copy(devices, ranked)
}

func roleRank(r device.Role) int { return rankBool(r == device.RoleServerQueue) }

func rankBool(b bool) int {
	if b {
		return 1
	}
	return 0
}
