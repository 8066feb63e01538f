package main

import (
	"net/netip"
	"testing"

	"printround/internal/device"
	"printround/internal/discover"
)

func addrs(list ...string) []netip.Addr {
	out := make([]netip.Addr, len(list))
	for i, s := range list {
		out[i] = netip.MustParseAddr(s)
	}
	return out
}

func found(key string, at ...string) device.Device {
	d := device.Device{Key: key, Aliases: []string{key}, Role: device.RolePrinter, Addresses: addrs(at...)}
	d.Reached.SNMP.OK = true
	return d
}

func TestCompareLeavesOthersAlone(t *testing.T) {
	at := func(s string) device.Device { return found("serial:a:"+s, s) }
	before := &device.Survey{Devices: []device.Device{at("10.0.1.5"), at("10.0.1.6"), at("10.0.9.9"), at("10.0.9.8")}}
	moved := at("10.0.9.8")
	moved.Addresses = []netip.Addr{netip.MustParseAddr("10.0.1.8")}
	now := &device.Survey{Devices: []device.Device{at("10.0.1.5"), moved}}
	scope := discover.NewScope([]discover.Target{
		{Addr: netip.MustParseAddr("10.0.1.5")}, {Addr: netip.MustParseAddr("10.0.1.6")}, {Addr: netip.MustParseAddr("10.0.1.8")},
	})
	compare(before, now, []job{{scope: scope}})
	c := now.Changes
	if len(c.Gone) != 1 || c.Gone[0].Key != "serial:a:10.0.1.6" {
		t.Errorf("gone: %+v, want the one in scope alone", c.Gone)
	}
	if len(c.Moved) != 1 || len(c.Arrived) != 0 {
		t.Errorf("moved %+v, arrived %+v; want one that moved", c.Moved, c.Arrived)
	}
	if len(before.Devices) != 4 {
		t.Error("comparing changed the earlier survey")
	}
}
