package act

import (
	"slices"

	"printround/internal/ipp"
)

// wanted are the attributes that Open asks for.
var wanted = []string{
	"printer-name", "printer-info", "printer-location", "printer-make-and-model", "printer-kind",
	"printer-state", "printer-state-reasons", "printer-state-message", "printer-is-accepting-jobs", "queued-job-count",
	"operations-supported", "document-format-supported", "document-format-default", "job-creation-attributes-supported",
	"media-default", "media-ready", "media-supported", "media-col-ready", "media-col-supported", "media-source-supported",
	"sides-supported", "sides-default", "color-supported", "print-color-mode-supported", "print-color-mode-default",
	"print-scaling-supported", "printer-resolution-supported", "job-hold-until-default",
	"pwg-raster-document-type-supported", "pwg-raster-document-resolution-supported", "pwg-raster-document-sheet-back",
	"printer-uri-supported", "uri-authentication-supported",
}

// Medium is one medium that is loaded. Texts are foreign and not cleaned.
type Medium struct {
	Name   string // PWG 5101.1, as the printer calls it; may be empty
	Source string // media-source keyword; may be empty
	Type   string // media-type keyword; may be empty
	Width  int    // 1/100 mm; 0: not stated
	Length int    // 1/100 mm; 0: not stated, as on a roll
	Open   bool   // a range of sizes, as on a roll
}

// Offer is what a printer says that it can do. Lists are empty when it does not
// say. Texts are foreign and not cleaned.
type Offer struct {
	State     ipp.PrinterState
	Reasons   []string
	Message   string
	Accepting *bool
	Queued    *int64
	HoldUntil string // job-hold-until-default

	Formats  []string // document-format-supported, MIME types
	Kinds    []string // printer-kind
	Creation []string // job-creation-attributes-supported

	MediaDefault string
	MediaReady   []string
	Media        []string // media-supported
	Loaded       []Medium // media-col-ready
	MediaCol     []string // media-col-supported
	Sources      []string // media-source-supported

	Sides, ColorModes, Scaling []string
	Color                      *bool

	RasterTypes       []string
	RasterResolutions []int // dots an inch, of those with the same in both directions
	SheetBack         string
	Resolutions       []int

	Authentication string // uri-authentication-supported of this URI
	Operations     []int64
}

// Offer reads what Open was told.
func (p *Printer) Offer() Offer {
	a := p.attrs
	o := Offer{
		Reasons: a.Texts("printer-state-reasons"), Message: a.Text("printer-state-message"), HoldUntil: a.Text("job-hold-until-default"),
		Formats: a.Texts("document-format-supported"), Kinds: a.Texts("printer-kind"), Creation: a.Texts("job-creation-attributes-supported"),
		MediaDefault: a.Text("media-default"), MediaReady: a.Texts("media-ready"), Media: a.Texts("media-supported"),
		MediaCol: a.Texts("media-col-supported"), Sources: a.Texts("media-source-supported"),
		Sides: a.Texts("sides-supported"), ColorModes: a.Texts("print-color-mode-supported"), Scaling: a.Texts("print-scaling-supported"),
		RasterTypes: a.Texts("pwg-raster-document-type-supported"), SheetBack: a.Text("pwg-raster-document-sheet-back"),
		RasterResolutions: resolutions(a.Get("pwg-raster-document-resolution-supported")),
		Resolutions:       resolutions(a.Get("printer-resolution-supported")),
		Authentication:    p.authentication(),
	}
	if n, ok := a.Int("printer-state"); ok {
		o.State = ipp.PrinterState(n)
	}
	if yes, ok := a.Bool("printer-is-accepting-jobs"); ok {
		o.Accepting = &yes
	}
	if n, ok := a.Int("queued-job-count"); ok {
		o.Queued = &n
	}
	if yes, ok := a.Bool("color-supported"); ok {
		o.Color = &yes
	}
	for _, v := range a.Get("operations-supported") {
		if n, ok := v.Int(); ok {
			o.Operations = append(o.Operations, n)
		}
	}
	for _, v := range a.Get("media-col-ready") {
		if m, ok := v.Members(); ok {
			o.Loaded = append(o.Loaded, medium(m))
		}
	}
	return o
}

// Can reports whether an operation is listed; without a list every printer can
// do what RFC 8011 requires.
func (o *Offer) Can(operation int16) bool {
	return len(o.Operations) == 0 && operation == opPrintJob || slices.Contains(o.Operations, int64(operation))
}

// can reports whether an operation is listed that RFC 8011 section 5.4.15
// requires: a printer that lists nothing is believed to have it.
func (p *Printer) can(operation int16) bool {
	o := p.Offer()
	return len(o.Operations) == 0 || o.Can(operation)
}

// medium reads one media collection (PWG 5100.7).
func medium(m ipp.Attributes) Medium {
	out := Medium{Name: m.Text("media-size-name"), Source: m.Text("media-source"), Type: m.Text("media-type")}
	for _, v := range m.Get("media-size") {
		size, ok := v.Members()
		if !ok {
			continue
		}
		var open [2]bool
		out.Width, open[0] = dimension(size, "x-dimension")
		out.Length, open[1] = dimension(size, "y-dimension")
		out.Open = open[0] || open[1]
	}
	return out
}

// dimension reads a length in 1/100 mm; one that is a range is open.
func dimension(size ipp.Attributes, name string) (n int, open bool) {
	vs := size.Get(name)
	if len(vs) == 0 {
		return 0, false
	}
	lo, hi, ok := vs[0].Range()
	switch {
	case !ok || lo < 0 || hi > 1e7:
		return 0, false
	case lo != hi:
		return 0, true
	}
	return int(lo), lo == 0
}

// resolutions keeps those that are the same in both directions, in dots an
// inch, ascending.
func resolutions(vs []ipp.Value) []int {
	var out []int
	for _, v := range vs {
		if x, y, ok := v.Resolution(); ok && x == y && x > 0 {
			out = append(out, int(x))
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// authentication is the value of uri-authentication-supported that stands where
// the printer's URI stands in printer-uri-supported (RFC 8011 section 5.4.2).
func (p *Printer) authentication() string {
	how := p.attrs.Texts("uri-authentication-supported")
	uris := p.attrs.Texts("printer-uri-supported")
	for i, u := range uris {
		if i < len(how) && u == p.uri {
			return how[i]
		}
	}
	if len(how) == 1 {
		return how[0]
	}
	return ""
}
