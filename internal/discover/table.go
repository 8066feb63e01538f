package discover

import "sync"

// What is known of an address, one octet each.
const (
	asked      uint8 = 1 << iota // a probe was sent
	answered                     // a valid SNMP answer came
	goneFirst                    // the network said "unreachable" or "refused" in the first pass
	goneLater                    // the same in a later pass
	alive                        // something came from it that was no valid answer
	expected                     // the site expects a device there
	ippTried                     // the IPP port was tried
	otherSigns                   // it answered on the IPP port or was announced by DNS-SD
)

// table keeps the octets. The sweep, the IPP probe and the browser share it.
type table struct {
	mu    sync.Mutex
	flags []uint8
}

func newTable(n int) *table { return &table{flags: make([]uint8, n)} }

func (t *table) get(i int) uint8 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.flags[i]
}

// add turns flags on and returns those that were on before.
func (t *table) add(i int, f uint8) uint8 {
	t.mu.Lock()
	defer t.mu.Unlock()
	old := t.flags[i]
	t.flags[i] = old | f
	return old
}

// each calls f for every address, holding the lock.
func (t *table) each(f func(i int, flags uint8)) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i, v := range t.flags {
		f(i, v)
	}
}
