package ipp

import (
	"fmt"
	"time"

	"github.com/OpenPrinting/goipp"
)

// Message is one decoded message (RFC 8010 section 3.1.1).
type Message struct {
	Version   uint16 // 0x0101 is IPP/1.1, 0x0200 is IPP/2.0
	Code      uint16 // status-code of a response, operation-id of a request
	RequestID uint32
	Groups    []Group // in the order received; empty groups are kept
	Malformed []MalformedValue
}

// Status is the Code of a response.
func (m *Message) Status() Status { return Status(m.Code) }

// Successful reports whether the status-code is one of the successful class,
// 0x0000 to 0x00ff (RFC 8011 appendix B).
func (s Status) Successful() bool { return s >= 0 && s <= 0x00ff }

// All returns the attributes of each group with the tag, in order: one element
// for each job of a Get-Jobs response.
func (m *Message) All(tag GroupTag) []Attributes {
	var all []Attributes
	for _, g := range m.Groups {
		if g.Tag == tag {
			all = append(all, g.Attributes)
		}
	}
	return all
}

// First returns the attributes of the first group with the tag, nil if there
// is none.
func (m *Message) First(tag GroupTag) Attributes {
	for _, g := range m.Groups {
		if g.Tag == tag {
			return g.Attributes
		}
	}
	return nil
}

// GroupTag is the delimiter tag that begins a group (RFC 8010 section 3.5.1).
type GroupTag uint8

// Groups that the tool reads.
const (
	OperationGroup   GroupTag = 0x01
	JobGroup         GroupTag = 0x02
	PrinterGroup     GroupTag = 0x04
	UnsupportedGroup GroupTag = 0x05
)

// String returns the name of the tag in RFC 8010 section 3.5.1.
func (t GroupTag) String() string { return goipp.Tag(t).String() }

// Group is one group of attributes.
type Group struct {
	Tag        GroupTag
	Attributes Attributes
}

// Attributes are the attributes of one group or the members of one collection,
// in the order received. If a device repeats a name, the first one counts.
type Attributes []Attribute

// Attribute is one attribute with its values.
type Attribute struct {
	Name   string
	Values []Value
}

// Get returns the values of the attribute, nil if it is not there.
func (a Attributes) Get(name string) []Value {
	for i := range a {
		if a[i].Name == name {
			return a[i].Values
		}
	}
	return nil
}

// Has reports whether the attribute is there with at least one value that is
// not out-of-band.
func (a Attributes) Has(name string) bool {
	for _, v := range a.Get(name) {
		if !v.OutOfBand() {
			return true
		}
	}
	return false
}

// Text returns the first text value of the attribute, empty if there is none.
func (a Attributes) Text(name string) string {
	for _, v := range a.Get(name) {
		if s, ok := v.Text(); ok {
			return s
		}
	}
	return ""
}

// Texts returns the text values of the attribute, leaving out values of other
// kinds.
func (a Attributes) Texts(name string) []string {
	var all []string
	for _, v := range a.Get(name) {
		if s, ok := v.Text(); ok {
			all = append(all, s)
		}
	}
	return all
}

// Int returns the first value of the attribute if it is an integer or enum.
func (a Attributes) Int(name string) (int64, bool) {
	if vs := a.Get(name); len(vs) > 0 {
		return vs[0].Int()
	}
	return 0, false
}

// Bool returns the first value of the attribute if it is a boolean.
func (a Attributes) Bool(name string) (value, ok bool) {
	if vs := a.Get(name); len(vs) > 0 {
		return vs[0].Bool()
	}
	return false, false
}

// Value is one value of an attribute. Its zero value is out-of-band.
type Value struct {
	tag     goipp.Tag
	lo, hi  int64 // integer, enum, boolean (0, 1), bounds of a range, resolution
	text    string
	time    time.Time
	members Attributes
}

// Syntax returns the name of the value's syntax, such as keyword or
// rangeOfInteger (RFC 8010 section 3.5.2).
func (v Value) Syntax() string { return v.tag.String() }

// OutOfBand reports whether the value is unsupported, unknown, no-value or
// another value that stands for none (RFC 8010 section 3.5.2).
func (v Value) OutOfBand() bool { return v.tag < 0x20 }

// Int returns the number of an integer or enum.
func (v Value) Int() (int64, bool) {
	return v.lo, v.tag == goipp.TagInteger || v.tag == goipp.TagEnum
}

// Range returns the bounds of a rangeOfInteger; an integer is the range that
// holds it alone.
func (v Value) Range() (lo, hi int64, ok bool) {
	if n, ok := v.Int(); ok {
		return n, n, true
	}
	return v.lo, v.hi, v.tag == goipp.TagRange
}

// Bool returns the value of a boolean.
func (v Value) Bool() (value, ok bool) { return v.lo != 0, v.tag == goipp.TagBoolean }

// Resolution returns a resolution across the feed and along it, in dots an inch.
func (v Value) Resolution() (x, y int64, ok bool) {
	return v.lo, v.hi, v.tag == goipp.TagResolution
}

// Text returns the text of a character-string or octetString value. Text that
// is not UTF-8 is read as ISO 8859-1. It is foreign and not cleaned.
func (v Value) Text() (string, bool) {
	switch v.tag.Type() {
	case goipp.TypeString, goipp.TypeTextWithLang:
		return v.text, true
	}
	return v.text, v.tag == goipp.TagString
}

// Time returns the moment of a dateTime.
func (v Value) Time() (time.Time, bool) { return v.time, v.tag == goipp.TagDateTime }

// Members returns the member attributes of a collection.
func (v Value) Members() (Attributes, bool) {
	return v.members, v.tag == goipp.TagBeginCollection
}

// String returns the value for people and logs; it is not cleaned.
func (v Value) String() string {
	if s, ok := v.Text(); ok {
		return s
	}
	switch v.tag {
	case goipp.TagInteger, goipp.TagEnum:
		return fmt.Sprint(v.lo)
	case goipp.TagBoolean:
		return fmt.Sprint(v.lo != 0)
	case goipp.TagRange:
		return fmt.Sprintf("%d-%d", v.lo, v.hi)
	case goipp.TagResolution:
		return fmt.Sprintf("%dx%d", v.lo, v.hi)
	case goipp.TagDateTime:
		return v.time.Format(time.RFC3339)
	case goipp.TagBeginCollection:
		return fmt.Sprintf("collection of %d", len(v.members))
	}
	return v.tag.String()
}
