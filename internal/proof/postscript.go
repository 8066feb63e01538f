package proof

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"

	"golang.org/x/image/font/sfnt"
)

// psWriter writes the pages in PostScript Language Level 2 with the structure
// comments of DSC 3.0. The fonts come along as outlines (Type 3), so that
// nothing depends on what the device has. An error stays in the buffer.
type psWriter struct {
	*bufio.Writer
	codes map[bool]map[rune]int // of a character in the font of a weight
}

func writePostScript(w io.Writer, pages []Page, s Spec) error {
	out := &psWriter{bufio.NewWriterSize(w, 32<<10), map[bool]map[rune]int{false: charCodes(pages, false), true: charCodes(pages, true)}}
	width, length := pages[0].Width/point, pages[0].Length/point
	out.f("%%!PS-Adobe-3.0\n%%%%Title: printround proof\n%%%%Creator: printround\n%%%%CreationDate: %s\n", s.Made.UTC().Format("2006-01-02 15:04:05Z"))
	out.f("%%%%LanguageLevel: 2\n%%%%Pages: %d\n%%%%DocumentMedia: proof %.2f %.2f 0 () ()\n", len(pages), width, length)
	out.f("%%%%BoundingBox: 0 0 %.0f %.0f\n%%%%DocumentData: Clean7Bit\n%%%%EndComments\n%s", math.Ceil(width), math.Ceil(length), psProlog)
	out.font(false)
	out.font(true)
	out.f("%%%%EndProlog\n%%%%BeginSetup\n<< /PageSize [%.2f %.2f] >> setpagedevice\n", width, length)
	if s.TwoSided() {
		// A device that has no such unit may stop at the request.
		out.f("{ << /Duplex true /Tumble %v >> setpagedevice } stopped { clear } if\n", s.Sides == "two-sided-short-edge")
	}
	out.f("%%%%EndSetup\n")
	for i, p := range pages {
		out.f("%%%%Page: %d %d\n%%%%BeginPageSetup\n/state save def\n72 25.4 div dup neg scale 0 -%.4f translate\n%%%%EndPageSetup\n", i+1, i+1, p.Length)
		for _, m := range p.Marks {
			out.mark(m)
		}
		out.f("state restore showpage\n%%%%PageTrailer\n")
	}
	out.f("%%%%Trailer\n%%%%EOF\n")
	return out.Flush()
}

func (w *psWriter) f(format string, args ...any) { fmt.Fprintf(w, format, args...) }

// psProlog has one short name for each kind of mark, in millimetres from the
// top left corner: b box, l line, o ring, t text; g and c set the colour.
const psProlog = `%%BeginProlog
/g { setgray } bind def
/c { setrgbcolor } bind def
/b { rectfill } bind def
/l { setlinewidth newpath moveto lineto stroke } bind def
/o { setlinewidth newpath 0 360 arc stroke } bind def
/t { gsave 5 -2 roll translate 3 1 roll findfont exch dup neg matrix scale makefont setfont
  0 0 moveto show grestore } bind def
`

func (w *psWriter) mark(m Mark) {
	switch m := m.(type) {
	case Box:
		w.color(m.Color)
		w.f("%s %s %s %s b\n", mm(m.X), mm(m.Y), mm(m.W), mm(m.H))
	case Line:
		w.color(m.Color)
		w.f("%s %s %s %s %s l\n", mm(m.X1), mm(m.Y1), mm(m.X2), mm(m.Y2), mm(m.Width))
	case Ring:
		w.color(m.Color)
		w.f("%s %s %s %s o\n", mm(m.X), mm(m.Y), mm(m.Radius), mm(m.Width))
	case Text:
		w.color(m.Color)
		w.f("%s %s %s /%s <", mm(m.X), mm(m.Y), mm(m.Size*point), faceOf(m.Bold).name)
		for _, r := range m.Text {
			w.f("%02x", w.codes[m.Bold][r])
		}
		w.f("> t\n")
	}
}

// mm writes a length to a micrometre, without zeros at its end.
func mm(x float64) string { return fmt.Sprint(math.Round(x*1000) / 1000) }

func (w *psWriter) color(c Color) {
	if c.R == c.G && c.G == c.B {
		w.f("%.4f g ", float64(c.R)/255)
		return
	}
	w.f("%.4f %.4f %.4f c ", float64(c.R)/255, float64(c.G)/255, float64(c.B)/255)
}

// mostCodes is how many characters a font of PostScript can tell apart.
const mostCodes = 255

// charCodes gives each character of one weight a code of its own, from 1 on.
// More than there are codes share that of the last one.
func charCodes(pages []Page, isBold bool) map[rune]int {
	var all []rune
	for _, p := range pages {
		for _, m := range p.Marks {
			if t, ok := m.(Text); ok && t.Bold == isBold {
				all = append(all, []rune(t.Text)...)
			}
		}
	}
	slices.Sort(all)
	codes := map[rune]int{}
	for _, r := range slices.Compact(all) {
		codes[r] = min(len(codes)+1, mostCodes)
	}
	return codes
}

// em is the size of the outlines in the font's own units.
const em = 1000

// font writes the outlines of the characters that the pages use.
func (w *psWriter) font(isBold bool) {
	f := faceOf(isBold)
	runes := make([]rune, 0, len(w.codes[isBold]))
	for r := range w.codes[isBold] {
		runes = append(runes, r)
	}
	slices.Sort(runes)
	w.f("10 dict begin /FontType 3 def /FontMatrix [%g 0 0 %g 0 0] def /FontBBox [-500 -500 1500 1500] def\n", 1.0/em, 1.0/em)
	w.f("/Encoding 256 array def 0 1 255 { Encoding exch /.notdef put } for\n")
	w.f("/CharProcs %d dict dup begin /.notdef { 500 0 setcharwidth } def\n", len(runes)+1)
	done := map[int]bool{}
	for _, r := range runes {
		code := w.codes[isBold][r]
		if done[code] {
			continue
		}
		done[code] = true
		w.f("/c%d { %.0f 0 -500 -500 1500 1500 setcachedevice", code, f.width(r)*em)
		w.outline(f.outline(r))
		w.f(" fill } bind def\n")
	}
	w.f("end def\n")
	for code := range len(done) {
		w.f("Encoding %d /c%d put\n", code+1, code+1)
	}
	w.f("/BuildGlyph { exch /CharProcs get exch get exec } bind def\n")
	w.f("/BuildChar { 1 index /Encoding get exch get 1 index /BuildGlyph get exec } bind def\n")
	w.f("currentdict end /%s exch definefont pop\n", f.name)
}

// outline writes the segments of one character. Curves of the second degree
// become those of the third that run the same way.
func (w *psWriter) outline(segments []segment) {
	at := [2]float64{}
	put := func(p [2]float64) { w.f(" %.0f %.0f", p[0]*em, -p[1]*em) }
	third := func(a, b [2]float64) [2]float64 {
		return [2]float64{a[0] + (b[0]-a[0])*2/3, a[1] + (b[1]-a[1])*2/3}
	}
	for _, s := range segments {
		switch s.op {
		case sfnt.SegmentOpMoveTo:
			put(s.at[0])
			w.f(" moveto")
			at = s.at[0]
		case sfnt.SegmentOpLineTo:
			put(s.at[0])
			w.f(" lineto")
			at = s.at[0]
		case sfnt.SegmentOpQuadTo:
			put(third(at, s.at[0]))
			put(third(s.at[1], s.at[0]))
			put(s.at[1])
			w.f(" curveto")
			at = s.at[1]
		case sfnt.SegmentOpCubeTo:
			put(s.at[0])
			put(s.at[1])
			put(s.at[2])
			w.f(" curveto")
			at = s.at[2]
		}
	}
	w.f(" closepath")
}
