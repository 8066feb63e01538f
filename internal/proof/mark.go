package proof

import "printround/internal/colorimetry"

// Color is a colour as it is sent.
type Color = colorimetry.SRGB

var (
	black = Color{}
	white = Color{R: 255, G: 255, B: 255}
)

// gray returns the neutral colour of a density in percent: 0 is paper, 100 is
// black. The percentage is of the value sent, not of what is reflected.
func gray(percent float64) Color {
	v := uint8(255 - percent*2.55 + 0.5)
	return Color{R: v, G: v, B: v}
}

// Mark is one thing on a page. Lengths are in millimetres from the top left
// corner of the sheet.
type Mark interface{ mark() }

// Box is a filled rectangle.
type Box struct {
	X, Y, W, H float64
	Color      Color
}

// Line is a straight line with flat ends.
type Line struct {
	X1, Y1, X2, Y2, Width float64
	Color                 Color
}

// Ring is a circle; Width is that of its line.
type Ring struct {
	X, Y, Radius, Width float64
	Color               Color
}

// Text is one line of text. Y is its base line, Size in points of 1/72 inch.
type Text struct {
	X, Y, Size float64
	Bold       bool
	Color      Color
	Text       string
}

func (Box) mark()  {}
func (Line) mark() {}
func (Ring) mark() {}
func (Text) mark() {}

// Page is one side of a sheet.
type Page struct {
	Width, Length float64 // mm
	Marks         []Mark
}

// point is the length of 1/72 inch in millimetres.
const point = 25.4 / 72
