//go:build unix

package main

import (
	"math"
	"syscall"
)

// fileLimit is how many files this program may have open; 0: not known.
func fileLimit() int {
	var r syscall.Rlimit
	if syscall.Getrlimit(syscall.RLIMIT_NOFILE, &r) != nil {
		return 0
	}
	return int(min(uint64(r.Cur), math.MaxInt32))
}
