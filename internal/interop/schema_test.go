package interop

import (
	"bytes"
	"encoding/json"
	"io"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/report"
)

// validator compiles the published schemas with a library of their own.
func validator(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	var id string
	for _, n := range []string{device.DeviceSchema, device.SurveySchema} {
		text, ok := report.Schema(n)
		if !ok {
			t.Fatalf("no schema %s", n)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		at, _ := doc.(map[string]any)["$id"].(string)
		if err := c.AddResource(at, doc); err != nil {
			t.Fatal(err)
		}
		if n == name {
			id = at
		}
	}
	s, err := c.Compile(id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The JSON that the program prints, of the whole lab and of each of its
// devices, follows the published schemas (JSON Schema 2020-12).
func TestPublishedJSONFollowsItsSchema(t *testing.T) {
	onLinux(t)
	survey, one := validator(t, device.SurveySchema), validator(t, device.DeviceSchema)
	check := func(s *jsonschema.Schema, args ...string) (documents int) {
		t.Helper()
		d := json.NewDecoder(strings.NewReader(strings.Join(printed(t, args...), "\n")))
		d.UseNumber()
		for {
			var doc any
			if err := d.Decode(&doc); err == io.EOF {
				return documents
			} else if err != nil {
				t.Fatalf("printround %s: %v", strings.Join(args, " "), err)
			}
			if err := s.Validate(doc); err != nil {
				t.Errorf("printround %s: %v", strings.Join(args, " "), err)
			}
			documents++
		}
	}
	if n := check(survey, "sweep", "--lab", "--format", "json", "--show-job-names", "--show-owners"); n != 1 {
		t.Errorf("a sweep printed %d documents", n)
	}
	total := 0
	for _, name := range []string{"copy-1", "drafts", "reception", "customs", "packing-a", "archive", "labels", "harbour-copy", "north-switch"} {
		n := check(one, "check", "--lab", name, "--format", "json", "--timeout", "500ms")
		if n == 0 {
			t.Errorf("check %s printed no document", name)
		}
		total += n
	}
	t.Logf("%d documents of single devices", total)
}

// Two devices that sleep deeply lose the first probe and answer the second
// only after four seconds; with the settings of delivery both are found.
func TestDevicesThatWakeSlowlyAreFound(t *testing.T) {
	l := labtest.Start(t, lab.Options{NoMDNS: true, Clean: true, Faults: map[string]string{"post-room": "deep-sleep", "stores": "deep-sleep"}})
	labPorts(t, l) // skips where the addresses are not to be had
	path, err := l.WriteSite(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	snmpPort, ippPort := labPorts(t, l)
	args := []string{"sweep", "--site", path, "--snmp-port", port16(snmpPort), "--ipp-port", port16(ippPort), "--no-ipp", "--no-mdns", "--format", "json"}
	begin := time.Now()
	out, err := exec.CommandContext(t.Context(), tool(t), args...).Output()
	if err != nil {
		t.Fatalf("printround %s: %v", strings.Join(args, " "), err)
	}
	t.Logf("took %v with %d retries", time.Since(begin).Round(100*time.Millisecond), discover.DefaultRetries)
	s, err := report.Read(bytes.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"post-room", "stores"} {
		want := labtest.Device(t, l, name)
		found := false
		for i := range s.Devices {
			d := &s.Devices[i]
			found = found || string(d.Serial) == want.Serial && d.Reached.SNMP.OK && len(d.Supplies) > 0
		}
		if !found {
			t.Errorf("%s was not found and read", name)
		}
	}
	silent := 0
	for i := range s.Devices {
		if s.Devices[i].Attention == device.Silent && s.Devices[i].Reached.SNMP.OK {
			silent++
		}
	}
	if silent > 0 {
		t.Errorf("%d devices that answered are called silent", silent)
	}
}
