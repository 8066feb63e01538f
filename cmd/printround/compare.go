package main

import (
	"io"
	"slices"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/report"
	"printround/internal/survey"
)

// compare adds what changed since an earlier survey. Devices of that survey
// which this one did not look for are not called gone, and none is after a
// survey that is partial.
func compare(before, now *device.Survey, jobs []job) {
	var here survey.Directory
	for i := range now.Devices {
		here.Add(&now.Devices[i])
	}
	b := *before
	b.Devices = slices.DeleteFunc(slices.Clone(before.Devices), func(d device.Device) bool {
		for _, j := range jobs {
			for _, a := range d.Addresses {
				if j.scope.Contains(a) {
					return false
				}
			}
		}
		return !here.Has(&d)
	})
	now.Changes = finding.Compare(&b, now)
	if now.Partial {
		now.Changes.Gone = nil // they may just not have been asked
	}
}

// loadEarlier reads a survey to compare with: of each device what it is called
// and what was the matter with it. The rest of a large estate would take
// hundreds of megabytes.
func loadEarlier(path string) (*device.Survey, error) {
	return fromFile(path, func(r io.Reader) (*device.Survey, error) { return report.ReadBrief(r, remembered) })
}

func remembered(d *device.Device) device.Device {
	out := finding.Comparable(d)
	out.Site, out.Location, out.Serial, out.UUID, out.MAC, out.Sole = d.Site, d.Location, d.Serial, d.UUID, d.MAC, d.Sole
	out.Reached, out.Urgency, out.Firmware = d.Reached, d.Urgency, d.Firmware
	out.Reached.IPP.TLS = nil
	return out
}
