package device

import "testing"

func TestWhyAndNextStep(t *testing.T) {
	step := func(s string) Advice { return Advice{Steps: []string{s}} }
	due := Finding{Code: "toner-low", Impact: ImpactDue, Weight: 0.3, Summary: "toner low", Advice: step("order toner")}
	dueMore := Finding{Code: "opc-near-eol", Impact: ImpactDue, Weight: 0.5, Summary: "drum near end", Advice: step("order a drum")}
	stopped := Finding{Code: "media-jam", Impact: ImpactStopped, Weight: 0.9, Summary: "paper jam", Advice: step("clear the jam")}
	stale := Finding{Code: "cover-open", Impact: ImpactStopped, Stale: true, Summary: "cover open", Advice: step("close it")}
	note := Finding{Code: "power-down", Impact: ImpactNote, Summary: "asleep", Advice: step("nothing")}
	silentStep := Finding{Code: "derived-no-answer", Impact: ImpactSilent, Summary: "no answer"}

	for _, c := range []struct {
		name      string
		findings  []Finding
		why, step string
	}{
		{"nothing", nil, "", ""},
		{"only a note and a stale alert", []Finding{note, stale}, "", ""},
		{"the worst impact wins whatever the order", []Finding{due, stopped}, "paper jam", "clear the jam"},
		{"a stale alert is passed over", []Finding{stale, due}, "toner low", "order toner"},
		{"equal impact: the greater weight", []Finding{due, dueMore}, "drum near end", "order a drum"},
		{"no step known", []Finding{silentStep}, "no answer", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := Device{Findings: c.findings}
			if got := d.Why(); got != c.why {
				t.Errorf("Why() = %q, want %q", got, c.why)
			}
			if got := d.NextStep(); got != c.step {
				t.Errorf("NextStep() = %q, want %q", got, c.step)
			}
		})
	}
}

func TestLowest(t *testing.T) {
	d := Device{Supplies: []Supply{
		{Name: "unknown", Role: Consumed, Level: NoLevel(LevelSomeLeft)},
		{Name: "neither", Level: KnownLevel(1, 100, Remaining)},
		{Name: "black", Role: Consumed, Level: KnownLevel(40, 100, Remaining)},
		{Name: "waste", Role: Receptacle, Level: KnownLevel(7, 100, SpaceLeft)},
		{Name: "later", Role: Consumed, Level: KnownLevel(7, 100, Remaining)},
	}}
	if s, ok := d.Lowest(); !ok || s.Name != "waste" {
		t.Errorf("Lowest() = %q, %v, want waste, true", s.Name, ok)
	}
	d.Supplies = d.Supplies[:2]
	if s, ok := d.Lowest(); ok {
		t.Errorf("Lowest() = %q, want none: no level of a known kind is known", s.Name)
	}
}

func TestSupplyByIndex(t *testing.T) {
	d := Device{Supplies: []Supply{{Index: 3, Name: "black"}, {Index: 1, Name: "cyan"}}}
	if s := d.Supply(1); s != &d.Supplies[1] {
		t.Errorf("%+v", s)
	}
	if s := d.Supply(2); s != nil {
		t.Errorf("%+v", s)
	}
}
