package report

import (
	"strings"

	"printround/internal/device"
	"printround/internal/term"
)

// severalSites reports whether the devices belong to more than one site.
func severalSites(devices []*device.Device) bool {
	for _, d := range devices {
		if d.Site != devices[0].Site {
			return true
		}
	}
	return false
}

// tails are what tells devices of one name apart, best first.
var tails = []func(*device.Device) string{
	func(d *device.Device) string { return string(d.Location) },
	func(d *device.Device) string { return string(d.Hostname) },
	(*device.Device).FirstAddress,
	func(d *device.Device) string { return string(d.Serial) },
	func(d *device.Device) string { return d.Key },
}

// names returns the name of each device, and makes those different that look
// the same in a table with cells of width: to a name that occurs again beside
// the same place, something is added after a line break by which the devices
// differ. where holds the place column as shown, or is nil when the page has
// none.
func names(s style, devices []*device.Device, where []string, width int) []string {
	out, shown := make([]string, len(devices)), make([]string, len(devices))
	for i, d := range devices {
		out[i] = s.text(d.Label())
		shown[i] = s.cut(out[i], width)
	}
	for _, tail := range tails {
		for _, group := range lookalikes(shown, where) {
			if !distinct(s, devices, group, tail) {
				continue
			}
			for _, i := range group {
				out[i] = s.text(devices[i].Label()) + "\n" + s.text(tail(devices[i]))
				shown[i] = s.oneLine(out[i], width)
			}
		}
	}
	return out
}

// lookalikes returns the rows that cannot be told apart, as lists of indices.
func lookalikes(shown, where []string) [][]int {
	first := map[string]int{} // row -> its place in groups
	var groups [][]int
	for i, v := range shown {
		if where != nil {
			v += "\x00" + where[i]
		}
		n, ok := first[v]
		if !ok {
			n = len(groups)
			first[v], groups = n, append(groups, nil)
		}
		groups[n] = append(groups[n], i)
	}
	out := groups[:0]
	for _, g := range groups {
		if len(g) > 1 {
			out = append(out, g)
		}
	}
	return out
}

// distinct reports whether a tail exists for every device of the group and is
// not the same for all of them.
func distinct(s style, devices []*device.Device, group []int, tail func(*device.Device) string) bool {
	differ := false
	first := s.text(tail(devices[group[0]]))
	for _, i := range group {
		t := s.text(tail(devices[i]))
		if t == "" || t == "?" {
			return false
		}
		differ = differ || t != first
	}
	return differ
}

// oneLine joins a name and its tail in width cells. The name is cut before the
// tail is, and the tail from the left: addresses and serials differ at their
// end.
func (s style) oneLine(v string, width int) string {
	const least = 6 // cells of a name that still say something
	name, tail, ok := strings.Cut(v, "\n")
	if !ok {
		return s.cut(v, width)
	}
	room := width - term.DisplayWidth(tail) - 1
	if room >= least || room >= term.DisplayWidth(name) {
		return s.cut(name, room) + " " + tail
	}
	return s.cutLeft(tail, width)
}

// broken breaks a cell into at most max lines of width cells; a name and its
// tail get lines of their own.
func (s style) broken(v string, width, max int) []string {
	name, tail, ok := strings.Cut(v, "\n")
	switch {
	case !ok:
		return term.Wrap(v, width, max, s.mark())
	case max < 2:
		return []string{s.oneLine(v, width)}
	}
	return append(term.Wrap(name, width, max-1, s.mark()), s.cutLeft(tail, width))
}

// cutLeft keeps the end of v.
func (s style) cutLeft(v string, width int) string {
	if term.DisplayWidth(v) <= width {
		return v
	}
	runes := []rune(v)
	for len(runes) > 0 && term.DisplayWidth(s.mark()+string(runes)) > width {
		runes = runes[1:]
	}
	return s.cut(s.mark()+string(runes), width)
}
