package report

import (
	"bytes"
	"encoding"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"printround/internal/device"
)

// writeJSON writes v with lists that are never null, times in UTC, and no
// character that a terminal would act on.
func writeJSON(w io.Writer, v any) error {
	b, err := newJSONEncoder("").encode(v)
	if err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}

// jsonEncoder encodes values on lines of their own; all but the first begin
// with a prefix.
type jsonEncoder struct {
	enc      *json.Encoder
	raw      bytes.Buffer
	readable []byte
}

func newJSONEncoder(prefix string) *jsonEncoder {
	e := &jsonEncoder{}
	e.enc = json.NewEncoder(&e.raw)
	e.enc.SetEscapeHTML(false)
	e.enc.SetIndent(prefix, "  ")
	return e
}

// encode returns bytes that last until the next call.
func (e *jsonEncoder) encode(v any) ([]byte, error) {
	e.raw.Reset()
	if err := e.enc.Encode(complete(reflect.ValueOf(v)).Interface()); err != nil {
		return nil, err
	}
	e.readable = appendVisible(e.readable[:0], e.raw.Bytes())
	return e.readable, nil
}

var timeType = reflect.TypeFor[time.Time]()

// complete returns a copy of v in which no list and no map is nil, times are
// in UTC without a monotonic clock reading, and numbers are ones that JSON has.
// Types that encode themselves are kept.
func complete(v reflect.Value) reflect.Value {
	if v.Type() == timeType {
		return reflect.ValueOf(v.Interface().(time.Time).Round(0).UTC())
	}
	switch v.Kind() {
	case reflect.Pointer:
		return completePointer(v)
	case reflect.Slice:
		out := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		for i := range v.Len() {
			out.Index(i).Set(complete(v.Index(i)))
		}
		return out
	case reflect.Map:
		out := reflect.MakeMapWithSize(v.Type(), v.Len())
		for it := v.MapRange(); it.Next(); {
			out.SetMapIndex(it.Key(), complete(it.Value()))
		}
		return out
	case reflect.Struct:
		if encodesItself(v.Type()) {
			return v
		}
		out := reflect.New(v.Type()).Elem()
		out.Set(v)
		for i := range v.NumField() {
			switch f := v.Field(i); f.Kind() {
			case reflect.String, reflect.Bool, reflect.Int, reflect.Int64: // most fields, complete as they are
			default:
				out.Field(i).Set(complete(f))
			}
		}
		return out
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return reflect.Zero(v.Type())
		}
	}
	return v
}

func completePointer(v reflect.Value) reflect.Value {
	if v.IsNil() {
		return v
	}
	if f, ok := v.Interface().(*float64); ok && (math.IsNaN(*f) || math.IsInf(*f, 0)) {
		return reflect.Zero(v.Type()) // no number is an unknown one
	}
	out := reflect.New(v.Type().Elem())
	out.Elem().Set(complete(v.Elem()))
	return out
}

func encodesItself(t reflect.Type) bool {
	return t.Implements(reflect.TypeFor[json.Marshaler]()) || t.Implements(reflect.TypeFor[encoding.TextMarshaler]())
}

// appendVisible appends b to out with control and format characters, which may
// stand raw in JSON above U+001F, as \u escapes (RFC 8259 section 7): the
// document means the same and is safe to look at.
func appendVisible(out, b []byte) []byte {
	plain := func(c byte) bool { return c >= ' ' && c <= '~' || c == '\n' }
	for i := 0; i < len(b); {
		run := i
		for run < len(b) && plain(b[run]) {
			run++
		}
		if run > i {
			out = append(out, b[i:run]...)
			i = run
			continue
		}
		r, n := utf8.DecodeRune(b[i:])
		out = appendRune(out, r, b[i:i+n])
		i += n
	}
	return out
}

// MaxFile is the largest survey that Read accepts, in bytes.
const MaxFile = 1 << 30

// Read reads a survey that Write wrote as JSON. It refuses other files, files
// cut short, and surveys of a newer schema, each with one line that says so.
func Read(r io.Reader) (*device.Survey, error) {
	b, err := io.ReadAll(io.LimitReader(r, MaxFile+1))
	if err != nil {
		return nil, fmt.Errorf("reading the survey: %w", err)
	}
	if len(b) > MaxFile {
		return nil, errors.New("reading the survey: larger than 1 GiB, this is no survey")
	}
	var head struct {
		Schema *string `json:"schema"`
	}
	if err := json.Unmarshal(bytes.TrimPrefix(b, []byte("\ufeff")), &head); err != nil {
		return nil, fmt.Errorf("reading the survey: %s", explainJSON(b, err))
	}
	if err := checkSchema(head.Schema); err != nil {
		return nil, fmt.Errorf("reading the survey: %w", err)
	}
	var s device.Survey
	if err := json.Unmarshal(bytes.TrimPrefix(b, []byte("\ufeff")), &s); err != nil {
		return nil, fmt.Errorf("reading the survey: %s", explainJSON(b, err))
	}
	return &s, nil
}

// explainJSON says what is wrong with a file in terms of the file.
func explainJSON(b []byte, err error) string {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case len(bytes.TrimSpace(b)) == 0:
		return "the file is empty"
	case errors.As(err, &syntax) && syntax.Offset >= int64(len(bytes.TrimRight(b, " \r\n\t"))):
		return "the JSON ends too early, the file was cut short"
	case errors.As(err, &syntax):
		return fmt.Sprintf("not JSON at line %d, write surveys with --format json", lineOf(b, syntax.Offset))
	case errors.As(err, &kind) && kind.Field == "":
		return "no JSON object, write surveys with --format json"
	case errors.As(err, &kind):
		return fmt.Sprintf("%s at line %d holds a %s", kind.Field, lineOf(b, kind.Offset), kind.Value)
	}
	return err.Error()
}

func lineOf(b []byte, offset int64) int {
	return 1 + bytes.Count(b[:min(max(offset, 0), int64(len(b)))], []byte("\n"))
}

// checkSchema compares the schema of a file with the one this program reads.
func checkSchema(schema *string) error {
	const family = "printround.survey/"
	switch {
	case schema == nil:
		return errors.New(`the file names no schema, so it is no survey: want "schema": "` + device.SurveySchema + `"`)
	case *schema == device.SurveySchema:
		return nil
	case *schema == device.DeviceSchema:
		return errors.New("this is the report of one device, a survey (printround sweep --format json) is needed")
	}
	if n, err := strconv.Atoi(strings.TrimPrefix(*schema, family)); err == nil && strings.HasPrefix(*schema, family) && n > 1 {
		return fmt.Errorf("schema %s is newer than this program, which reads %s: use a newer printround", *schema, device.SurveySchema)
	}
	return fmt.Errorf("schema %.60q is not %s", *schema, device.SurveySchema)
}
