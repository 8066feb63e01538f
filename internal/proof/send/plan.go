package send

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/ipp/act"
	"printround/internal/proof"
)

// Wish is what a person wants. What is empty is chosen.
type Wish struct {
	As    proof.Format
	Media string // a name of a medium, as the device or PWG 5101.1 has it
	Sides string // IPP sides keyword
	Tray  string // media-source keyword, or the device's own name of a tray
}

// Refused says why no page is sent, and what to do about it.
type Refused struct{ Reason, Hint string }

func (r *Refused) Error() string { return r.Reason }

func refuse(hint, format string, args ...any) error {
	return &Refused{Reason: fmt.Sprintf(format, args...), Hint: hint}
}

// Plan is what will be sent. Its texts are clean.
type Plan struct {
	Format   proof.Format
	Medium   Medium
	Sides    string // IPP sides keyword; empty: the device has one way only
	Color    bool
	Notes    []string // what to know before it is sent
	Settings act.Settings
	raster   proof.Raster
}

// JobName is the name that jobs have.
const JobName = "printround proof"

// Settle finds out how to print on the device, or why not.
func Settle(o act.Offer, d *device.Device, w Wish) (*Plan, error) {
	p := &Plan{Settings: act.Settings{Name: JobName}}
	for _, step := range []func(*act.Offer, *device.Device, Wish) error{p.ready, p.sides, p.color, p.medium, p.format} {
		if err := step(&o, d, w); err != nil {
			return nil, err
		}
	}
	if offered(&o, "print-scaling", o.Scaling, "none") {
		p.Settings.Scaling = "none"
	} else if p.Format == proof.PDF {
		p.note("the device cannot be told to print without scaling: measure the rulers before anything else")
	}
	return p, nil
}

func (p *Plan) note(format string, args ...any) {
	p.Notes = append(p.Notes, fmt.Sprintf(format, args...))
}

// ready checks whether the device takes jobs at all, and says what may hold one
// up.
func (p *Plan) ready(o *act.Offer, _ *device.Device, _ Wish) error {
	if o.Accepting != nil && !*o.Accepting {
		return refuse("find out why at the device: its panel, its web page, or whoever looks after it",
			"the device takes no jobs (printer-is-accepting-jobs is false)")
	}
	switch o.Authentication {
	case "", "none", "requesting-user-name":
	default:
		return refuse("allow printing without a password from this computer, or print another way",
			"the device wants a user name and password for printing (%s), and printround sends none", word(o.Authentication))
	}
	if o.State == ipp.PrinterStateStopped {
		p.note("the device is stopped%s: the page waits until that is cleared", reasons(o.Reasons, o.Message))
	}
	if o.Queued != nil && *o.Queued > 0 {
		p.note("%d jobs are in its queue: the page comes after them", *o.Queued)
	}
	if o.HoldUntil != "" && o.HoldUntil != "no-hold" {
		p.note("the device holds new jobs (%s): the page waits until it is released at the panel", word(o.HoldUntil))
	}
	return nil
}

func (p *Plan) sides(o *act.Offer, _ *device.Device, w Wish) error {
	p.Sides = cmp.Or(w.Sides, "one-sided")
	switch {
	case slices.Contains(o.Sides, p.Sides):
		p.Settings.Sides = p.Sides
	case p.Sides == "one-sided":
		p.Sides = ""
	default:
		return refuse("leave out --sides", "the device does not print %s: it offers %s", p.Sides, list(o.Sides, "no other way than its own"))
	}
	return nil
}

// color decides whether the page has the elements in colour.
func (p *Plan) color(o *act.Offer, _ *device.Device, _ Wish) error {
	p.Color = slices.Contains(o.ColorModes, "color")
	if o.Color != nil {
		p.Color = *o.Color
	}
	if p.Color && offered(o, "print-color-mode", o.ColorModes, "color") {
		p.Settings.ColorMode = "color"
	}
	return nil
}

// offered reports whether a job may ask for a value of an attribute.
func offered(o *act.Offer, attribute string, values []string, value string) bool {
	return slices.Contains(values, value) && (len(o.Creation) == 0 || slices.Contains(o.Creation, attribute))
}

// asItIs is the format of data that the device is to recognise by itself.
const asItIs = "application/octet-stream"

// format chooses the page language: the first of ours that the device lists,
// or the one that is wanted.
func (p *Plan) format(o *act.Offer, _ *device.Device, w Wish) error {
	can := map[proof.Format]error{}
	for _, f := range proof.Formats() {
		switch {
		case !slices.Contains(o.Formats, f.MIME()):
			can[f] = refuse("leave out --as, or take one that it lists", "the device does not list %s (%s): it lists %s", f.Title(), f.MIME(), list(o.Formats, "no formats"))
		case f == proof.PWGRaster:
			can[f] = p.rasterOf(o)
		default:
			can[f] = nil
		}
	}
	if w.As == "" {
		for _, f := range proof.Formats() {
			if can[f] == nil {
				p.use(f, f.MIME(), o)
				return nil
			}
		}
		return refuse("--as sends one of them all the same, if the device takes data of any kind",
			"the device lists no page language of ours (PDF, PWG raster, PostScript, plain text): it lists %s", list(o.Formats, "none"))
	}
	switch {
	case can[w.As] == nil:
		p.use(w.As, w.As.MIME(), o)
	case slices.Contains(o.Formats, asItIs) && !slices.Contains(o.Formats, w.As.MIME()):
		p.use(w.As, asItIs, o)
		p.note("the device does not list %s: it is sent as data of any kind, and may come out as pages of strange characters", w.As.Title())
	default:
		return can[w.As]
	}
	return nil
}

func (p *Plan) use(f proof.Format, mime string, o *act.Offer) {
	p.Format, p.Settings.Format = f, mime
	if f == proof.PWGRaster {
		p.raster = proof.Raster{
			Resolution: resolution(o), SheetBack: o.SheetBack, Media: p.Medium.Name, MediaType: word(p.Medium.Type),
		}
		p.Color = p.Color && (len(o.RasterTypes) == 0 || slices.Contains(o.RasterTypes, rasterColor))
	}
}

// Types of raster that we write (PWG 5102.4).
const (
	rasterColor = "srgb_8"
	rasterGray  = "sgray_8"
)

// rasterOf says whether the device takes raster of a kind that we write. One
// that lists no kinds takes those that it must (PWG 5100.14 section 5.1, from
// memory).
func (p *Plan) rasterOf(o *act.Offer) error {
	if len(o.RasterTypes) == 0 || slices.Contains(o.RasterTypes, rasterGray) || p.Color && slices.Contains(o.RasterTypes, rasterColor) {
		if !p.Color && len(o.RasterTypes) > 0 && !slices.Contains(o.RasterTypes, rasterGray) {
			return refuse("take another --as", "the device takes raster as %s only", list(o.RasterTypes, ""))
		}
		return nil
	}
	return refuse("take another --as", "the device takes raster as %s, and printround writes %s and %s", list(o.RasterTypes, ""), rasterGray, rasterColor)
}

// mostResolution is the finest raster that is sent if there is a choice: more
// would not show more of the elements (common practice, no source).
const mostResolution = 600

// resolution is the finest one up to mostResolution, else the coarsest.
func resolution(o *act.Offer) int {
	able := o.RasterResolutions
	if len(able) == 0 {
		able = o.Resolutions
	}
	best := 0
	for _, r := range able {
		if r <= mostResolution || best == 0 {
			best = max(best, r)
		}
	}
	if best == 0 {
		return 300
	}
	return best
}

// Device are the facts of a device that its page shows: who it is, and no more.
func Device(d *device.Device) []proof.Fact {
	var out []proof.Fact
	add := func(name string, v device.Text) {
		if v != "" {
			out = append(out, proof.Fact{Name: name, Value: string(v)})
		}
	}
	add("name", d.Name)
	add("model", d.MakeModel)
	add("serial", d.Serial)
	add("location", d.Location)
	add("address", device.Text(d.FirstAddress()))
	add("firmware", device.CleanTo(string(d.Firmware), 60))
	return out
}

// Facts are the settings as the page shows them.
func (p *Plan) Facts() []proof.Fact {
	out := []proof.Fact{{Name: "sent as", Value: p.Format.Title()}, {Name: "media", Value: p.Medium.String()}}
	tray := "the device's choice"
	if p.Settings.Source != "" || p.Medium.Tray != "" {
		tray = p.Medium.Tray
	}
	colors := "black and white"
	if p.Color {
		colors = "colour, sent as sRGB"
	}
	out = append(out, proof.Fact{Name: "tray", Value: tray}, proof.Fact{Name: "sides", Value: cmp.Or(p.Sides, "one-sided")}, proof.Fact{Name: "colours", Value: colors})
	if p.Format == proof.PWGRaster {
		out = append(out, proof.Fact{Name: "raster", Value: fmt.Sprintf("%d dots an inch", p.raster.Resolution)})
	} else if p.Settings.Scaling != "" {
		out = append(out, proof.Fact{Name: "scaling", Value: p.Settings.Scaling})
	}
	return out
}

// Spec is the page for a device.
func (p *Plan) Spec(d *device.Device, made time.Time, version string) proof.Spec {
	return proof.Spec{
		Width: p.Medium.Width, Length: p.Medium.Length, Color: p.Color, Sides: p.Sides,
		Device: Device(d), Settings: p.Facts(), Made: made, Version: version,
	}
}

// Document makes the document.
func (p *Plan) Document(d *device.Device, made time.Time, version string) ([]byte, error) {
	var b bytes.Buffer
	err := proof.Write(&b, p.Format, p.Spec(d, made, version), p.raster)
	return b.Bytes(), err
}

// Ignored takes in what the device said that it would ignore or replace: a
// medium, a tray or sides are reasons to print nothing, the rest is noted.
func (p *Plan) Ignored(names []string) error {
	for _, n := range names {
		switch n {
		case "media", "media-col", "sides":
			return refuse("choose another with --media, --tray or --sides", "the device says that it would ignore the %s asked for", word(n))
		}
	}
	if len(names) > 0 {
		p.note("the device ignores %s", list(names, ""))
	}
	return nil
}

// word is a keyword or a short text from a device, clean.
func word(s string) string { return string(device.CleanTo(s, 64)) }

// list joins keywords of a device; none says what stands for none.
func list(all []string, none string) string {
	const most = 12
	if len(all) == 0 {
		return none
	}
	out := make([]string, 0, most)
	for i, s := range all {
		if i == most {
			return strings.Join(out, ", ") + ", …"
		}
		out = append(out, word(s))
	}
	return strings.Join(out, ", ")
}

// reasons are state reasons and the device's own message, in brackets.
func reasons(all []string, message string) string {
	var parts []string
	for _, r := range all {
		if r = word(r); r != "" && r != "none" {
			parts = append(parts, r)
		}
	}
	s := ""
	if len(parts) > 0 {
		s = " (" + list(parts, "") + ")"
	}
	if m := device.CleanTo(message, 160); m != "" {
		s += fmt.Sprintf(": %q", string(m))
	}
	return s
}
