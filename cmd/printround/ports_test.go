package main

import (
	"testing"

	"printround/internal/lab"
	"printround/internal/needtest"
)

// portsOf returns the ports that all devices of a lab use, for a command line
// that names one of each.
func portsOf(t testing.TB, l *lab.Lab) (snmp, ipp uint16) {
	t.Helper()
	snmp, ipp, shared := sharedPorts(l.Devices())
	if !shared {
		needtest.Missing(t, "loopback addresses beside 127.0.0.1: the lab's devices have ports of their own instead")
	}
	return snmp, ipp
}
