package proof

import "fmt"

// second lays out the second side: the same frame, for the register of the two
// sides, and fields that show what the way of the second side does to the sheet.
func (c *canvas) second() {
	left, top := frameAt+rulerDepth+2, frameAt+rulerDepth
	right, bottom := c.Width-frameAt-2, c.Length-frameAt-2
	if c.Width < fullWidth || c.Length < fullLength {
		c.frameSmall()
		c.center(c.Width/2, c.Length/2+1, 8, true, "side 2", black)
		return
	}
	c.frame()
	c.rulers(bottom)
	c.text(left, top+3.4, 11, true, "printround proof, second side")
	c.text(left, top+7.5, 7, false, turned(c.spec.Sides))
	c.facts(c.spec.Settings[:min(1, len(c.spec.Settings))], left, top+7.5, 80, 7, 3.1)
	c.up(right-34, top+1, 34)
	y := c.caption("back", left, top+14, right-left-38)
	c.corners()
	y = max(y, top+24)
	c.cross(c.Width/2, y+8, false)
	c.text(c.Width/2+8, y+9, 6.5, false, "the middle of the sheet, from left to right")
	band := 14.0
	for i, d := range []float64{100, 50, 20} {
		c.box(bandEdge, bottom-float64(3-i)*band, c.Width-2*bandEdge, band, gray(d))
	}
	field := bottom - 3*band
	c.caption("bands", left, field-8, right-left)
	c.even(left, field-8-46, right-left, 44)
}

// turned says where the top of the second side is to be.
func turned(sides string) string {
	if sides == "two-sided-short-edge" {
		return "TOP of this side is at the bottom of the first: the sheet turns like a page of a note pad (short edge)"
	}
	return "TOP of both sides is at the same edge: the sheet turns like a page of a book (long edge)"
}

// corners draws millimetre scales at the corners of the frame, to read on them
// how far the frame of the first side is off.
func (c *canvas) corners() {
	for _, x := range []float64{frameAt, c.Width - frameAt} {
		for _, y := range []float64{frameAt, c.Length - frameAt} {
			for mm := -5; mm <= 5; mm++ {
				l := 0.7
				if mm%5 == 0 {
					l = 1.4
				}
				d := float64(mm)
				c.line(x+d, y-l, x+d, y+l, 0.1)
				c.line(x-l, y+d, x+l, y+d, 0.1)
			}
		}
	}
	c.center(frameAt+14, frameAt-2.5, 5, false, fmt.Sprintf("corner scales: %d mm each way", 5), black)
}
