package finding

import (
	"slices"

	"printround/internal/device"
)

// JudgeAll judges the devices of a survey, each by its own facts and by what
// equal models have: a page language that every other device of a model
// interprets is expected of it too.
func JudgeAll(devices []device.Device, o Options) {
	groups := map[model][]int{}
	for i := range devices {
		if m := modelOf(&devices[i]); m.name != "" {
			groups[m] = append(groups[m], i)
		}
	}
	for i := range devices {
		own := o
		own.peerLanguages = peerLanguages(devices, groups[modelOf(&devices[i])], i)
		Judge(&devices[i], own)
	}
}

// model says which devices can be compared: the same make and model, seen
// through the same protocols, which tell different things.
type model struct {
	name      device.Text
	snmp, ipp bool
}

func modelOf(d *device.Device) model {
	if len(d.Languages) == 0 || d.Role == device.RoleServerQueue {
		return model{}
	}
	return model{d.MakeModel, d.Reached.SNMP.OK, d.Reached.IPP.OK}
}

// minPeers is how many other devices of a model make a norm.
const minPeers = 2

// compared are the page languages that options and licences decide about
// (PrtInterpreterLangFamilyTC).
var compared = []string{"langPS", "langPDF", "langPCL", "langPCLXL"}

// peerLanguages returns the languages that every other device of the group has.
func peerLanguages(devices []device.Device, group []int, self int) []string {
	if len(group)-1 < minPeers {
		return nil
	}
	var all []string
	for _, want := range compared {
		everywhere := !slices.ContainsFunc(group, func(i int) bool {
			return i != self && !slices.ContainsFunc(devices[i].Languages, func(l device.Language) bool {
				return sameLanguage(string(l.Family), want)
			})
		})
		if everywhere {
			all = append(all, want)
		}
	}
	return all
}
