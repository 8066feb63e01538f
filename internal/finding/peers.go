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
	peers := map[model]*peerGroup{}
	for i := range devices {
		d := &devices[i]
		m := modelOf(d)
		if m.name == "" {
			continue
		}
		if peers[m] == nil {
			peers[m] = &peerGroup{}
		}
		peers[m].size++
		for k, want := range compared {
			if speaks(d, want) {
				peers[m].have[k]++
			}
		}
	}
	for i := range devices {
		own := options(&devices[i])
		own.peerLanguages = peers[modelOf(&devices[i])].expected(&devices[i])
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
var compared = [...]string{"langPS", "langPDF", "langPCL", "langPCLXL"}

// peerGroup counts the devices of a model and those that interpret each of the
// languages compared.
type peerGroup struct {
	size int
	have [len(compared)]int
}

// expected returns the languages that every other device of the group has. A
// nil group is empty.
func (g *peerGroup) expected(self *device.Device) []string {
	if g == nil || g.size-1 < minPeers {
		return nil
	}
	var all []string
	for k, want := range compared {
		others := g.have[k]
		if speaks(self, want) {
			others--
		}
		if others == g.size-1 {
			all = append(all, want)
		}
	}
	return all
}

// speaks reports whether a device interprets a page language.
func speaks(d *device.Device, want string) bool {
	return slices.ContainsFunc(d.Languages, func(l device.Language) bool { return sameLanguage(string(l.Family), want) })
}
