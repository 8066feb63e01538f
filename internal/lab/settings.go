package lab

import (
	"cmp"
	"crypto/x509"
	"fmt"
	"math/rand/v2"
	"net"
	"slices"
	"strings"
	"time"
)

// settings are what somebody can change at a machine without breaking it. The
// zero settings are those that the norms in the lab's site file want.
type settings struct {
	media      string // media-default
	sides      string // sides-default
	colorMode  string // print-color-mode-default
	resolution int    // printer-resolution-default, dots an inch
	bin        string // output-bin-default
	finishing  int    // finishings-default
	firmware   string
	clock      time.Duration // ahead of the time
}

// sidesDefault is the middle one of what is supported: the long edge where both
// sides can be printed on.
func (d *machine) sidesDefault() string {
	if d.set.sides != "" {
		return d.set.sides
	}
	s := d.sidesSupported()
	return s[len(s)/2]
}

func (d *machine) sidesSupported() []string {
	sides := []string{"one-sided"}
	if d.Duplex {
		sides = append(sides, "two-sided-long-edge", "two-sided-short-edge")
	}
	return sides
}

func (d *machine) colorModes() []string {
	if d.Color {
		return []string{"auto", "color", "monochrome"}
	}
	return []string{"monochrome"}
}

func (d *machine) colorModeDefault() string { return cmp.Or(d.set.colorMode, d.colorModes()[0]) }
func (d *machine) binDefault() string       { return cmp.Or(d.set.bin, d.bins[0].Keyword) }
func (d *machine) mediaDefault() string     { return cmp.Or(d.set.media, d.Trays[0].Media) }
func (d *machine) version() string          { return cmp.Or(d.set.firmware, d.Firmware) }
func (d *machine) resolutionDefault() int   { return cmp.Or(d.set.resolution, d.Resolution) }
func (d *machine) finishingDefault() int    { return cmp.Or(d.set.finishing, finishNone) }

// Values of finishings (RFC 8011 section 5.2.6).
const (
	finishNone   = 3
	finishStaple = 4
)

// punchPatterns are labels of FinPunchPatternTC (RFC 3806) that the models have.
var punchPatterns = map[int]string{5: "threeHoleUS", 6: "twoHoleDIN", 7: "fourHoleDIN"}

// pattern is the punch pattern of a finisher; 0: none.
func (f *finType) pattern() int {
	for _, n := range f.Numbers {
		if n.Type == "punchPattern" {
			return n.Value
		}
	}
	return 0
}

// writeNorms writes how the branch wants its models to be set: as they are
// delivered to the lab.
func (l *Lab) writeNorms(out *strings.Builder, branchID string) {
	written := map[string]bool{}
	for _, p := range l.scenario.Devices {
		m := l.scenario.model(p.Model)
		if p.Branch != branchID || written[m.ID] {
			continue
		}
		written[m.ID] = true
		newMachine(m, p, 0).writeNorm(out)
	}
}

func (d *machine) writeNorm(out *strings.Builder) {
	if rollFed(d) {
		return
	}
	fmt.Fprintf(out, "\n  [[site.norm]]\n  model = %q\n  media = %q\n  sides = %q\n  color_mode = %q\n  resolution_dpi = %d\n  output_bin = %q\n  finishings = [\"none\"]\n",
		d.Name, d.mediaDefault(), d.sidesDefault(), d.colorModeDefault(), d.resolutionDefault(), d.binDefault())
	var ready []string
	for _, t := range d.trays {
		if !t.Unsensed && !slices.Contains(ready, t.loaded) {
			ready = append(ready, t.loaded)
		}
	}
	fmt.Fprintf(out, "  ready_media = %s\n", list(ready))
	for _, f := range d.finishers {
		if p := f.pattern(); p != 0 {
			fmt.Fprintf(out, "  punch = [%q]\n", punchPatterns[p])
		}
	}
	for i, t := range d.trays {
		if t.Weight > 0 && !t.Unsensed {
			fmt.Fprintf(out, "    [[site.norm.tray]]\n    index = %d\n    type = %q\n    weight_gsm = %d\n", i+1, t.Type, t.Weight)
		}
	}
}

// vary changes settings in ways that harm nobody: a clock that is a little off,
// paper of nearly the same weight, a certificate that lasts a while, another
// word for plain paper.
func (d *machine) vary(seed int64, now time.Time) {
	r := random(seed, d.place.Name+"/settings")
	d.set.clock = time.Duration(r.IntN(501)-250) * time.Second
	d.certifiedUntil(now.AddDate(0, 0, 60+r.IntN(2000)))
	for i := range d.trays {
		t := &d.trays[i]
		if t.Weight > 0 {
			t.Weight += r.IntN(t.Weight/6+1) - t.Weight/12
		}
		if t.Type == "stationery" && r.IntN(2) == 0 {
			t.Type = []string{"plain", "Plain Paper"}[r.IntN(2)]
		}
	}
}

// certifiedUntil lets the certificate of a machine end then.
func (d *machine) certifiedUntil(until time.Time) {
	d.odd.ipp.encrypts = certified(func(c *x509.Certificate) { c.NotBefore, c.NotAfter = until.AddDate(-3, 0, 0), until }).encrypts
}

// unencrypted takes encryption from a machine.
func (d *machine) unencrypted() {
	d.odd.ipp.begins = func(c net.Conn, first byte, _ <-chan struct{}) bool {
		if first == handshake {
			c.Close()
		}
		return first == handshake
	}
}

// missettings are faults of settings. None is chosen at random: they are laid
// over a device by name.
var missettings = []fault{
	{shy: true, name: "derived-default-media", help: "the default medium is another one that is loaded", fits: severalMedia, needed: "IPP and trays of several sizes",
		finds: []string{"derived-default-media"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.set.media = otherMedium(d) }},
	{shy: true, name: "derived-default-sides", help: "the default is one side", fits: func(d *machine) bool { return hasIPP(d) && d.Duplex && sheetFed(d) }, needed: "IPP and two sides",
		finds: []string{"derived-default-sides"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.set.sides = "one-sided" }},
	{shy: true, name: "derived-default-color-mode", help: "the default is monochrome", fits: func(d *machine) bool { return hasIPP(d) && d.Color && sheetFed(d) }, needed: "IPP and colour",
		finds: []string{"derived-default-color-mode"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.set.colorMode = "monochrome" }},
	{shy: true, name: "derived-default-resolution", help: "the default resolution is half of the usual", fits: mismatchFits, needed: "IPP and sheets",
		finds: []string{"derived-default-resolution"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.set.resolution = d.Resolution / 2 }},
	{shy: true, name: "derived-default-output-bin", help: "the default output bin is the last one", fits: func(d *machine) bool { return mismatchFits(d) && len(d.bins) > 1 }, needed: "IPP and two bins",
		finds: []string{"derived-default-output-bin"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.set.bin = d.bins[len(d.bins)-1].Keyword }},
	{shy: true, name: "derived-default-finishings", help: "every job is stapled", fits: func(d *machine) bool { return hasIPP(d) && hasStock("staples")(d) }, needed: "IPP and a stapler",
		finds: []string{"derived-default-finishings"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.set.finishing = finishStaple }},
	{shy: true, name: "derived-finishing-unavailable", help: "every job is to be stapled, and there is no stapler", fits: func(d *machine) bool { return mismatchFits(d) && !hasStock("staples")(d) }, needed: "IPP, sheets and no stapler",
		finds: []string{"derived-finishing-unavailable", "derived-default-finishings"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.set.finishing = finishStaple }},
	{shy: true, name: "derived-tray-setting", help: "the first tray is set to labels (:weight to heavy paper)", fits: sheetFed, needed: "sheets",
		finds: []string{"derived-tray-setting"}, apply: trayMisset},
	{shy: true, name: "derived-punch-pattern", help: "the punch is one for another region", fits: hasStock("wastePaper"), needed: "a punch unit",
		finds: []string{"derived-punch-pattern"}, apply: otherPunch},
	{shy: true, name: "media-not-ready", help: "a size that the norm wants loaded is in no tray", fits: severalMedia, needed: "IPP and trays of several sizes",
		finds: []string{"derived-media-mismatch"}, apply: oneSize},
	{shy: true, name: "derived-certificate-ended", help: "the certificate has ended", fits: hasIPP, needed: "IPP",
		finds: []string{"derived-certificate-ended"}, apply: func(d *machine, _ string, _ *rand.Rand) { d.certifiedUntil(time.Now().AddDate(0, 0, -40)) }},
	{shy: true, name: "derived-certificate-ends", help: "the certificate ends in ten days", fits: hasIPP, needed: "IPP",
		note: "the certificate ends soon", apply: func(d *machine, _ string, _ *rand.Rand) { d.certifiedUntil(time.Now().AddDate(0, 0, 10)) }},
	{shy: true, name: "derived-ipp-unencrypted", help: "IPP without encryption only", fits: hasIPP, needed: "IPP",
		note: "IPP is not encrypted", apply: func(d *machine, _ string, _ *rand.Rand) { d.unencrypted() }},
	{shy: true, name: "derived-clock-off", help: "the clock is two hours behind", fits: hasIPP, needed: "IPP",
		note: "the clock is off", apply: func(d *machine, _ string, _ *rand.Rand) { d.set.clock = -2 * time.Hour }},
	{shy: true, name: "derived-firmware-differs", help: "another firmware than equal models have", fits: hasIPP, needed: "IPP",
		note: "the firmware differs", apply: func(d *machine, _ string, _ *rand.Rand) { d.set.firmware = d.Firmware + "-b2" }},
}

// severalMedia reports trays, in which sheets lie whose level is sensed, of more
// than one size.
func severalMedia(d *machine) bool { return mismatchFits(d) && otherMedium(d) != "" }

func otherMedium(d *machine) string {
	for _, i := range d.sensed() {
		if d.trays[i].loaded != d.trays[0].loaded {
			return d.trays[i].loaded
		}
	}
	return ""
}

func oneSize(d *machine, _ string, _ *rand.Rand) {
	for i := range d.trays {
		d.trays[i].loaded = d.trays[0].loaded
	}
}

func trayMisset(d *machine, part string, _ *rand.Rand) {
	if part == "weight" {
		d.trays[0].Weight *= 2
		return
	}
	d.trays[0].Type = "labels"
}

func otherPunch(d *machine, _ string, _ *rand.Rand) {
	for i := range d.finishers {
		f := &d.finishers[i]
		f.Numbers = slices.Clone(f.Numbers)
		for k := range f.Numbers {
			if f.Numbers[k].Type == "punchPattern" {
				f.Numbers[k].Value = 5
			}
		}
	}
}
