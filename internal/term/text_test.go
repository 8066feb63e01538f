package term

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/olekukonko/tablewriter/pkg/twwidth"
)

func TestSafe(t *testing.T) {
	for in, want := range map[string]string{
		"":                         "",
		"plain":                    "plain",
		"Grüße 部屋 é":               "Grüße 部屋 é",
		" a \t\r\n b\u00a0 c ":     "a b c",
		"\x1b[31mred":              `\x1b[31mred`,
		"\x1b]0;t\x07":             `\x1b]0;t\x07`,
		"\u009b31m":                `\u009b31m`,
		"a\u202eb\u2066c":          `a\u202eb\u2066c`,
		"z\u200bw\u00ad\ufeff":     `z\u200bw\u00ad\ufeff`,
		"\xff\xc3":                 `\xff\xc3`,
		"x\x00\x7f":                `x\x00\x7f`,
		"tag\U000e0041":            `tag\U000e0041`,
		"private\ue000\U000f0000":  `private\ue000\U000f0000`,
		"filler\u3164 sel\ufe0f":   `filler\u3164 sel\ufe0f`,
		"line\u2028sep\u2029end":   "line sep end",
		"replacement \ufffd stays": "replacement \ufffd stays",
	} {
		if got := Safe(in); got != want {
			t.Errorf("Safe(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestASCII(t *testing.T) {
	for in, want := range map[string]string{
		"plain ~": "plain ~", "Grüße, Straße": "Grusse, Strasse", "Łódź Øst Æble": "Lodz Ost AEble", "“Büro” – 2. Stock…": `"Buro" - 2. Stock...`,
		"部屋 1": "?? 1", "\x1b[0m": `\x1b[0m`, "½ ﬁ": "1/2 fi", "e\u0301": "e",
	} {
		if got := ASCII(in); got != want {
			t.Errorf("ASCII(%q) = %q, want %q", in, got, want)
		}
	}
}

// TestDisplayWidth: widths by UAX 11, East Asian Width; ambiguous characters
// are narrow.
func TestDisplayWidth(t *testing.T) {
	for in, want := range map[string]int{
		"": 0, "abc": 3, "部屋": 4, "ｶﾞ": 2, "é": 1, "e\u0301\u0302": 1, "…": 1, "─": 1, "한글": 4, "👩": 2, "＝": 2, "±": 1,
	} {
		if got := DisplayWidth(in); got != want {
			t.Errorf("DisplayWidth(%q) = %d, want %d", in, got, want)
		}
	}
}

// TestWidthAgreesWithTables: the library that draws tables counts by itself. A
// cell must not be wider to it than to us, or a table would not fit its page.
func TestWidthAgreesWithTables(t *testing.T) {
	twwidth.SetEastAsian(false)
	for r := rune(0x20); r <= unicode.MaxRune; r++ {
		if r >= 0xd800 && r < 0xe000 {
			continue
		}
		for _, s := range []string{"a" + string(r) + "b", string(r) + string(r)} {
			s = Safe(s)
			if ours, theirs := DisplayWidth(s), twwidth.Width(s); ours < theirs {
				t.Errorf("%U in %q: %d cells, the table counts %d", r, s, ours, theirs)
			}
		}
	}
}

func TestTruncate(t *testing.T) {
	for _, c := range []struct {
		in    string
		width int
		mark  string
		want  string
	}{
		{"abcdef", 6, "…", "abcdef"}, {"abcdef", 5, "…", "abcd…"}, {"abcdef", 5, "...", "ab..."},
		{"abc def", 5, "…", "abc…"}, {"部屋の印", 5, "…", "部屋…"}, {"部屋の印", 4, "…", "部…"},
		{"e\u0301e\u0301e\u0301", 2, "…", "e\u0301…"}, {"abc", 1, "…", "…"}, {"abc", 2, "...", ".."}, {"abc", 0, "…", ""}, {"abc", -3, "…", ""},
		{"abcdef", 3, "", "abc"}, {"", 4, "…", ""},
	} {
		if got := Truncate(c.in, c.width, c.mark); got != c.want {
			t.Errorf("Truncate(%q, %d, %q) = %q, want %q", c.in, c.width, c.mark, got, c.want)
		}
	}
}

func TestWrap(t *testing.T) {
	for _, c := range []struct {
		in         string
		width, max int
		want       string // lines joined by |
	}{
		{"", 10, 3, ""}, {"one two three", 20, 3, "one two three"}, {"one two three", 7, 3, "one two|three"},
		{"one two three", 7, 1, "one tw…"}, {"one two three four", 8, 2, "one two|three f…"}, {"abcdefghij", 4, 9, "abcd|efgh|ij"},
		{"prtMarkerSuppliesLevel.1.3", 12, 9, "prtMarker|Supplies|Level.1.3"}, {"ab-cd-ef", 4, 9, "ab-|cd-|ef"}, {"部屋の印刷機", 5, 9, "部屋|の印|刷機"},
		{"部", 1, 4, "…"}, {"x", 0, 3, ""}, {"x", 3, 0, ""},
	} {
		if got := strings.Join(Wrap(c.in, c.width, c.max, "…"), "|"); got != c.want {
			t.Errorf("Wrap(%q, %d, %d) = %q, want %q", c.in, c.width, c.max, got, c.want)
		}
	}
}

// FuzzText: safe text holds nothing that acts on a terminal, and fits where it
// is said to fit.
func FuzzText(f *testing.F) {
	for _, s := range []string{"plain", "\x1b[2J", "部屋\u202e", "e\u0301\xff", "a b  c", "🇳🇴👍🏽", "\u0915\u093e"} {
		f.Add(s, 7)
	}
	f.Fuzz(func(t *testing.T, in string, width int) {
		safe, ascii := Safe(in), ASCII(in)
		if !utf8.ValidString(safe) {
			t.Fatal("no valid UTF-8")
		}
		for _, r := range safe {
			if !unicode.IsGraphic(r) {
				t.Fatalf("safe text holds %U", r)
			}
		}
		for _, r := range ascii {
			if r < ' ' || r > '~' {
				t.Fatalf("ASCII text holds %U", r)
			}
		}
		if Safe(safe) != safe {
			t.Fatal("safe text is not safe")
		}
		width = min(max(width, -1), 300)
		if w := DisplayWidth(Truncate(safe, width, Ellipsis)); w > max(width, 0) {
			t.Fatalf("truncated to %d cells, want %d", w, width)
		}
		for _, l := range Wrap(safe, width, 5, Ellipsis) {
			if w := DisplayWidth(l); w > width {
				t.Fatalf("line of %d cells, want %d", w, width)
			}
		}
		whole := strings.Join(Wrap(safe, max(width, 2), len(safe)+1, Ellipsis), "")
		if strings.ReplaceAll(whole, " ", "") != strings.ReplaceAll(safe, " ", "") {
			t.Fatalf("wrapping lost text: %q", whole)
		}
	})
}
