package proof

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/symptom"
)

// Sheets that offices have, in mm (PWG 5101.1 names), and some that few have.
var sheets = []struct {
	name          string
	width, length float64
}{
	{"iso_a4_210x297mm", 210, 297},
	{"na_letter_8.5x11in", 215.9, 279.4},
	{"na_legal_8.5x14in", 215.9, 355.6},
	{"iso_a3_297x420mm", 297, 420},
	{"iso_a5_148x210mm", 148, 210},
	{"label 100 x 50", 100, 50},
	{"roll 80", 80, 150},
	{"roll 914", 914, 297},
	{"smallest", LeastWidth, LeastLength},
}

func spec(width, length float64, color bool) Spec {
	return Spec{
		Width: width, Length: length, Color: color, Sides: "two-sided-long-edge",
		Made: time.Date(2026, 3, 9, 10, 11, 12, 0, time.UTC), Version: "1.0",
		Device: []Fact{{"name", "Front desk"}, {"model", "Okvarna L420dn"}, {"serial", "OA12345"},
			{"location", "Ground floor, front desk"}, {"address", "127.20.1.10"}},
		Settings: []Fact{{"sent as", "PDF"}, {"media", "iso_a4_210x297mm"}, {"tray", "tray-1"}, {"sides", "two-sided-long-edge"},
			{"colour", "color"}, {"resolution", "300 dpi"}},
	}
}

// Each element names symptoms that there are, by its words and by its answers.
func TestElementsNameSymptoms(t *testing.T) {
	if RepeatingMark != symptom.RepeatingMark {
		t.Errorf("%q is not %q", RepeatingMark, symptom.RepeatingMark)
	}
	ids := map[string]bool{}
	for _, e := range elements {
		if ids[e.ID] || e.Title == "" || e.Look == "" || e.Ask == "" || len(e.Answers) == 0 || len(e.Symptom) == 0 {
			t.Errorf("%s: repeated, or something is missing: %+v", e.ID, e)
		}
		ids[e.ID] = true
		names := slices.Clone(e.Symptom)
		for _, a := range e.Answers {
			names = append(names, a.Symptom)
		}
		for _, n := range names {
			if !symptom.Exists(n) {
				t.Errorf("%s: there is no symptom %q", e.ID, n)
			}
		}
	}
	if n := len(Questions(false, false)); n != len(Questions(true, true))-4 {
		t.Errorf("%d questions on a black-and-white one-sided page, %d on the whole", n, len(Questions(true, true)))
	}
}

// On every sheet every mark lies on the sheet, and no two texts lie on each
// other.
func TestNothingLiesOutsideOrOnEachOther(t *testing.T) {
	for _, sheet := range sheets {
		for _, color := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s color %v", sheet.name, color), func(t *testing.T) {
				s := spec(sheet.width, sheet.length, color)
				s.Device[3].Value = strings.Repeat("a very long place ", 12)
				pages, err := Layout(s)
				if err != nil {
					t.Fatal(err)
				}
				if len(pages) != 2 {
					t.Errorf("%d pages, want 2", len(pages))
				}
				for i, p := range pages {
					checkMarks(t, i+1, p)
				}
			})
		}
	}
}

// place is where a text lies: from its left to its right end, from the top of
// small letters to the base line.
type place struct {
	x1, y1, x2, y2 float64
	text           string
}

func checkMarks(t *testing.T, side int, p Page) {
	t.Helper()
	var texts []place
	for _, m := range p.Marks {
		var at place
		switch m := m.(type) {
		case Box:
			at = place{m.X, m.Y, m.X + m.W, m.Y + m.H, "box"}
		case Line:
			at = place{min(m.X1, m.X2), min(m.Y1, m.Y2), max(m.X1, m.X2), max(m.Y1, m.Y2), "line"}
			if m.X1 != m.X2 && m.Y1 != m.Y2 {
				t.Errorf("side %d: a slanted line, which the raster does not draw: %+v", side, m)
			}
		case Ring:
			at = place{m.X - m.Radius, m.Y - m.Radius, m.X + m.Radius, m.Y + m.Radius, "ring"}
		case Text:
			at = place{m.X, m.Y - m.Size*point*0.5, m.X + textWidth(m.Text, m.Size, m.Bold), m.Y, m.Text}
			for _, other := range texts {
				if at.x1 < other.x2-0.05 && other.x1 < at.x2-0.05 && at.y1 < other.y2-0.05 && other.y1 < at.y2-0.05 {
					t.Errorf("side %d: %q lies on %q", side, at.text, other.text)
				}
			}
			texts = append(texts, at)
		}
		if at.x1 < 0 || at.y1 < 0 || at.x2 > p.Width || at.y2 > p.Length || at.x1 > at.x2 || at.y1 > at.y2 {
			t.Errorf("side %d: outside the sheet: %+v", side, at)
		}
	}
}

// A page has every element of its kind, each with its symptoms printed on it.
func TestWhatIsOnThePage(t *testing.T) {
	for _, sheet := range sheets[:4] {
		for _, color := range []bool{false, true} {
			pages, err := Layout(spec(sheet.width, sheet.length, color))
			if err != nil {
				t.Fatal(err)
			}
			var words []string
			for _, p := range pages {
				for _, m := range p.Marks {
					if x, ok := m.(Text); ok {
						words = append(words, x.Text)
					}
				}
			}
			all := strings.Join(words, " ")
			for _, e := range Questions(color, true) {
				if e.ID == "sheet" { // no words are needed beside it
					continue
				}
				if !strings.Contains(all, e.Title+":") || !strings.Contains(all, e.Symptom[0]) {
					t.Errorf("%s, color %v: %s is not on the page", sheet.name, color, e.ID)
				}
			}
			for _, want := range []string{"Front desk", "OA12345", "Ground floor, front desk", "2026-03-09 10:11:12", "iso_a4_210x297mm", "TOP"} {
				if !strings.Contains(all, want) {
					t.Errorf("%s, color %v: %q is not on the page", sheet.name, color, want)
				}
			}
		}
	}
}

func TestTooSmall(t *testing.T) {
	for _, s := range []Spec{{}, {Width: 20, Length: 100}, {Width: 100, Length: 5}, {Width: 1e9, Length: 100}} {
		if _, err := Layout(s); err == nil {
			t.Errorf("a page of %g x %g", s.Width, s.Length)
		}
	}
}

// Text of a device cannot break out of any format, nor make it unreadable.
func TestHostileText(t *testing.T) {
	s := spec(210, 297, true)
	s.Device[0].Value = "x) show (\x1b[31m\x00%%EOF\n\u202eevil (((\\" + strings.Repeat("漢", 500)
	s.Device[1].Value = "\xff\xfe" + strings.Repeat("Ω", 3000)
	for i := range 400 { // more characters than a font of PostScript tells apart
		s.Device[2].Value += string(rune(0x100 + i))
	}
	for _, f := range Formats() {
		var b bytes.Buffer
		if err := Write(&b, f, s, Raster{Resolution: 100}); err != nil {
			t.Errorf("%s: %v", f, err)
		}
		if f == PostScript && (bytes.Contains(b.Bytes(), []byte("x) show")) || bytes.Count(b.Bytes(), []byte("%%EOF")) != 1) {
			t.Error("text of the device is in the program")
		}
		if f == PlainText && bytes.ContainsAny(b.Bytes(), "\x1b\x00") {
			t.Error("text of the device controls the printer")
		}
	}
}

// The same page is the same, octet by octet, so that two prints can be
// compared.
func TestSameAgain(t *testing.T) {
	for _, f := range Formats() {
		var a, b bytes.Buffer
		for _, w := range []*bytes.Buffer{&a, &b} {
			if err := Write(w, f, spec(210, 297, true), Raster{Resolution: 100}); err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Errorf("%s differs", f)
		}
	}
}

// Plain text: seven bits, CR LF (RFC 2046 section 4.1.1), lines and pages no
// longer than the sheet.
func TestPlainText(t *testing.T) {
	for _, sheet := range sheets {
		var b bytes.Buffer
		if err := Write(&b, PlainText, spec(sheet.width, sheet.length, false), Raster{}); err != nil {
			t.Fatal(err)
		}
		pages := strings.Split(b.String(), "\f")
		if len(pages) != 3 || pages[2] != "" {
			t.Errorf("%s: %d form feeds, want one behind each of two pages", sheet.name, len(pages)-1)
		}
		for _, p := range pages {
			lines := strings.Split(strings.TrimSuffix(p, "\r\n"), "\r\n")
			if len(lines) > textLines || float64(len(lines)) > sheet.length/25.4*6 {
				t.Errorf("%s: %d lines", sheet.name, len(lines))
			}
			for _, l := range lines {
				if float64(len(l)) > sheet.width/2.54 || strings.ContainsAny(l, "\r\n") || strings.IndexFunc(l, func(r rune) bool { return r > 126 }) >= 0 {
					t.Errorf("%s: line %q", sheet.name, l)
				}
			}
		}
	}
}

// Patch names are what measurements are matched by.
func TestPatches(t *testing.T) {
	seen := map[string]bool{}
	for _, p := range Patches() {
		if seen[p.ID] || p.Name == "" {
			t.Errorf("patch %+v", p)
		}
		seen[p.ID] = true
	}
	for _, id := range []string{"C20", "C100", "M60", "Y80", "K40", "K100", "N1", "N6", "R", "G", "B", "W"} {
		if !seen[id] {
			t.Errorf("no patch %s", id)
		}
	}
	if len(seen)%patchColumns != 0 {
		t.Errorf("%d patches do not fill their rows", len(seen))
	}
	if got := tint(black, 20); got != gray(20) {
		t.Errorf("20 %% of black is %v, gray says %v", got, gray(20))
	}
}
