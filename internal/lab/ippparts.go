package lab

import (
	"fmt"
	"slices"
	"strings"

	"github.com/OpenPrinting/goipp"
)

// mediaSize is a media-size collection, hundredths of millimetres.
func mediaSize(m medium) goipp.Collection {
	var c attrs
	c.ints("x-dimension", goipp.TagInteger, hundredths(m.Width))
	c.ints("y-dimension", goipp.TagInteger, hundredths(m.Length))
	return goipp.Collection(c.Attributes)
}

// mediaCol is a media-col collection (PWG 5100.7) for what is in a tray.
func mediaCol(t tray) goipp.Collection {
	var c attrs
	c.put("media-size", goipp.TagBeginCollection, mediaSize(mustMedia(t.loaded)))
	c.words("media-size-name", goipp.TagKeyword, t.loaded)
	for _, edge := range []string{"top", "bottom", "left", "right"} {
		c.ints("media-"+edge+"-margin", goipp.TagInteger, 423)
	}
	c.words("media-source", goipp.TagKeyword, t.Source)
	c.words("media-type", goipp.TagKeyword, t.Type)
	c.words("media-color", goipp.TagKeyword, "white")
	return goipp.Collection(c.Attributes)
}

// putMedia writes what can be printed on and what is loaded. The default is
// the model's own medium, whatever the trays hold.
func (d *machine) putMedia(a *attrs) {
	supported := []string{"iso_a4_210x297mm", "iso_a5_148x210mm", letter, "iso_dl_110x220mm"}
	if mustMedia(d.MaxMedia).Width >= 297000 {
		supported = append(supported, "iso_a3_297x420mm")
	}
	standard := d.Trays[0].Media
	if !slices.Contains(supported, standard) {
		supported = append(supported, standard)
	}
	var ready, types, sources []string
	var readyCols, sizes []goipp.Collection
	for _, t := range d.trays {
		if !slices.Contains(types, t.Type) {
			types = append(types, t.Type)
		}
		sources = append(sources, t.Source)
		if t.absent || t.level == 0 {
			continue
		}
		readyCols = append(readyCols, mediaCol(t))
		if !slices.Contains(ready, t.loaded) {
			ready = append(ready, t.loaded)
		}
	}
	for _, name := range supported {
		sizes = append(sizes, mediaSize(mustMedia(name)))
	}
	a.words("media-default", goipp.TagKeyword, d.mediaDefault())
	a.words("media-supported", goipp.TagKeyword, supported...)
	a.words("media-ready", goipp.TagKeyword, ready...)
	a.words("media-source-supported", goipp.TagKeyword, sources...)
	a.words("media-type-supported", goipp.TagKeyword, types...)
	a.words("media-col-supported", goipp.TagKeyword, "media-size", "media-size-name", "media-source", "media-type", "media-color")
	first := d.trays[0]
	first.loaded = d.mediaDefault()
	a.put("media-col-default", goipp.TagBeginCollection, mediaCol(first))
	a.collections("media-col-ready", readyCols)
	a.collections("media-size-supported", sizes)
	a.collections("media-col-database", readyCols)
}

// putParts writes the trays, bins, covers, supplies and finishers in the
// key=value grammar of PWG 5100.13 and PWG 5100.1: the MIB's labels and
// numbers.
func (d *machine) putParts(a *attrs) {
	var inputs, outputs, bins, covers, coverNames []string
	for k, t := range d.trays {
		m := mustMedia(t.loaded)
		length := m.Length
		if length == 0 {
			length = levelOther
		}
		inputs = append(inputs, fmt.Sprintf(
			"type=%s;dimunit=micrometers;mediafeed=%d;mediaxfeed=%d;maxcapacity=%d;level=%d;unit=%s;status=%d;index=%d;name=%s;medianame=%s;mediaweight=%d;mediatype=%s;",
			t.Kind, length, m.Width, t.Capacity, t.level, t.Unit, d.subunit("input", k+1), k+1, t.Name, t.loaded, orUnknown(t.Weight), t.Type))
	}
	for k, b := range d.bins {
		order, face := "firstToLast", "faceDown"
		if b.FaceUp {
			order, face = "lastToFirst", "faceUp"
		}
		outputs = append(outputs, fmt.Sprintf("type=%s;maxcapacity=%d;remaining=%d;status=%d;name=%s;stackingorder=%s;pagedelivery=%s;",
			b.Kind, b.Capacity, b.room, d.subunit("output", k+1), b.Name, order, face))
		bins = append(bins, b.Keyword)
	}
	for k, c := range d.covers {
		status := "coverClosed"
		switch {
		case c.open && c.interlock:
			status = "interlockOpen"
		case c.open:
			status = "coverOpen"
		}
		covers = append(covers, fmt.Sprintf("index=%d;status=%s;", k+1, status))
		coverNames = append(coverNames, c.name)
	}
	a.octets("printer-input-tray", inputs)
	a.octets("printer-output-tray", outputs)
	a.words("output-bin-supported", goipp.TagKeyword, bins...)
	a.words("output-bin-default", goipp.TagKeyword, d.binDefault())
	a.octets("printer-cover", covers)
	a.words("printer-cover-description", goipp.TagText, coverNames...)
	d.putFinisherStrings(a)
}

func (d *machine) putFinisherStrings(a *attrs) {
	var finishers, names, stock, stockNames []string
	row := 0
	for k, f := range d.finishers {
		finishers = append(finishers, fmt.Sprintf("type=%s;unit=%s;maxcapacity=%d;capacity=0;index=%d;presentonoff=on;status=%d;",
			f.Kind, f.Unit, f.Capacity, k+1, d.finisherStatus(k)))
		names = append(names, f.Name)
		for _, s := range f.stock {
			row++
			stock = append(stock, fmt.Sprintf("class=%s;type=%s;unit=%s;max=%d;level=%d;index=%d;deviceindex=%d;",
				s.class(), s.Kind, s.Unit, s.max, s.level, row, k+1))
			stockNames = append(stockNames, s.Name)
		}
	}
	a.octets("printer-finisher", finishers)
	a.words("printer-finisher-description", goipp.TagText, names...)
	a.octets("printer-finisher-supplies", stock)
	a.words("printer-finisher-supplies-description", goipp.TagText, stockNames...)
}

// markerTypes are the keywords of marker-types for the kinds of the MIB.
var markerTypes = map[string]string{"toner": "toner", "tonerCartridge": "toner-cartridge", "wasteToner": "waste-toner",
	"ink": "ink", "inkCartridge": "ink-cartridge", "inkRibbon": "ink-ribbon", "wasteInk": "waste-ink", "opc": "opc",
	"fuser": "fuser", "transferUnit": "transfer-unit", "developer": "developer", "cleanerUnit": "cleaner-unit"}

var markerColors = map[string]string{"black": "#000000", "cyan": "#00FFFF", "magenta": "#FF00FF", "yellow": "#FFFF00"}

// putMarkers writes the supplies twice, as printers do: printer-supply counts
// like the MIB, a receptacle its room left; marker-levels count in percent, a
// receptacle how full it is.
func (d *machine) putMarkers(a *attrs) {
	var supplies, texts, names, types, colors []string
	var levels, low, high []int
	for k, s := range d.supplies {
		colorant := s.Colorant
		if colorant == "" {
			colorant = "unknown"
		}
		index := d.colorantIndex(s.Colorant)
		role := "process"
		if index == 0 {
			role = "other"
		}
		supplies = append(supplies, fmt.Sprintf(
			"index=%d;class=%s;type=%s;unit=%s;maxcapacity=%d;level=%d;markerindex=1;colorantindex=%d;colorantrole=%s;colorantname=%s;coloranttonality=256;",
			k+1, s.class(), s.Kind, s.Unit, s.max, s.level, index, role, colorant))
		texts = append(texts, s.Name)
		names = append(names, s.Name)
		types = append(types, markerTypes[s.Kind])
		colors = append(colors, orNone(markerColors[s.Colorant]))
		level, lowest, highest := s.level, s.Low, 100
		if p, ok := s.percent(); ok {
			level = p
		}
		if s.receptacle() {
			lowest, highest = 0, 100-s.Low
			if level >= 0 {
				level = 100 - level
			}
		}
		levels, low, high = append(levels, level), append(low, lowest), append(high, highest)
	}
	a.octets("printer-supply", supplies)
	a.words("printer-supply-description", goipp.TagText, texts...)
	a.words("marker-names", goipp.TagName, names...)
	a.words("marker-types", goipp.TagKeyword, types...)
	a.words("marker-colors", goipp.TagName, colors...)
	a.ints("marker-levels", goipp.TagInteger, levels...)
	a.ints("marker-low-levels", goipp.TagInteger, low...)
	a.ints("marker-high-levels", goipp.TagInteger, high...)
	if w := d.worst(); w != nil && strings.HasPrefix(w.group, "marker") {
		a.words("marker-message", goipp.TagText, w.text)
	}
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}
