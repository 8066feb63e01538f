package ipp

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/OpenPrinting/goipp"
)

// Bounds on a message from a device. The largest real answers seen hold about
// 100 kB, and the deepest real collections (media-col-database) three levels.
const (
	MaxMessage = 1 << 20 // octets
	maxDepth   = 16      // collections inside each other
	maxValues  = 1 << 16 // values in one message
	headerSize = 8       // version, code, request-id (RFC 8010 section 3.1.1)
)

// Errors of messages that are not decoded to their end.
var (
	ErrTooLarge = errors.New("message is larger than 1 MiB")
	ErrDepth    = fmt.Errorf("collections are nested deeper than %d", maxDepth)
	ErrValues   = fmt.Errorf("more than %d values", maxValues)
	ErrShort    = errors.New("message is shorter than its header")
)

// MalformedValue names a value that does not fit its syntax, such as an integer
// of two octets. It is read as the out-of-band value unknown, so that the rest
// of the message is not lost.
type MalformedValue struct {
	Attribute string
	Syntax    string
	Octets    int
}

func (m MalformedValue) String() string {
	return fmt.Sprintf("%s: %s of %d octets", m.Attribute, m.Syntax, m.Octets)
}

// scanner walks over the encoding once, before the real decoder sees it: the
// decoder recurses into collections and would exhaust the stack on a hostile
// message, and it gives up at the first value of a wrong length.
//
//	octets  field                       (RFC 8010 section 3.1.4)
//	1       tag; < 0x10 begins a group or ends the message
//	2+n     name length, name
//	2+n     value length, value
type scanner struct {
	in     []byte
	off    int
	depth  int
	values int
	name   string // attribute being read
	out    []byte // repaired copy; nil while nothing was repaired
	bad    []MalformedValue
}

// scan returns what may be given to the decoder: b itself, a copy in which
// malformed values are replaced, or the harmless part before the place that the
// error tells of.
func scan(b []byte) ([]byte, []MalformedValue, error) {
	if len(b) < headerSize {
		return b, nil, ErrShort
	}
	if len(b) > MaxMessage {
		b = b[:MaxMessage]
	}
	s := &scanner{in: b, off: headerSize}
	for s.off < len(b) {
		more, err := s.element()
		if err != nil {
			return s.result(s.off), s.bad, err
		}
		if !more {
			break
		}
	}
	return s.result(len(b)), s.bad, nil
}

func (s *scanner) result(end int) []byte {
	if s.out == nil {
		return s.in[:end]
	}
	return append(s.out, s.in[s.off:max(end, s.off)]...)
}

// element steps over one tag or attribute. It returns false at the end of the
// message and where it is cut off; the decoder reports the latter.
func (s *scanner) element() (more bool, err error) {
	start := s.off
	tag := goipp.Tag(s.in[start])
	if tag.IsDelimiter() {
		if tag == goipp.TagEnd {
			return false, nil
		}
		s.off++
		s.keep(start)
		return true, nil
	}
	name, pos, ok := field(s.in, start+1)
	if !ok {
		return false, nil
	}
	value, end, ok := field(s.in, pos)
	if !ok {
		return false, nil
	}
	if s.values++; s.values > maxValues {
		return false, ErrValues
	}
	switch tag {
	case goipp.TagBeginCollection:
		if s.depth++; s.depth > maxDepth {
			return false, ErrDepth
		}
	case goipp.TagEndCollection:
		s.depth = max(0, s.depth-1)
	case goipp.TagMemberName:
		s.name = string(value)
	}
	if len(name) > 0 {
		s.name = string(name)
	}
	s.off = end
	if fits(tag, value) {
		s.keep(start)
		return true, nil
	}
	s.bad = append(s.bad, MalformedValue{Attribute: s.name, Syntax: tag.String(), Octets: len(value)})
	if s.out == nil {
		s.out = append(make([]byte, 0, len(s.in)), s.in[:start]...)
	}
	s.out = append(s.out, byte(goipp.TagUnknown))
	s.out = append(s.out, s.in[start+1:pos]...)
	s.out = append(s.out, 0, 0)
	return true, nil
}

func (s *scanner) keep(start int) {
	if s.out != nil {
		s.out = append(s.out, s.in[start:s.off]...)
	}
}

// field returns the length-prefixed field at off and the offset behind it.
func field(b []byte, off int) (f []byte, end int, ok bool) {
	if off+2 > len(b) {
		return nil, 0, false
	}
	n := int(binary.BigEndian.Uint16(b[off:]))
	off += 2
	if off+n > len(b) {
		return nil, 0, false
	}
	return b[off : off+n], off + n, true
}

// fits reports whether the decoder takes the value: the lengths of RFC 8010
// section 3.9, and for dateTime the ranges of DateAndTime (RFC 2579 section 2).
func fits(tag goipp.Tag, v []byte) bool {
	switch tag.Type() {
	case goipp.TypeInteger:
		return len(v) == 4
	case goipp.TypeBoolean:
		return len(v) == 1 && v[0] <= 1
	case goipp.TypeResolution:
		return len(v) == 9
	case goipp.TypeRange:
		return len(v) == 8
	case goipp.TypeDateTime:
		return fitsDate(v)
	case goipp.TypeTextWithLang:
		_, off, ok := field(v, 0)
		if !ok {
			return false
		}
		_, off, ok = field(v, off)
		return ok && off == len(v)
	}
	if tag == goipp.TagExtension {
		return len(v) >= 4 && v[0] < 0x80
	}
	return true
}

// fitsDate keeps to what the decoder takes, hours from UTC up to 11: RFC 2579
// allows 13, and losing the time stamp of a printer in Auckland is better than
// losing the printer.
func fitsDate(v []byte) bool {
	if len(v) != 11 {
		return false
	}
	in := func(i int, lo, hi byte) bool { return v[i] >= lo && v[i] <= hi }
	return in(2, 1, 12) && in(3, 1, 31) && in(4, 0, 23) && in(5, 0, 59) && in(6, 0, 60) && in(7, 0, 9) &&
		(v[8] == '+' || v[8] == '-') && in(9, 0, 11) && in(10, 0, 59)
}
