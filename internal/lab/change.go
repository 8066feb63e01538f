package lab

import (
	"errors"
	"fmt"
)

// Change gives a running printer other faults, joined by commas, instead of
// those it has; "none" clears it. Levels and counters are those of the seed.
func (l *Lab) Change(name, faults string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.known(name); err != nil {
		return err
	}
	n, old := l.machine(name)
	d := newMachine(old.model, old.place, l.options.Seed)
	if faults != noFault {
		if err := d.give(faults, l.options.Seed); err != nil {
			return err
		}
	}
	for i := range n.machines {
		if n.machines[i] == old {
			n.machines[i] = d
		}
	}
	n.serve(l)
	return l.republish()
}

// Hide makes a printer silent over SNMP, over IPP, over both or over none.
func (l *Lab) Hide(name string, snmp, ipp bool) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.known(name); err != nil {
		return err
	}
	n, _ := l.machine(name)
	n.snmpOff.Store(snmp)
	n.ippOff.Store(ipp)
	return l.republish()
}

// Swap lets two printers exchange their addresses, as a lease that ran out
// does.
func (l *Lab) Swap(a, b string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := errors.Join(l.known(a), l.known(b)); err != nil {
		return err
	}
	x, _ := l.machine(a)
	y, _ := l.machine(b)
	if x == y || len(x.addrs) != len(y.addrs) {
		return fmt.Errorf("%s and %s cannot exchange addresses: they share one, or have not as many", a, b)
	}
	x.addrs, y.addrs = y.addrs, x.addrs
	x.ports, y.ports = y.ports, x.ports
	x.ippPorts, y.ippPorts = y.ippPorts, x.ippPorts
	l.route()
	return l.republish()
}

// republish brings the ports and the announcements in line with what answers
// now.
func (l *Lab) republish() error {
	if err := l.listenIPP(); err != nil {
		return err
	}
	if l.announce != nil {
		l.announce.replace(l.services())
	}
	return nil
}
