package proof

import (
	"fmt"
	"math"
)

// full lays out a side with all elements. From the top: head, strong pattern
// with a clear field below and one beside it; right of the lower field the
// elements one below the other; at the foot the patches and the bands across
// the sheet.
func (c *canvas) full() {
	left, top := frameAt+rulerDepth+2, frameAt+rulerDepth
	right, bottom := c.Width-frameAt-2, c.Length-frameAt-2
	head := c.head(left, top, right-left)
	foot := c.bands(bottom)
	c.frame()
	c.rulers(foot - 2)
	if c.spec.Color {
		foot = c.patches(left, foot-2, right-left)
	}
	c.ghost(left, head+2, right, foot-2)
	c.column(left+ghostWidth+5, head+2+patternLength+3, right, foot-2)
}

// head prints who the device is, what was sent, and which way is up; it
// returns where it ends.
func (c *canvas) head(x, y, w float64) float64 {
	const (
		title = 11.0
		size  = 7.0
		step  = 3.1
		upW   = 34.0
	)
	s := c.spec
	c.text(x, y+3.4, title, true, "printround proof")
	made := s.Made.Format("2006-01-02 15:04:05 -07:00")
	c.text(x+38, y+3.4, size, false, fit("made "+made+" by printround "+printable(s.Version, 24), size, false, w-38-upW))
	half := (w - upW) / 2
	low := max(c.facts(s.Device, x, y+4.6, half-2, size, step), c.facts(s.Settings, x+half, y+4.6, half-2, size, step))
	c.up(x+w-upW, y+1, upW)
	low = c.caption("frame", x, max(low, y+21)+0.5, w)
	return c.caption("rulers", x, low+0.4, w)
}

// facts prints names and values below each other and returns where they end.
func (c *canvas) facts(list []Fact, x, y, w, size, step float64) float64 {
	names := 0.0
	for _, f := range list {
		names = max(names, textWidth(f.Name, size, false))
	}
	for _, f := range list {
		y += step
		c.text(x, y, size, false, f.Name)
		c.text(x+names+1.5, y, size, true, fit(printable(f.Value, 120), size, true, w-names-1.5))
	}
	return y + 1
}

// up draws the arrow that points to the top, and the boxes for the edge that
// came out first.
func (c *canvas) up(x, y, w float64) {
	mid := x + w/2
	for i := range 20 { // a solid triangle
		h := float64(i) * 0.2
		c.box(mid-h*0.7, y+h, 1.4*h, 0.2, black)
	}
	c.center(mid, y+7.6, 10, true, "TOP", black)
	c.center(mid, y+10.6, 6, false, "tick the edge that came out first", black)
	at := x + 0.5
	for _, e := range []string{"top", "left", "right", "bottom"} {
		c.square(at, y+12, 2.6)
		c.text(at+3.1, y+14.2, 6, false, e)
		at += 3.1 + textWidth(e, 6, false) + 1.5
	}
	c.center(mid, y+17.4, 6, false, "not the one wanted? see", black)
	c.center(mid, y+19.8, 6, true, "wrong-orientation", black)
}

// square draws an empty box.
func (c *canvas) square(x, y, a float64) {
	const w = 0.2
	c.line(x, y, x+a, y, w)
	c.line(x, y+a, x+a, y+a, w)
	c.line(x, y-w/2, x, y+a+w/2, w)
	c.line(x+a, y-w/2, x+a, y+a+w/2, w)
}

// Size of the strong pattern with the ruler beside it, mm.
const (
	ghostWidth    = 46.0
	patternLength = 17.0
	scaleWidth    = 8.0
)

// ghost draws the strong pattern, and around the clear fields below and right
// of it the rulers to read an interval on.
func (c *canvas) ghost(x, y, right, bottom float64) {
	px := x + scaleWidth
	pw := ghostWidth - scaleWidth
	c.box(px, y, 11, patternLength, black)
	const cell = 1.7
	for i := range 6 {
		for k := range 10 {
			if (i+k)%2 == 0 {
				c.box(px+12+float64(i)*cell, y+float64(k)*cell, cell, cell, black)
			}
		}
	}
	c.text(px+23.5, y+7, 20, true, "OBX")
	c.text(px+23.5, y+patternLength, 20, true, "H82")
	words := captionHeight("ghost", pw)
	end := bottom - words - 1.5
	c.scaleDown(x, y, end)
	c.scaleAcross(px, right, y)
	c.caption("ghost", px, bottom-words, pw)
}

// scaleDown is a ruler from the top edge of the pattern downward, in mm.
func (c *canvas) scaleDown(x, y, end float64) {
	for mm := 0; y+float64(mm) <= end; mm++ {
		l, w := rulerTick(mm)
		at := y + float64(mm)
		c.line(x+scaleWidth-1-l, at, x+scaleWidth-1, at, w)
		if mm%10 == 0 {
			label := fmt.Sprint(mm)
			c.text(x+scaleWidth-5-textWidth(label, 5.5, false), at+0.7, 5.5, false, label)
		}
	}
}

// scaleAcross is the same to the right, from the left edge of the pattern.
func (c *canvas) scaleAcross(x, right, y float64) {
	for mm := int(ghostWidth-scaleWidth) + 2; x+float64(mm) <= right; mm++ {
		l, w := rulerTick(mm)
		at := x + float64(mm)
		c.line(at, y, at, y+l, w)
		if mm%10 == 0 && at < right-2 {
			c.center(at, y+l+2.1, 5.5, false, fmt.Sprint(mm), black)
		}
	}
}

// column draws the elements beside the lower clear field, and gives what is
// left to the even grey.
func (c *canvas) column(x, y, right, bottom float64) {
	const gap = 2.0
	w := right - x
	y = c.density(x, y, w) + gap
	y = c.hairlines(x, y, w) + gap
	y = c.samples(x, y, w) + gap
	y = c.rub(x, y, w) + gap
	if c.spec.Color {
		y = c.solids(x, y, w) + gap
	}
	c.even(x, y, w, bottom-y)
}

// densities in percent.
var densities = []float64{0, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100}

func (c *canvas) density(x, y, w float64) float64 {
	const high = 8.0
	y = c.caption("density", x, y, w) + 1
	each := w / float64(len(densities))
	for i, d := range densities {
		at := x + float64(i)*each
		c.box(at, y, each, high, gray(d))
		c.center(at+each/2, y+high+2.4, 6, false, fmt.Sprintf("%g", d), black)
	}
	c.line(x, y, x+each, y, 0.1) // where paper ends, nothing would be seen of step 0
	c.line(x, y+high, x+each, y+high, 0.1)
	c.line(x, y, x, y+high, 0.1)
	return y + high + 3
}

// hairlines are 0.1 to 1.0 mm wide, in both directions, dark on light and light
// on dark.
func (c *canvas) hairlines(x, y, w float64) float64 {
	const high = 13.0
	y = c.caption("hairlines", x, y, w) + 3.2
	each := (w - 6) / 4
	for i := range 4 {
		at := x + float64(i)*(each+2)
		paint := black
		if i >= 2 {
			c.box(at, y, each, high, black)
			paint = white
		}
		for k := 1; k <= 10; k++ {
			width := float64(k) / 10
			if i%2 == 0 { // along the sheet
				lx := at + each*(float64(k)-0.5)/10
				c.add(Line{lx, y + 0.5, lx, y + high - 0.5, width, paint})
				c.center(lx, y-0.7, 4.5, false, hairlineName(k), black)
				continue
			}
			ly := y + high*(float64(k)-0.5)/10
			c.add(Line{at + 0.5, ly, at + each - 5, ly, width, paint})
			c.add(Text{X: at + each - 4.3, Y: ly + 0.45, Size: 3.6, Color: paint, Text: hairlineName(k)})
		}
	}
	return y + high
}

// hairlineName writes a width in tenths of a millimetre without its zero.
func hairlineName(tenths int) string {
	if tenths == 10 {
		return "1.0"
	}
	return fmt.Sprintf(".%d", tenths)
}

// sampleText has the letters and figures that are mixed up first.
const sampleText = "Quay 8B, berth 6: 3,580 ferries; aegs oce il1I O0 rn m"

func (c *canvas) samples(x, y, w float64) float64 {
	y = c.caption("text", x, y, w) + 0.5
	left, rightAt := y, y
	half := w/2 - 1
	for _, pt := range []float64{4, 5, 6, 7, 8} {
		left += pt * point * 1.25
		c.sample(x, left, pt, half)
	}
	for _, pt := range []float64{9, 10, 12} {
		rightAt += pt * point * 1.2
		c.sample(x+w/2+1, rightAt, pt, half)
	}
	return max(left, rightAt) + 1
}

// sample prints as much of the sample text as fits.
func (c *canvas) sample(x, y, pt, w float64) {
	s := fmt.Sprintf("%g pt ", pt)
	all := []rune(s + sampleText)
	for len(all) > 0 && textWidth(string(all), pt, false) > w {
		all = all[:len(all)-1]
	}
	c.text(x, y, pt, false, string(all))
}

// rub draws the patch to rub and, on colour devices, the register of colours
// beside it.
func (c *canvas) rub(x, y, w float64) float64 {
	const patch = 16.0
	half := w/2 - 1
	c.box(x, y, patch, patch, black)
	end := max(y+patch, c.caption("rub", x+patch+2, y, half-patch-2))
	if c.spec.Color {
		end = max(end, c.register(x+w/2+1, y, half))
	}
	return end
}

// registerHigh is the room for the register of colours, mm.
const registerHigh = 7.5

// register draws lines of which each third has another colour, and crosses of
// all colours on each other.
func (c *canvas) register(x, y, w float64) float64 {
	y = c.caption("registration", x, y, w) + 1.5
	const width = 0.2
	inks := []Color{primaries[0].color, black, primaries[1].color, black, primaries[2].color, black}
	part := 4.0
	for i, ink := range inks {
		at := x + float64(i)*part
		c.add(Line{at, y, at + part, y, width, ink}, Line{at, y + 1.5, at + part, y + 1.5, width, ink})
	}
	down := (registerHigh - 1) / float64(len(inks))
	for i, ink := range inks {
		at := y - 0.5 + float64(i)*down
		for _, dx := range []float64{28, 30} {
			c.add(Line{x + dx, at, x + dx, at + down, width, ink})
		}
	}
	for i, dx := range []float64{38, 49} {
		c.cross(x+dx, y+3, i == 1)
	}
	return y + registerHigh
}

// cross draws a cross and a ring in black, or in the three colours and black on
// each other, each of the width of the register lines.
func (c *canvas) cross(x, y float64, fourColors bool) {
	inks := []Color{black}
	if fourColors {
		inks = []Color{primaries[2].color, primaries[1].color, primaries[0].color, black}
	}
	for i, ink := range inks {
		// The wider ones below show at the edges when they are off.
		width := 0.2
		if fourColors && i < 3 {
			width = 0.25
		}
		c.add(Line{x - 4, y, x + 4, y, width, ink}, Line{x, y - 3.5, x, y + 3.5, width, ink}, Ring{x, y, 2.2, width, ink})
	}
}

func (c *canvas) solids(x, y, w float64) float64 {
	const high = 9.0
	y = c.caption("solids", x, y, w) + 1
	all := solids()
	each := w / float64(len(all))
	for i, s := range all {
		at := x + float64(i)*each
		c.box(at, y, each, high, s.color)
		ink := white
		if luminance(s.color) > 150 {
			ink = black
		}
		c.center(at+each/2, y+high/2+1.2, 7, true, "Ax5", ink)
		c.center(at+each/2, y+high+2.3, 6, false, s.name, black)
	}
	return y + high + 3
}

// mostEven is how high the even grey is at most: more would only cost toner.
const mostEven = 65.0

// even fills what is left with an even grey of 40 %.
func (c *canvas) even(x, y, w, h float64) {
	end := c.caption("even", x, y, w) + 1
	if room := min(y+h-end, mostEven); room > 3 {
		c.box(x, end, w, room, gray(40))
	}
}

// patches draws the colour patches above y and returns where they begin.
func (c *canvas) patches(x, y, w float64) float64 {
	const (
		rowHigh = 8.4
		patchW  = 11.5
		size    = 4.8
	)
	list := Patches()
	rows := len(list) / patchColumns
	words := captionHeight("patches", w)
	begin := y - float64(rows)*rowHigh - words - 1
	c.caption("patches", x, begin, w)
	each := w / patchColumns
	for i, p := range list {
		at := x + float64(i%patchColumns)*each
		row := begin + words + 1 + float64(i/patchColumns)*rowHigh
		c.box(at, row, patchW, rowHigh-0.6, p.Color)
		if p.Color == white {
			c.line(at, row, at+patchW, row, 0.1)
			c.line(at, row+rowHigh-0.6, at+patchW, row+rowHigh-0.6, 0.1)
			c.line(at+patchW, row, at+patchW, row+rowHigh-0.6, 0.1)
		}
		lab := p.Color.Lab()
		tx := at + patchW + 0.8
		c.text(tx, row+2.1, 6, true, p.ID)
		c.text(tx, row+4.5, size, false, fmt.Sprintf("RGB %d %d %d", p.Color.R, p.Color.G, p.Color.B))
		c.text(tx, row+6.8, size, false, fmt.Sprintf("Lab %.1f %s %s", lab.L, signed(lab.A), signed(lab.B)))
	}
	return begin
}

// signed writes a value to one decimal, without a minus before nothing.
func signed(x float64) string {
	if math.Abs(x) < 0.05 {
		x = 0
	}
	return fmt.Sprintf("%.1f", x)
}

// bandEdge is how near to the edges of the sheet the bands go, mm.
const bandEdge = 4.0

// bands draws the bands across the sheet above y and returns where they begin.
func (c *canvas) bands(y float64) float64 {
	list := []solid{{"", black}, {"", gray(50)}, {"", gray(20)}}
	high := 8.0
	if c.spec.Color {
		list = append([]solid{{"", gray(50)}}, primaries...)
		list = append(list, solid{"", black})
		high = 5.5
	}
	x, w := frameAt+rulerDepth+2, c.Width-2*frameAt-rulerDepth-4
	words := captionHeight("bands", w)
	begin := y - float64(len(list))*high - words - 1
	c.caption("bands", x, begin, w)
	for i, b := range list {
		c.box(bandEdge, begin+words+1+float64(i)*high, c.Width-2*bandEdge, high, b.color)
	}
	return begin
}
