package discover

// item is a probe to send.
type item struct {
	index, way int
}

// walk goes over the addresses of a pass: those that are expected first, and
// only those on-link or only the others. It looks at an address when its turn
// comes, so that one that has answered meanwhile is left out.
type walk struct {
	s     *sweep
	ways  []int
	who   func(flags uint8) bool
	local bool

	rest  bool // the expected ones are through
	index int
	way   int
}

// everyone and promising choose who is asked in a pass.
func everyone(f uint8) bool  { return f&(answered|goneLater) == 0 }
func promising(f uint8) bool { return everyone(f) && f&(expected|alive) != 0 }

// more moves to the next address whose turn it is.
func (w *walk) more() bool {
	n := w.s.scope.Len()
	for {
		for ; w.index < n; w.index, w.way = w.index+1, 0 {
			f := w.s.table.get(w.index)
			if f&expected != 0 == w.rest || !w.who(f) {
				continue
			}
			if w.s.local == nil || w.s.local(w.s.scope.At(w.index).Addr) == w.local {
				return true
			}
		}
		if w.rest {
			return false
		}
		w.rest, w.index, w.way = true, 0, 0
	}
}

func (w *walk) next() (item, bool) {
	if !w.more() {
		return item{}, false
	}
	it := item{w.index, w.ways[w.way]}
	if w.way++; w.way == len(w.ways) {
		w.index, w.way = w.index+1, 0
	}
	return it, true
}
