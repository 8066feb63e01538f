package discover

import (
	"cmp"
	"container/heap"
	"slices"
)

// interval is a run of IPv4 addresses, both ends included, with its owner: the
// number of the target that names it, or skipped.
type interval struct {
	lo, hi uint32
	owner  int
}

const skipped = -1

// disjoint cuts overlapping intervals so that every address belongs to the
// lowest owner that names it, drops what is skipped, and returns the rest by
// owner and address.
func disjoint(in []interval) []interval {
	slices.SortFunc(in, func(a, b interval) int { return cmp.Compare(a.lo, b.lo) })
	var out []interval
	var open owners
	at := uint64(0) // everything below is decided
	next := 0
	for next < len(in) || len(open) > 0 {
		for len(open) > 0 && uint64(open[0].hi) < at {
			heap.Pop(&open)
		}
		if len(open) == 0 {
			if next == len(in) {
				break
			}
			at = max(at, uint64(in[next].lo))
		}
		for next < len(in) && uint64(in[next].lo) <= at {
			heap.Push(&open, in[next])
			next++
		}
		if len(open) == 0 || uint64(open[0].hi) < at {
			continue
		}
		end := uint64(open[0].hi)
		if next < len(in) {
			end = min(end, uint64(in[next].lo)-1)
		}
		if owner := open[0].owner; owner != skipped {
			if last := len(out) - 1; last >= 0 && out[last].owner == owner && uint64(out[last].hi)+1 == at {
				out[last].hi = uint32(end)
			} else {
				out = append(out, interval{uint32(at), uint32(end), owner})
			}
		}
		at = end + 1
	}
	slices.SortStableFunc(out, func(a, b interval) int { return cmp.Compare(a.owner, b.owner) })
	return out
}

// owners is a heap of the intervals that are open, lowest owner first.
type owners []interval

func (o owners) Len() int           { return len(o) }
func (o owners) Less(i, j int) bool { return o[i].owner < o[j].owner }
func (o owners) Swap(i, j int)      { o[i], o[j] = o[j], o[i] }
func (o *owners) Push(x any)        { *o = append(*o, x.(interval)) }
func (o *owners) Pop() any {
	old := *o
	x := old[len(old)-1]
	*o = old[:len(old)-1]
	return x
}
