package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"printround/internal/discover"
	"printround/internal/lab"
	"printround/internal/site"
)

// labRun is a running lab with its site file in a folder of its own.
type labRun struct {
	*lab.Lab
	dir, path string
}

// labWait is how long a sweep of the lab waits for the answers to a pass.
const labWait = 500 * time.Millisecond

func startLab(ctx context.Context, o lab.Options) (*labRun, error) {
	dir, err := os.MkdirTemp("", "printround-lab-")
	if err != nil {
		return nil, fmt.Errorf("a folder for the lab's site file: %w", err)
	}
	r := &labRun{dir: dir}
	if r.Lab, err = lab.Start(ctx, o); err == nil {
		r.path, err = r.WriteSite(dir)
	}
	if err != nil {
		r.stop()
		return nil, fmt.Errorf("starting the lab: %w", err)
	}
	return r, nil
}

func (r *labRun) stop() error {
	var err error
	if r.Lab != nil {
		err = r.Close()
	}
	if e := os.RemoveAll(r.dir); err == nil {
		err = e
	}
	return err
}

// close stops the lab after its devices were looked at; what it found is not
// worth less when that goes wrong.
func (r *labRun) close(a *app) {
	if err := r.stop(); err != nil {
		a.notef("stopping the lab: %v", err)
	}
}

// startLab starts the lab for one look at it, announcing itself over DNS-SD or
// not, and reads its site file.
func (p *plan) startLab(ctx context.Context, announce bool) error {
	if p.lab != nil {
		return nil
	}
	var err error
	if p.lab, err = startLab(ctx, lab.Options{NoMDNS: !announce || p.reach.noMDNS, OnePort: p.onePort}); err != nil {
		return err
	}
	p.browseOn = loopbackInterfaces()
	p.file, err = site.Load(p.lab.path)
	return err
}

// labJobs surveys the lab, each branch as a site. The targets are the branch's
// own where all devices share their ports, as in a real office; on systems
// with one loopback address every device has ports of its own.
func (p *plan) labJobs(ctx context.Context) ([]job, error) {
	if err := p.startLab(ctx, true); err != nil {
		return nil, err
	}
	devices := p.lab.Devices()
	snmp, ipp, shared := sharedPorts(devices)
	if shared {
		p.reach.snmpPort, p.reach.ippPort = snmp, ipp
	}
	jobs, err := p.siteJobs(ctx)
	for i := range jobs {
		j := &jobs[i]
		if !shared {
			j.scope = discover.NewScope(labTargets(devices, j.site.Name))
			j.options.Discover.Scope = j.scope
		}
		// Nobody in the lab's own scenario needs waking.
		j.options.Discover.Timeout, j.options.Discover.Listen = labWait, 3*labWait
	}
	return jobs, err
}

// labPlace finds one device of the lab by its short name or address.
func (p *plan) labPlace(ctx context.Context, query string) (*place, error) {
	if err := p.startLab(ctx, false); err != nil {
		return nil, err
	}
	devices := p.lab.Devices()
	i := slices.IndexFunc(devices, func(d lab.Device) bool {
		return strings.EqualFold(d.Name, query) || d.Addr.String() == query
	})
	if i < 0 {
		return nil, &usageError{
			message: fmt.Sprintf("the lab has no device %q", query),
			hint:    "printround lab --list shows their names",
		}
	}
	d := devices[i]
	out := &place{}
	snmp, ipp, _ := sharedPorts(devices)
	out.targets = placesOf(d, snmp, ipp)
	for i := range p.file.Sites {
		if p.file.Sites[i].Name == d.Site {
			out.site = &p.file.Sites[i]
		}
	}
	return out, nil
}

// sharedPorts returns the ports of the lab's devices, and whether all of them
// use the same.
func sharedPorts(devices []lab.Device) (snmp, ipp uint16, shared bool) {
	shared = true
	note := func(to *uint16, port int) {
		if port == 0 {
			return
		}
		if *to != 0 && *to != uint16(port) {
			shared = false
		}
		*to = uint16(port)
	}
	for _, d := range devices {
		note(&snmp, d.SNMPPort)
		note(&ipp, d.IPPPort)
	}
	return snmp, ipp, shared
}

// labTargets are the devices of one branch where each has ports of its own. A
// device that does not speak SNMP is asked at a port that is nobody else's, or
// it would pass for the device that answers there.
func labTargets(devices []lab.Device, siteName string) []discover.Target {
	taken := map[int]bool{}
	for _, d := range devices {
		taken[d.SNMPPort] = true
		for _, port := range d.SNMPPorts {
			taken[port] = true
		}
	}
	next := 1024
	spare := func() uint16 {
		for next++; taken[next]; next++ {
		}
		return uint16(next)
	}
	var out []discover.Target
	for _, d := range devices {
		snmp := spare()
		if d.Site == siteName {
			out = append(out, placesOf(d, snmp, spare())...)
		}
	}
	return out
}

// placesOf lists where a device answers. A protocol that it does not speak is
// asked all the same, at the ports given.
func placesOf(d lab.Device, snmp, ipp uint16) []discover.Target {
	if d.SNMPPort != 0 {
		snmp = uint16(d.SNMPPort)
	}
	if d.IPPPort != 0 {
		ipp = uint16(d.IPPPort)
	}
	var out []discover.Target
	for _, port := range d.SNMPPorts {
		out = append(out, discover.Target{Addr: d.Addr, SNMPPort: uint16(port), IPPPort: ipp})
	}
	if len(out) > 0 {
		return out
	}
	for _, a := range d.Addrs {
		out = append(out, discover.Target{Addr: a, SNMPPort: snmp, IPPPort: ipp})
	}
	return out
}

// communityFile returns the secret file of the lab's site that lets into the
// device, so that a line to paste shows how to keep a secret off it.
func (r *labRun) communityFile(d lab.Device) string {
	files, err := filepath.Glob(filepath.Join(r.dir, "*.community"))
	if err != nil {
		return ""
	}
	for _, f := range files {
		c, err := site.ReadCommunity("", f)
		if err == nil && d.Community != "" && c.Community.Reveal() == d.Community {
			return f
		}
	}
	return ""
}

// loopbackInterfaces keep the browsing for the lab's services off the network.
func loopbackInterfaces() []net.Interface {
	all, err := net.Interfaces()
	if err != nil {
		return []net.Interface{}
	}
	return slices.DeleteFunc(all, func(i net.Interface) bool { return i.Flags&net.FlagLoopback == 0 })
}
