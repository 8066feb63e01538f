package finding

import (
	"strings"
	"testing"

	"printround/internal/device"
)

// Labels, receipts and ink have no toner and no fuser.
func TestWordsFitTheTechnology(t *testing.T) {
	for _, c := range []struct {
		name    string
		d       *device.Device
		code    string
		summary string
		toner   bool // toner words may occur
	}{
		{"ink device, toner bit", answering(tech("inkjetAqueous"), state("warning", "idle", ""), bits("lowToner")), "marker-supply-low", "supply low", false},
		{"ink device that calls it toner", answering(tech("inkjetAqueous"), reasons("toner-empty-warning")), "toner-empty", "supply empty", false},
		{"ink device by its supplies", answering(tech(""), part("inkCartridge", "", 50), reasons("fuser-over-temp-error")), "fuser-over-temp", "print engine too hot", false},
		{"label device", answering(tech("thermalTransfer"), reasons("media-jam-error")), "media-jam", "media jam", false},
		{"direct thermal", answering(tech("thermalSensitive"), reasons("media-empty-error")), "media-empty", "media tray empty", false},
		{"laser device", answering(reasons("media-jam-error")), "media-jam", "paper jam", true},
		{"nothing is known", answering(tech("unknown"), reasons("media-jam-error")), "media-jam", "paper jam", false},
		{"a technology without words of its own", answering(tech("typesetter"), reasons("media-jam-error")), "media-jam", "paper jam", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			Judge(c.d, Defaults())
			f := c.d.Findings[0]
			if f.Code != c.code || f.Summary != c.summary {
				t.Errorf("%s %q, want %s %q", f.Code, f.Summary, c.code, c.summary)
			}
			text := strings.Join(append(append([]string{f.Summary, f.Advice.Meaning, string(f.Advice.Part), string(f.Advice.Caution)}, f.Advice.Causes...), f.Advice.Steps...), "\n")
			if m := tonerWords.FindString(text); (m != "") != c.toner {
				t.Errorf("toner word %q in %q", m, text)
			}
		})
	}
}

func TestTechnologyOf(t *testing.T) {
	for _, c := range []struct {
		label string
		kinds []string
		class string
	}{
		{"electrophotographicLED", nil, "toner"},
		{"inkjetOther", []string{"toner"}, "ink"},
		{"", []string{"tonerCartridge", "opc"}, "toner"},
		{"other", []string{"ink-cartridge"}, "ink"},
		{"", []string{"ink", "toner"}, ""},
		{"", []string{"other"}, ""},
		{"photographicOther", []string{"toner"}, ""},
	} {
		d := &device.Device{Technology: device.Text(c.label)}
		for _, k := range c.kinds {
			d.Supplies = append(d.Supplies, device.Supply{Kind: device.Text(k)})
		}
		if got := technologyOf(d).class; got != c.class {
			t.Errorf("%q with %v: %q, want %q", c.label, c.kinds, got, c.class)
		}
	}
}

func tech(label string) option { return func(d *device.Device) { d.Technology = device.Text(label) } }
