package main

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"net/netip"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gosnmp/gosnmp"
)

// naive is the yardstick: the design that comes to mind first, a number of
// workers with one connection of the SNMP library for each address.
type naive struct {
	First     string
	Addresses int
	Port      int
	Pace      int
	Workers   int
	Timeout   time.Duration
	Retries   int
}

// naiveObjects are what the sweep asks for, too: the system's description and
// object id, the devices of the Host Resources MIB and the Printer MIB.
var naiveObjects = []string{
	"1.3.6.1.2.1.1.1", "1.3.6.1.2.1.1.2", "1.3.6.1.2.1.25.3.2.1.2", "1.3.6.1.2.1.25.3.2.1.3", "1.3.6.1.2.1.25.3.5.1.1", "1.3.6.1.2.1.43",
}

// naiveRole sweeps and writes a heading and one line for each printer.
func naiveRole(ctx context.Context, arg string) error {
	var n naive
	// The port comes in place of a number that JSON would not take.
	if err := json.Unmarshal([]byte(arg), &n); err != nil {
		return err
	}
	first, err := netip.ParseAddr(n.First)
	if err != nil {
		return err
	}
	base := binary.BigEndian.Uint32(first.AsSlice())
	var next atomic.Int64
	var mu sync.Mutex
	var found []string
	due := time.Now()
	turn := func() { // the pace that was allowed
		mu.Lock()
		due = due.Add(time.Second / time.Duration(n.Pace))
		wait := time.Until(due)
		mu.Unlock()
		time.Sleep(wait)
	}
	var workers sync.WaitGroup
	for range n.Workers {
		workers.Go(func() {
			for ctx.Err() == nil {
				i := next.Add(1) - 1
				if i >= int64(n.Addresses) {
					return
				}
				var a [4]byte
				binary.BigEndian.PutUint32(a[:], base+uint32(i))
				at := netip.AddrFrom4(a).String()
				turn()
				if n.isPrinter(ctx, at) {
					mu.Lock()
					found = append(found, at)
					mu.Unlock()
				}
			}
		})
	}
	workers.Wait()
	fmt.Println("address")
	for _, a := range found {
		fmt.Println(a)
	}
	return nil
}

func (n *naive) isPrinter(ctx context.Context, at string) bool {
	g := &gosnmp.GoSNMP{
		Context: ctx, Target: at, Port: uint16(n.Port), Community: "public", Version: gosnmp.Version2c,
		Timeout: n.Timeout, Retries: n.Retries, MaxOids: gosnmp.MaxOids,
	}
	if g.Connect() != nil {
		return false
	}
	defer g.Conn.Close()
	p, err := g.GetNext(naiveObjects)
	if err != nil {
		return false
	}
	for _, v := range p.Variables {
		if strings.HasPrefix(v.Name, ".1.3.6.1.2.1.43.") {
			return true
		}
	}
	return false
}
