package proof

import (
	"fmt"
	"io"
)

// Format is a page language.
type Format string

// Formats in the order in which one is chosen for a device: the first draws
// the page most exactly whatever the resolution, the last only has characters.
const (
	PDF        Format = "pdf"
	PWGRaster  Format = "pwg-raster"
	PostScript Format = "postscript"
	PlainText  Format = "text"
)

// Formats lists them in order.
func Formats() []Format { return []Format{PDF, PWGRaster, PostScript, PlainText} }

// MIME is the value of document-format (IANA media types; image/pwg-raster is
// that of PWG 5102.4).
func (f Format) MIME() string {
	switch f {
	case PDF:
		return "application/pdf"
	case PWGRaster:
		return "image/pwg-raster"
	case PostScript:
		return "application/postscript"
	}
	return "text/plain"
}

// Title is the name for people.
func (f Format) Title() string {
	switch f {
	case PDF:
		return "PDF"
	case PWGRaster:
		return "PWG raster"
	case PostScript:
		return "PostScript"
	}
	return "plain text"
}

// Raster is what PWG raster needs beside the page.
type Raster struct {
	Resolution int    // dots an inch, both ways; 0: 300
	SheetBack  string // pwg-raster-document-sheet-back; empty: normal
	Media      string // PWG 5101.1 name of the size; may be empty
	MediaType  string // may be empty
}

// Write makes the page and writes it. It holds a page's marks in memory, never
// its picture.
func Write(w io.Writer, f Format, s Spec, r Raster) error {
	if f == PlainText {
		return writeText(w, s)
	}
	pages, err := Layout(s)
	if err != nil {
		return err
	}
	switch f {
	case PDF:
		return writePDF(w, pages, s)
	case PWGRaster:
		return writePWG(w, pages, s, r)
	case PostScript:
		return writePostScript(w, pages, s)
	}
	return fmt.Errorf("there is no format %q", f)
}
