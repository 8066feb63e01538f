package proof

import "fmt"

// Measures of the page for small sheets, labels and rolls, mm.
const (
	smallFrame = 3.0
	smallGap   = 1.2
)

// small lays out what fits on a small sheet, in the order of what tells most:
// frame, ruler, who and what, a solid bar, density, hairlines, text, a clear
// field. It leaves out what has no room.
func (c *canvas) small() {
	c.frameSmall()
	x, y := smallFrame, smallFrame+4.6
	right, bottom := c.Width-smallFrame, c.Length-smallFrame
	left, wide := x+6, right-x-7
	for _, part := range []func(x, y, w, room float64) float64{c.smallHead, c.smallBar, c.smallDensity, c.smallSolids, c.smallLines, c.smallText, c.smallField} {
		if next := part(left, y, wide, bottom-1-y); next > y {
			y = next + smallGap
		}
	}
}

// frameSmall draws the frame of a small sheet, with rulers along its top and
// down its left side.
func (c *canvas) frameSmall() {
	const w = 0.25
	x, right := smallFrame, c.Width-smallFrame
	y, bottom := smallFrame, c.Length-smallFrame
	c.line(x-w/2, y, right+w/2, y, w)
	c.line(x-w/2, bottom, right+w/2, bottom, w)
	c.line(x, y, x, bottom, w)
	c.line(right, y, right, bottom, w)
	for mm := int(smallFrame) + 1; float64(mm) < right; mm++ {
		l, tw := rulerTick(mm)
		c.line(float64(mm), y, float64(mm), y+l*0.6, tw)
		if mm%10 == 0 && float64(mm) < right-2 {
			c.center(float64(mm), y+3.9, 5, false, fmt.Sprint(mm), black)
		}
	}
	for mm := int(smallFrame) + 1; float64(mm) < bottom; mm++ {
		l, tw := rulerTick(mm)
		c.line(x, float64(mm), x+l*0.6, float64(mm), tw)
		if mm%10 == 0 && float64(mm) < bottom-2 {
			c.text(x+2.4, float64(mm)+0.6, 5, false, fmt.Sprint(mm))
		}
	}
}

// smallCaption prints title and symptoms of an element on one line, if there is
// room for it and for h millimetres below it; it returns 0 if not.
func (c *canvas) smallCaption(id string, x, y, w, h, room float64) float64 {
	if h+2.4 > room {
		return 0
	}
	e := element(id)
	s := e.Title
	for i, name := range e.Symptom {
		more := ", " + name
		if i == 0 {
			more = ": " + name
		}
		if textWidth(s+more, 5, false) > w {
			break
		}
		s += more
	}
	c.text(x, y+1.7, 5, false, fit(s, 5, false, w))
	return y + 2.4
}

func (c *canvas) smallHead(x, y, w, room float64) float64 {
	const size, step = 5.5, 2.4
	lines := []string{"printround proof, " + c.spec.Made.Format("2006-01-02 15:04")}
	for _, f := range append(append([]Fact{}, c.spec.Device...), c.spec.Settings...) {
		lines = append(lines, f.Name+" "+printable(f.Value, 80))
	}
	begin := y
	for _, s := range lines {
		if y+step-begin > max(step, room/3) {
			break
		}
		y += step
		c.text(x, y-0.5, size, false, fit(s, size, false, w))
	}
	return y
}

func (c *canvas) smallBar(x, y, w, room float64) float64 {
	const high = 4.0
	at := c.smallCaption("bands", x, y, w, high, room)
	if at == 0 {
		return y
	}
	c.box(1, at, c.Width-2, high, black)
	return at + high
}

func (c *canvas) smallDensity(x, y, w, room float64) float64 {
	const high = 5.0
	at := c.smallCaption("density", x, y, w, high+2, room)
	if at == 0 {
		return y
	}
	each := w / float64(len(densities))
	for i, d := range densities {
		c.box(x+float64(i)*each, at, each, high, gray(d))
		if each > 4 {
			c.center(x+(float64(i)+0.5)*each, at+high+1.8, 4.5, false, fmt.Sprintf("%g", d), black)
		}
	}
	return at + high + 2
}

func (c *canvas) smallSolids(x, y, w, room float64) float64 {
	const high = 4.5
	if !c.spec.Color {
		return y
	}
	at := c.smallCaption("solids", x, y, w, high, room)
	if at == 0 {
		return y
	}
	all := solids()
	each := w / float64(len(all))
	for i, s := range all {
		c.box(x+float64(i)*each, at, each, high, s.color)
	}
	return at + high
}

func (c *canvas) smallLines(x, y, w, room float64) float64 {
	const high = 5.0
	at := c.smallCaption("hairlines", x, y, w, high+1.5, room)
	if at == 0 {
		return y
	}
	at += 1.5
	each := (w - 1) / 2 / 10
	for k := 1; k <= 10; k++ {
		lx := x + each*(float64(k)-0.5)
		width := float64(k) / 10
		c.line(lx, at, lx, at+high, width)
		if each > 2 {
			c.center(lx, at-0.3, 4, false, hairlineName(k), black)
		}
	}
	half := x + w/2 + 0.5
	for k := 1; k <= 5; k++ {
		ly := at + high*(float64(k)-0.5)/5
		c.line(half, ly, x+w, ly, float64(k)/10)
	}
	return at + high
}

func (c *canvas) smallText(x, y, w, room float64) float64 {
	const high = 11.5
	at := c.smallCaption("text", x, y, w, high, room)
	if at == 0 {
		return y
	}
	for _, pt := range []float64{4, 5, 6, 8} {
		at += pt * point * 1.25
		c.sample(x, at, pt, w)
	}
	return at + 1
}

// smallField is a strong pattern with a clear field below it.
func (c *canvas) smallField(x, y, w, room float64) float64 {
	at := c.smallCaption("ghost", x, y, w, 16, room)
	if at == 0 {
		return y
	}
	c.box(x, at, w/2, 5, black)
	c.text(x+w/2+1, at+5, 18, true, "OBX")
	return y + room
}
