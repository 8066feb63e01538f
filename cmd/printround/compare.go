package main

import (
	"slices"

	"printround/internal/device"
	"printround/internal/finding"
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
