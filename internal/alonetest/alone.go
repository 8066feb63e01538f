// Package alonetest lets the tests of a package run alone on the network: with
// a loopback interface that nobody else on the machine hears or answers on. The
// tests of several packages run at the same time, and multicast announcements
// of one would otherwise be answers to the other. It is for tests only.
package alonetest

// M is a test main: testing.M, or what stands in for it.
type M interface{ Run() int }

// Main returns a test main that runs m in a network of its own where the system
// and the account allow it (Linux, root), and as it is elsewhere. The time
// limit, the flags and the exit status are those of m.
func Main(m M) M { return alone{m} }

type alone struct{ m M }

// Run runs the tests and returns the exit status.
func (a alone) Run() int {
	if status, ran := isolated(); ran {
		return status
	}
	return a.m.Run()
}
