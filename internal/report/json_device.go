package report

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"printround/internal/device"
)

// deviceJSON writes devices as the elements of a survey's list: the same octets
// as jsonEncoder would (a test holds it), without its copy of the device and
// without the library's passes over the text. A survey is devices for the most
// part, and this is most of the time that writing one takes.
type deviceJSON struct {
	out   []byte
	small bytes.Buffer // what encodes itself, indented
	err   error        // the first one
}

// deviceDepth is how far the elements of a survey's list are indented.
const deviceDepth = 2

// encode returns bytes that last until the next call, without a line break at
// either end.
func (e *deviceJSON) encode(d *device.Device) ([]byte, error) {
	e.out, e.err = appendIndent(e.out[:0], deviceDepth), nil
	deviceShape(e, reflect.ValueOf(d).Elem(), deviceDepth)
	return e.out, e.err
}

// shape writes an addressable value of one type, whose lines but the first are
// indented by depth.
type shape func(e *deviceJSON, v reflect.Value, depth int)

var deviceShape = shapeOf(reflect.TypeFor[device.Device]())

// shapeOf finds out once how a type is written. The types are those of package
// device: what is not among them panics when the program starts, in every test.
func shapeOf(t reflect.Type) shape {
	switch {
	case t == timeType:
		return timeShape
	case t == reflect.TypeFor[device.Text]():
		return textShape
	case reflect.PointerTo(t).Implements(reflect.TypeFor[json.Marshaler]()):
		return ownShape
	case reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextMarshaler]()):
		return ownTextShape
	}
	switch t.Kind() {
	case reflect.String:
		return func(e *deviceJSON, v reflect.Value, _ int) { e.out = appendString(e.out, v.String(), &plainJSON) }
	case reflect.Bool:
		return func(e *deviceJSON, v reflect.Value, _ int) { e.out = strconv.AppendBool(e.out, v.Bool()) }
	case reflect.Int, reflect.Int64:
		return func(e *deviceJSON, v reflect.Value, _ int) { e.out = strconv.AppendInt(e.out, v.Int(), 10) }
	case reflect.Float64:
		return func(e *deviceJSON, v reflect.Value, _ int) { e.out = appendFloat(e.out, v.Float()) }
	case reflect.Pointer:
		return pointerShape(shapeOf(t.Elem()))
	case reflect.Slice:
		return listShape(shapeOf(t.Elem()))
	case reflect.Map:
		if t == reflect.TypeFor[map[string]string]() {
			return mapShape
		}
	case reflect.Struct:
		return structShape(t)
	}
	panic(fmt.Sprintf("report: no JSON for %v", t))
}

// structShape takes fields whose tag is a name, or a dash for one left out.
func structShape(t reflect.Type) shape {
	type field struct {
		index int
		key   string
		shape shape
	}
	var fields []field
	for i := range t.NumField() {
		f := t.Field(i)
		name := f.Tag.Get("json")
		switch {
		case name == "-":
		case !f.IsExported() || f.Anonymous || name == "" || strings.ContainsAny(name, ",\"\\"):
			panic(fmt.Sprintf("report: no JSON for field %s of %v", f.Name, t))
		default:
			fields = append(fields, field{i, `"` + name + `": `, shapeOf(f.Type)})
		}
	}
	return func(e *deviceJSON, v reflect.Value, depth int) {
		for i := range fields {
			e.open(i, '{', depth)
			e.out = append(e.out, fields[i].key...)
			fields[i].shape(e, v.Field(fields[i].index), depth+1)
		}
		e.close(len(fields), '{', '}', depth)
	}
}

// listShape writes an empty list for one that is nil.
func listShape(element shape) shape {
	return func(e *deviceJSON, v reflect.Value, depth int) {
		for i := range v.Len() {
			e.open(i, '[', depth)
			element(e, v.Index(i), depth+1)
		}
		e.close(v.Len(), '[', ']', depth)
	}
}

func mapShape(e *deviceJSON, v reflect.Value, depth int) {
	m := v.Interface().(map[string]string)
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for i, k := range keys {
		e.open(i, '{', depth)
		e.out = append(appendString(e.out, k, &plainJSON), ": "...)
		e.out = appendString(e.out, m[k], &plainJSON)
	}
	e.close(len(keys), '{', '}', depth)
}

// open begins element i of a list or an object.
func (e *deviceJSON) open(i int, bracket byte, depth int) {
	if i == 0 {
		e.out = append(e.out, bracket)
	} else {
		e.out = append(e.out, ',')
	}
	e.out = appendIndent(append(e.out, '\n'), depth+1)
}

// close ends a list or an object of n elements.
func (e *deviceJSON) close(n int, left, right byte, depth int) {
	if n == 0 {
		e.out = append(e.out, left, right)
		return
	}
	e.out = append(appendIndent(append(e.out, '\n'), depth), right)
}

const spaces = "                                "

func appendIndent(b []byte, depth int) []byte {
	n := 2 * depth
	for ; n > len(spaces); n -= len(spaces) {
		b = append(b, spaces...)
	}
	return append(b, spaces[:n]...)
}

// pointerShape writes null for a number that is none.
func pointerShape(to shape) shape {
	return func(e *deviceJSON, v reflect.Value, depth int) {
		if v.IsNil() {
			e.out = append(e.out, "null"...)
			return
		}
		if v = v.Elem(); v.Kind() == reflect.Float64 && !isNumber(v.Float()) {
			e.out = append(e.out, "null"...)
			return
		}
		to(e, v, depth)
	}
}

func isNumber(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }

// textShape escapes what HTML gives a meaning, as the JSON form of a text does.
func textShape(e *deviceJSON, v reflect.Value, _ int) {
	if s := v.String(); s != "" {
		e.out = appendString(e.out, s, &plainText)
	} else {
		e.out = append(e.out, "null"...)
	}
}

func timeShape(e *deviceJSON, v reflect.Value, _ int) {
	t := v.Addr().Interface().(*time.Time).UTC()
	if y := t.Year(); y < 0 || y > 9999 {
		e.fail(fmt.Errorf("a time of the year %d cannot be written", y)) // RFC 3339 section 5.6
	}
	e.out = append(t.AppendFormat(append(e.out, '"'), time.RFC3339Nano), '"')
}

func ownShape(e *deviceJSON, v reflect.Value, depth int) {
	b, err := v.Addr().Interface().(json.Marshaler).MarshalJSON()
	e.fail(err)
	e.small.Reset()
	e.fail(json.Indent(&e.small, b, strings.Repeat("  ", depth), "  "))
	e.out = appendVisible(e.out, e.small.Bytes())
}

func ownTextShape(e *deviceJSON, v reflect.Value, _ int) {
	b, err := v.Addr().Interface().(encoding.TextMarshaler).MarshalText()
	e.fail(err)
	e.out = appendString(e.out, string(b), &plainJSON)
}

func (e *deviceJSON) fail(err error) {
	if e.err == nil {
		e.err = err
	}
}

// appendFloat writes a number as the library does; what is no number is 0.
func appendFloat(b []byte, f float64) []byte {
	if !isNumber(f) {
		f = 0
	}
	if a := math.Abs(f); a == 0 || a >= 1e-6 && a < 1e21 {
		return strconv.AppendFloat(b, f, 'f', -1, 64)
	}
	b = strconv.AppendFloat(b, f, 'e', -1, 64)
	if n := len(b); b[n-4] == 'e' && b[n-3] == '-' && b[n-2] == '0' { // e-09 is e-9
		b = append(b[:n-2], b[n-1])
	}
	return b
}

// appendString writes a string with everything escaped that JSON wants escaped
// (RFC 8259 section 7), that a terminal would act on, or that is not plain.
func appendString(b []byte, s string, plain *[256]bool) []byte {
	b = append(b, '"')
	for i := 0; i < len(s); {
		run := i
		for run < len(s) && plain[s[run]] {
			run++
		}
		b = append(b, s[i:run]...)
		if i = run; i == len(s) {
			break
		}
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == '"' || r == '\\':
			b = append(b, '\\', byte(r))
		case r < ' ' && shortEscapes[r] != 0:
			b = append(b, '\\', shortEscapes[r])
		case r == utf8.RuneError && n == 1:
			b = append(b, `\ufffd`...)
		case r >= ' ' && r <= '~':
			b = fmt.Appendf(b, `\u%04x`, r)
		default:
			b = appendRune(b, r, s[i:i+n])
		}
		i += n
	}
	return append(b, '"')
}

// plainJSON are the octets that stand as they are in a string, plainText those
// in a text.
var plainJSON, plainText = plainExcept(`"\`), plainExcept(`"\<>&`)

func plainExcept(others string) (plain [256]bool) {
	for c := byte(' '); c <= '~'; c++ {
		plain[c] = strings.IndexByte(others, c) < 0
	}
	return plain
}

var shortEscapes = [' ']byte{'\b': 'b', '\f': 'f', '\n': 'n', '\r': 'r', '\t': 't'}

// appendRune writes a character as it is, or as an escape when it is nothing
// to be seen.
func appendRune[T string | []byte](b []byte, r rune, raw T) []byte {
	switch {
	case unicode.IsGraphic(r):
		return append(b, raw...)
	case r < 0x10000:
		return fmt.Appendf(b, `\u%04x`, r)
	}
	r -= 0x10000
	return fmt.Appendf(b, `\u%04x\u%04x`, 0xd800+r>>10, 0xdc00+r&0x3ff)
}
