package proof

import (
	"fmt"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"printround/internal/device"
)

// face is a font that is built into the program: its outlines are the same in
// every page language, so that the pages can be compared.
type face struct {
	name string
	ttf  []byte
	font *sfnt.Font
	em   fixed.Int26_6 // units of the font in one em

	mu      sync.Mutex
	buf     sfnt.Buffer
	advance map[rune]float64
}

var regular, bold = load("GoRegular", goregular.TTF), load("GoBold", gobold.TTF)

func load(name string, ttf []byte) func() *face {
	return sync.OnceValue(func() *face {
		f, err := sfnt.Parse(ttf)
		if err != nil {
			panic(fmt.Sprintf("proof: embedded font: %v", err))
		}
		return &face{name: name, ttf: ttf, font: f, em: fixed.Int26_6(f.UnitsPerEm()), advance: map[rune]float64{}}
	})
}

// faceOf returns the font of a text.
func faceOf(isBold bool) *face {
	if isBold {
		return bold()
	}
	return regular()
}

// glyph returns the index of a character's outline, ok false when the font has
// none.
func (f *face) glyph(r rune) (sfnt.GlyphIndex, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	i, err := f.font.GlyphIndex(&f.buf, r)
	return i, err == nil && i != 0
}

// width of a character in ems.
func (f *face) width(r rune) float64 {
	i, _ := f.glyph(r)
	f.mu.Lock()
	defer f.mu.Unlock()
	if w, ok := f.advance[r]; ok {
		return w
	}
	a, err := f.font.GlyphAdvance(&f.buf, i, f.em, font.HintingNone)
	if err != nil {
		return 0
	}
	w := float64(a) / float64(f.em)
	f.advance[r] = w
	return w
}

// outline returns the segments of a character in 1/em, y downward.
func (f *face) outline(r rune) []segment {
	i, _ := f.glyph(r)
	f.mu.Lock()
	defer f.mu.Unlock()
	in, err := f.font.LoadGlyph(&f.buf, i, f.em, nil)
	if err != nil {
		return nil
	}
	out := make([]segment, 0, len(in))
	for _, s := range in {
		o := segment{op: s.Op}
		for k, p := range s.Args {
			o.at[k] = [2]float64{float64(p.X) / float64(f.em), float64(p.Y) / float64(f.em)}
		}
		out = append(out, o)
	}
	return out
}

// segment is a piece of an outline: a move, a line, or a curve of the second or
// third degree, with its points.
type segment struct {
	op sfnt.SegmentOp
	at [3][2]float64
}

// textWidth is the length of a line of text in millimetres.
func textWidth(s string, size float64, isBold bool) float64 {
	f, w := faceOf(isBold), 0.0
	for _, r := range s {
		w += f.width(r)
	}
	return w * size * point
}

// printable is text as the page can show it: cleaned, bounded, with a question
// mark for each character that the font does not have.
func printable(s string, most int) string {
	out := []rune{}
	for _, r := range string(device.CleanTo(s, 4*most)) {
		if _, ok := regular().glyph(r); !ok {
			r = '?'
		}
		if len(out) == most {
			out[most-1] = '…'
			break
		}
		out = append(out, r)
	}
	return string(out)
}
