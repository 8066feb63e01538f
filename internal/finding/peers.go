package finding

import (
	"slices"

	"printround/internal/device"
)

// JudgeAll judges the devices of a survey, each by its own facts and by what
// equal models have: a page language that every other device of a model
// interprets is expected of it too.
func JudgeAll(devices []device.Device, o Options) {
	JudgeEach(devices, func(*device.Device) Options { return o })
}

// JudgeEach is JudgeAll for devices of several sites, each with its own
// thresholds and norms.
func JudgeEach(devices []device.Device, options func(*device.Device) Options) {
	groups := map[model][]int{}
	for i := range devices {
		if m := modelOf(&devices[i]); m.name != "" {
			groups[m] = append(groups[m], i)
		}
	}
	for i := range devices {
		own := options(&devices[i])
		own.peerLanguages = peerLanguages(devices, groups[modelOf(&devices[i])], i)
		Judge(&devices[i], own)
	}
}

// model says which devices can be compared: the same make and model, and the
// languages told by the same table. The interpreters of the Printer MIB are the
// whole list; the document formats of IPP are not.
type model struct {
	name device.Text
	snmp bool
}

func modelOf(d *device.Device) model {
	if len(d.Languages) == 0 || d.Role == device.RoleServerQueue {
		return model{}
	}
	return model{d.MakeModel, d.Reached.SNMP.OK}
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
