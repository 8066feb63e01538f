package forecast

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"sort"
	"time"
)

// Truth is when supplies really ran out.
type Truth struct {
	Lives []TrueLife `json:"lives"`
}

// TrueLife is one supply in its place from when it was put in until it was
// taken out. One that was taken out before it was empty has the moment at which
// it would have been empty had it stayed in, where that is known.
type TrueLife struct {
	Key    string     `json:"key"`
	Index  int        `json:"index"`
	Kind   string     `json:"kind"`
	From   time.Time  `json:"from"`
	To     *time.Time `json:"to"`      // nil: it was in at the end
	RunOut *time.Time `json:"run_out"` // nil: later than anybody looked, or never known
	Ended  string     `json:"ended"`
}

// goneWithDevice marks a life that ended because its device was taken away:
// when it would have been empty is never known.
const goneWithDevice = "swapped with its device"

// mostTruth bounds a truth file, in bytes.
const mostTruth = 256 << 20

// ReadTruth reads the truth that the lab writes beside a simulated history.
func ReadTruth(r io.Reader) (*Truth, error) {
	var t Truth
	if err := json.NewDecoder(io.LimitReader(r, mostTruth)).Decode(&t); err != nil {
		return nil, fmt.Errorf("reading the truth: %w", err)
	}
	if len(t.Lives) == 0 {
		return nil, fmt.Errorf("reading the truth: no life of a supply is in it")
	}
	return &t, nil
}

// seenLives is the truth of a device as its nights themselves tell it, for a
// history whose truth nobody knows. Only supplies count that were seen to be used
// up: their last level was next to nothing, and another one followed. The others,
// taken out early or still in, say nothing about when they would have been empty.
func seenLives(s Series, o Options) []TrueLife {
	var out []TrueLife
	k := read(s, o.zone())
	for _, p := range k.places {
		newLore([]*place{p}, map[*place]string{p: s.Key})
		for i := range p.lives {
			if i+1 == len(p.lives) {
				break
			}
			f, next := &p.lives[i], &p.lives[i+1]
			last, first := s.Nights[f.readings[len(f.readings)-1].night].At, s.Nights[next.readings[0].night].At
			l := TrueLife{Key: s.Key, Index: p.index, Kind: p.kind, From: s.Nights[f.readings[0].night].At, To: &first, Ended: goneWithDevice}
			if f.over {
				middle := last.Add(first.Sub(last) / 2)
				l.RunOut, l.Ended = &middle, "empty"
			}
			out = append(out, l)
		}
	}
	return out
}

// farAway stands for a run-out that was still to come when the truth ended.
const farAway = 1500 * 24 * time.Hour

// truths answers what was in a place at a moment.
type truths struct {
	lives map[string][]*TrueLife
	end   time.Time
}

func placeKey(key string, index int) string { return fmt.Sprintf("%s %d", key, index) }

func newTruths(t *Truth, end time.Time) *truths {
	ts := &truths{lives: map[string][]*TrueLife{}, end: end}
	for i := range t.Lives {
		l := &t.Lives[i]
		k := placeKey(l.Key, l.Index)
		ts.lives[k] = append(ts.lives[k], l)
	}
	for _, list := range ts.lives {
		slices.SortFunc(list, func(a, b *TrueLife) int { return a.From.Compare(b.From) })
	}
	return ts
}

// at returns the life that was going on and its run-out. Lives whose run-out
// nobody can know, and supplies that were empty already, are none.
func (ts *truths) at(key string, index int, t time.Time) (*TrueLife, time.Time, bool) {
	list := ts.lives[placeKey(key, index)]
	i := sort.Search(len(list), func(i int) bool { return list[i].From.After(t) }) - 1
	if i < 0 {
		return nil, time.Time{}, false
	}
	l := list[i]
	switch {
	case l.To != nil && !l.To.After(t), l.RunOut == nil && l.Ended == goneWithDevice:
		return nil, time.Time{}, false
	case l.RunOut == nil:
		return l, ts.end.Add(farAway), true
	case !l.RunOut.After(t):
		return nil, time.Time{}, false
	}
	return l, *l.RunOut, true
}
