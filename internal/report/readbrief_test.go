package report

import (
	"bytes"
	"io"
	"net/netip"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"printround/internal/device"
)

// TestReadBrief: whatever the file, the outcome is that of Read, from a file
// that can be read twice and from a pipe.
func TestReadBrief(t *testing.T) {
	sample := string(render(t, sampleSurvey(), Options{Format: JSON}))
	files := map[string]string{
		"sample":          sample,
		"hostile":         string(render(t, hostileSurvey(), Options{Format: JSON})),
		"no devices":      string(render(t, &device.Survey{}, Options{Format: JSON})),
		"byte order mark": "\ufeff" + sample,
		"null devices":    `{"devices":null,"schema":"printround.survey/1"}`,
		"devices first":   `{"devices":[{"key":"a"}],"schema":"printround.survey/1","unknown":{"x":[1]}}`,
		"other case":      `{"Devices":[{"key":"a"}],"Schema":"printround.survey/1"}`,
		"twice":           `{"schema":"printround.survey/1","devices":[{"key":"a"}],"devices":[{"key":"b"}]}`,
		"white space":     " \n" + sample + "\n\n",
		"empty":           "",
		"cut short":       sample[:len(sample)/2],
		"cut at the end":  sample[:len(sample)-3],
		"two documents":   sample + sample,
		"a list":          "[]",
		"a number":        "7",
		"a device":        `{"schema":"printround.device/1","device":{}}`,
		"newer":           strings.Replace(sample, "survey/1", "survey/9", 1),
		"no schema":       `{"devices":[]}`,
		"devices a text":  `{"schema":"printround.survey/1","devices":"x"}`,
		"a bad device":    `{"schema":"printround.survey/1","devices":[{"key":7}]}`,
		"a bad head":      `{"schema":"printround.survey/1","devices":[],"partial":"x"}`,
		"no JSON":         "key,name\r\n1,2\r\n",
	}
	brief := func(d *device.Device) device.Device { return device.Device{Key: d.Key, Findings: d.Findings} }
	for name, file := range files {
		want, wantErr := Read(strings.NewReader(file))
		for i := range len(devicesOf(want)) {
			want.Devices[i] = brief(&want.Devices[i])
		}
		for kind, r := range map[string]io.Reader{"file": strings.NewReader(file), "pipe": io.MultiReader(strings.NewReader(file))} {
			got, err := ReadBrief(r, brief)
			if (err == nil) != (wantErr == nil) || err != nil && err.Error() != wantErr.Error() {
				t.Errorf("%s, %s: error %v, want %v", name, kind, err, wantErr)
				continue
			}
			opts := []cmp.Option{cmp.AllowUnexported(device.Level{}, device.Status{}), cmp.Comparer(func(a, b netip.Addr) bool { return a == b }), cmpopts.EquateEmpty()}
			if diff := cmp.Diff(want, got, opts...); diff != "" {
				t.Errorf("%s, %s (-want +got):\n%s", name, kind, diff)
			}
		}
	}
}

func devicesOf(s *device.Survey) []device.Device {
	if s == nil {
		return nil
	}
	return s.Devices
}

func FuzzReadBrief(f *testing.F) {
	for _, s := range []*device.Survey{{}, {Site: "x", Devices: []device.Device{{Key: "a"}, fullDevice()}}} {
		var b bytes.Buffer
		if err := Write(&b, s, Options{Format: JSON}); err != nil {
			f.Fatal(err)
		}
		f.Add(b.Bytes())
	}
	f.Add([]byte(`{"devices":[],"DEVICES":null,"schema":"printround.survey/1"}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		want, wantErr := Read(bytes.NewReader(b))
		got, err := ReadBrief(bytes.NewReader(b), func(d *device.Device) device.Device { return *d })
		if (err == nil) != (wantErr == nil) || len(devicesOf(want)) != len(devicesOf(got)) {
			t.Errorf("%d devices (%v), want %d (%v)", len(devicesOf(got)), err, len(devicesOf(want)), wantErr)
		}
	})
}
