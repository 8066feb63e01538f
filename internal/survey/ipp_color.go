package survey

import (
	"strconv"
	"strings"
	"unicode"

	"printround/internal/device"
)

// colorKinds are the kinds of supplies that have a colour of their own; on a
// waste box or a fuser a colour says nothing.
var colorKinds = map[device.Text]bool{
	"": true, "other": true, "unknown": true, "toner": true, "tonerCartridge": true, "ink": true, "inkCartridge": true,
	"inkRibbon": true, "solidWax": true, "ribbonWax": true, "matteToner": true, "matteInk": true,
	"developer": true, "opc": true,
}

// colorant names the colour of a supply from prtMarkerColorantValue, from the
// #RRGGBB of marker-colors, and from the words in its name. The name adds
// light, photo and matte, and it decides when the colour is missing or white:
// some printers give white for black (common practice, no source).
func colorant(value, hex, name string, kind device.Text) device.Text {
	words := nameWords(name)
	base := namedColor(value)
	if base == "" && colorKinds[kind] {
		base = hexColors(hex)
		if base == "" {
			base = colorIn(words)
		}
	}
	if base == "" {
		return ""
	}
	for _, shade := range []string{"light", "photo", "matte"} {
		if words[shade] && !strings.Contains(string(base), shade) {
			return device.Text(shade) + " " + base
		}
	}
	return base
}

// namedColor reads a colorant name, as prtMarkerColorantValue holds it.
func namedColor(s string) device.Text {
	t := device.Text(strings.ToLower(string(device.CleanTo(s, 64))))
	switch t {
	case "unknown", "none", "other":
		return ""
	}
	if full, ok := colorCodes[string(t)]; ok {
		return full
	}
	return t
}

// colorCodes are the short names printed on cartridges (common practice, no
// source).
var colorCodes = map[string]device.Text{
	"bk": "black", "k": "black", "c": "cyan", "m": "magenta", "y": "yellow",
	"pbk": "photo black", "mbk": "matte black", "lc": "light cyan", "lm": "light magenta", "gy": "gray", "grey": "gray",
}

var colorWords = []device.Text{"black", "cyan", "magenta", "yellow", "gray", "red", "green", "blue", "orange", "violet", "white"}

// hexColors names one colour or several joined ones. White stands for none:
// see colorant.
func hexColors(s string) device.Text {
	var names []string
	for part := range strings.SplitSeq(s, "#") {
		if part = strings.TrimSpace(part); len(part) != 6 {
			continue
		}
		rgb, err := strconv.ParseUint(part, 16, 32)
		if err != nil {
			continue
		}
		if n := hexColor(uint8(rgb>>16), uint8(rgb>>8), uint8(rgb)); n != "" {
			names = append(names, n)
		}
	}
	if len(names) > 4 {
		names = names[:4]
	}
	return device.Text(strings.Join(names, "+"))
}

// hexColor names a colour whose channels lie near full, half or nothing:
// printers give screen colours of their inks, such as #FFDA00 for yellow.
func hexColor(r, g, b uint8) string {
	step := func(c uint8) byte {
		switch {
		case c < 0x40:
			return '0'
		case c >= 0xc0:
			return 'f'
		}
		return '8'
	}
	switch string([]byte{step(r), step(g), step(b)}) {
	case "000":
		return "black"
	case "0ff", "08f":
		return "cyan"
	case "f0f", "f08":
		return "magenta"
	case "ff0":
		return "yellow"
	case "888":
		return "gray"
	case "f00":
		return "red"
	case "0f0":
		return "green"
	case "00f":
		return "blue"
	case "f80":
		return "orange"
	case "8ff":
		return "light cyan"
	case "f8f":
		return "light magenta"
	}
	return ""
}

// nameWords returns the words of a name in lower case.
func nameWords(name string) map[string]bool {
	words := map[string]bool{}
	for _, w := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) }) {
		words[w] = true
	}
	return words
}

// colorIn finds the only colour word of a name; a name that is nothing but a
// short code counts too.
func colorIn(words map[string]bool) device.Text {
	var found device.Text
	for _, c := range colorWords {
		if words[string(c)] {
			if found != "" {
				return ""
			}
			found = c
		}
	}
	if found == "" && len(words) == 1 {
		for w := range words {
			found = colorCodes[w]
		}
	}
	return found
}
