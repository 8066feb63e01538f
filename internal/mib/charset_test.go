package mib

import (
	"fmt"
	"printround/internal/needtest"
	"strconv"
	"testing"
	"unicode/utf8"
)

// Numbers and names of the character sets are those of IANA-CHARSET-MIB.
func TestCharsetNumbers(t *testing.T) {
	published := map[int64]string{}
	for _, f := range needtest.Rows(t, "enums.tsv") {
		if f[0] == "IANACharset" {
			n, err := strconv.ParseInt(f[1], 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			published[n] = f[2]
		}
	}
	for n, c := range charsets {
		if published[n] != c.label {
			t.Errorf("%d is %q, published as %q", n, c.label, published[n])
		}
	}
}

// The octets are the words in the encodings of the named sets (ISO 8859 parts
// 1, 5 and 15, JIS X 0208 in Shift_JIS, KOI8-R of RFC 1489, UTF-16 of RFC 2781).
func TestDecodeText(t *testing.T) {
	tests := []struct {
		name   string
		set    int64
		octets string
		want   string
	}{
		{"ASCII", 3, "Toner", "Toner"},
		{"Latin-1", 4, "Beh\xe4lter", "Behälter"},
		{"Latin-9", 111, "\xa4 5", "€ 5"},
		{"Cyrillic", 8, "\xb1\xe3\xdc\xd0\xd3\xd0", "Бумага"},
		{"KOI8-R", 2084, "\xe2\xd5\xcd\xc1\xc7\xc1", "Бумага"},
		{"Shift_JIS", 17, "\x83\x67\x83\x69\x81\x5b", "トナー"},
		{"half-width kana, valid UTF-8 by chance", 17, "\xc3\xaf", "ﾃｯ"},
		{"UTF-8", 106, "Behälter", "Behälter"},
		{"UTF-8 declared as Latin-1", 4, "Behälter", "Behälter"},
		{"UTF-8 declared as ASCII", 3, "Behälter", "Behälter"},
		{"Latin-1 declared as UTF-8", 106, "Beh\xe4lter", "Behälter"},
		{"UTF-16", 1015, "\x00T\x00o", "To"},
		{"UTF-16 with mark", 1015, "\xff\xfeT\x00o\x00", "To"},
		{"nothing declared", 0, "caf\xe9", "café"},
		{"unknown set", 2004, "caf\xe9", "café"},
		{"padded", 4, "Tray\x00\x00", "Tray"},
		{"padded, nothing declared", 0, "Tray\x00junk", "Tray"},
		{"empty", 17, "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := decodeText([]byte(tt.octets), charset(tt.set)); got != tt.want {
				t.Errorf("%q, want %q", got, tt.want)
			}
		})
	}
}

// Descriptions follow prtGeneralCurrentLocalization, the panel follows
// prtConsoleLocalization, other strings neither (RFC 3805 section 2.2.1.1);
// each printer has its own.
func TestCharsetOfPrinter(t *testing.T) {
	var lines []string
	for dev, sets := range map[int][2]int{1: {8, 111}, 2: {4, 4}} {
		lines = append(lines,
			fmt.Sprintf("%s.2.%d|2|1", general, dev), fmt.Sprintf("%s.10.%d|2|2", general, dev),
			fmt.Sprintf("1.3.6.1.2.1.43.7.1.1.4.%d.1|2|%d", dev, sets[0]), fmt.Sprintf("1.3.6.1.2.1.43.7.1.1.4.%d.2|2|%d", dev, sets[1]),
			fmt.Sprintf("%s.6.%d.1|4x|a4b0", supplies, dev), fmt.Sprintf("1.3.6.1.2.1.43.16.5.1.2.%d.1|4x|a4", dev),
			fmt.Sprintf("%s.13.%d.1|4x|a4", inputs, dev))
	}
	f := read(t, recorded(t, lines...))
	if got := f.Supplies[0].Description; got != "ЄА" {
		t.Errorf("description by ISO 8859-5: %q", got)
	}
	if got := f.Supplies[1].Description; got != "¤°" {
		t.Errorf("description by ISO 8859-1: %q", got)
	}
	if got := f.ConsoleLines[0].Text; got != "€" {
		t.Errorf("panel by ISO 8859-15: %q", got)
	}
	if got := f.Inputs[0].Name; got != "¤" {
		t.Errorf("a name is not localized: %q", got)
	}
}

func FuzzDecodeText(f *testing.F) {
	f.Add([]byte("Beh\xe4lter"), int64(4))
	f.Add([]byte{0x83, 0x67, 0}, int64(17))
	f.Add([]byte{0xff, 0xfe, 0, 0xd8}, int64(1015))
	f.Add([]byte{0x1b, 0x24, 0x42}, int64(39))
	f.Fuzz(func(t *testing.T, b []byte, set int64) {
		if s := decodeText(b, charset(set)); !utf8.ValidString(s) {
			t.Errorf("% x in set %d gives invalid UTF-8 %q", b, set, s)
		}
	})
}
