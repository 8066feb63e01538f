package mib

import (
	"bytes"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/encoding/korean"
	"golang.org/x/text/encoding/simplifiedchinese"
	"golang.org/x/text/encoding/traditionalchinese"
	"golang.org/x/text/encoding/unicode"
)

// charsets are the values of IANACharset (IANA-CHARSET-MIB) that text can be
// decoded from. US-ASCII (3) and UTF-8 (106) need no table: see decodeText.
var charsets = map[int64]struct {
	label string
	enc   encoding.Encoding
}{
	4:    {"csISOLatin1", charmap.ISO8859_1},
	5:    {"csISOLatin2", charmap.ISO8859_2},
	6:    {"csISOLatin3", charmap.ISO8859_3},
	7:    {"csISOLatin4", charmap.ISO8859_4},
	8:    {"csISOLatinCyrillic", charmap.ISO8859_5},
	9:    {"csISOLatinArabic", charmap.ISO8859_6},
	10:   {"csISOLatinGreek", charmap.ISO8859_7},
	11:   {"csISOLatinHebrew", charmap.ISO8859_8},
	12:   {"csISOLatin5", charmap.ISO8859_9},
	13:   {"csISOLatin6", charmap.ISO8859_10},
	17:   {"csShiftJIS", japanese.ShiftJIS},
	18:   {"csEUCPkdFmtJapanese", japanese.EUCJP},
	38:   {"csEUCKR", korean.EUCKR},
	39:   {"csISO2022JP", japanese.ISO2022JP},
	109:  {"csISO885913", charmap.ISO8859_13},
	110:  {"csISO885914", charmap.ISO8859_14},
	111:  {"csISO885915", charmap.ISO8859_15},
	112:  {"csISO885916", charmap.ISO8859_16},
	113:  {"csGBK", simplifiedchinese.GBK},
	114:  {"csGB18030", simplifiedchinese.GB18030},
	1000: {"csUnicode", wide},
	1013: {"csUTF16BE", wide},
	1014: {"csUTF16LE", unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM)},
	1015: {"csUTF16", wide},
	2009: {"csPC850Multilingual", charmap.CodePage850},
	2011: {"csPC8CodePage437", charmap.CodePage437},
	2024: {"csWindows31J", japanese.ShiftJIS},
	2025: {"csGB2312", simplifiedchinese.GBK},
	2026: {"csBig5", traditionalchinese.Big5},
	2027: {"csMacintosh", charmap.Macintosh},
	2084: {"csKOI8R", charmap.KOI8R},
	2085: {"csHZGB2312", simplifiedchinese.HZGB2312},
	2086: {"csIBM866", charmap.CodePage866},
	2250: {"cswindows1250", charmap.Windows1250},
	2251: {"cswindows1251", charmap.Windows1251},
	2252: {"cswindows1252", charmap.Windows1252},
	2253: {"cswindows1253", charmap.Windows1253},
	2254: {"cswindows1254", charmap.Windows1254},
	2255: {"cswindows1255", charmap.Windows1255},
	2256: {"cswindows1256", charmap.Windows1256},
	2257: {"cswindows1257", charmap.Windows1257},
	2258: {"cswindows1258", charmap.Windows1258},
}

// wide is UTF-16 in network order unless a byte order mark says otherwise.
var wide = unicode.UTF16(unicode.BigEndian, unicode.UseBOM)

func charset(n int64) encoding.Encoding { return charsets[n].enc }

// decodeText turns octets into UTF-8. Plain ASCII is itself in every set but
// the wide ones. Of the rest a single-byte set yields to UTF-8 when the octets
// happen to be well-formed UTF-8, because devices declare an old set and send
// UTF-8 (common practice, no source), while text of such a set is hardly ever
// well-formed by chance. Without a usable set what is no UTF-8 is read as
// ISO 8859-1. A NUL ends text that some devices pad.
func decodeText(b []byte, enc encoding.Encoding) string {
	if enc == nil {
		return fallback(b)
	}
	_, single := enc.(*charmap.Charmap)
	if single && (utf8.Valid(b)) {
		return fallback(b)
	}
	out, err := enc.NewDecoder().Bytes(b)
	if err != nil || bytes.ContainsRune(out, utf8.RuneError) && utf8.Valid(b) {
		return fallback(b)
	}
	return string(bytes.TrimRight(out, "\x00"))
}

func fallback(b []byte) string {
	if i := bytes.IndexByte(b, 0); i >= 0 {
		b = b[:i]
	}
	if utf8.Valid(b) {
		return string(b)
	}
	out, err := charmap.ISO8859_1.NewDecoder().Bytes(b)
	if err != nil {
		return ""
	}
	return string(out)
}
