package finding

import (
	"slices"
	"testing"

	"printround/internal/device"
)

func settingOf(t *testing.T, a *device.Audit, name string) device.Setting {
	t.Helper()
	i := slices.IndexFunc(a.Settings, func(s device.Setting) bool { return s.Name == name })
	if i < 0 {
		t.Fatalf("no setting %q in %+v", name, a.Settings)
	}
	return a.Settings[i]
}

func TestAuditOfWhatIsAsWanted(t *testing.T) {
	o := Defaults()
	o.Norms = wantedNorms()
	a := Audit(judgedBy(asWanted(), o.Norms), o)
	for _, s := range a.Settings {
		if want := map[bool]device.SettingVerdict{true: device.SettingNoNorm, false: device.SettingFits}[s.Name == "firmware"]; s.Verdict != want {
			t.Errorf("%s is %s, want %s: %q, norm %q, %v", s.Name, s.Verdict, want, s.Value, s.Norm, s.Why)
		}
	}
	if len(a.Findings) > 0 {
		t.Errorf("findings %+v", a.Findings)
	}
}

// Whatever the judgement finds about settings shows at a setting, and nothing
// else does.
func TestAuditSaysWhatTheFindingsSay(t *testing.T) {
	for name, change := range map[string]struct {
		at     string
		change func(*device.Device)
	}{
		"sides":     {"default sides", func(d *device.Device) { d.Defaults.Sides = "one-sided" }},
		"tray":      {"setting of Tray 2", func(d *device.Device) { d.Trays[1].Media.Type = "labels" }},
		"language":  {"page languages", func(d *device.Device) { d.Languages = d.Languages[1:] }},
		"media":     {"media in the trays", func(d *device.Device) { d.Trays[1].Media.Name = "iso_a4_210x297mm" }},
		"default":   {"default medium", func(d *device.Device) { d.Defaults.Media = "iso_a3_297x420mm" }},
		"community": {"SNMP community", func(d *device.Device) { d.Reached.SNMP.Delivered = true }},
		"tls":       {"IPP encryption", func(d *device.Device) { d.Reached.IPP.TLS, d.Reached.IPP.URI = nil, "ipp://10.0.0.1/" }},
		"staples": {"finishing offered", func(d *device.Device) {
			d.Defaults.Finishings, d.Finishers[0].Supplies[0].Level = []string{"staple"}, device.KnownLevel(0, 5000, device.Remaining)
		}},
	} {
		t.Run(name, func(t *testing.T) {
			o := Defaults()
			o.Norms = wantedNorms()
			o.Norms[0].Finishings = nil
			d := asWanted()
			change.change(d)
			Judge(d, o)
			a := Audit(d, o)
			for _, s := range a.Settings {
				differs := s.Verdict == device.SettingDiffers
				if differs != (s.Name == change.at) || differs && (s.Impact == nil || len(s.Codes) == 0 || len(s.Why) != len(s.Codes)) {
					t.Errorf("%s: %+v", s.Name, s)
				}
			}
			if len(a.Findings) == 0 {
				t.Errorf("no findings of %+v", d.Findings)
			}
		})
	}
}

func TestAuditOfWhatIsNotTold(t *testing.T) {
	o := Defaults()
	o.Norms = wantedNorms()
	d := answering()
	d.MakeModel = "Thellmark MX550"
	d.Reached.IPP = device.IPPReach{Tried: true}
	Judge(d, o)
	a := Audit(d, o)
	for _, name := range []string{"default medium", "default sides", "page languages", "punch patterns", "clock", "certificate", "IPP encryption"} {
		if s := settingOf(t, a, name); s.Verdict != device.SettingNotJudged || len(s.Why) == 0 {
			t.Errorf("%s: %+v", name, s)
		}
	}
}

func TestCompareSettings(t *testing.T) {
	one, two := asWanted(), asWanted()
	two.Key, two.Defaults.Sides, two.Firmware, two.Defaults.Resolution = "serial:2", "one-sided", "550.7.9", ""
	two.Trays = append(two.Trays, device.Tray{Index: 3, Name: "Tray 3", Media: device.Media{Name: "iso_a4_210x297mm"}})
	*two.State.ClockOffS = -9
	o := Defaults()
	Judge(one, o)
	Judge(two, o)
	got := CompareSettings(Audit(one, o), Audit(two, o))
	want := []device.SettingDiffer{
		{Name: "media in the trays", A: "Tray 1 A4, Tray 2 A3", B: "Tray 1 A4, Tray 2 A3, Tray 3 A4"},
		{Name: "default sides", A: "two-sided-long-edge", B: "one-sided"}, {Name: "firmware", A: "550.7.31", B: "550.7.9"},
	}
	if !slices.Equal(got.Differ, want) {
		t.Errorf("different: %+v\nwant %+v", got.Differ, want)
	}
	if !slices.Equal(got.Unknown, []string{"default resolution", "setting of Tray 3"}) {
		t.Errorf("not compared: %v", got.Unknown)
	}
	if slices.Contains(got.Same, "clock") || !slices.Contains(got.Same, "default medium") {
		t.Errorf("same: %v", got.Same)
	}
}
