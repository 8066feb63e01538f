package proof

import (
	"io"

	"codeberg.org/go-pdf/fpdf"
)

// writePDF writes the pages as PDF with both fonts inside. Colours are sent as
// they are, without a profile: greys as one value, others as red, green, blue.
func writePDF(w io.Writer, pages []Page, s Spec) error {
	d := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: pages[0].Width, Ht: pages[0].Length}})
	d.SetMargins(0, 0, 0)
	d.SetAutoPageBreak(false, 0)
	d.SetTitle("printround proof", true)
	d.SetCreator("printround "+printable(s.Version, 24), true)
	d.SetCreationDate(s.Made)
	d.SetModificationDate(s.Made)
	d.SetCatalogSort(true)
	d.AddUTF8FontFromBytes(regular().name, "", regular().ttf)
	d.AddUTF8FontFromBytes(bold().name, "", bold().ttf)
	d.SetLineCapStyle("butt")
	for _, p := range pages {
		d.AddPageFormat("P", fpdf.SizeType{Wd: p.Width, Ht: p.Length})
		for _, m := range p.Marks {
			pdfMark(d, m)
		}
	}
	return d.Output(w)
}

func pdfMark(d *fpdf.Fpdf, m Mark) {
	switch m := m.(type) {
	case Box:
		d.SetFillColor(parts(m.Color))
		d.Rect(m.X, m.Y, m.W, m.H, "F")
	case Line:
		d.SetDrawColor(parts(m.Color))
		d.SetLineWidth(m.Width)
		d.Line(m.X1, m.Y1, m.X2, m.Y2)
	case Ring:
		d.SetDrawColor(parts(m.Color))
		d.SetLineWidth(m.Width)
		d.Circle(m.X, m.Y, m.Radius, "D")
	case Text:
		d.SetTextColor(parts(m.Color))
		d.SetFont(faceOf(m.Bold).name, "", m.Size)
		d.Text(m.X, m.Y, m.Text)
	}
}

func parts(c Color) (r, g, b int) { return int(c.R), int(c.G), int(c.B) }
