package ipp

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"unicode/utf8"

	"github.com/OpenPrinting/goipp"
)

// Decode reads one message (RFC 8010 section 3). b may go on behind the end of
// the message. When the message is cut off or not valid, the error says so and
// the message still holds the groups and attributes before that place; it is
// nil only if not even the header is there. A value that does not fit its
// syntax is no error: it is listed in Malformed and reads as unknown.
func Decode(b []byte) (*Message, error) {
	safe, bad, scanErr := scan(b)
	if errors.Is(scanErr, ErrShort) {
		return nil, scanErr
	}
	var raw goipp.Message
	err := raw.DecodeEx(bytes.NewReader(safe), goipp.DecoderOptions{EnableWorkarounds: true})
	switch {
	case scanErr != nil:
		err = scanErr // the decoder only saw that the message was cut there
	case err != nil && len(b) > MaxMessage:
		err = ErrTooLarge
	}
	m := &Message{Version: uint16(raw.Version), Code: uint16(raw.Code), RequestID: raw.RequestID, Malformed: bad}
	for _, g := range raw.Groups {
		m.Groups = append(m.Groups, Group{Tag: GroupTag(g.Tag), Attributes: attributes(g.Attrs)})
	}
	if err != nil {
		return m, fmt.Errorf("decoding the message: %w", err)
	}
	return m, nil
}

func attributes(in goipp.Attributes) Attributes {
	out := make(Attributes, 0, len(in))
	for _, a := range in {
		values := make([]Value, 0, len(a.Values))
		for _, v := range a.Values {
			values = append(values, value(v.T, v.V))
		}
		out = append(out, Attribute{Name: utf8Text(a.Name), Values: values})
	}
	return out
}

func value(tag goipp.Tag, v goipp.Value) Value {
	out := Value{tag: tag}
	switch v := v.(type) {
	case goipp.Integer:
		out.lo = int64(v)
	case goipp.Boolean:
		if v {
			out.lo = 1
		}
	case goipp.Range:
		out.lo, out.hi = int64(v.Lower), int64(v.Upper)
	case goipp.Resolution:
		out.lo, out.hi = perInch(v.Xres, v.Units), perInch(v.Yres, v.Units)
	case goipp.String:
		out.text = utf8Text(string(v))
	case goipp.TextWithLang:
		out.text = utf8Text(v.Text)
	case goipp.Binary:
		out.text = utf8Text(string(v))
	case goipp.Time:
		out.time = v.Time
	case goipp.Collection:
		out.members = attributes(goipp.Attributes(v))
	}
	return out
}

// perInch gives a resolution in dots an inch.
func perInch(n int, units goipp.Units) int64 {
	if units == goipp.UnitsDpcm {
		return int64(math.Round(float64(n) * 2.54))
	}
	return int64(n)
}

// utf8Text reads text that is not UTF-8 as ISO 8859-1, which the printers that
// announce utf-8 and send something else mean most often (common practice, no
// source).
func utf8Text(s string) string {
	if utf8.ValidString(s) {
		return s
	}
	r := make([]rune, len(s))
	for i := range len(s) {
		r[i] = rune(s[i])
	}
	return string(r)
}
