package survey

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/media"
)

// readyMedium is one value of media-col-ready: a medium that is loaded, and
// where.
type readyMedium struct {
	source string // media-source keyword such as tray-1; may be empty
	media  device.Media
	object string
}

// readyMedia reads media-col-ready (PWG 5100.7). A tray that can be printed with
// and without margins stands there once for each; the first one counts.
func readyMedia(a ipp.Attributes) []readyMedium {
	names := a.Texts("media-ready")
	var out []readyMedium
	for i, v := range a.Get("media-col-ready") {
		m, ok := v.Members()
		if !ok || len(out) >= maxSubunits {
			continue
		}
		r := readyMedium{
			source: string(device.CleanTo(m.Text("media-source"), 64)),
			media:  mediaCol(m, names),
			object: fmt.Sprintf("media-col-ready[%d]", i+1),
		}
		same := func(o readyMedium) bool {
			return o.source == r.source && (r.source != "" || sameMedia(o.media, r.media))
		}
		if !slices.ContainsFunc(out, same) {
			out = append(out, r)
		}
	}
	return out
}

// mediaCol maps one media collection; its dimensions are in 1/100 mm. names are
// the printer's own names of what is ready, used for a size that has several.
func mediaCol(m ipp.Attributes, names []string) device.Media {
	d := device.Media{Type: device.CleanTo(m.Text("media-type"), 64), Color: device.CleanTo(m.Text("media-color"), 64)}
	if w, ok := m.Int("media-weight-metric"); ok && w > 0 {
		f := float64(w)
		d.WeightG = &f
	}
	for _, v := range m.Get("media-size") {
		if size, ok := v.Members(); ok {
			d.WidthMM, d.LengthMM = hundredths(size, "x-dimension"), hundredths(size, "y-dimension")
		}
	}
	if name := m.Text("media-size-name"); name != "" {
		names = append([]string{name}, names...)
	}
	d.Name = sizeName(d, names)
	return d
}

// hundredths reads a dimension; a range that leaves it open, and the length 0 of
// a roll, are none.
func hundredths(size ipp.Attributes, name string) *float64 {
	vs := size.Get(name)
	if len(vs) == 0 {
		return nil
	}
	lo, hi, ok := vs[0].Range()
	if !ok || lo != hi || lo <= 0 {
		return nil
	}
	mm := float64(lo) / 100
	return &mm
}

// sizeName names the medium's size: by one of the names if that has the same
// dimensions, else by the dimensions.
func sizeName(d device.Media, names []string) device.Text {
	if d.WidthMM == nil || d.LengthMM == nil {
		return ""
	}
	for _, n := range names {
		s, ok := media.ByName(n)
		if ok && near(s.Width, *d.WidthMM) && near(s.Length, *d.LengthMM) {
			return device.CleanTo(n, 128)
		}
	}
	if s, ok := media.BySize(*d.WidthMM, *d.LengthMM); ok {
		return device.Text(s.Name)
	}
	return ""
}

func near(a, b float64) bool { return math.Abs(a-b) <= 0.5 }

func sameMedia(a, b device.Media) bool {
	same := func(x, y *float64) bool { return x == nil && y == nil || x != nil && y != nil && near(*x, *y) }
	return same(a.WidthMM, b.WidthMM) && same(a.LengthMM, b.LengthMM) && a.Type == b.Type
}

// ippTrays maps the trays from printer-input-tray (PWG 5100.13), joined with
// what is loaded by media-col-ready; without it from media-col-ready, and
// without that from media-ready, which tells no more than that a medium is
// there. media-source-supported has a keyword for each value of
// printer-input-tray.
func ippTrays(a ipp.Attributes) []device.Tray {
	ready := readyMedia(a)
	values, sources := a.Get("printer-input-tray"), a.Texts("media-source-supported")
	if len(sources) != len(values) {
		sources = nil
	}
	var out []device.Tray
	for i, v := range values {
		p, ok := pairsOf(v)
		if !ok || len(out) >= maxSubunits {
			continue
		}
		source := ""
		if sources != nil {
			source = sources[i]
		}
		t := inputTray(p, i+1)
		if automatic(source, t) && len(values) > 1 {
			continue
		}
		loaded(&t, source, ready, i, len(values))
		out = append(out, t)
	}
	if len(out) == 0 {
		out = readyTrays(a, ready)
	}
	numberTrays(out)
	return out
}

// automatic reports whether a tray only stands for "let the printer choose".
func automatic(source string, t device.Tray) bool {
	return source == "auto" || t.Kind == "other" && strings.EqualFold(string(t.Name), "auto")
}

// numberTrays keeps the indices the device gave if they tell the trays apart,
// else numbers all in order.
func numberTrays(list []device.Tray) {
	seen := map[int]bool{}
	for _, t := range list {
		if t.Index <= 0 || seen[t.Index] {
			for i := range list {
				list[i].Index = i + 1
			}
			return
		}
		seen[t.Index] = true
	}
}

// inputTray maps one value of printer-input-tray, a row of prtInputTable.
func inputTray(p ipp.Pairs, n int) device.Tray {
	t := device.Tray{
		Source: device.SourceIPP, Object: fmt.Sprintf("printer-input-tray[%d]", n),
		Name: device.Clean(p.Text("name")), Kind: inputTypes().or(p.Text("type")), Unit: capacityUnit(p.Text("unit")),
		Media: trayMedia(p),
	}
	if index, ok := p.Int("index"); ok && index > 0 && index <= math.MaxInt32 {
		t.Index = int(index)
	}
	t.Capacity, t.Level = capacityAndLevel(p, "maxcapacity", "level", string(t.Unit), device.Remaining)
	if status, ok := p.Int("status"); ok {
		t.Status = device.StatusFrom(status)
	}
	return t
}

// trayMedia maps what a tray says of its medium. The value may leave out its
// unit of length; then only the unit counts in which both edges make a size
// that has a name.
func trayMedia(p ipp.Pairs) device.Media {
	d := device.Media{Type: device.CleanTo(p.Text("mediatype"), 64), Color: device.CleanTo(p.Text("mediacolor"), 64)}
	if w, ok := p.Int("mediaweight"); ok && w > 0 {
		f := float64(w)
		d.WeightG = &f
	}
	feed, okF := p.Int("mediafeed")
	cross, okX := p.Int("mediaxfeed")
	if okF && okX && (feed > 0 || cross > 0) {
		d.Name, d.WidthMM, d.LengthMM = feedSize(feed, cross, p.Text("dimunit"))
	}
	if s, ok := media.ByName(p.Text("medianame")); ok && d.Name == "" {
		d.Name = device.Text(s.Name)
		if d.WidthMM == nil && d.LengthMM == nil {
			d.WidthMM, d.LengthMM = &s.Width, &s.Length
		}
	}
	return d
}

// Millimetres in one unit of prtInputDimUnit (PrtMediaUnitTC), and in the 1/100
// mm that some devices send instead.
const (
	mmPerTenThousandth = 0.00254
	mmPerMicrometer    = 0.001
	mmPerHundredth     = 0.01
)

// feedSize returns the size of a sheet from its edges along and across the feed
// direction. The edges of a named size come in the order of the name.
func feedSize(feed, cross int64, unit string) (name device.Text, width, length *float64) {
	var factors []float64
	switch label, _ := capacityUnits().find(unit); label {
	case "tenThousandthsOfInches":
		factors = []float64{mmPerTenThousandth}
	case "micrometers":
		factors = []float64{mmPerMicrometer}
	default:
		factors = []float64{mmPerTenThousandth, mmPerMicrometer, mmPerHundredth}
	}
	var found media.Size
	hits := 0
	for _, f := range factors {
		if s, ok := media.BySize(float64(cross)*f, float64(feed)*f); ok {
			found, hits = s, hits+1
		}
	}
	switch {
	case hits == 1:
		return device.Text(found.Name), &found.Width, &found.Length
	case len(factors) > 1:
		return "", nil, nil
	}
	return "", edge(cross, factors[0]), edge(feed, factors[0])
}

func edge(n int64, factor float64) *float64 {
	if n <= 0 {
		return nil
	}
	mm := math.Round(float64(n)*factor*100) / 100
	return &mm
}

// loaded gives the tray the medium that is ready in it: by its source keyword,
// which is also its name on some printers; by position when no ready medium
// tells its source and there is one for each tray.
func loaded(t *device.Tray, source string, ready []readyMedium, i, trays int) {
	anySource := false
	for _, r := range ready {
		anySource = anySource || r.source != ""
		if r.source != "" && (r.source == source || strings.EqualFold(r.source, string(t.Name))) {
			t.Media = r.media
			return
		}
	}
	if !anySource && len(ready) == trays {
		t.Media = ready[i].media
	}
}

// readyTrays makes trays of what is ready when the printer does not list its
// trays. Their levels are not reported.
func readyTrays(a ipp.Attributes, ready []readyMedium) []device.Tray {
	var out []device.Tray
	for _, r := range ready {
		if r.source != "auto" || len(ready) == 1 {
			out = append(out, device.Tray{Name: device.Text(r.source), Media: r.media, Source: device.SourceIPP, Object: r.object})
		}
	}
	if len(ready) > 0 {
		return out
	}
	for i, n := range a.Texts("media-ready") {
		name := device.CleanTo(n, 128)
		if name == "" || len(out) >= maxSubunits {
			continue
		}
		m := device.Media{Name: name}
		if s, ok := media.ByName(n); ok {
			m.WidthMM, m.LengthMM = &s.Width, &s.Length
		}
		out = append(out, device.Tray{Media: m, Source: device.SourceIPP, Object: fmt.Sprintf("media-ready[%d]", i+1)})
	}
	return out
}

// ippOutputs maps printer-output-tray, rows of prtOutputTable; the level is the
// room left.
func ippOutputs(a ipp.Attributes) []device.Output {
	values, bins := a.Get("printer-output-tray"), a.Texts("output-bin-supported")
	var out []device.Output
	for i, v := range values {
		p, ok := pairsOf(v)
		if !ok || len(out) >= maxSubunits {
			continue
		}
		b := device.Output{
			Index: i + 1, Source: device.SourceIPP, Object: fmt.Sprintf("printer-output-tray[%d]", i+1),
			Name: device.Clean(p.Text("name")), Kind: outputTypes().or(p.Text("type")), Unit: capacityUnit(p.Text("unit")),
		}
		if b.Name == "" && len(bins) == len(values) {
			b.Name = device.Clean(bins[i])
		}
		b.Capacity, b.Level = capacityAndLevel(p, "maxcapacity", "remaining", string(b.Unit), device.SpaceLeft)
		if status, ok := p.Int("status"); ok {
			b.Status = device.StatusFrom(status)
		}
		out = append(out, b)
	}
	return out
}
