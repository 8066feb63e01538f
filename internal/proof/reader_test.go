package proof

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
)

// rasterPage is one page as the reader below finds it.
type rasterPage struct {
	header []byte
	image  *image.RGBA
}

func (p *rasterPage) num(at int) int { return int(binary.BigEndian.Uint32(p.header[at:])) }

func (p *rasterPage) text(at int) string {
	s, _, _ := strings.Cut(string(p.header[at:at+64]), "\x00")
	return s
}

// readRaster is a reader of PWG raster that shares nothing with the writer: it
// takes header fields by the table of PWG 5102.4 section 4.3 and unpacks by
// section 4.4 (both from memory; another reader is that of the sample IPP
// printer, see TestPWGRasterThroughAnotherReader).
func readRaster(in io.Reader) ([]*rasterPage, error) {
	r := bufio.NewReader(in)
	sync := make([]byte, 4)
	if _, err := io.ReadFull(r, sync); err != nil || string(sync) != "RaS2" {
		return nil, fmt.Errorf("sync word %q, %v", sync, err)
	}
	var pages []*rasterPage
	for {
		p := &rasterPage{header: make([]byte, 1796)}
		if _, err := io.ReadFull(r, p.header); errors.Is(err, io.EOF) {
			return pages, nil
		} else if err != nil {
			return nil, err
		}
		if err := p.unpack(r); err != nil {
			return nil, fmt.Errorf("page %d: %w", len(pages)+1, err)
		}
		pages = append(pages, p)
	}
}

func (p *rasterPage) unpack(r *bufio.Reader) error {
	width, height, perPixel, perLine := p.num(372), p.num(376), p.num(388)/8, p.num(392)
	if width*perPixel != perLine || width > 20000 || height > 20000 || perPixel != 1 && perPixel != 3 {
		return fmt.Errorf("%d x %d pixels of %d octets in lines of %d", width, height, perPixel, perLine)
	}
	p.image = image.NewRGBA(image.Rect(0, 0, width, height))
	pixel := make([]byte, perPixel)
	for y := 0; y < height; {
		times, err := r.ReadByte()
		if err != nil {
			return err
		}
		var line []color.RGBA
		for len(line) < width {
			code, err := r.ReadByte()
			if err != nil {
				return err
			}
			repeat, literal := int(code)+1, 1
			if code == 128 {
				return errors.New("a code that has no meaning")
			}
			if code > 128 {
				repeat, literal = 1, 257-int(code)
			}
			for range literal {
				if _, err := io.ReadFull(r, pixel); err != nil {
					return err
				}
				c := color.RGBA{pixel[0], pixel[0], pixel[0], 255}
				if perPixel == 3 {
					c = color.RGBA{pixel[0], pixel[1], pixel[2], 255}
				}
				for range repeat {
					line = append(line, c)
				}
			}
		}
		if len(line) != width || y+int(times) >= height {
			return fmt.Errorf("line %d: %d pixels, %d times", y, len(line), int(times)+1)
		}
		for range int(times) + 1 {
			for x, c := range line {
				p.image.SetRGBA(x, y, c)
			}
			y++
		}
	}
	return nil
}

func decoded(t *testing.T, s Spec, r Raster) []*rasterPage {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, PWGRaster, s, r); err != nil {
		t.Fatal(err)
	}
	pages, err := readRaster(&b)
	if err != nil {
		t.Fatal(err)
	}
	return pages
}

// The fields of PWG 5102.4 table 2 (offsets from memory).
func TestPWGHeader(t *testing.T) {
	for _, inColor := range []bool{false, true} {
		s := spec(210, 297, inColor)
		s.Sides = "two-sided-short-edge"
		pages := decoded(t, s, Raster{Resolution: 300, SheetBack: "flipped", Media: "iso_a4_210x297mm", MediaType: "stationery"})
		if len(pages) != 2 {
			t.Fatalf("%d pages", len(pages))
		}
		depth, space := 1, 18
		if inColor {
			depth, space = 3, 19
		}
		for i, p := range pages {
			cross := uint32(1)
			if i == 1 {
				cross = 0xffffffff // turned on its short edge, flipped
			}
			for at, want := range map[int]int{
				272: 1, 276: 300, 280: 300, 340: 1, 344: 0, 352: 595, 356: 842, 368: 1, 372: 2480, 376: 3508, 384: 8, 388: 8 * depth,
				392: 2480 * depth, 396: 0, 400: space, 420: depth, 452: 2, 456: int(cross), 460: 1, 464: 0, 468: 0, 472: 2480, 476: 3508,
				480: 0xffffff, 484: 4, 508: 0, 512: 0,
			} {
				if got := p.num(at); got != want {
					t.Errorf("color %v, page %d: octet %d is %d, want %d", inColor, i+1, at, got, want)
				}
			}
			for at, want := range map[int]string{0: "PwgRaster", 64: "", 128: "stationery", 192: "", 1668: "relative", 1732: "iso_a4_210x297mm"} {
				if got := p.text(at); got != want {
					t.Errorf("page %d: octet %d is %q, want %q", i+1, at, got, want)
				}
			}
			for _, reserved := range [][2]int{{256, 268}, {284, 300}, {312, 324}, {332, 340}, {348, 352}, {360, 368}, {380, 384}, {404, 420}, {424, 452}, {488, 508}, {1604, 1668}} {
				if !bytes.Equal(p.header[reserved[0]:reserved[1]], make([]byte, reserved[1]-reserved[0])) {
					t.Errorf("page %d: reserved octets from %d on are not 0", i+1, reserved[0])
				}
			}
		}
	}
}

// What a device wants of back sides (PWG 5102.4 section 4.2.3, from memory):
// the picture turned back by it is the picture.
func TestBackSides(t *testing.T) {
	tests := []struct {
		sheetBack, sides string
		mirrorX, mirrorY bool
	}{
		{"normal", "two-sided-long-edge", false, false},
		{"", "two-sided-long-edge", false, false},
		{"flipped", "two-sided-long-edge", false, true},
		{"rotated", "two-sided-long-edge", true, true},
		{"manual-tumble", "two-sided-long-edge", false, false},
		{"normal", "two-sided-short-edge", false, false},
		{"flipped", "two-sided-short-edge", true, false},
		{"rotated", "two-sided-short-edge", false, false},
		{"manual-tumble", "two-sided-short-edge", true, true},
	}
	want := map[string]*image.RGBA{}
	for _, tt := range tests {
		s := spec(215.9, 279.4, true)
		s.Sides = tt.sides
		if want[tt.sides] == nil {
			want[tt.sides] = decoded(t, s, Raster{Resolution: 100})[1].image
		}
		pages := decoded(t, s, Raster{Resolution: 100, SheetBack: tt.sheetBack})
		turned := func(at int) bool { return uint32(pages[1].num(at)) == 0xffffffff }
		if turned(456) != tt.mirrorX || turned(460) != tt.mirrorY || uint32(pages[0].num(456)) != 1 || uint32(pages[0].num(460)) != 1 {
			t.Errorf("%+v: the header says %v %v", tt, turned(456), turned(460))
		}
		got, plain := pages[1].image, want[tt.sides]
		b := got.Bounds()
		for y := range b.Dy() {
			for x := range b.Dx() {
				fx, fy := x, y
				if tt.mirrorX {
					fx = b.Dx() - 1 - x
				}
				if tt.mirrorY {
					fy = b.Dy() - 1 - y
				}
				if got.RGBAAt(fx, fy) != plain.RGBAAt(x, y) {
					t.Fatalf("%+v: pixel %d, %d is not that of %d, %d", tt, fx, fy, x, y)
				}
			}
		}
	}
}

// Lines of all lengths and patterns come back as they were.
func TestCompression(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for depth := 1; depth <= 3; depth += 2 {
		for n := 1; n < 600; n++ {
			line := make([]byte, n*depth)
			for i := range line {
				line[i] = byte(r.IntN(1 + n%3)) // runs, pairs, noise
			}
			var b bytes.Buffer
			w := bufio.NewWriter(&b)
			if err := compress(w, line, depth); err != nil {
				t.Fatal(err)
			}
			if err := w.Flush(); err != nil {
				t.Fatal(err)
			}
			if got := expand(b.Bytes(), depth); !bytes.Equal(got, line) {
				t.Fatalf("depth %d, %d pixels: %x came back as %x", depth, n, line, got)
			}
		}
	}
}

// expand undoes PackBits (PWG 5102.4 section 4.4).
func expand(in []byte, depth int) (out []byte) {
	for len(in) > 0 {
		n := int(in[0])
		in = in[1:]
		if n < 128 {
			out = append(out, bytes.Repeat(in[:depth], n+1)...)
			in = in[depth:]
			continue
		}
		n = 257 - n
		out = append(out, in[:n*depth]...)
		in = in[n*depth:]
	}
	return out
}

// failing writers fail at once and after some octets.
type failing struct{ left int }

func (f *failing) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, errFull
	}
	return len(p), nil
}

var errFull = errors.New("no room")

func TestNoRoom(t *testing.T) {
	for _, f := range Formats() {
		for _, room := range []int{0, 1000} {
			if err := Write(&failing{room}, f, spec(210, 297, true), Raster{Resolution: 100}); !errors.Is(err, errFull) {
				t.Errorf("%s with room for %d octets: %v", f, room, err)
			}
		}
	}
}
