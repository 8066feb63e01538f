package main

import "fmt"

const (
	// filesForOne is how many files and sockets reading one device takes at most:
	// one for SNMP, two for IPP.
	filesForOne = 3
	// filesForRest is what the sweep, DNS-SD, the probe of IPP ports and the
	// files of the run take at most.
	filesForRest = 96
)

// affordable is how many of the devices wanted can be read at once when the
// system lets a program have so many files open; 0: it does not say.
func affordable(wanted, files int) int {
	if files <= 0 {
		return wanted
	}
	return max(min(wanted, (files-filesForRest)/filesForOne), 1)
}

// concurrency is how many devices are read at once: as many as asked for, or as
// the system has files for. The runtime has raised the limit as far as it may be
// raised by then.
func (p *plan) concurrency() int {
	files := fileLimit()
	n := affordable(p.reach.concurrency, files)
	if n < p.reach.concurrency && !p.lowered {
		p.lowered = true
		p.a.note(fmt.Sprintf("--concurrency %d: only %d at once, as this system lets a program have %d files open; raise that limit (ulimit -n) for more", p.reach.concurrency, n, files))
	}
	return n
}
