package survey

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"
	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/ipp"
)

// ippAttr makes an attribute; the values may be string, int, bool, nil (no-value) or
// goipp.Value.
func ippAttr(name string, tag goipp.Tag, values ...any) goipp.Attribute {
	a := goipp.Attribute{Name: name}
	for _, v := range values {
		switch v := v.(type) {
		case nil:
			a.Values.Add(goipp.TagNoValue, goipp.Void{})
		case string:
			if tag == goipp.TagString {
				a.Values.Add(tag, goipp.Binary(v))
			} else {
				a.Values.Add(tag, goipp.String(v))
			}
		case int:
			a.Values.Add(tag, goipp.Integer(v))
		case bool:
			a.Values.Add(tag, goipp.Boolean(v))
		case goipp.Value:
			a.Values.Add(tag, v)
		}
	}
	return a
}

func ippWords(name string, values ...any) goipp.Attribute {
	return ippAttr(name, goipp.TagKeyword, values...)
}

func ippTexts(name string, values ...any) goipp.Attribute {
	return ippAttr(name, goipp.TagText, values...)
}

func ippInts(name string, values ...any) goipp.Attribute {
	return ippAttr(name, goipp.TagInteger, values...)
}

func ippOctets(name string, values ...any) goipp.Attribute {
	return ippAttr(name, goipp.TagString, values...)
}

// ippCols makes an attribute of collections.
func ippCols(name string, cols ...goipp.Collection) goipp.Attribute {
	a := goipp.Attribute{Name: name}
	for _, c := range cols {
		a.Values.Add(goipp.TagBeginCollection, c)
	}
	return a
}

func ippEncoded(t testing.TB, groups ...goipp.Group) []byte {
	t.Helper()
	m := goipp.NewMessageWithGroups(goipp.DefaultVersion, 0, 1, groups)
	b, err := m.EncodeBytes()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func ippDecoded(t testing.TB, attrs ...goipp.Attribute) ipp.Attributes {
	t.Helper()
	m, err := ipp.Decode(ippEncoded(t, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: attrs}))
	if err != nil {
		t.Fatal(err)
	}
	return m.First(ipp.PrinterGroup)
}

func TestIPPIdentityAndState(t *testing.T) {
	d, queue := ippDevice(ippDecoded(t,
		ippAttr("printer-name", goipp.TagName, "ipp/print"), ippAttr("printer-dns-sd-name", goipp.TagName, "Front\x1b[31m Desk"),
		ippTexts("printer-info", "x"), ippTexts("printer-location", "  Room  1 "),
		ippTexts("printer-device-id", "MFG:Acme;MDL:Acme L1;SN:0042;CMD:PCL,PJL,Nonsense;"),
		ippAttr("printer-uuid", goipp.TagURI, "urn:uuid:123E4567-e89b-12d3-a456-426614174000"),
		ippAttr("printer-firmware-name", goipp.TagName, "Main", "Net", "X"), ippTexts("printer-firmware-string-version", "1.2", "3.4", ""),
		ippAttr("printer-state", goipp.TagEnum, 5), ippTexts("printer-state-message", "stopped\nnow"),
		ippWords("printer-state-reasons", "media-jam-error", "none", "media-jam-error", "toner-low-report"),
		ippInts("printer-up-time", 4000), ippAttr("printer-is-accepting-jobs", goipp.TagBoolean, false), ippInts("queued-job-count", 3),
		ippAttr("orientation-requested-default", goipp.TagEnum, 5), ippWords("sides-default", "two-sided-long-edge"),
		ippAttr("finishings-default", goipp.TagEnum, 3, 20, 999), ippWords("print-color-mode-default", "auto"), ippWords("media-default", "iso_a4_210x297mm"),
		ippWords("media-ready", "iso_a4_210x297mm", "iso_a4_210x297mm"),
	), "ipp://192.0.2.1:631/ipp/print")
	if queue != "" || d.Role != device.RolePrinter {
		t.Errorf("role %s by %q", d.Role, queue)
	}
	up, accepting, queued := int64(4000), false, 3
	want := device.Device{
		Role: device.RolePrinter, Name: "Front Desk", MakeModel: "Acme L1", Serial: "0042", Location: "Room 1",
		UUID: "123e4567-e89b-12d3-a456-426614174000", Firmware: "Main 1.2, Net 3.4",
		State:     device.State{PrinterState: "stopped", Message: "stopped now", Reasons: []string{"media-jam-error", "toner-low-report"}, UptimeS: &up},
		Queue:     device.Queue{Accepting: &accepting, Queued: &queued},
		Languages: []device.Language{{Family: "langPCL"}, {Family: "langPJL"}},
		Defaults: device.Defaults{
			Media: "iso_a4_210x297mm", Orientation: "reverse-landscape", Sides: "two-sided-long-edge",
			Finishings: []string{"none", "staple-top-left", "999"}, ColorMode: "auto",
			Ready: []string{"iso_a4_210x297mm", "iso_a4_210x297mm"}, Source: device.SourceIPP,
		},
	}
	d.Trays = nil // TestIPPTrays
	if diff := cmp.Diff(want, d, cmp.AllowUnexported(device.Level{}, device.Status{})); diff != "" {
		t.Error(diff)
	}
}

func TestIPPUUID(t *testing.T) {
	for in, want := range map[string]device.Text{
		"urn:uuid:123e4567-e89b-12d3-a456-426614174000": "123e4567-e89b-12d3-a456-426614174000",
		"123E4567-E89B-12D3-A456-426614174000":          "123e4567-e89b-12d3-a456-426614174000",
		"urn:uuid:00000000-0000-0000-0000-000000000000": "", // RFC 9562 section 5.9
		"urn:uuid:ffffffff-ffff-ffff-ffff-ffffffffffff": "", // RFC 9562 section 5.10
		"urn:uuid:123e4567e89b12d3a456426614174000":     "",
		"urn:uuid:123e4567-e89b-12d3-a456-42661417400z": "",
		"urn:uuid:123e4567-e89b-12d3-a456-4266141740":   "",
		"unknown": "", "": "",
	} {
		if got := ippUUID(ippDecoded(t, ippAttr("printer-uuid", goipp.TagURI, in))); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}

// A wall clock in printer-up-time is no time of running, and numbers outside an
// enumeration are no label.
func TestIPPStateOddities(t *testing.T) {
	for up, known := range map[int]bool{1: true, 104861044: true, 0: false, -5: false, 1494026948: false} {
		if s := ippState(ippDecoded(t, ippInts("printer-up-time", up))); (s.UptimeS != nil) != known {
			t.Errorf("printer-up-time %d: %v", up, s.UptimeS)
		}
	}
	for n, want := range map[int]device.Text{3: "idle", 4: "processing", 5: "stopped", 6: "", 0: ""} { // RFC 8011 section 5.4.11
		if s := ippState(ippDecoded(t, ippAttr("printer-state", goipp.TagEnum, n))); s.PrinterState != want {
			t.Errorf("printer-state %d: %q, want %q", n, s.PrinterState, want)
		}
	}
	if s := ippState(ippDecoded(t, ippWords("printer-state", "idle"))); s.PrinterState != "" {
		t.Errorf("a keyword for an enum reads %q", s.PrinterState)
	}
	many := make([]any, 500)
	for i := range many {
		many[i] = fmt.Sprintf("reason-%d", i)
	}
	if s := ippState(ippDecoded(t, ippWords("printer-state-reasons", many...))); len(s.Reasons) != maxReasons {
		t.Errorf("%d reasons", len(s.Reasons))
	}
}

func TestServerQueueEvidence(t *testing.T) {
	name := ippAttr("printer-name", goipp.TagName, "x")
	tests := []struct {
		name string
		uri  string
		in   []goipp.Attribute
		want device.Role
	}{
		{"a printer", "ipps://192.0.2.1:631/ipp/print", []goipp.Attribute{name}, device.RolePrinter},
		{"where it sends its jobs", "ipp://192.0.2.1:631/", []goipp.Attribute{name, ippAttr("device-uri", goipp.TagURI, "socket://192.0.2.9")}, device.RoleServerQueue},
		{"its members", "ipp://192.0.2.1:631/", []goipp.Attribute{name, ippAttr("member-names", goipp.TagName, "a", "b")}, device.RoleServerQueue},
		{"the server's version", "ipp://192.0.2.1:631/", []goipp.Attribute{name, ippTexts("cups-version", "2.4")}, device.RoleServerQueue},
		{"the server's path", "ipp://192.0.2.1:631/printers/office", []goipp.Attribute{name}, device.RoleServerQueue},
		{"a class of the server", "ipp://192.0.2.1:631/classes/all", []goipp.Attribute{name}, device.RoleServerQueue},
		{"no value", "ipp://192.0.2.1:631/", []goipp.Attribute{name, ippAttr("device-uri", goipp.TagURI, nil)}, device.RolePrinter},
	}
	for _, tt := range tests {
		d, why := ippDevice(ippDecoded(t, tt.in...), tt.uri)
		if d.Role != tt.want || (why != "") != (tt.want == device.RoleServerQueue) {
			t.Errorf("%s: %s by %q", tt.name, d.Role, why)
		}
	}
}

// checkClean walks over a value and fails on any text that is not clean: what
// comes out of a mapping is harmless to every renderer.
func checkClean(t *testing.T, v reflect.Value, path string) {
	t.Helper()
	switch v.Kind() {
	case reflect.String:
		if s := v.String(); string(device.Clean(s)) != s {
			t.Errorf("%s is not clean: %q", path, s)
		}
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			checkClean(t, v.Elem(), path)
		}
	case reflect.Slice:
		for i := range v.Len() {
			checkClean(t, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() && v.Type() != reflect.TypeFor[time.Time]() {
				checkClean(t, v.Field(i), path+"."+v.Type().Field(i).Name)
			}
		}
	}
}

func FuzzIPPDevice(f *testing.F) {
	f.Add(ippEncoded(f, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: goipp.Attributes{
		ippWords("marker-types", "toner", "waste-toner"), ippInts("marker-levels", 5, -3),
		ippOctets("printer-supply", "type=toner;level=5;maxcapacity=10;"), ippOctets("printer-alert", "code=jam;severity=critical"),
		ippOctets("printer-input-tray", "name=x\x1b;mediafeed=116929;mediaxfeed=82677;level=1;maxcapacity=0"),
		ippCols("media-col-ready", ippCol("tray-1", "stationery", 21000, 29700)),
	}}, goipp.Group{Tag: goipp.TagJobGroup, Attrs: goipp.Attributes{ippInts("job-id", 1), ippInts("time-at-creation", 5)}}))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, _ := ipp.Decode(b)
		if m == nil {
			return
		}
		o := ReadOptions{ShowJobNames: true, ShowOwners: true}
		for _, a := range m.All(ipp.PrinterGroup) {
			d, _ := ippDevice(a, "ipp://192.0.2.1:631/")
			d.Queue.Jobs = ippJobs(m, clockOf(a), o)
			checkClean(t, reflect.ValueOf(d), "device")
			for _, s := range d.Supplies {
				if p, ok := s.Level.Percent(); ok && (p < 0 || p > 100) {
					t.Errorf("supply at %g %%", p)
				}
			}
			for _, tray := range d.Trays {
				if w := tray.Media.WidthMM; w != nil && *w <= 0 {
					t.Errorf("medium %g mm wide", *w)
				}
			}
		}
	})
}
