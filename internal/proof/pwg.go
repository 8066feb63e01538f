package proof

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"io"
	"math"
)

// Parts of a PWG raster document (PWG 5102.4): a sync word, and for each page a
// header of fixed length and the compressed lines. All numbers are unsigned,
// four octets, the most significant first. Offsets and values are from memory.
const (
	pwgSync       = "RaS2"
	pwgHeaderSize = 1796
	pwgString     = 64 // length of each text

	pwgColorGray = 18 // Sgray
	pwgColorRGB  = 19 // sRGB
)

// Offsets of the fields of the page header that are set here.
const (
	offPwgRaster          = 0
	offMediaType          = 128
	offDuplex             = 272
	offHWResolution       = 276 // cross feed, feed
	offNumCopies          = 340
	offOrientation        = 344
	offPageSize           = 352 // points, cross feed and feed
	offTumble             = 368
	offWidth              = 372
	offHeight             = 376
	offBitsPerColor       = 384
	offBitsPerPixel       = 388
	offBytesPerLine       = 392
	offColorOrder         = 396
	offColorSpace         = 400
	offNumColors          = 420
	offTotalPageCount     = 452
	offCrossFeedTransform = 456
	offFeedTransform      = 460
	offImageBoxRight      = 472
	offImageBoxBottom     = 476
	offAlternatePrimary   = 480
	offPrintQuality       = 484
	offRenderingIntent    = 1668
	offPageSizeName       = 1732
)

// defaultResolution is that of a document when the device says none.
const defaultResolution = 300

// writePWG writes the pages line by line: one strip of the picture is in
// memory at a time.
func writePWG(w io.Writer, pages []Page, s Spec, r Raster) error {
	if r.Resolution <= 0 {
		r.Resolution = defaultResolution
	}
	out := bufio.NewWriterSize(w, 64<<10)
	if _, err := out.WriteString(pwgSync); err != nil {
		return err
	}
	for i, p := range pages {
		back := s.TwoSided() && i%2 == 1
		picture := newRaster(p, r.Resolution)
		cross, feed := backTransform(r.SheetBack, s.Sides, back)
		if _, err := out.Write(pwgHeader(picture, s, r, len(pages), cross, feed)); err != nil {
			return err
		}
		e := &pwgEncoder{out: out, depth: 1}
		if s.Color {
			e.depth = 3
		}
		if err := e.page(picture, cross, feed); err != nil {
			return err
		}
	}
	return out.Flush()
}

// backTransform says how the picture of a back side is to be turned
// (PWG 5102.4 section 4.3, table from memory): 1 or -1 across the feed and
// along it.
func backTransform(sheetBack, sides string, back bool) (cross, feed int32) {
	tumble := sides == "two-sided-short-edge"
	if !back {
		return 1, 1
	}
	switch {
	case sheetBack == "rotated" && !tumble, sheetBack == "manual-tumble" && tumble:
		return -1, -1
	case sheetBack == "flipped" && tumble:
		return -1, 1
	case sheetBack == "flipped":
		return 1, -1
	}
	return 1, 1
}

func pwgHeader(p *raster, s Spec, r Raster, pages int, cross, feed int32) []byte {
	b := make([]byte, pwgHeaderSize)
	num := func(at int, values ...int) {
		for i, v := range values {
			binary.BigEndian.PutUint32(b[at+4*i:], uint32(int32(v)))
		}
	}
	text := func(at int, t string) { copy(b[at:at+pwgString-1], t) } // ends in a zero
	text(offPwgRaster, "PwgRaster")
	text(offMediaType, r.MediaType)
	text(offRenderingIntent, "relative")
	text(offPageSizeName, r.Media)
	num(offHWResolution, r.Resolution, r.Resolution)
	num(offNumCopies, 1)
	num(offPageSize, int(math.Round(p.page.Width/point)), int(math.Round(p.page.Length/point)))
	if s.TwoSided() {
		num(offDuplex, 1)
		if s.Sides == "two-sided-short-edge" {
			num(offTumble, 1)
		}
	}
	num(offWidth, p.width)
	num(offHeight, p.height)
	depth, space := 1, pwgColorGray
	if s.Color {
		depth, space = 3, pwgColorRGB
	}
	num(offBitsPerColor, 8)
	num(offBitsPerPixel, 8*depth)
	num(offBytesPerLine, p.width*depth)
	num(offColorOrder, 0) // all values of a pixel together
	num(offColorSpace, space)
	num(offNumColors, depth)
	num(offTotalPageCount, pages)
	num(offCrossFeedTransform, int(cross))
	num(offFeedTransform, int(feed))
	num(offImageBoxRight, p.width)
	num(offImageBoxBottom, p.height)
	num(offAlternatePrimary, 0x00ffffff)
	num(offPrintQuality, 4) // normal
	num(offOrientation, 0)  // portrait
	return b
}

// pwgEncoder compresses lines.
type pwgEncoder struct {
	out   *bufio.Writer
	depth int // octets of a pixel

	line, last []byte
	repeats    int // of last, beyond the first
	have       bool
}

// page writes the lines of a picture, turned as the device wants its back
// sides.
func (e *pwgEncoder) page(p *raster, cross, feed int32) error {
	e.have = false
	if feed < 0 {
		return e.upsideDown(p, cross)
	}
	err := p.each(func(line []Color) error { return e.add(line, cross < 0) })
	if err != nil {
		return err
	}
	return e.end()
}

// upsideDown writes the lines from the last to the first: it draws the page
// turned around its middle instead of keeping it.
func (e *pwgEncoder) upsideDown(p *raster, cross int32) error {
	lines := make([][]byte, 0, p.height)
	err := p.each(func(line []Color) error {
		e.octets(line, cross < 0)
		var b bytes.Buffer
		w := bufio.NewWriter(&b)
		compress(w, e.line, e.depth)
		if err := w.Flush(); err != nil {
			return err
		}
		if n := len(lines); n > 0 && bytes.Equal(lines[n-1], b.Bytes()) {
			lines = append(lines, lines[n-1])
			return nil
		}
		lines = append(lines, b.Bytes())
		return nil
	})
	if err != nil {
		return err
	}
	for i := len(lines) - 1; i >= 0; {
		n := 1
		for n < 256 && i-n >= 0 && bytes.Equal(lines[i-n], lines[i]) {
			n++
		}
		if err := e.out.WriteByte(byte(n - 1)); err != nil {
			return err
		}
		if _, err := e.out.Write(lines[i]); err != nil {
			return err
		}
		i -= n
	}
	return nil
}

// octets puts a line of pixels into e.line, from right to left if mirrored.
func (e *pwgEncoder) octets(line []Color, mirrored bool) {
	if n := len(line) * e.depth; cap(e.line) < n {
		e.line, e.last = make([]byte, n), make([]byte, n)
	}
	e.line = e.line[:len(line)*e.depth]
	for i, c := range line {
		at := i
		if mirrored {
			at = len(line) - 1 - i
		}
		if e.depth == 1 {
			e.line[at] = luminance(c)
			continue
		}
		e.line[3*at], e.line[3*at+1], e.line[3*at+2] = c.R, c.G, c.B
	}
}

// luminance is the grey of a colour; greys keep their value exactly.
func luminance(c Color) byte {
	if c.R == c.G && c.G == c.B {
		return c.R
	}
	return byte((2126*int(c.R) + 7152*int(c.G) + 722*int(c.B) + 5000) / 10000)
}

// add takes the next line; equal lines are counted, at most 256.
func (e *pwgEncoder) add(line []Color, mirrored bool) error {
	e.octets(line, mirrored)
	if e.have && e.repeats < 255 && bytes.Equal(e.line, e.last) {
		e.repeats++
		return nil
	}
	if err := e.end(); err != nil {
		return err
	}
	e.line, e.last = e.last[:len(e.line)], e.line
	e.have, e.repeats = true, 0
	return nil
}

// end writes the line that is waiting, with the count of its repetitions in
// front.
func (e *pwgEncoder) end() error {
	if !e.have {
		return nil
	}
	e.have = false
	if err := e.out.WriteByte(byte(e.repeats)); err != nil {
		return err
	}
	return compress(e.out, e.last, e.depth)
}

// compress writes one line: an octet n up to 127 repeats the next pixel n+1
// times, one from 129 on is followed by 257-n pixels as they are. One pixel
// alone is written the first way.
func compress(w *bufio.Writer, line []byte, depth int) error {
	pixels := len(line) / depth
	same := func(a, b int) bool {
		return bytes.Equal(line[a*depth:(a+1)*depth], line[b*depth:(b+1)*depth])
	}
	for i := 0; i < pixels; {
		n := 1
		for n < 128 && i+n < pixels && same(i, i+n) {
			n++
		}
		if n > 1 || i+1 == pixels {
			_ = w.WriteByte(byte(n - 1))
			_, _ = w.Write(line[i*depth : (i+1)*depth])
			i += n
			continue
		}
		for n < 128 && i+n < pixels && (i+n+1 >= pixels || !same(i+n, i+n+1)) {
			n++
		}
		if n == 1 {
			_ = w.WriteByte(0)
		} else {
			_ = w.WriteByte(byte(257 - n))
		}
		_, _ = w.Write(line[i*depth : (i+n)*depth])
		i += n
	}
	_, err := w.Write(nil) // the first error of the buffer stays
	return err
}
