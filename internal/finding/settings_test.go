package finding

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
)

// asWanted is a device set as the norm of its model wants it.
func asWanted() *device.Device {
	d := answering()
	d.MakeModel, d.Firmware = "Thellmark MX550", "550.7.31"
	d.ObservedAt = time.Date(2025, 3, 4, 12, 0, 0, 0, time.UTC)
	until, off := d.ObservedAt.AddDate(1, 0, 0), int64(40)
	d.Reached.IPP.TLS = &device.TLS{Version: "TLS 1.3", NotAfter: &until}
	d.State.ClockOffS = &off
	weight := 80.0
	d.Trays = []device.Tray{
		{Index: 1, Name: "Tray 1", Media: device.Media{Name: "iso_a4_210x297mm", Type: "stationery", WeightG: &weight}, Source: device.SourceSNMP, Level: device.KnownLevel(300, 500, device.Remaining)},
		{Index: 2, Name: "Tray 2", Media: device.Media{Name: "iso_a3_297x420mm", Type: "plain", WeightG: &weight}, Source: device.SourceSNMP, Level: device.KnownLevel(300, 500, device.Remaining)},
	}
	d.Finishers = []device.Finisher{
		{Index: 1, Kind: "stitcher", Supplies: []device.Supply{{Name: "Staples", Kind: "staples", Level: device.KnownLevel(900, 5000, device.Remaining)}}},
		{Index: 2, Kind: "puncher", Attributes: map[string]string{"punchPattern": "twoHoleDIN"}},
	}
	d.Defaults = device.Defaults{
		Media: "iso_a4_210x297mm", Orientation: "portrait", Sides: "two-sided-long-edge", ColorMode: "auto", Resolution: "1200dpi",
		OutputBin: "stacker-1", Finishings: []string{"none"}, CanFinish: []string{"none", "staple", "punch", "punch-dual-left"}, Source: device.SourceIPP,
	}
	d.Languages = []device.Language{{Family: "langPS3"}, {Family: "langPDF"}}
	return d
}

func wantedNorms() []device.Norm {
	return []device.Norm{{
		Model: "Thellmark MX*", Media: "iso_a4_210x297mm", Ready: []string{"iso_a4_210x297mm", "A3"}, Orientation: "portrait",
		Sides: "two-sided-long-edge", ColorMode: "auto", Resolution: 1200, OutputBin: "stacker-1", Finishings: []string{"none"},
		Languages: []string{"langPS", "application/pdf"}, Punch: []string{"twoHoleDIN", "punch-dual-left"},
		Trays: []device.TrayNorm{{Tray: "tray 1", Media: "A4", Type: "stationery", Weight: 80}, {Tray: "2", Type: "stationery", Weight: 80}},
	}}
}

func judgedBy(d *device.Device, norms []device.Norm) *device.Device {
	o := Defaults()
	o.Norms = norms
	Judge(d, o)
	return d
}

// Each setting alone: one that is wrong is found, one that is nearly wrong is
// not, and one whose facts are missing is not judged.
func TestSettings(t *testing.T) {
	num := func(v int64) *int64 { return &v }
	weight := func(v float64) *float64 { return &v }
	for name, c := range map[string]struct {
		change func(*device.Device)
		code   string // empty: nothing
		impact device.Impact
		words  string // part of the summary
		gap    string // code that is not judged
	}{
		"as wanted":                       {change: func(*device.Device) {}},
		"one side":                        {func(d *device.Device) { d.Defaults.Sides = "one-sided" }, DefaultSides, isDue, "default sides is one-sided", ""},
		"sides not told":                  {change: func(d *device.Device) { d.Defaults.Sides = "" }, gap: DefaultSides},
		"grey":                            {func(d *device.Device) { d.Defaults.ColorMode = "monochrome" }, DefaultColorMode, isDue, "monochrome", ""},
		"coarse":                          {func(d *device.Device) { d.Defaults.Resolution = "600dpi" }, DefaultResolution, isDue, "600dpi", ""},
		"fine one way":                    {func(d *device.Device) { d.Defaults.Resolution = "1200x600dpi" }, DefaultResolution, isDue, "1200x600dpi", ""},
		"another bin":                     {func(d *device.Device) { d.Defaults.OutputBin = "top" }, DefaultOutputBin, isDue, "top", ""},
		"the default medium, other name":  {change: func(d *device.Device) { d.Defaults.Media = "iso-a4" }},
		"a default medium nobody knows":   {change: func(d *device.Device) { d.Defaults.Media = "house-paper" }, gap: DefaultMedia},
		"another default medium, loaded":  {func(d *device.Device) { d.Defaults.Media = "iso_a3_297x420mm" }, DefaultMedia, isDue, "iso_a3", ""},
		"turned":                          {func(d *device.Device) { d.Defaults.Orientation = "landscape" }, DefaultOrientation, isDue, "landscape", ""},
		"folds by default":                {func(d *device.Device) { d.Defaults.Finishings = []string{"jog-offset"} }, DefaultFinishings, isDue, "jog-offset", ""},
		"no PostScript":                   {func(d *device.Device) { d.Languages = d.Languages[1:] }, LanguageMissing, isImpaired, "PS", ""},
		"A3 in no tray":                   {func(d *device.Device) { d.Trays[1].Media.Name = "iso_a5_148x210mm" }, MediaMismatch, isImpaired, "A3 is in no tray", ""},
		"a tray without a size":           {change: func(d *device.Device) { d.Trays[1].Media.Name = "" }, gap: MediaMismatch},
		"set to labels":                   {func(d *device.Device) { d.Trays[0].Media.Type = "labels" }, TraySetting, isDue, "Tray 1 is set to labels", ""},
		"set to heavy paper":              {func(d *device.Device) { d.Trays[0].Media.WeightG = weight(160) }, TraySetting, isDue, "160 g/m2", ""},
		"75 and 80 are one class":         {change: func(d *device.Device) { d.Trays[0].Media.WeightG = weight(75) }},
		"a word of its own":               {change: func(d *device.Device) { d.Trays[0].Media.Type = "Normalpapier" }, gap: TraySetting},
		"weight not told":                 {change: func(d *device.Device) { d.Trays[0].Media.WeightG = nil }, gap: TraySetting},
		"a tray that is not there":        {change: func(d *device.Device) { d.Trays[0].Name, d.Trays[0].Index = "Kassette", 7 }, gap: TraySetting},
		"clock ahead":                     {func(d *device.Device) { d.State.ClockOffS = num(301) }, ClockOff, isNote, "5 min ahead", ""},
		"clock behind":                    {func(d *device.Device) { d.State.ClockOffS = num(-3700) }, ClockOff, isNote, "61 min behind", ""},
		"clock within five minutes":       {change: func(d *device.Device) { d.State.ClockOffS = num(-300) }},
		"clock not told":                  {change: func(d *device.Device) { d.State.ClockOffS = nil }, gap: ClockOff},
		"other punch":                     {func(d *device.Device) { d.Finishers[1].Attributes["punchPattern"] = "threeHoleUS" }, PunchPattern, isDue, "twoHoleDIN", ""},
		"no punch":                        {func(d *device.Device) { d.Finishers = d.Finishers[:1] }, PunchPattern, isDue, "twoHoleDIN", ""},
		"punch of an unknown pattern":     {change: func(d *device.Device) { d.Finishers[1].Attributes["punchPattern"] = "unknown" }, gap: PunchPattern},
		"finishings not told":             {change: func(d *device.Device) { d.Defaults.CanFinish = nil }, gap: PunchPattern},
		"certificate ended":               {func(d *device.Device) { *d.Reached.IPP.TLS.NotAfter = d.ObservedAt.Add(-time.Hour) }, CertificateEnded, isDue, "ended on 2025-03-04", ""},
		"certificate ends soon":           {func(d *device.Device) { *d.Reached.IPP.TLS.NotAfter = d.ObservedAt.AddDate(0, 0, 30) }, CertificateEnds, isNote, "ends on 2025-04-03", ""},
		"certificate ends later":          {change: func(d *device.Device) { *d.Reached.IPP.TLS.NotAfter = d.ObservedAt.AddDate(0, 0, 31) }},
		"end of the certificate not told": {change: func(d *device.Device) { d.Reached.IPP.TLS.NotAfter = nil }, gap: CertificateEnds},
		"no encryption":                   {func(d *device.Device) { d.Reached.IPP.TLS, d.Reached.IPP.URI = nil, "ipp://10.0.0.1/ipp/print" }, IPPUnencrypted, isNote, "without encryption", ""},
		"community of delivery":           {func(d *device.Device) { d.Reached.SNMP.Delivered = true }, DefaultCommunity, isNote, "delivered", ""},
	} {
		t.Run(name, func(t *testing.T) {
			d := asWanted()
			c.change(d)
			judgedBy(d, wantedNorms())
			var got []string
			for _, f := range d.Findings {
				got = append(got, fmt.Sprintf("%s %s %q", f.Code, f.Impact, f.Summary))
				if len(f.Advice.Steps) == 0 || f.Advice.Meaning == "" || len(f.Evidence) == 0 {
					t.Errorf("%s has no advice or no evidence: %+v", f.Code, f)
				}
			}
			switch {
			case c.code == "" && len(got) > 0:
				t.Errorf("found %v, want nothing", got)
			case c.code != "" && (len(got) != 1 || d.Findings[0].Code != c.code || d.Findings[0].Impact != c.impact || !strings.Contains(d.Findings[0].Summary, c.words)):
				t.Errorf("found %v, want %s %s %q", got, c.code, c.impact, c.words)
			}
			if gap := slices.ContainsFunc(d.NotJudged, func(l string) bool { return c.gap != "" && strings.HasPrefix(l, c.gap+":") }); gap != (c.gap != "") {
				t.Errorf("not judged: %q, want %q among them", d.NotJudged, c.gap)
			}
		})
	}
}

// A size that is not the stock's, while the default is loaded elsewhere.
func TestStockSize(t *testing.T) {
	d := asWanted()
	d.Trays[1].Media.Name = "na_letter_8.5x11in"
	judgedBy(d, []device.Norm{{Trays: []device.TrayNorm{{Tray: "Tray 2", Media: "A3"}}}})
	if len(d.Findings) != 1 || d.Findings[0].Code != TraySetting || d.Findings[0].Summary != "Tray 2 is set to Letter" || d.Findings[0].Subunit.Index != 2 {
		t.Errorf("found %+v", d.Findings)
	}
}

// Finishing that every job asks for and that cannot be done.
func TestDefaultFinishing(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*device.Device)
		words  string // empty: it can be done
	}{
		"it can": {func(*device.Device) {}, ""},
		"staples used up": {func(d *device.Device) {
			d.Finishers[0].Supplies[0].Level = device.KnownLevel(0, 5000, device.Remaining)
		}, "nothing is left of Staples"},
		"not offered":          {func(d *device.Device) { d.Defaults.CanFinish = []string{"none"} }, "it is not offered"},
		"no stapler":           {func(d *device.Device) { d.Finishers = d.Finishers[1:] }, "no finisher does it"},
		"stapler off":          {func(d *device.Device) { d.Finishers[0].Present = "off" }, "no finisher does it"},
		"finishers not listed": {func(d *device.Device) { d.Finishers = nil }, ""},
		"a full waste box is no supply": {func(d *device.Device) {
			d.Finishers[0].Supplies[0].Role, d.Finishers[0].Supplies[0].Level = device.Receptacle, device.KnownLevel(0, 100, device.SpaceLeft)
		}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			d := asWanted()
			d.Defaults.Finishings = []string{"staple"}
			c.change(d)
			judgedBy(d, nil)
			i := slices.IndexFunc(d.Findings, func(f device.Finding) bool { return f.Code == FinishingUnavailable })
			switch {
			case i < 0 && c.words != "":
				t.Errorf("not found: %+v", d.Findings)
			case i >= 0 && (c.words == "" || !strings.Contains(d.Findings[i].Summary, c.words) || d.Findings[i].Impact != isImpaired):
				t.Errorf("found %s %q, want %q", d.Findings[i].Impact, d.Findings[i].Summary, c.words)
			}
		})
	}
}

// Without norms nothing is compared with them; the rest is judged all the same.
func TestNoNorms(t *testing.T) {
	d := asWanted()
	d.Defaults.Sides, d.Defaults.ColorMode, d.Trays[0].Media.Type = "one-sided", "monochrome", "labels"
	if judgedBy(d, nil); len(d.Findings) > 0 {
		t.Errorf("found %+v", d.Findings)
	}
	if judgedBy(d, []device.Norm{{Model: "Okvarna*", Sides: "two-sided-long-edge"}}); len(d.Findings) > 0 {
		t.Errorf("a norm for another model: %+v", d.Findings)
	}
}

func TestFirmwareOfEqualModels(t *testing.T) {
	fleet := func(versions ...string) []device.Device {
		var ds []device.Device
		for i, v := range versions {
			d := answering()
			d.Key, d.MakeModel, d.Firmware = fmt.Sprintf("serial:%d", i), "Okvarna L420dn", device.Text(v)
			ds = append(ds, *d)
		}
		JudgeAll(ds, Defaults())
		return ds
	}
	odd := func(ds []device.Device) (keys []string) {
		for i := range ds {
			if slices.ContainsFunc(ds[i].Findings, func(f device.Finding) bool { return f.Code == FirmwareDiffers }) {
				keys = append(keys, ds[i].Key)
			}
		}
		return keys
	}
	for name, c := range map[string]struct {
		versions []string
		odd      []string
	}{
		"all the same":               {[]string{"2", "2", "2"}, nil},
		"one differs":                {[]string{"2", "1", "2", "2"}, []string{"serial:1"}},
		"two alone tell nothing":     {[]string{"2", "1"}, nil},
		"no majority":                {[]string{"2", "1", "2", "1"}, nil},
		"one that is not known":      {[]string{"2", "", "2", "2"}, nil},
		"of two known ones: too few": {[]string{"2", "", "1"}, nil},
	} {
		if got := odd(fleet(c.versions...)); !slices.Equal(got, c.odd) {
			t.Errorf("%s: %v, want %v", name, got, c.odd)
		}
	}
}
