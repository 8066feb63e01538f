package proof

import (
	"image"
	"image/draw"
	"math"
	"slices"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/vector"
)

// raster draws a page line by line: strips of some lines at a time, each from
// the marks that reach into it. Edges are hard, a pixel belongs to a mark when
// its middle does: a printer would screen grey edges.
type raster struct {
	page   Page
	perMM  float64 // pixels
	width  int     // pixels
	height int
	spans  []span // marks with the lines that they reach, by first line
	glyphs map[glyphKey]*glyphMask
}

// span says which lines a mark reaches.
type span struct {
	first, last int
	mark        Mark
	order       int // marks lie on each other in this order
}

// strip is some lines of the picture, three values a pixel.
type strip struct {
	top, lines, width int
	pix               []Color
}

// stripLines is how many lines are drawn at once.
const stripLines = 64

func newRaster(p Page, dpi int) *raster {
	r := &raster{page: p, perMM: float64(dpi) / 25.4, glyphs: map[glyphKey]*glyphMask{}}
	r.width, r.height = r.pixels(p.Width), r.pixels(p.Length)
	for i, m := range p.Marks {
		low, high := reach(m)
		r.spans = append(r.spans, span{int(math.Floor(low * r.perMM)), int(math.Ceil(high * r.perMM)), m, i})
	}
	slices.SortStableFunc(r.spans, func(a, b span) int { return a.first - b.first })
	return r
}

func (r *raster) pixels(mm float64) int { return int(math.Round(mm * r.perMM)) }

// reach is the part of the page from top to bottom that a mark can touch, mm.
func reach(m Mark) (low, high float64) {
	switch m := m.(type) {
	case Box:
		return m.Y, m.Y + m.H
	case Line:
		return min(m.Y1, m.Y2) - m.Width, max(m.Y1, m.Y2) + m.Width
	case Ring:
		return m.Y - m.Radius - m.Width, m.Y + m.Radius + m.Width
	case Text:
		return m.Y - m.Size*point*1.2, m.Y + m.Size*point*0.5
	}
	return 0, 0
}

// each calls f with one line after the other, from the top. The line is valid
// until f returns.
func (r *raster) each(f func(line []Color) error) error {
	s := &strip{width: r.width, pix: make([]Color, r.width*stripLines)}
	var active []span
	next := 0
	for top := 0; top < r.height; top += stripLines {
		s.top, s.lines = top, min(stripLines, r.height-top)
		for i := range s.pix {
			s.pix[i] = white
		}
		active = slices.DeleteFunc(active, func(x span) bool { return x.last < top })
		for next < len(r.spans) && r.spans[next].first < top+s.lines {
			if r.spans[next].last >= top {
				active = append(active, r.spans[next])
			}
			next++
		}
		slices.SortFunc(active, func(a, b span) int { return a.order - b.order })
		for _, x := range active {
			r.draw(s, x.mark)
		}
		for y := range s.lines {
			if err := f(s.pix[y*s.width : (y+1)*s.width]); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *raster) draw(s *strip, m Mark) {
	switch m := m.(type) {
	case Box:
		r.fill(s, m.X, m.Y, m.X+m.W, m.Y+m.H, m.Color)
	case Line:
		r.line(s, m)
	case Ring:
		r.ring(s, m)
	case Text:
		r.text(s, m)
	}
}

// inside returns the pixels whose middles lie from a to b, in mm.
func (r *raster) inside(a, b float64) (first, end int) {
	return int(math.Ceil(a*r.perMM - 0.5)), int(math.Ceil(b*r.perMM - 0.5))
}

// fill draws a rectangle.
func (r *raster) fill(s *strip, x1, y1, x2, y2 float64, c Color) {
	fx, ex := r.inside(x1, x2)
	fy, ey := r.inside(y1, y2)
	s.fill(fx, fy, ex, ey, c)
}

// fill sets the pixels of a rectangle as far as they lie in the strip.
func (s *strip) fill(fx, fy, ex, ey int, c Color) {
	fx, ex = max(fx, 0), min(ex, s.width)
	for y := max(fy, s.top); y < min(ey, s.top+s.lines); y++ {
		row := s.pix[(y-s.top)*s.width:]
		for x := fx; x < ex; x++ {
			row[x] = c
		}
	}
}

// line draws a line along or across the page, as wide as its width is in whole
// pixels, at least one: lines of one width then look the same everywhere.
func (r *raster) line(s *strip, m Line) {
	n := max(1, r.pixels(m.Width))
	at := func(mid float64) int { return int(math.Round(mid*r.perMM - float64(n)/2)) }
	if m.X1 == m.X2 {
		fy, ey := r.inside(min(m.Y1, m.Y2), max(m.Y1, m.Y2))
		s.fill(at(m.X1), fy, at(m.X1)+n, ey, m.Color)
		return
	}
	fx, ex := r.inside(min(m.X1, m.X2), max(m.X1, m.X2))
	s.fill(fx, at(m.Y1), ex, at(m.Y1)+n, m.Color)
}

func (r *raster) ring(s *strip, m Ring) {
	out, in := m.Radius+m.Width/2, max(0, m.Radius-m.Width/2)
	fy, ey := r.inside(m.Y-out, m.Y+out)
	for y := max(fy, s.top); y < min(ey, s.top+s.lines); y++ {
		dy := (float64(y)+0.5)/r.perMM - m.Y
		fx, ex := r.inside(m.X-out, m.X+out)
		for x := max(fx, 0); x < min(ex, s.width); x++ {
			dx := (float64(x)+0.5)/r.perMM - m.X
			if d := math.Hypot(dx, dy); d >= in && d <= out {
				s.pix[(y-s.top)*s.width+x] = m.Color
			}
		}
	}
}

// glyphKey names the picture of a character.
type glyphKey struct {
	r    rune
	bold bool
	size float64
}

// glyphMask is the picture of a character, its place relative to the pen.
type glyphMask struct {
	*image.Alpha
	left, top int
}

func (r *raster) text(s *strip, m Text) {
	f := faceOf(m.Bold)
	pen := m.X
	baseline := int(math.Round(m.Y * r.perMM))
	for _, c := range m.Text {
		g := r.mask(glyphKey{c, m.Bold, m.Size})
		if g.Alpha != nil {
			r.stamp(s, g, int(math.Round(pen*r.perMM))+g.left, baseline+g.top, m.Color)
		}
		pen += f.width(c) * m.Size * point
	}
}

// stamp sets the pixels that the mask covers by half or more.
func (r *raster) stamp(s *strip, g *glyphMask, x, y int, c Color) {
	b := g.Bounds()
	for gy := range b.Dy() {
		line := y + gy - s.top
		if line < 0 || line >= s.lines {
			continue
		}
		for gx := range b.Dx() {
			if px := x + gx; px >= 0 && px < s.width && g.Pix[gy*g.Stride+gx] >= 0x80 {
				s.pix[line*s.width+px] = c
			}
		}
	}
}

// mask draws a character once for each size.
func (r *raster) mask(k glyphKey) *glyphMask {
	if g, ok := r.glyphs[k]; ok {
		return g
	}
	g := &glyphMask{}
	r.glyphs[k] = g
	scale := k.size * point * r.perMM // pixels in one em
	segments := faceOf(k.bold).outline(k.r)
	if len(segments) == 0 {
		return g
	}
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, s := range segments {
		for _, p := range s.at[:arguments(s.op)] {
			for i := range 2 {
				low[i], high[i] = min(low[i], p[i]*scale), max(high[i], p[i]*scale)
			}
		}
	}
	g.left, g.top = int(math.Floor(low[0])), int(math.Floor(low[1]))
	w, h := int(math.Ceil(high[0]))-g.left+1, int(math.Ceil(high[1]))-g.top+1
	z := vector.NewRasterizer(w, h)
	z.DrawOp = draw.Src
	at := func(p [2]float64) (float32, float32) {
		return float32(p[0]*scale - float64(g.left)), float32(p[1]*scale - float64(g.top))
	}
	for _, s := range segments {
		ax, ay := at(s.at[0])
		bx, by := at(s.at[1])
		cx, cy := at(s.at[2])
		switch s.op {
		case sfnt.SegmentOpMoveTo:
			z.ClosePath()
			z.MoveTo(ax, ay)
		case sfnt.SegmentOpLineTo:
			z.LineTo(ax, ay)
		case sfnt.SegmentOpQuadTo:
			z.QuadTo(ax, ay, bx, by)
		case sfnt.SegmentOpCubeTo:
			z.CubeTo(ax, ay, bx, by, cx, cy)
		}
	}
	z.ClosePath()
	g.Alpha = image.NewAlpha(image.Rect(0, 0, w, h))
	z.Draw(g.Alpha, g.Bounds(), image.Opaque, image.Point{})
	return g
}

// arguments is how many points a segment has.
func arguments(op sfnt.SegmentOp) int {
	switch op {
	case sfnt.SegmentOpQuadTo:
		return 2
	case sfnt.SegmentOpCubeTo:
		return 3
	}
	return 1
}
