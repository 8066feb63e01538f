package survey

import (
	"strings"

	"printround/internal/device"
)

// sketch is what the survey keeps in memory of one view of a device, while the
// view itself lies on the shelf: all that tells devices apart, pairs their
// views and compares models.
type sketch struct {
	at        ref
	index     int // hrDeviceIndex, of a view over SNMP
	role      device.Role
	id        identity
	uuid      device.Text // as the device shows it, like the next three
	serial    device.Text
	makeModel device.Text
	firmware  device.Text
	name      device.Text
	path      string // of the IPP URI
	languages []device.Language
	life      int64 // pages counted; 0: not known
	facts     int
	answered  bool // over the protocol of the view
	errors    []device.Problem
}

// sketchOf puts a view on the shelf and returns what is kept of it.
func sketchOf(v *device.Device, shelf *Shelf) *sketch {
	s := &sketch{
		at: shelf.put(v), role: v.Role, id: identityOf(v),
		uuid: v.UUID, serial: v.Serial, makeModel: v.MakeModel, firmware: v.Firmware, name: v.Name,
		languages: families(v.Languages), facts: factsOf(v),
		answered: v.Reached.SNMP.OK || v.Reached.IPP.OK, errors: v.Errors,
	}
	if uri := string(v.Reached.IPP.URI); uri != "" {
		s.path = strings.Clone(resourcePath(uri)) // without the rest of the URI
	}
	if c := v.Counters.Life.Value; c != nil && *c > 0 {
		s.life = *c
	}
	return s
}

func sketchesOf(views []device.Device, shelf *Shelf) []*sketch {
	var out []*sketch
	for i := range views {
		v := views[i] // on its own, so that it can go without the others
		out = append(out, sketchOf(&v, shelf))
	}
	return out
}

func factsOf(v *device.Device) int {
	return 4 + len(v.Supplies) + len(v.Trays) + len(v.Alerts) + v.Reached.SNMP.Values/50
}

// families are the page languages without their versions.
func families(list []device.Language) []device.Language {
	if len(list) == 0 {
		return nil
	}
	out := make([]device.Language, len(list))
	for i, l := range list {
		out[i].Family = l.Family
	}
	return out
}

// words keeps one copy of what many devices have in common. A survey's own
// goroutine fills it.
type words struct {
	texts     map[string]string
	languages map[string][]device.Language
}

func (w *words) text(s string) string {
	if s == "" {
		return ""
	}
	if old, ok := w.texts[s]; ok {
		return old
	}
	if w.texts == nil {
		w.texts = map[string]string{}
	}
	w.texts[s] = s
	return s
}

func (w *words) families(list []device.Language) []device.Language {
	if len(list) == 0 {
		return nil
	}
	var b strings.Builder
	for _, l := range list {
		b.WriteString(string(l.Family))
		b.WriteByte(0)
	}
	if old, ok := w.languages[b.String()]; ok {
		return old
	}
	if w.languages == nil {
		w.languages = map[string][]device.Language{}
	}
	w.languages[b.String()] = list
	return list
}

// share makes a sketch use the copies of w.
func (w *words) share(list []*sketch) {
	for _, s := range list {
		s.makeModel = device.Text(w.text(string(s.makeModel)))
		s.firmware = device.Text(w.text(string(s.firmware)))
		s.id.model, s.path = w.text(s.id.model), w.text(s.path)
		s.languages = w.families(s.languages)
	}
}
