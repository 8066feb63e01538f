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
	slices.SortStableFunc(devices, func(a, b device.Device) int {
		pa, okA := pagesPerDay(&a)
		pb, okB := pagesPerDay(&b)
		return cmp.Or(
			cmp.Compare(roleRank(a.Role), roleRank(b.Role)),
			cmp.Compare(b.Urgency, a.Urgency),
			cmp.Compare(a.Attention.Rank(), b.Attention.Rank()),
			cmp.Compare(rankBool(okB), rankBool(okA)),
			cmp.Compare(pb, pa),
			strings.Compare(a.Key, b.Key),
		)
	})
}

func roleRank(r device.Role) int { return rankBool(r == device.RoleServerQueue) }

func rankBool(b bool) int {
	if b {
		return 1
	}
	return 0
}
