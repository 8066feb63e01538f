package send

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"printround/internal/device"
	"printround/internal/ipp/act"
	"printround/internal/media"
)

// Medium is what is printed on.
type Medium struct {
	Name          string  // as the device calls it, or of PWG 5101.1
	Width, Length float64 // of the page, mm
	Tray          string  // media-source keyword; empty: the device chooses
	Type          string  // media-type; may be empty
	roll          bool    // or labels
	open          bool    // the length is ours
}

func (m Medium) String() string {
	s := fmt.Sprintf("%s, %s x %s mm", m.Name, millimetres(m.Width), millimetres(m.Length))
	if m.Name == "" {
		s = s[2:]
	}
	if m.open {
		s += " of the roll"
	}
	return s
}

func millimetres(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }

// Lengths of a page on a roll, mm: for narrow ones and for wide ones.
const (
	narrowLength = 150.0
	wideLength   = 297.0
)

// medium settles what is printed on, and from where.
func (p *Plan) medium(o *act.Offer, d *device.Device, w Wish) error {
	loaded := loadedMedia(o)
	var err error
	if w.Tray != "" {
		p.Medium, err = fromTray(o, d, loaded, w)
	} else {
		p.Medium, err = p.fromAny(o, loaded, w)
	}
	if err != nil {
		return err
	}
	if p.Medium.roll && w.Media == "" {
		return refuse("--media "+quoted(p.Medium.Name), "%s is loaded: rolls and labels are printed on only when --media names them", p.Medium.Name)
	}
	if p.Medium.Width == 0 || p.Medium.Length == 0 && !p.Medium.roll {
		return refuse("give a name that tells its size, such as iso_a4_210x297mm", "how large %s is, is not known", quoted(p.Medium.Name))
	}
	if p.Medium.Length == 0 {
		p.Medium.open, p.Medium.Length = true, narrowLength
		if p.Medium.Width >= narrowLength {
			p.Medium.Length = wideLength
		}
	}
	return p.ask(o, w)
}

// ask puts the medium into the job: by size and tray where the device takes
// that, else by name.
func (p *Plan) ask(o *act.Offer, w Wish) error {
	byParts := (len(o.Creation) == 0 || slices.Contains(o.Creation, "media-col")) && slices.Contains(o.MediaCol, "media-size")
	size := act.Size{Width: int(math.Round(p.Medium.Width * 100)), Length: int(math.Round(p.Medium.Length * 100))}
	switch {
	case w.Tray != "" && byParts && slices.Contains(o.MediaCol, "media-source"):
		p.Settings.Size, p.Settings.Source = size, p.Medium.Tray
	case w.Tray != "" && slices.Contains(o.Media, p.Medium.Tray):
		p.Settings.Media = p.Medium.Tray // older printers take the name of a tray as a medium (RFC 8011 section 5.2.11)
	case w.Tray != "":
		return refuse("leave out --tray and choose the medium with --media", "the device does not let a job choose a tray over IPP")
	case p.Medium.open && byParts:
		p.Settings.Size = size
	case p.Medium.Name != "":
		p.Settings.Media = p.Medium.Name
	default:
		p.Settings.Size = size
	}
	return nil
}

// loadedMedia lists what is ready: media-col-ready, and those of media-ready
// that are not among them.
func loadedMedia(o *act.Offer) []Medium {
	var out []Medium
	for _, m := range o.Loaded {
		x := Medium{Name: word(m.Name), Tray: word(m.Source), Type: word(m.Type), Width: float64(m.Width) / 100, Length: float64(m.Length) / 100}
		x.nameSize(m.Open, o)
		x.roll = x.roll || m.Open || isRoll(x)
		out = append(out, x)
	}
	for _, n := range o.MediaReady {
		x := Medium{Name: word(n)}
		x.nameSize(false, o)
		x.roll = isRoll(x)
		if !slices.ContainsFunc(out, func(y Medium) bool { return y.Name == x.Name || sameSize(x, y) }) {
			out = append(out, x)
		}
	}
	return out
}

// nameSize completes a medium: its size by its name, or its name by its size.
func (m *Medium) nameSize(open bool, o *act.Offer) {
	if m.Width == 0 {
		m.Width, m.Length = sizeOf(m.Name)
	}
	if m.Name != "" || open || m.Width == 0 || m.Length == 0 {
		return
	}
	for _, n := range slices.Concat(o.MediaReady, o.Media) {
		if w, l := sizeOf(n); near(w, m.Width) && near(l, m.Length) {
			m.Name = word(n)
			return
		}
	}
	if s, ok := media.BySize(m.Width, m.Length); ok && near(s.Width, m.Width) {
		m.Name = s.Name
	}
}

// sizeOf reads the size of a medium from its name, mm; the length of a roll is
// 0.
func sizeOf(name string) (width, length float64) {
	if s, ok := media.ByName(name); ok {
		return s.Width, s.Length
	}
	// The length 0 of a roll is no size that a table has.
	i := strings.LastIndexByte(name, '_')
	w, rest, ok := strings.Cut(name[i+1:], "x0")
	unit, good := map[string]float64{"mm": 1, "in": 25.4}[rest]
	if v, err := strconv.ParseFloat(w, 64); ok && good && err == nil && v > 0 && v < 5000 {
		return v * unit, 0
	}
	return 0, 0
}

func near(a, b float64) bool { return math.Abs(a-b) <= 0.5 }

func sameSize(a, b Medium) bool {
	return a.Width > 0 && near(a.Width, b.Width) && near(a.Length, b.Length)
}

// isRoll reports whether a medium is a roll or labels, by what it is called
// (media-type of PWG 5100.3, class names of PWG 5101.1) and by its size.
func isRoll(m Medium) bool {
	for _, s := range []string{m.Name, m.Type, m.Tray} {
		for _, sign := range []string{"roll", "label", "continuous", "receipt"} {
			if strings.Contains(strings.ToLower(s), sign) {
				return true
			}
		}
	}
	return m.Width > 0 && m.Length == 0
}

// fromTray finds the medium of the tray that is wanted.
func fromTray(o *act.Offer, d *device.Device, loaded []Medium, w Wish) (Medium, error) {
	source := ""
	for i, s := range o.Sources {
		byName := len(o.Sources) == len(d.Trays) && strings.EqualFold(string(d.Trays[i].Name), w.Tray)
		if strings.EqualFold(word(s), w.Tray) || byName {
			source = word(s)
		}
	}
	for _, m := range loaded {
		if strings.EqualFold(m.Tray, w.Tray) {
			source = m.Tray
		}
	}
	if source == "" {
		return Medium{}, refuse("give one of these", "the device has no tray %s: it names %s", quoted(w.Tray), list(trayNames(o, d), "none"))
	}
	var there []string
	for _, m := range loaded {
		if m.Tray != source {
			continue
		}
		if w.Media == "" || matches(m, w.Media) {
			return m, nil
		}
		there = append(there, m.Name)
	}
	switch {
	case len(there) > 0:
		return Medium{}, refuse("load it, or leave out --media", "%s holds %s, not %s", source, strings.Join(there, ", "), quoted(w.Media))
	case slices.ContainsFunc(loaded, func(m Medium) bool { return m.Tray != "" }):
		return Medium{}, refuse("load it, or take another tray", "nothing is ready in %s", source)
	}
	return named(w.Media, o, source)
}

// named is a medium that is only known by its name: the one that is wanted,
// else the device's default.
func named(name string, o *act.Offer, tray string) (Medium, error) {
	if name == "" {
		name = o.MediaDefault
	}
	if name == "" {
		return Medium{}, refuse("name it with --media, such as iso_a4_210x297mm", "the device tells neither what is loaded nor its default medium")
	}
	m := Medium{Name: word(name), Tray: tray}
	if s, ok := media.ByName(name); ok {
		m.Name = s.Name
	}
	m.nameSize(false, o)
	m.roll = isRoll(m)
	return m, nil
}

func trayNames(o *act.Offer, d *device.Device) []string {
	var out []string
	for i, s := range o.Sources {
		name := word(s)
		if len(o.Sources) == len(d.Trays) && d.Trays[i].Name != "" {
			name += fmt.Sprintf(" (%s)", d.Trays[i].Name)
		}
		out = append(out, name)
	}
	return out
}

// matches reports whether a loaded medium is what a name means.
func matches(m Medium, name string) bool {
	if strings.EqualFold(m.Name, name) {
		return true
	}
	w, l := sizeOf(name)
	return w > 0 && near(m.Width, w) && (near(m.Length, l) || m.roll && m.Length == 0)
}

// fromAny finds the medium that is wanted, or the best of what is ready.
func (p *Plan) fromAny(o *act.Offer, loaded []Medium, w Wish) (Medium, error) {
	if w.Media != "" {
		return p.wanted(o, loaded, w.Media)
	}
	byDefault := func(m Medium) bool { return o.MediaDefault != "" && matches(m, word(o.MediaDefault)) }
	if len(loaded) == 0 {
		p.note("the device does not tell what is loaded: if it is another medium, it stops and asks")
		return named("", o, "")
	}
	if !slices.ContainsFunc(loaded, byDefault) && o.MediaDefault != "" {
		p.note("its default medium %s is in no tray", word(o.MediaDefault))
	}
	prefer := []func(Medium) bool{
		func(m Medium) bool { return byDefault(m) && !m.roll },
		func(m Medium) bool { return !m.roll && matches(m, "iso_a4_210x297mm") },
		func(m Medium) bool { return !m.roll && matches(m, "na_letter_8.5x11in") },
		func(m Medium) bool { return !m.roll && m.Width > 0 && m.Length > 0 },
	}
	for _, good := range prefer {
		if i := slices.IndexFunc(loaded, good); i >= 0 {
			return chosen(loaded[i]), nil
		}
	}
	return chosen(loaded[0]), nil // a roll or labels, which are refused
}

// chosen leaves the tray to the device: it knows which of several holds more.
func chosen(m Medium) Medium {
	m.Tray = ""
	return m
}

func (p *Plan) wanted(o *act.Offer, loaded []Medium, name string) (Medium, error) {
	if i := slices.IndexFunc(loaded, func(m Medium) bool { return matches(m, name) }); i >= 0 {
		m := chosen(loaded[i])
		if _, l := sizeOf(name); m.roll && m.Length == 0 {
			m.Length = l
		}
		return m, nil
	}
	if len(loaded) > 0 {
		var there []string
		for _, m := range loaded {
			there = append(there, cmp.Or(m.Name, millimetres(m.Width)+" mm wide"))
		}
		return Medium{}, refuse("load it, or take one of these", "%s is in no tray, so the device would stop and ask for it; ready are: %s", quoted(name), list(there, ""))
	}
	p.note("the device does not tell what is loaded: if it is not %s, it stops and asks", word(name))
	return named(name, o, "")
}

func quoted(s string) string {
	if strings.ContainsAny(s, " '\"") || s == "" {
		return strconv.Quote(s)
	}
	return word(s)
}
