package interop

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"printround/internal/device"
	"printround/internal/lab"
	"printround/internal/labtest"
)

// missetOn says which wrong setting lies on which device of the lab, and the
// code by which it must be found.
var missetOn = map[string]struct{ fault, code string }{
	"front-desk":   {"derived-firmware-differs", "derived-firmware-differs"},
	"accounts":     {"derived-default-resolution", "derived-default-resolution"},
	"post-room":    {"derived-default-output-bin", "derived-default-output-bin"},
	"corridor":     {"derived-media-mismatch", "derived-media-mismatch"},
	"copy-1":       {"derived-punch-pattern", "derived-punch-pattern"},
	"copy-2":       {"derived-default-finishings", "derived-default-finishings"},
	"meeting":      {"derived-default-color-mode", "derived-default-color-mode"},
	"purser":       {"derived-finishing-unavailable", "derived-finishing-unavailable"},
	"harbour-copy": {"derived-default-media", "derived-default-media"},
	"workshop":     {"media-not-ready", "derived-media-mismatch"},
	"dispatch":     {"derived-tray-setting", "derived-tray-setting"},
	"customs":      {"derived-tray-setting:weight", "derived-tray-setting"},
	"depot-office": {"derived-default-sides", "derived-default-sides"},
	"training":     {"wrong-orientation,missing-language", "derived-default-orientation"},
	"stores":       {"derived-ipp-unencrypted", "derived-ipp-unencrypted"},
	"mill-copy":    {"derived-clock-off", "derived-clock-off"},
	"drivers":      {"derived-certificate-ended", "derived-certificate-ended"},
	"drafts":       {"derived-certificate-ends", "derived-certificate-ends"},
}

// ofSettings are the codes of the audit. derived-default-community is a fact of
// the scenario: one branch of the lab lets in by it.
var ofSettings = []string{
	"derived-media-mismatch", "derived-default-orientation", "derived-language-missing", "derived-default-media", "derived-default-sides",
	"derived-default-color-mode", "derived-default-resolution", "derived-default-output-bin", "derived-default-finishings",
	"derived-tray-setting", "derived-finishing-unavailable", "derived-punch-pattern", "derived-clock-off", "derived-firmware-differs",
	"derived-ipp-unencrypted", "derived-certificate-ended", "derived-certificate-ends",
}

func settingsFound(d *device.Device) []string {
	var codes []string
	for _, f := range d.Findings {
		if slices.Contains(ofSettings, f.Code) && !slices.Contains(codes, f.Code) {
			codes = append(codes, f.Code)
		}
	}
	return codes
}

// Each wrong setting of the lab is found on its device and on no other.
func TestMissettingsAreFound(t *testing.T) {
	faults := map[string]string{}
	for name, m := range missetOn {
		faults[name] = m.fault
	}
	l := labtest.Start(t, lab.Options{Seed: labSeed(t), Clean: true, Faults: faults, NoMDNS: true})
	found := surveyLab(t, l)
	for _, want := range l.Devices() {
		if !want.Printer || want.Queue {
			continue
		}
		d := match(want, found)
		if d == nil {
			t.Errorf("%s was not found", want.Name)
			continue
		}
		got := settingsFound(d)
		m, misset := missetOn[want.Name]
		switch {
		case misset && !slices.Contains(got, m.code):
			t.Errorf("%s has %s, found is %v", want.Name, m.fault, got)
		case !misset && len(got) > 0:
			t.Errorf("%s is set as wanted, and found is %v", want.Name, got)
		}
		for _, code := range got {
			if misset && code != m.code && !slices.Contains(want.Conditions, code) {
				t.Errorf("%s has %s, and found is also %s", want.Name, m.fault, code)
			}
		}
	}
	kinds := map[string]bool{}
	for _, m := range missetOn {
		kinds[m.code] = true
	}
	if kinds["derived-language-missing"] = true; len(kinds) != len(ofSettings) {
		t.Errorf("%d kinds of wrong settings are laid over the lab, the audit knows %d", len(kinds), len(ofSettings))
	}
}

// A clean lab whose settings differ in ways that harm nobody.
func TestHarmlessSettings(t *testing.T) {
	for n := range int64(2) {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			t.Parallel() // it waits for its sweep
			l := labtest.Start(t, lab.Options{Seed: labSeed(t) + n, Clean: true, Vary: true, NoMDNS: true})
			for _, d := range surveyLab(t, l) {
				if got := settingsFound(&d); len(got) > 0 {
					t.Errorf("%s: %v: %v", d.Name, got, summaries(&d))
				}
			}
		})
	}
}

func summaries(d *device.Device) string {
	var s []string
	for _, f := range d.Findings {
		s = append(s, f.Summary)
	}
	return strings.Join(s, "; ")
}
