package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"printround/internal/device"
	"printround/internal/term"
)

// noControls fails when text holds anything that a terminal acts on, other than
// the end of a line.
func noControls(t testing.TB, s string) {
	t.Helper()
	if !utf8.ValidString(s) {
		t.Error("no valid UTF-8")
	}
	for _, r := range s {
		if r != '\n' && (unicode.Is(unicode.C, r) || unicode.Is(unicode.Zl, r) || unicode.Is(unicode.Zp, r)) {
			t.Fatalf("holds %U", r)
		}
	}
}

// withoutColor takes out the colour codes that we write.
func withoutColor(s string) string {
	for _, code := range attentionColor {
		s = strings.ReplaceAll(s, code, "")
	}
	return strings.NewReplacer(sgrReset, "", sgrBold, "", sgrReverse, "").Replace(s)
}

var widths = []int{1, 30, 40, 57, 80, 120, 200, 500}

// TestTextIsSafeAndFits renders hostile text at many widths.
func TestTextIsSafeAndFits(t *testing.T) {
	s := hostileSurvey()
	for _, w := range widths {
		for _, o := range []Options{{Width: w}, {Width: w, Color: true, Explain: true}, {Width: w, Plain: true, Color: true}} {
			checkText(t, string(render(t, s, o)), o)
			for i := range s.Devices {
				checkText(t, string(renderDevice(t, &s.Devices[i], o)), o)
			}
		}
	}
}

func checkText(t testing.TB, out string, o Options) {
	t.Helper()
	bare, limit := withoutColor(out), max(o.Width, minWidth)
	if o.Width == 0 {
		limit = pageWidth
	}
	if !o.Color || o.Plain {
		bare = out
	}
	noControls(t, bare)
	for l := range strings.Lines(bare) {
		l = strings.TrimSuffix(l, "\n")
		if w := term.DisplayWidth(l); w > limit {
			t.Fatalf("width %d: %d cells: %q", o.Width, w, l)
		}
		if strings.HasSuffix(l, " ") {
			t.Fatalf("space at the end of %q", l)
		}
		if o.Plain {
			for _, r := range l {
				if r < ' ' || r > '~' {
					t.Fatalf("plain output holds %U: %q", r, l)
				}
			}
		}
	}
}

// TestColorOnlyRepeats: without its codes a coloured report is the plain one.
func TestColorOnlyRepeats(t *testing.T) {
	full := fullDevice()
	for _, w := range widths {
		bare, colored := Options{Width: w, Explain: true}, Options{Width: w, Explain: true, Color: true}
		if got, want := withoutColor(string(render(t, sampleSurvey(), colored))), string(render(t, sampleSurvey(), bare)); got != want {
			t.Errorf("survey, width %d: colour changes the words", w)
		}
		if got, want := withoutColor(string(renderDevice(t, &full, colored))), string(renderDevice(t, &full, bare)); got != want {
			t.Errorf("device, width %d: colour changes the words", w)
		}
	}
}

// TestCSVKeepsItsShape: whatever a device says, a row stays a row.
func TestCSVKeepsItsShape(t *testing.T) {
	s := hostileSurvey()
	for _, rows := range RowKinds() {
		want := 1
		for i := range s.Devices {
			d := &s.Devices[i]
			want += map[Rows]int{Devices: 1, Supplies: len(d.Supplies) + len(d.Finishers[0].Supplies), Trays: len(d.Trays) + len(d.Finishers[0].Inputs), Findings: len(d.Findings)}[rows]
		}
		b := render(t, s, Options{Format: CSV, Rows: rows})
		all := records(t, b)
		if len(all) != want {
			t.Errorf("%s: %d records, want %d", rows, len(all), want)
		}
		checkCells(t, all, Columns(rows))
	}
}

// checkCells: every record has the columns, which say what they hold, and no
// cell does anything in a spreadsheet.
func checkCells(t testing.TB, all [][]string, columns []Column) {
	t.Helper()
	for _, c := range columns {
		if c.Doc == "" {
			t.Errorf("column %s does not say what it holds", c.Name)
		}
	}
	for _, record := range all {
		if len(record) != len(columns) {
			t.Fatalf("%d fields, want %d", len(record), len(columns))
		}
		for _, c := range record {
			noControls(t, c)
			if c != "" && strings.ContainsAny(c[:1], "=+-@\t\r") {
				t.Fatalf("cell %q begins a formula", c)
			}
		}
	}
}

// TestMarkdownKeepsItsShape: every row of the table has the same cells, and no
// character of a device starts markup or HTML.
func TestMarkdownKeepsItsShape(t *testing.T) {
	checkMarkdown(t, string(render(t, hostileSurvey(), Options{Format: Markdown, Explain: true})), len(hostile), len(surveyColumns))
}

// checkMarkdown: the one table has so many rows of so many cells under its
// heading, and nothing starts markup or HTML.
func checkMarkdown(t testing.TB, out string, rows, cells int) {
	t.Helper()
	noControls(t, out)
	found := 0
	for l := range strings.Lines(out) {
		bare := strings.NewReplacer(`\\`, "", `\|`, "").Replace(l)
		if strings.HasPrefix(l, "|") {
			found++
			if n := strings.Count(bare, "|"); n != cells+1 {
				t.Errorf("%d bars in %q", n, l)
			}
		}
	}
	if want := rows + 2; found != want {
		t.Errorf("%d table rows, want %d", found, want)
	}
	bare := strings.NewReplacer(`\\`, "", `\[`, "", `\]`, "", `\!`, "", "\\`", "", `\/`, "").Replace(out)
	for _, bad := range []string{"<script", "<b>", "](javascript", "![", "//evil", " www.evil", " `code"} {
		if strings.Contains(bare, bad) {
			t.Errorf("holds %q", bad)
		}
	}
}

// FuzzHostileDevice puts arbitrary text into every field and renders it in
// every format.
func FuzzHostileDevice(f *testing.F) {
	for i, v := range hostile {
		f.Add(v, uint8(i*9))
	}
	f.Fuzz(func(t *testing.T, v string, width uint8) {
		s := &device.Survey{}
		s.Devices = []device.Device{hostileDevice(v), hostileDevice(v)}
		harmSurvey(s, v)
		for _, o := range []Options{{Width: int(width)}, {Width: int(width), Plain: true, Explain: true}, {Width: int(width), Color: true}} {
			checkText(t, string(render(t, s, o)), o)
			checkText(t, string(renderDevice(t, &s.Devices[0], o)), o)
		}
		for _, rows := range RowKinds() {
			b := render(t, s, Options{Format: CSV, Rows: rows})
			checkCells(t, records(t, b), Columns(rows))
		}
		doc := render(t, s, Options{Format: JSON})
		if !json.Valid(doc) {
			t.Fatal("no JSON")
		}
		noControls(t, string(doc))
		back, err := Read(bytes.NewReader(doc))
		if err != nil {
			t.Fatal(err)
		}
		if utf8.ValidString(v) && string(back.Devices[0].Name) != v {
			t.Fatalf("read back %q, want %q", back.Devices[0].Name, v)
		}
		checkPage(t, render(t, s, Options{Format: HTML, Explain: true, Beside: hostileBeside(s)}))
		noControls(t, string(render(t, s, Options{Format: Markdown, Explain: true})))
		noControls(t, string(renderDevice(t, &s.Devices[0], Options{Format: Markdown, Explain: true})))
	})
}
