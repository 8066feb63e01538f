package proof

import "fmt"

// frameAt is the distance of the frame from each edge of the sheet, mm. It is
// the same on both sides, so that they can be held against the light.
const frameAt = 10.0

// rulerDepth is the room that a ruler takes inside the frame, mm.
const rulerDepth = 7.0

// frame draws the frame and the steps at the edges that show the margins.
func (c *canvas) frame() {
	const w = 0.3
	right, bottom := c.Width-frameAt, c.Length-frameAt
	c.line(frameAt-w/2, frameAt, right+w/2, frameAt, w)
	c.line(frameAt-w/2, bottom, right+w/2, bottom, w)
	c.line(frameAt, frameAt, frameAt, bottom, w)
	c.line(right, frameAt, right, bottom, w)
	c.margins()
}

// margins draws at each edge a stair of short lines, 1 to 9 mm from the edge:
// the first that is not cut off tells the margin.
func (c *canvas) margins() {
	const (
		tread = 3.6 // length of one line
		thick = 0.2
		size  = 5.0
	)
	midX, midY := c.Width/2-4.5*tread, c.Length/2-4.5*tread
	for n := 1; n <= 9; n++ {
		d, k := float64(n), float64(n-1)*tread
		label := fmt.Sprint(n)
		half := textWidth(label, size, false) / 2
		c.line(d, midY+k, d, midY+k+tread, thick)                   // left
		c.line(c.Width-d, midY+k, c.Width-d, midY+k+tread, thick)   // right
		c.line(midX+k, d, midX+k+tread, d, thick)                   // top
		c.line(midX+k, c.Length-d, midX+k+tread, c.Length-d, thick) // bottom
		if n > 8 {
			continue // there is no room for the figure beside the frame
		}
		c.text(d+0.5, midY+k+tread/2+0.6, size, false, label)
		c.text(c.Width-d-0.5-2*half, midY+k+tread/2+0.6, size, false, label)
		c.text(midX+k+tread/2-half, d+1.8, size, false, label)
		c.text(midX+k+tread/2-half, c.Length-d-0.5, size, false, label)
	}
}

// rulerTick returns length and width of the line at a millimetre.
func rulerTick(mm int) (length, width float64) {
	switch {
	case mm%10 == 0:
		return 3.5, 0.2
	case mm%5 == 0:
		return 2.5, 0.2
	}
	return 1.5, 0.1
}

// rulers draws the rulers inside the frame, along its top and down its left
// side to the length given. The numbers are distances from the edge of the
// sheet.
func (c *canvas) rulers(down float64) {
	const size = 5.5
	for mm := int(frameAt) + 1; float64(mm) < c.Width-frameAt; mm++ {
		l, w := rulerTick(mm)
		c.line(float64(mm), frameAt, float64(mm), frameAt+l, w)
		if mm%10 == 0 && float64(mm) < c.Width-frameAt-3 {
			c.center(float64(mm), frameAt+l+2.1, size, false, fmt.Sprint(mm), black)
		}
	}
	for mm := int(frameAt) + 1; float64(mm) < down; mm++ {
		l, w := rulerTick(mm)
		c.line(frameAt, float64(mm), frameAt+l, float64(mm), w)
		if mm%10 == 0 && mm > 10 {
			c.text(frameAt+l+0.4, float64(mm)+0.7, size, false, fmt.Sprint(mm))
		}
	}
}
