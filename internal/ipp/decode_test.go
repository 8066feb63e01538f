package ipp

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/OpenPrinting/goipp"
)

// appendixA returns the messages of RFC 8010 Appendix A by section.
func appendixA(t testing.TB) map[string][]byte {
	t.Helper()
	text, err := os.ReadFile("testdata/rfc8010-appendix-a.tsv")
	if err != nil {
		t.Fatal(err)
	}
	all := map[string][]byte{}
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n")[2:] {
		section, digits, _ := strings.Cut(line, "\t")
		b, err := hex.DecodeString(digits)
		if err != nil {
			t.Fatalf("%s: %v", section, err)
		}
		all[section] = b
	}
	return all
}

// show writes a message as lines: code and id, then "group:" lines with their
// attributes.
func show(m *Message) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d.%d %04x #%d\n", m.Version>>8, m.Version&0xff, m.Code, m.RequestID)
	for _, g := range m.Groups {
		fmt.Fprintf(&b, "%s:\n", g.Tag)
		showAttributes(&b, g.Attributes, "  ")
	}
	return b.String()
}

func showAttributes(b *strings.Builder, attrs Attributes, indent string) {
	for _, a := range attrs {
		for i, v := range a.Values {
			name := a.Name
			if i > 0 {
				name = ""
			}
			members, isCollection := v.Members()
			if isCollection {
				fmt.Fprintf(b, "%s%s {\n", indent, name)
				showAttributes(b, members, indent+"  ")
				fmt.Fprintf(b, "%s}\n", indent)
				continue
			}
			fmt.Fprintf(b, "%s%s %s %s\n", indent, name, v.Syntax(), v)
		}
	}
}

const operation = `operation-attributes-tag:
  attributes-charset charset utf-8
  attributes-natural-language naturalLanguage en-us
`

const pinetree = "  printer-uri uri ipp://printer.example.com/ipp/print/pinetree\n"

// The Symbolic column of the tables in RFC 8010 Appendix A. Section A.9 prints
// 149 there beside the octets of 148; the octets count.
var appendixAContents = map[string]string{
	"A.1": "1.1 0002 #1\n" + operation + pinetree + "  job-name nameWithoutLanguage foobar\n  ipp-attribute-fidelity boolean true\n" +
		"job-attributes-tag:\n  copies integer 20\n  sides keyword two-sided-long-edge\n",
	"A.2": "1.1 0000 #1\n" + operation + "  status-message textWithoutLanguage successful-ok\n" +
		"job-attributes-tag:\n  job-id integer 147\n  job-uri uri ipp://printer.example.com/ipp/print/pinetree/147\n  job-state enum 3\n",
	"A.3": "1.1 040b #1\n" + operation + "  status-message textWithoutLanguage client-error-attributes-or-values-not-supported\n" +
		"unsupported-attributes-tag:\n  copies integer 20\n  sides unsupported unsupported\n",
	"A.4": "1.1 0001 #1\n" + operation + "  status-message textWithoutLanguage successful-ok-ignored-or-substituted-attributes\n" +
		"unsupported-attributes-tag:\n  copies integer 20\n  sides unsupported unsupported\n" +
		"job-attributes-tag:\n  job-id integer 147\n  job-uri uri ipp://printer.example.com/ipp/print/pinetree/147\n  job-state enum 3\n",
	"A.5": "1.1 0003 #1\n" + operation + pinetree + "  document-uri uri ftp://foo.example.com/foo\n  job-name nameWithoutLanguage foobar\n" +
		"job-attributes-tag:\n  copies integer 1\n",
	"A.6": "1.1 0005 #1\n" + operation + pinetree,
	"A.7": "1.1 0005 #1\n" + operation + pinetree + "  media-col {\n    media-size {\n      x-dimension integer 21000\n      y-dimension integer 29700\n    }\n" +
		"    media-type keyword stationery\n  }\n",
	"A.8": "1.1 000a #123\n" + operation + pinetree + "  limit integer 50\n  requested-attributes keyword job-id\n   keyword job-name\n   keyword document-format\n",
	"A.9": "1.1 0000 #123\n" + operation + "  status-message textWithoutLanguage successful-ok\n" +
		"job-attributes-tag:\n  job-id integer 147\n  job-name nameWithLanguage fou\n" +
		"job-attributes-tag:\njob-attributes-tag:\n  job-id integer 148\n  job-name nameWithLanguage isch guet\n",
}

func TestDecodeAppendixA(t *testing.T) {
	vectors := appendixA(t)
	if len(vectors) != len(appendixAContents) {
		t.Fatalf("%d vectors, want %d", len(vectors), len(appendixAContents))
	}
	for section, b := range vectors {
		m, err := Decode(b)
		if err != nil {
			t.Errorf("%s: %v", section, err)
			continue
		}
		if got, want := show(m), appendixAContents[section]; got != want {
			t.Errorf("%s: got\n%swant\n%s", section, got, want)
		}
	}
}

// A message that is cut off anywhere gives an error, and what came before.
func TestDecodePrefixes(t *testing.T) {
	for section, b := range appendixA(t) {
		end := len(b)
		if section == "A.1" {
			end -= len("%!PDF...") // the document behind the message
		}
		for n := range end {
			m, err := Decode(b[:n])
			switch {
			case err == nil:
				t.Errorf("%s cut at %d: no error", section, n)
			case n < headerSize && m != nil, n >= headerSize && m == nil:
				t.Errorf("%s cut at %d: message %v", section, n, m)
			}
		}
	}
}

// message builds a response of one printer group by hand.
type message struct{ bytes.Buffer }

func newMessage() *message {
	m := &message{}
	m.Write([]byte{2, 0, 0, 0, 0, 0, 0, 1, byte(goipp.TagPrinterGroup)})
	return m
}

func (m *message) add(tag goipp.Tag, name string, value ...byte) *message {
	m.WriteByte(byte(tag))
	_ = binary.Write(m, binary.BigEndian, uint16(len(name)))
	m.WriteString(name)
	_ = binary.Write(m, binary.BigEndian, uint16(len(value)))
	m.Write(value)
	return m
}

func (m *message) end() []byte {
	m.WriteByte(byte(goipp.TagEnd))
	return m.Bytes()
}

func TestDecodeMalformedValues(t *testing.T) {
	tests := []struct {
		name string
		tag  goipp.Tag
		in   []byte
		bad  string
	}{
		{"integer of two octets", goipp.TagInteger, []byte{0, 1}, "a: integer of 2 octets"},
		{"enum of no octet", goipp.TagEnum, nil, "a: enum of 0 octets"},
		{"boolean 2", goipp.TagBoolean, []byte{2}, "a: boolean of 1 octets"},
		{"range of four octets", goipp.TagRange, []byte{0, 0, 0, 1}, "a: rangeOfInteger of 4 octets"},
		{"resolution of eight octets", goipp.TagResolution, make([]byte, 8), "a: resolution of 8 octets"},
		{"date of month 0", goipp.TagDateTime, []byte{7, 233, 0, 1, 1, 1, 1, 1, '+', 0, 0}, "a: dateTime of 11 octets"},
		{"date without zone", goipp.TagDateTime, []byte{7, 233, 1, 1, 1, 1, 1, 1}, "a: dateTime of 8 octets"},
		{"text whose language is longer than it", goipp.TagTextLang, []byte{0, 9, 'e', 'n', 0, 0}, "a: textWithLanguage of 6 octets"},
		{"octets behind the text", goipp.TagNameLang, []byte{0, 2, 'e', 'n', 0, 1, 'x', 'y'}, "a: nameWithLanguage of 8 octets"},
		{"extension of two octets", goipp.TagExtension, []byte{0, 1}, "a: extension of 2 octets"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := newMessage().add(goipp.TagKeyword, "before", 'x').add(tt.tag, "a", tt.in...).
				add(goipp.TagInteger, "", 0, 0, 0, 7).add(goipp.TagKeyword, "after", 'y').end()
			m, err := Decode(b)
			if err != nil {
				t.Fatal(err)
			}
			a := m.First(PrinterGroup)
			if got := a.Text("before") + a.Text("after"); got != "xy" {
				t.Errorf("neighbours read %q", got)
			}
			if vs := a.Get("a"); len(vs) != 2 || !vs[0].OutOfBand() {
				t.Errorf("values %v, want an out-of-band value and 7", vs)
			} else if n, ok := vs[1].Int(); !ok || n != 7 {
				t.Errorf("second value %v", vs[1])
			}
			if len(m.Malformed) != 1 || m.Malformed[0].String() != tt.bad {
				t.Errorf("malformed %v, want %s", m.Malformed, tt.bad)
			}
		})
	}
}

// Well-formed values of each syntax (RFC 8010 section 3.9).
func TestValueSyntaxes(t *testing.T) {
	b := newMessage().
		add(goipp.TagRange, "range", 0, 0, 0, 1, 0, 0, 0x27, 0x0f).
		add(goipp.TagResolution, "resolution", 0, 0, 2, 0x58, 0, 0, 1, 0x2c, 3).
		add(goipp.TagDateTime, "date", 0x07, 0xea, 11, 25, 7, 24, 0, 0, '-', 2, 30).
		add(goipp.TagString, "octets", []byte("level=5\x00")...).
		add(goipp.TagNoValue, "none").
		add(goipp.TagText, "latin1", 'S', 't', 0xfc, 'c', 'k').
		add(goipp.TagInteger, "minus", 0xff, 0xff, 0xff, 0xfd).
		add(goipp.TagBoolean, "no", 0).end()
	m, err := Decode(b)
	if err != nil {
		t.Fatal(err)
	}
	a := m.First(PrinterGroup)
	if lo, hi, ok := a.Get("range")[0].Range(); !ok || lo != 1 || hi != 9999 {
		t.Errorf("range %d-%d %v", lo, hi, ok)
	}
	if got := a.Get("resolution")[0].String(); got != "600x300" {
		t.Errorf("resolution %s", got)
	}
	if at, ok := a.Get("date")[0].Time(); !ok || at.UTC().Format("2006-01-02 15:04") != "2026-11-25 09:54" {
		t.Errorf("date %v", at)
	}
	if got := a.Text("octets"); got != "level=5\x00" {
		t.Errorf("octets %q", got)
	}
	if a.Has("none") || a.Get("none") == nil || a.Text("none") != "" {
		t.Error("no-value reads as a value")
	}
	if got := a.Text("latin1"); got != "Stück" {
		t.Errorf("text that is not UTF-8 reads %q", got)
	}
	if n, ok := a.Int("minus"); !ok || n != -3 {
		t.Errorf("minus %d %v", n, ok)
	}
	if v, ok := a.Bool("no"); !ok || v {
		t.Errorf("boolean %v %v", v, ok)
	}
	if _, ok := a.Int("octets"); ok {
		t.Error("an octetString reads as a number")
	}
}

// nested returns a message with depth collections inside each other, opened and
// never closed.
func nested(depth int) []byte {
	m := newMessage().add(goipp.TagKeyword, "first", 'x').add(goipp.TagBeginCollection, "c")
	for range depth - 1 {
		m.add(goipp.TagMemberName, "", 'm').add(goipp.TagBeginCollection, "")
	}
	return m.Bytes()
}

func TestDecodeDepth(t *testing.T) {
	ok := newMessage().add(goipp.TagBeginCollection, "c")
	for range maxDepth - 1 {
		ok.add(goipp.TagMemberName, "", 'm').add(goipp.TagBeginCollection, "")
	}
	for range maxDepth {
		ok.add(goipp.TagEndCollection, "")
	}
	if _, err := Decode(ok.end()); err != nil {
		t.Errorf("%d levels: %v", maxDepth, err)
	}
	// A collection of a million octets that only opens further ones would
	// exhaust the stack of a decoder that recurses.
	for _, depth := range []int{maxDepth + 1, MaxMessage / 11} {
		m, err := Decode(nested(depth))
		if !errors.Is(err, ErrDepth) {
			t.Fatalf("%d levels: error %v", depth, err)
		}
		if m.First(PrinterGroup).Text("first") != "x" {
			t.Errorf("%d levels: the attribute before is lost", depth)
		}
	}
}

func TestDecodeBounds(t *testing.T) {
	many := newMessage().add(goipp.TagKeyword, "first", 'x').add(goipp.TagNoValue, "n")
	for range maxValues {
		many.add(goipp.TagNoValue, "")
	}
	if m, err := Decode(many.end()); !errors.Is(err, ErrValues) || m.First(PrinterGroup).Text("first") != "x" {
		t.Errorf("too many values: %v", err)
	}
	large := newMessage()
	for i := range 40 {
		large.add(goipp.TagString, fmt.Sprintf("a%d", i), make([]byte, 0x7fff)...)
	}
	m, err := Decode(large.end())
	if !errors.Is(err, ErrTooLarge) {
		t.Errorf("more than 1 MiB: %v", err)
	}
	if got := len(m.First(PrinterGroup)); got < 30 {
		t.Errorf("more than 1 MiB: %d attributes kept", got)
	}
	// Octets behind the end of the message are none of its business.
	tail := append(newMessage().add(goipp.TagKeyword, "first", 'x').end(), make([]byte, MaxMessage)...)
	if _, err := Decode(tail); err != nil {
		t.Errorf("data behind the message: %v", err)
	}
	if _, err := Decode(nil); !errors.Is(err, ErrShort) {
		t.Errorf("nothing: %v", err)
	}
}

// The first of two attributes with one name counts.
func TestRepeatedAttribute(t *testing.T) {
	m, err := Decode(newMessage().add(goipp.TagKeyword, "a", '1').add(goipp.TagKeyword, "a", '2').end())
	if err != nil || m.First(PrinterGroup).Text("a") != "1" {
		t.Errorf("got %v, %v", m, err)
	}
}

// Some printers name the members of a collection with the attribute name field
// instead of a memberAttrName value, which RFC 8010 section 3.1.6 does not
// allow. They are read all the same.
func TestNamedMembers(t *testing.T) {
	b := newMessage().add(goipp.TagBeginCollection, "media-size").add(goipp.TagInteger, "x-dimension", 0, 0, 0x52, 0x08).
		add(goipp.TagEndCollection, "").end()
	m, err := Decode(b)
	if err != nil {
		t.Fatal(err)
	}
	members, _ := m.First(PrinterGroup).Get("media-size")[0].Members()
	if n, _ := members.Int("x-dimension"); n != 21000 {
		t.Errorf("x-dimension %d, want 21000", n)
	}
}

func FuzzDecode(f *testing.F) {
	for _, b := range appendixA(f) {
		f.Add(b)
	}
	f.Add(nested(maxDepth + 1))
	f.Add(newMessage().add(goipp.TagInteger, "a", 0).end())
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := Decode(b)
		if m == nil {
			if err == nil {
				t.Fatal("neither message nor error")
			}
			return
		}
		_ = show(m)
	})
}
