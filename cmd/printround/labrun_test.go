package main

import (
	"context"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/needtest"
	"printround/internal/report"
	"printround/internal/survey"
)

// TestSweepLab holds the whole lab against the lab's own account of it.
func TestSweepLab(t *testing.T) {
	a, shown := testApp(t)
	out := filepath.Join(t.TempDir(), "lab.json")
	if status := a.run(context.Background(), []string{"sweep", "--lab", "--timeout", "20s", "--format", "json", "--out", out}); status != exitDone {
		_, stderr := shown()
		t.Fatalf("status %d\n%s", status, stderr)
	}
	f, err := os.Open(out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	s, err := report.Read(f)
	if err != nil {
		t.Fatal(err)
	}
	l := labtest.Start(t, lab.Options{NoMDNS: true})
	truth := l.Devices()

	for _, want := range truth {
		got := matching(s, want)
		switch {
		case !want.Printer:
			if n := len(slices.DeleteFunc(got, func(d *device.Device) bool { return d.Role == device.RoleServerQueue })); n > 0 {
				t.Errorf("%s is listed although it is a %s", want.Name, want.Kind)
			}
			continue
		case len(got) != 1:
			t.Errorf("%s is listed %d times, want once", want.Name, len(got))
			continue
		}
		d := got[0]
		if want.Silent != (d.Attention == device.Silent) {
			t.Errorf("%s is %s", want.Name, d.Attention)
		}
		for _, code := range want.Conditions {
			if !slices.ContainsFunc(d.Findings, restsOn(code)) {
				t.Errorf("%s: %s is not among its conditions %v", want.Name, code, d.State.Conditions)
			}
			if d.Attention == device.Clear {
				t.Errorf("%s is clear although it has %s", want.Name, code)
			}
		}
		if len(want.Conditions)+len(want.Notes) == 0 && !want.Silent && d.Attention != device.Clear {
			t.Errorf("%s is %s: %s, want clear", want.Name, d.Attention, d.Why())
		}
		if string(d.Site) != want.Site {
			t.Errorf("%s is at site %q, want %q", want.Name, d.Site, want.Site)
		}
	}
	if !slices.IsSortedFunc(ranked(s.Devices), func(a, b device.Device) int { return b.Urgency - a.Urgency }) {
		t.Error("the devices are not in the order of their urgency")
	}
	silent := 0
	for _, d := range s.Devices {
		if d.Attention == device.Silent {
			silent++
		}
	}
	if s.Scope.SilentExpected != silent {
		t.Errorf("%d silent devices are counted, %d are listed", s.Scope.SilentExpected, silent)
	}
}

// restsOn accepts the finding of that code, and one of a more exact code that
// has it for evidence: "ink low" of a device is "cyan ink low" once the levels
// are known.
func restsOn(code string) func(device.Finding) bool {
	return func(f device.Finding) bool {
		return f.Code == code || slices.ContainsFunc(f.Evidence, func(e device.Evidence) bool { return strings.Contains(e.Value, code) })
	}
}

// matching returns the devices of the survey that the lab's device can be: by
// address, and by serial number where the survey has one.
func matching(s *device.Survey, want lab.Device) []*device.Device {
	var out []*device.Device
	for i := range s.Devices {
		d := &s.Devices[i]
		here := slices.ContainsFunc(want.Addrs, func(a netip.Addr) bool { return slices.Contains(d.Addresses, a) })
		if here && (d.Serial == "" || want.Serial == "" || string(d.Serial) == want.Serial) {
			out = append(out, d)
		}
	}
	return out
}

// Where the system has one loopback address, every device has ports of its
// own; the survey finds the same printers.
func TestSweepLabWithPortsOfTheirOwn(t *testing.T) {
	ctx := context.Background()
	p := planOf(t, "")
	p.choose.lab, p.onePort = true, true
	p.reach.noMDNS, p.reach.timeout, p.reach.retries = true, 10*survey.DefaultTimeout, 2
	jobs, err := p.sweepJobs(ctx, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer p.lab.close(p.a)
	devices := p.lab.Devices()
	if _, _, shared := sharedPorts(devices); shared {
		t.Fatal("the devices share their ports")
	}
	s, err := p.survey(ctx, jobs)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range devices {
		if !want.Printer || want.Silent || want.SNMPPort == 0 {
			continue
		}
		n := 0
		for _, d := range s.Devices {
			if string(d.Serial) == want.Serial {
				n++
			}
		}
		if n != 1 {
			t.Errorf("%s (%s) is listed %d times, want once", want.Name, want.Kind, n)
		}
	}
}

// A name that only DNS-SD knows leads to the device and to what it announces.
func TestFindByService(t *testing.T) {
	ctx := context.Background()
	l := labtest.Start(t, lab.Options{})
	if notes := l.Notes(); len(notes) > 0 {
		needtest.Missing(t, "DNS-SD announcements of the lab: %v", notes)
	}
	p := planOf(t, "[[site]]\nname = \"All\"\ntargets = [\"127.20.1.0/26\", \"127.20.2.0/26\", \"127.20.3.0/26\"]\n")
	p.browseOn = loopbackInterfaces()
	devices := l.Devices()
	i := slices.IndexFunc(devices, func(d lab.Device) bool { return d.Printer && !d.Silent && d.IPPPort != 0 && d.UUID != "" })
	if i < 0 {
		t.Fatal("no device of the lab speaks IPP")
	}
	got, err := p.find(ctx, "uuid:"+devices[i].UUID)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.targets) != 1 || got.targets[0].Addr != devices[i].Addr {
		t.Errorf("found at %v, want %s", got.targets, devices[i].Addr)
	}
	if len(got.services) != 1 || got.services[0].TXT["rp"] == "" {
		t.Errorf("announced: %+v, want a service with its path", got.services)
	}
	if got.site == nil || got.site.Name != "All" {
		t.Error("its site is not known")
	}
	if _, err := p.find(ctx, "uuid:00000000-0000-4000-8000-000000000001"); !notFound(err) {
		t.Errorf("an unknown UUID: got %v", err)
	}
}
