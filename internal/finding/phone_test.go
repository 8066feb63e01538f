package finding

import (
	"regexp"
	"slices"
	"testing"

	"printround/internal/device"
)

// Somebody on site who is told a step by phone has no service menu, no parts
// and no tools, and stays away from what is for qualified service (common
// practice, no source).
func TestWhatIsSaidByPhoneCanBeDoneOnSite(t *testing.T) {
	notByPhone := regexp.MustCompile(`(?i)service menu|^replace .*\b(fuser|roller|drum|unit|kit|head)\b|^(bring|fit|order) |reset .*counter|\bcalibration\b`)
	some, all := 0, 0
	for code := range known().terms {
		for class := range classes {
			a := adviceFor(code, class)
			if a.PhoneSteps < 0 || a.PhoneSteps > len(a.Steps) || a.Who == device.Nobody && a.PhoneSteps != 0 {
				t.Errorf("%s on %s: %d of %d steps by phone, by %s", code, class, a.PhoneSteps, len(a.Steps), a.Who)
				continue
			}
			for _, s := range a.Steps[:a.PhoneSteps] {
				if m := notByPhone.FindString(s); m != "" {
					t.Errorf("%s on %s: %q is nothing to be told by phone: %q", code, class, m, s)
				}
			}
			switch {
			case a.PhoneSteps > 0 && a.PhoneSteps == len(a.Steps):
				all++
			case a.PhoneSteps > 0:
				some++
			}
		}
	}
	t.Logf("of %d pieces of advice %d are all for the phone and %d in part", len(known().terms)*len(classes), all, some)
}

// Who can be told by phone is stated wherever it does not follow from who acts.
func TestPhoneStepsAreStated(t *testing.T) {
	needs := func(who string) bool {
		return !slices.Contains([]device.Who{device.Untrained, device.Nobody, ""}, device.Who(who))
	}
	for _, w := range known().advice {
		if needs(w.Who) && w.Phone == nil {
			t.Errorf("advice.toml: %s: phone is not stated", w)
		}
	}
	for _, k := range known().conditions {
		if needs(k.Who) && k.Phone == nil {
			t.Errorf("conditions.toml: %v: phone is not stated", k.Suffix)
		}
	}
}
