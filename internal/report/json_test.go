package report

import (
	"bytes"
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"printround/internal/device"
)

func TestJSONFollowsSchema(t *testing.T) {
	survey, one := compiled(t, device.SurveySchema), compiled(t, device.DeviceSchema)
	full := fullDevice()
	for name, c := range map[string]struct {
		schema *jsonschema.Schema
		doc    []byte
	}{
		"survey":       {survey, render(t, sampleSurvey(), Options{Format: JSON})},
		"empty survey": {survey, render(t, &device.Survey{}, Options{Format: JSON})},
		"device":       {one, renderDevice(t, &full, Options{Format: JSON})},
		"bare device": {one, renderDevice(t, &device.Device{Key: "addr:10.0.0.1", Role: device.RolePrinter, Attention: device.Clear},
			Options{Format: JSON})},
	} {
		if err := validate(t, c.schema, c.doc); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestSchemaNoticesDrift changes a good document in ways that would break
// programs that read it.
func TestSchemaNoticesDrift(t *testing.T) {
	schema := compiled(t, device.SurveySchema)
	good := render(t, sampleSurvey(), Options{Format: JSON})
	noticesDrift(t, schema, good, func(doc map[string]any) map[string]any { return doc["devices"].([]any)[0].(map[string]any) }, map[string]func(doc, dev map[string]any){
		"unknown field":          func(doc, _ map[string]any) { doc["extra"] = 1 },
		"unknown device field":   func(_, dev map[string]any) { dev["extra"] = 1 },
		"missing field":          func(_, dev map[string]any) { delete(dev, "serial") },
		"null list":              func(_, dev map[string]any) { dev["supplies"] = nil },
		"empty text for unknown": func(_, dev map[string]any) { dev["serial"] = "" },
		"urgency above 100":      func(_, dev map[string]any) { dev["urgency"] = 101 },
		"level that guesses": func(_, dev map[string]any) {
			dev["supplies"].([]any)[3].(map[string]any)["level"] = map[string]any{"known": false, "reason": "some-left", "percent": 0}
		},
		"local time":        func(_, dev map[string]any) { dev["observed_at"] = "2025-03-04T17:05:00+01:00" },
		"unknown attention": func(_, dev map[string]any) { dev["attention"] = "critical" },
		"other schema":      func(doc, _ map[string]any) { doc["schema"] = "printround.survey/2" },
	})
}

// TestSchemaNamesEveryField compares the schema with the types, so that a field
// added to one is added to the other.
func TestSchemaNamesEveryField(t *testing.T) {
	raw, _ := Schema(device.DeviceSchema)
	var doc struct {
		Defs map[string]struct {
			Properties map[string]json.RawMessage `json:"properties"`
		} `json:"$defs"`
	}
	if err := json.Unmarshal(raw, &doc); err != nil {
		t.Fatal(err)
	}
	for name, v := range map[string]any{
		"device": device.Device{}, "finding": device.Finding{}, "supply": device.Supply{}, "tray": device.Tray{}, "output": device.Output{},
		"finisher": device.Finisher{}, "media": device.Media{}, "alert": device.Alert{}, "job": device.Job{}, "count": device.Count{},
		"state": device.State{}, "reached": device.Reached{}, "channel": device.Channel{}, "media_path": device.Path{}, "language": device.Language{},
		"storage": device.Storage{}, "cover": device.Cover{}, "reading": device.Reading{}, "problem": device.Problem{}, "disagreement": device.Disagreement{},
	} {
		var got, want []string
		for k := range doc.Defs[name].Properties {
			got = append(got, k)
		}
		for f := range reflect.TypeOf(v).Fields() {
			want = append(want, strings.Split(f.Tag.Get("json"), ",")[0])
		}
		slices.Sort(got)
		slices.Sort(want)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-type +schema):\n%s", name, diff)
		}
	}
}

// asJSON compares types that keep their fields to themselves by what they say.
func asJSON[T any]() cmp.Option {
	return cmp.Comparer(func(a, b T) bool {
		x, errX := json.Marshal(a)
		y, errY := json.Marshal(b)
		return errX == nil && errY == nil && bytes.Equal(x, y)
	})
}

func TestReadGivesBackWhatWasWritten(t *testing.T) {
	want := sampleSurvey()
	written := render(t, want, Options{Format: JSON})
	got, err := Read(bytes.NewReader(written))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty(), cmpopts.EquateComparable(want.Devices[0].Addresses[0]),
		asJSON[device.Level](), asJSON[device.Status]()); diff != "" {
		t.Errorf("differs (-want +got):\n%s", diff)
	}
	if again := render(t, got, Options{Format: JSON}); !bytes.Equal(written, again) {
		t.Error("written again it differs")
	}
	withMark := append([]byte("\ufeff"), written...)
	if _, err := Read(bytes.NewReader(withMark)); err != nil {
		t.Errorf("with a byte order mark: %v", err)
	}
}

func TestWriteLeavesTheSurveyAlone(t *testing.T) {
	s := sampleSurvey()
	for _, f := range Formats() {
		render(t, s, Options{Format: f, Explain: true, Width: 80})
	}
	if diff := cmp.Diff(sampleSurvey(), s, cmpopts.EquateComparable(s.Devices[0].Addresses[0]), asJSON[device.Level](), asJSON[device.Status]()); diff != "" {
		t.Errorf("changed (-before +after):\n%s", diff)
	}
}

func TestReadRefuses(t *testing.T) {
	full := fullDevice()
	good := string(render(t, sampleSurvey(), Options{Format: JSON}))
	for name, c := range map[string]struct{ in, want string }{
		"empty":       {"", "the file is empty"},
		"white space": {" \n", "the file is empty"},
		"text":        {"hello", "not JSON at line 1, write surveys with --format json"},
		"CSV":         {string(render(t, sampleSurvey(), Options{Format: CSV})), "not JSON at line 1, write surveys with --format json"},
		"cut short":   {good[:len(good)/2], "the JSON ends too early, the file was cut short"},
		"list":        {"[]", "no JSON object, write surveys with --format json"},
		"no schema":   {"{}", "the file names no schema"},
		"other":       {`{"schema":"weather/1"}`, `schema "weather/1" is not printround.survey/1`},
		"device":      {string(renderDevice(t, &full, Options{Format: JSON})), "report of one device"},
		"newer":       {`{"schema":"printround.survey/2","devices":7}`, "newer than this program"},
		"wrong type":  {"{\"schema\":\"printround.survey/1\",\n\"devices\":7}", "devices at line 2 holds a number"},
		"two":         {good + good, "not JSON at line"},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := Read(strings.NewReader(c.in))
			if err == nil || s != nil {
				t.Fatal("accepted")
			}
			if !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("got %q, want one line with %q", err, c.want)
			}
		})
	}
}

// TestJSONIsSafeToLookAt: RFC 8259 section 8.1 wants UTF-8; that nothing in it
// acts on a terminal is ours.
func TestJSONIsSafeToLookAt(t *testing.T) {
	got := render(t, hostileSurvey(), Options{Format: JSON})
	if !utf8.Valid(got) || !json.Valid(got) {
		t.Fatal("no valid JSON in UTF-8")
	}
	noControls(t, string(got))
	back, err := Read(bytes.NewReader(got))
	if err != nil {
		t.Fatal(err)
	}
	if name := string(back.Devices[1].Name); name != hostile[1] {
		t.Errorf("escaping changed the text: %q, want %q", name, hostile[1])
	}
}

// FuzzRead: a file is foreign. Whatever Read accepts can be written again, and
// reads back the same.
func FuzzRead(f *testing.F) {
	var b bytes.Buffer
	if err := Write(&b, sampleSurvey(), Options{Format: JSON}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"schema":"printround.survey/1","devices":[{"findings":[{"weight":1e308}],"supplies":[{"level":{"known":true,"value":-1}}]}]}`))
	f.Add([]byte(`{"schema":"printround.survey/2"}`))
	f.Add([]byte("\ufeff[]"))
	f.Fuzz(func(t *testing.T, in []byte) {
		s, err := Read(bytes.NewReader(in))
		if err != nil {
			noControls(t, err.Error())
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("more than one line: %q", err)
			}
			return
		}
		for _, format := range Formats() {
			noControls(t, strings.ReplaceAll(string(render(t, s, Options{Format: format, Width: 80, Explain: true})), "\r\n", "\n"))
		}
		once := render(t, s, Options{Format: JSON})
		again, err := Read(bytes.NewReader(once))
		if err != nil {
			t.Fatal(err)
		}
		if twice := render(t, again, Options{Format: JSON}); !bytes.Equal(once, twice) {
			t.Fatal("differs after a second round")
		}
	})
}

// A survey is written device by device, and byte for byte as in one piece.
func TestSurveyInPieces(t *testing.T) {
	for name, s := range map[string]*device.Survey{
		"sample": sampleSurvey(), "hostile": hostileSurvey(), "many": manyDevices(30), "empty": {}, "no devices": {Devices: []device.Device{}},
	} {
		whole := *s
		whole.Schema = device.SurveySchema
		var want, got bytes.Buffer
		if err := writeJSON(&want, whole); err != nil {
			t.Fatal(err)
		}
		if err := writeStream(&got, s, Options{Format: JSON}); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got.Bytes(), want.Bytes()) {
			t.Errorf("%s: %s", name, cmp.Diff(want.String(), got.String()))
		}
	}
}
