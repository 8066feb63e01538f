package main

import (
	"fmt"
	"slices"

	"printround/internal/device"
	"printround/internal/survey"
)

// sweepStatus is the exit status of a finished sweep.
func (p *plan) sweepStatus(s *device.Survey) int {
	return p.statusOf(s, anyAnswered(s.Devices), worst(ranked(s.Devices)))
}

// statusOf is the same for a survey whose devices are elsewhere: answered says
// whether any of them gave a sign, worst is the level of those that are ranked.
func (p *plan) statusOf(s *device.Survey, answered bool, worst device.Attention) int {
	switch {
	case p.nothingAsked(s):
		return p.nothingLeft()
	case s.Partial:
		return exitFailed
	case s.Scope.Answered == 0 && !answered:
		return exitSilent
	case p.show.exitAttention:
		return levelStatus(worst)
	}
	return exitDone
}

// ranked leaves out queues that a server keeps: they are no devices and have no
// place in the ranking.
func ranked(devices []device.Device) []device.Device {
	return slices.DeleteFunc(slices.Clone(devices), func(d device.Device) bool { return d.Role == device.RoleServerQueue })
}

// nothingAsked reports that no target was left to ask.
func (p *plan) nothingAsked(s *device.Survey) bool {
	return s.Scope.Addresses == 0 && len(p.problems) > 0
}

// nothingLeft is the exit status when no target was left to ask: a target that
// cannot be meant is a usage error, a file that cannot be read a failure, and
// a name that nobody knows no answer.
func (p *plan) nothingLeft() int {
	status := exitSilent
	for _, q := range p.problems {
		switch q.Stage {
		case "target":
			return exitUsage
		case "name":
		default:
			status = exitFailed
		}
	}
	return status
}

// namedStatus is the exit status of a command that does its work with the
// device that was named, if one was and answered, and without.
func namedStatus(devices []device.Device) int {
	if len(devices) > 0 && !anyAnswered(devices) {
		return exitSilent
	}
	return exitDone
}

// attentionStatus is the exit status that the worst device calls for. The
// order is 4, 5, 3, 0: a device that cannot print is worse than one that does
// not answer.
func attentionStatus(devices []device.Device) int { return levelStatus(worst(devices)) }

func levelStatus(worst device.Attention) int {
	switch worst {
	case device.Stopped:
		return exitStopped
	case device.Silent:
		return exitSilent
	case device.Impaired, device.Due:
		return exitAttention
	}
	return exitDone
}

func anyAnswered(devices []device.Device) bool {
	for i := range devices {
		if survey.Answered(&devices[i]) {
			return true
		}
	}
	return false
}

func siteName(j job) string {
	if j.site == nil {
		return ""
	}
	return fmt.Sprintf("site %q: ", j.site.Name)
}
