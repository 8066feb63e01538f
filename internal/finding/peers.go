package finding

import "printround/internal/device"

// JudgeAll judges the devices of a survey, each by its own facts and by what
// equal models have: a page language that every other device of a model
// interprets is expected of it too.
func JudgeAll(devices []device.Device, o Options) {
	JudgeEach(devices, func(*device.Device) Options { return o })
}

// JudgeEach is JudgeAll for devices of several sites, each with its own
// thresholds and norms.
func JudgeEach(devices []device.Device, options func(*device.Device) Options) {
	var peers Peers
	for i := range devices {
		peers.Add(&devices[i])
	}
	for i := range devices {
		peers.Judge(&devices[i], options(&devices[i]))
	}
}

// Peers is what the devices of a survey have in common, model by model. It is
// filled first, and then each of these devices is judged by it; of a device it
// keeps nothing but a count. The zero Peers is empty.
type Peers struct {
	groups   map[model]*peerGroup
	versions versions
}

// Add counts a device. It looks at model, role, page languages, firmware and
// whether SNMP answered, and may be given no more than these.
func (p *Peers) Add(d *device.Device) {
	p.versions.add(d)
	m := modelOf(d)
	if m.name == "" {
		return
	}
	g := p.groups[m]
	if g == nil {
		if p.groups == nil {
			p.groups = map[model]*peerGroup{}
		}
		g = &peerGroup{}
		p.groups[m] = g
	}
	g.size++
	speaks := interprets(d)
	for k := range compared {
		if speaks[k] {
			g.have[k]++
		}
	}
}

// Judge judges a device that was added. Several may be judged at the same time.
func (p *Peers) Judge(d *device.Device, o Options) { Judge(d, p.Options(d, o)) }

// Options adds to the options for a device what equal models have.
func (p *Peers) Options(d *device.Device, o Options) Options {
	o.peerFirmware = p.versions.usual(d)
	o.peerLanguages = p.groups[modelOf(d)].expected(d)
	return o
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

// foldedCompared are the same as foldLanguage has them.
var foldedCompared = func() (folded [len(compared)]string) {
	for k, want := range compared {
		folded[k] = foldLanguage(want)
	}
	return folded
}()

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
	speaks := interprets(self)
	for k, want := range compared {
		others := g.have[k]
		if speaks[k] {
			others--
		}
		if others == g.size-1 {
			all = append(all, want)
		}
	}
	return all
}

// interprets tells which of the languages compared a device interprets.
func interprets(d *device.Device) (speaks [len(compared)]bool) {
	for i := range d.Languages {
		l := foldLanguage(string(d.Languages[i].Family))
		for k, want := range foldedCompared {
			speaks[k] = speaks[k] || l == want
		}
	}
	return speaks
}

// versions counts the firmware of devices by make and model.
type versions map[device.Text]map[device.Text]int

func (v *versions) add(d *device.Device) {
	if d.Firmware == "" || d.MakeModel == "" || d.Role == device.RoleServerQueue {
		return
	}
	if *v == nil {
		*v = versions{}
	}
	if (*v)[d.MakeModel] == nil {
		(*v)[d.MakeModel] = map[device.Text]int{}
	}
	(*v)[d.MakeModel][d.Firmware]++
}

// usual is the firmware that more than half of the devices of the model have,
// of at least three; empty when there is none.
func (v versions) usual(d *device.Device) device.Text {
	all, most := 0, device.Text("")
	of := v[d.MakeModel]
	for version, n := range of {
		all += n
		if most == "" || n > of[most] {
			most = version
		}
	}
	if all <= minPeers || 2*of[most] <= all {
		return ""
	}
	return most
}
