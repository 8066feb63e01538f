package lab

import (
	"fmt"

	"printround/internal/lab/agent"
)

// otherTree is the object tree of a machine that is no printer. A computer
// with print queues has hrDeviceType rows of printers, and no Printer MIB: it
// must not be taken for one.
func otherTree(o *other, contact string, seed int64) *agent.Tree {
	var b agent.Builder
	r := random(seed, o.Name)
	putSystem(&b, identity{description: o.Description, objectID: o.ObjectID, contact: contact, name: o.Name, location: o.Location, services: o.Services})
	var ports []port
	for i := range o.Ports {
		ports = append(ports, port{fmt.Sprintf("port %d", i+1), 6, newMAC(r), i%3 != 2})
	}
	putInterfaces(&b, ports)
	if o.Kind != "computer" && o.Kind != "print server" {
		return b.Build()
	}
	const memory = 8 << 20 // KiB
	putHrSystem(&b, memory)
	putStorage(&b, []storage{{storageRAM, "Physical memory", memory, memory / 2}, {storageDisk, "/", memory * 8, memory * 3}})
	rows := []hrRow{{1, typeProcessor, "Processor", hrDeviceStatus.of("running"), 0}, {2, typeNetwork, "Network adapter", hrDeviceStatus.of("running"), 0}}
	printers := table{&b, oidHrPrinter}
	for i, name := range o.Queues {
		index := 1280 + i
		rows = append(rows, hrRow{index, typePrinter, name, hrDeviceStatus.of("running"), 0})
		printers.num(1, hrPrinterStatus.of("idle"), uint32(index))
		printers.put(2, agent.Octets([]byte{0}), uint32(index))
	}
	putHrDevices(&b, rows)
	return b.Build()
}
