package cgats

import (
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
)

const small = `CGATS.17
ORIGINATOR "Quillmere Ferry Trust" # who wrote it
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 "Paper white" 94.5 0.25 -3.75
2 C100 56.1 -30.5 -42
END_DATA
`

// The file was written by Little CMS 2.14, a general-purpose colour library:
// two tables, with what was put into them named below.
func TestReadsWhatALibraryWrote(t *testing.T) {
	src, err := os.ReadFile("testdata/library-written.txt")
	if err != nil {
		t.Fatal(err)
	}
	f, err := Parse(src)
	if err != nil {
		t.Fatal(err)
	}
	if f.Identifier != "CGATS.17" || len(f.Tables) != 2 {
		t.Fatalf("%q, %d tables", f.Identifier, len(f.Tables))
	}
	one, two := &f.Tables[0], &f.Tables[1]
	if v, _ := one.Keyword("MEASUREMENT_SOURCE"); v != "Illumination=D50 ObserverAngle=2 WhiteBase=Abs Filter=No" {
		t.Errorf("source %q", v)
	}
	if got := one.Rows[0].Values; !slices.Equal(got, []string{"1", "Paper white", "94.5", "0.25", "-3.75"}) {
		t.Errorf("row %q", got)
	}
	lab, err := one.Numbers(&one.Rows[1], -200, 200, "LAB_L", "LAB_A", "LAB_B")
	if err != nil || !slices.Equal(lab, []float64{56.125, -30.5, -42}) {
		t.Errorf("%v, %v", lab, err)
	}
	if !two.Has("SAMPLE_ID", "XYZ_X", "XYZ_Y", "XYZ_Z") || two.Has("LAB_L") || len(two.Rows) != 1 || two.Rows[0].Line != 24 {
		t.Errorf("second table %+v", two)
	}
}

func TestForms(t *testing.T) {
	want := []string{"1", "Paper white", "94.5", "0.25", "-3.75"}
	for name, src := range map[string]string{
		"as it is":                    small,
		"CR LF":                       strings.ReplaceAll(small, "\n", "\r\n"),
		"CR":                          strings.ReplaceAll(small, "\n", "\r"),
		"byte order mark":             "\ufeff" + small,
		"small letters":               strings.NewReplacer("BEGIN", "begin", "END", "end", "LAB", "lab", "NUMBER", "number").Replace(small),
		"no identifier":               strings.TrimPrefix(small, "CGATS.17\n"),
		"no counts":                   strings.NewReplacer("NUMBER_OF_FIELDS 5\n", "", "NUMBER_OF_SETS 2\n", "").Replace(small),
		"quoted counts":               strings.NewReplacer("FIELDS 5", `FIELDS "5"`).Replace(small),
		"empty lines":                 strings.ReplaceAll(small, "\n", "\n\n"),
		"comments":                    strings.ReplaceAll(small, "\n", " # a \"comment\n# another\n"),
		"format on one line":          strings.NewReplacer("FORMAT\nSAMPLE", "FORMAT SAMPLE", "LAB_B\nEND", "LAB_B END").Replace(small),
		"a set over several lines":    strings.NewReplacer("94.5 ", "94.5\n  ").Replace(small),
		"begins on the same line":     strings.NewReplacer("BEGIN_DATA\n", "BEGIN_DATA ").Replace(small),
		"keywords of its own":         strings.Replace(small, "CGATS.17\n", "CGATS.17\nKEYWORD \"LAMP\"\nLAMP \"LED 2\"\nEMPTY\n", 1),
		"words without quotes":        strings.Replace(small, `"Quillmere Ferry Trust"`, "Quillmere Ferry Trust", 1),
		"no line break at the end":    strings.TrimSuffix(small, "\n"),
		"no octet of UTF-8 in a name": strings.Replace(small, "C100", "\"gr\xfcn\"", 1),
	} {
		f, err := Parse([]byte(src))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		tb := &f.Tables[0]
		if len(f.Tables) != 1 || len(tb.Rows) != 2 || !slices.Equal(tb.Rows[0].Values, want) {
			t.Errorf("%s: %+v", name, f)
		}
		if v, _ := tb.Keyword("ORIGINATOR"); v != "Quillmere Ferry Trust" {
			t.Errorf("%s: originator %q", name, v)
		}
		if n, err := tb.Numbers(&tb.Rows[1], -200, 200, "LAB_L", "LAB_B"); err != nil || n[0] != 56.1 || n[1] != -42 {
			t.Errorf("%s: %v, %v", name, n, err)
		}
	}
}

func TestValues(t *testing.T) {
	f, err := Parse([]byte("CGATS\nBEGIN_DATA_FORMAT\nA B\nEND_DATA_FORMAT\nBEGIN_DATA\n\"12\"\" wide\" 56,25\n\"\" 1e1\ngr\xfcn #2\n3\nEND_DATA\n"))
	if err != nil {
		t.Fatal(err)
	}
	r := f.Tables[0].Rows
	if r[0].Values[0] != `12" wide` || r[1].Values[0] != "" || r[2].Values[0] != "grün" || r[2].Values[1] != "3" {
		t.Errorf("%v", r)
	}
	for i, want := range []float64{56.25, 10, 3} {
		if n, err := f.Tables[0].Numbers(&r[i], -100, 100, "B"); err != nil || n[0] != want {
			t.Errorf("%v, %v, want %g", n, err, want)
		}
	}
}

func TestTables(t *testing.T) {
	later := "CGATS.17\nDESCRIPTOR second\nBEGIN_DATA\n3 M100 47 74 -3\nEND_DATA\n"
	f, err := Parse([]byte(small + later))
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Tables) != 2 || !slices.Equal(f.Tables[1].Fields, f.Tables[0].Fields) {
		t.Fatalf("%+v", f.Tables)
	}
	if v, _ := f.Tables[1].Keyword("DESCRIPTOR"); v != "second" {
		t.Errorf("descriptor %q", v)
	}
	if _, ok := f.Tables[1].Keyword("ORIGINATOR"); ok {
		t.Error("the second table says who wrote it")
	}
}

// Each error says where it is and what to do.
func TestErrors(t *testing.T) {
	change := func(pairs ...string) string { return strings.NewReplacer(pairs...).Replace(small) }
	for _, c := range []struct {
		name, src string
		line      int
		says      string
	}{
		{"empty", "", 0, "this is no CGATS.17 text"},
		{"another kind of text", "name;L;a;b\nC100;55;-37;-50\n", 0, "no BEGIN_DATA"},
		{"zeros", "CGATS.17\nOR\x00IGINATOR x\n", 2, "no text"},
		{"UTF-16", "\xff\xfeC\x00G\x00", 1, "UTF-16"},
		{"cut in the data", small[:strings.Index(small, "2 C100")], 10, "cut short"},
		{"cut in the format", small[:strings.Index(small, "END_DATA_FORMAT")], 6, "cut short"},
		{"cut before the data", small[:strings.Index(small, "BEGIN_DATA\n")], 8, "cut short"},
		{"open quote", change(`"Paper white"`, `"Paper white`), 9, "not closed"},
		{"open quote at the end", small + `"`, 12, "not closed"},
		{"name without quotes", change(`"Paper white"`, `Paper white`), 9, "needs double quotes"},
		{"value missing", change(`94.5 `, ``), 9, "BEGIN_DATA_FORMAT names 5"},
		{"value missing at the end", change(` -42`, ``), 10, "4 values"},
		{"sets miscounted", change("SETS 2", "SETS 3"), 7, "NUMBER_OF_SETS says 3, but the table has 2"},
		{"fields miscounted", change("FIELDS 5", "FIELDS 6"), 4, "NUMBER_OF_FIELDS says 6, but 5 fields"},
		{"count in words", change("SETS 2", "SETS two"), 7, "no number"},
		{"count below 0", change("SETS 2", "SETS -2"), 7, "no number"},
		{"count beyond", change("SETS 2", "SETS 100001"), 7, "at most"},
		{"field twice", change("LAB_A LAB_B", "LAB_A LAB_A"), 5, "named twice"},
		{"no fields", change("SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B", "", "NUMBER_OF_FIELDS 5", ""), 4, "names no field"},
		{"no format", "CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA\n", 2, "no names"},
		{"two formats", change("NUMBER_OF_SETS 2\n", "BEGIN_DATA_FORMAT\nA\nEND_DATA_FORMAT\n"), 7, "a second"},
		{"data in data", change("2 C100", "BEGIN_DATA\n2 C100"), 10, "BEGIN_DATA before END_DATA"},
		{"data in format", change("END_DATA_FORMAT", "BEGIN_DATA"), 6, "before END_DATA_FORMAT"},
		{"end alone", "CGATS.17\nEND_DATA\n", 2, "without its beginning"},
		{"quoted keyword", "CGATS.17\n\"ORIGINATOR\" x\n", 2, "without a keyword"},
		{"too long a value", change("C100", strings.Repeat("C", 1025)), 10, "1025 bytes"},
		{"too long a line", change(`"Quillmere Ferry Trust"`, strings.Repeat("word ", 300)), 2, "at most 1024"},
		{"too many tables", small + strings.Repeat("BEGIN_DATA\nEND_DATA\n", 64), 138, "more than 64 tables"},
		{"too many keywords", "CGATS.17\n" + strings.Repeat("A b\n", 1001), 1002, "more than 1000 keywords"},
		{"too many fields", "BEGIN_DATA_FORMAT\n" + manyFields(1025), 2, "more than 1024 fields"},
		{"too large", strings.Repeat("#", maxSize+1), 0, "more than 16 MiB"},
		{"too many sets", "BEGIN_DATA_FORMAT A END_DATA_FORMAT\nBEGIN_DATA\n" + strings.Repeat("1\n", maxRows+1) + "END_DATA\n", maxRows + 3, "more than 100000 sets"},
	} {
		_, err := Parse([]byte(c.src))
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if e.Line != c.line || !strings.Contains(e.Error(), c.says) {
			t.Errorf("%s: line %d %q, want line %d and %q", c.name, e.Line, e, c.line, c.says)
		}
	}
}

func manyFields(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString("F")
		b.WriteString(strings.Repeat("x", i%30))
		b.WriteString(strings.Repeat("y", i/30))
		b.WriteString(" ")
	}
	return b.String()
}

func TestNumbers(t *testing.T) {
	f, err := Parse([]byte(small))
	if err != nil {
		t.Fatal(err)
	}
	tb := &f.Tables[0]
	for _, v := range []string{"", "-", "n/a", "NaN", "Inf", "-inf", "0x1p4", "1_0", "1.2.3", "1,2,3", "1.000,5", "1e999"} {
		tb.Rows[0].Values[2] = v
		if n, err := tb.Numbers(&tb.Rows[0], -1000, 1000, "LAB_L"); err == nil || !strings.HasPrefix(err.Error(), "line 9: LAB_L is ") {
			t.Errorf("%q: %v, %v", v, n, err)
		}
	}
	tb.Rows[0].Values[2] = "101"
	if _, err := tb.Numbers(&tb.Rows[0], 0, 100, "LAB_L"); err == nil || err.Error() != "line 9: LAB_L is 101; it must be 0 to 100" {
		t.Errorf("101: %v", err)
	}
	if _, err := tb.Numbers(&tb.Rows[0], 0, 100, "D_CYAN"); err == nil || !strings.Contains(err.Error(), "no field D_CYAN") {
		t.Errorf("no such field: %v", err)
	}
}

// Whatever is read keeps within the limits, and each row has as many values as
// there are fields.
func FuzzParse(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte("CGATS.17\nBEGIN_DATA_FORMAT\nA\nEND_DATA_FORMAT\nBEGIN_DATA 1\n\"\"\"\"\nEND_DATA\nBEGIN_DATA\nEND_DATA"))
	if b, err := os.ReadFile("testdata/library-written.txt"); err == nil {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		file, err := Parse(src)
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Line < 0 || e.Message == "" {
				t.Fatalf("%v", err)
			}
			return
		}
		lines := strings.Count(string(src), "\n") + strings.Count(string(src), "\r") + 1
		rows := 0
		for i := range file.Tables {
			tb := &file.Tables[i]
			if len(tb.Fields) == 0 || len(tb.Fields) > maxFields || len(tb.Keywords) > maxKeywords {
				t.Fatalf("table %+v", tb)
			}
			for _, r := range tb.Rows {
				rows++
				if len(r.Values) != len(tb.Fields) || r.Line < tb.Line || r.Line > lines {
					t.Fatalf("row %+v", r)
				}
			}
		}
		if len(file.Tables) == 0 || len(file.Tables) > maxTables || rows > maxRows {
			t.Fatalf("%d tables, %d rows", len(file.Tables), rows)
		}
	})
}
