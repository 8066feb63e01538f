package report

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/forecast"
	"printround/internal/visit"
)

func renderVisit(t testing.TB, v *visit.Plan, o Options) []byte {
	t.Helper()
	return Rendered(t, WriteVisit, v, o)
}

// likely is a distribution of which n of 10 moments come before the visit after
// next.
func likely(n int) *forecast.Distribution {
	d := &forecast.Distribution{}
	for i := range 10 {
		if i < n {
			d.At = append(d.At, seen.AddDate(0, 0, 20))
		} else {
			d.At = append(d.At, time.Time{})
		}
	}
	return d
}

func visitOptions() visit.Options {
	return visit.Options{
		HorizonDays: 14, BringProbability: visit.DefaultBring, Now: seen.Add(time.Hour),
		Contacts: map[string]string{"North quay": "help desk, extension 4100"},
		Catalogue: device.Catalogue{Parts: []device.CataloguePart{
			{Model: "Okvarna L420dn", Supply: "toner", Colorant: "black", Number: "OT-42"},
			{Model: "Okvarna L420dn", Supply: "fuser", Number: "OF-42-230", Name: "fuser, 230 V"},
		}},
		Foresee: func(*device.Device, int) (string, device.Advice, bool) {
			return "derived-run-out", device.Advice{
				Steps: []string{"Leave a replacement on site at this visit and show where it goes"}, Part: "cyan toner cartridge", Who: device.Trained, Minutes: 10,
			}, true
		},
	}
}

// visited are devices with one thing each that a plan has a place for.
func visited() *device.Survey {
	make := func(name, location, model string, findings ...device.Finding) device.Device {
		return device.Device{
			Key: "serial:" + name, Name: device.Text(name), Location: device.Text(location), MakeModel: device.Text(model),
			Role: device.RolePrinter, Site: "North quay", Attention: device.Due, Urgency: 20, Findings: findings,
		}
	}
	find := func(code string, impact device.Impact, summary, part string, phone int, who device.Who, minutes int, caution string, steps ...string) device.Finding {
		return device.Finding{
			Code: code, Impact: impact, Summary: summary, Subunit: device.Subunit{Group: "markerSupplies", Index: 1},
			Advice: device.Advice{Steps: steps, PhoneSteps: phone, Part: device.Text(part), Who: who, Minutes: minutes, Caution: device.Text(caution)},
		}
	}
	const dust = "Toner is fine dust: keep the part level. "
	const hot = "The fuser burns skin: let it cool. "
	jam := make("Accounts", "Floor 1, accounts", "Okvarna L420dn", find("media-jam", device.ImpactStopped, "paper jam in the simplex path", "feed roller kit if it comes back", 2, device.Untrained, 10, hot+dust+makerFirst,
		"Open the covers in the order that the panel shows and pull the sheet out slowly with both hands", "Look for torn pieces", "Clean the feed rollers"))
	jam.Attention, jam.Urgency = device.Stopped, 92
	empty := make("Workshop", "Quay workshop", "Okvarna L420dn", find("toner-empty", device.ImpactStopped, "Black toner empty", "black toner cartridge", 1, device.Trained, 10, dust+makerFirst, "Replace the cartridge"))
	empty.Attention, empty.Urgency = device.Stopped, 90
	empty.Supplies = []device.Supply{toner(1, "black", 0)}
	low := make("Front desk", "Ground floor, front desk", "Okvarna L420dn", find("toner-low", device.ImpactDue, "Black toner at 5%", "black toner cartridge", 0, device.Trained, 5, dust+makerFirst,
		"Bring a replacement; do not change it before prints fade", "If prints fade before it comes: rock it gently, level"))
	low.Supplies = []device.Supply{toner(1, "black", 500)}
	fuser := make("Dispatch", "Ground floor, dispatch", "Okvarna L420dn", find("fuser-over-temp", device.ImpactStopped, "fuser too hot", "fuser unit", 1, device.FieldService, 30, hot+makerFirst, "Switch off at once and unplug", "Have the fuser replaced"))
	soon := make("Purser", "", "Thellmark C310")
	soon.Hostname = "ho-purser"
	soon.Supplies = []device.Supply{toner(1, "cyan", 3000), {Index: 2, Name: "Waste toner box", Kind: "wasteToner", Role: device.Receptacle, Level: device.NoLevel(device.LevelSomeLeft)}}
	setting := make("Training room", "Shed A", "Okvarna L420dn", find("derived-default-orientation", device.ImpactDue, "default orientation is landscape", "", 0, device.Management, 5, "", "Set the default orientation in the device's settings"))
	note := make("Post room", "Ground floor, post room", "Okvarna L420dn", find("media-low", device.ImpactNote, "Tray 1 nearly empty", "", 1, device.Untrained, 3, "", "Load Tray 1"))
	note2 := make("Corridor", "Floor 1, corridor", "Okvarna L420dn", note.Findings...)
	return &device.Survey{Schema: device.SurveySchema, Site: "North quay", Started: seen, Finished: seen, Devices: []device.Device{jam, empty, fuser, low, soon, setting, note, note2}}
}

func samplePlan() *visit.Plan {
	o := visitOptions()
	o.Forecasts = []forecast.Device{
		{Key: "serial:Purser", Items: []forecast.Item{{Kind: forecast.Supply, Index: 1, Name: "Cyan toner", Type: "tonerCartridge", Colorant: "cyan", RunOut: likely(7)}}},
		{Key: "serial:Front desk", Items: []forecast.Item{{Kind: forecast.Supply, Index: 1, Name: "Black toner", Type: "tonerCartridge", Colorant: "black", RunOut: likely(9)}}},
		{Key: "serial:Corridor", Items: []forecast.Item{{Kind: forecast.Service, Name: "feed roller kit", Type: "feed roller kit", RunOut: likely(1)}}},
	}
	return visit.Make(visited(), o)
}

func TestVisitGolden(t *testing.T) {
	bare := visit.Make(visited(), visitOptions())
	partial := visited()
	partial.Partial, partial.PartialReason = true, "1 target left out: see the errors"
	partial.Devices = nil
	for name, c := range map[string]struct {
		plan *visit.Plan
		o    Options
	}{
		"visit-80.txt":      {samplePlan(), Options{Width: 80}},
		"visit-page.txt":    {samplePlan(), Options{}},
		"visit-200.txt":     {samplePlan(), Options{Width: 200}},
		"visit-plain.txt":   {samplePlan(), Options{Width: 100, Plain: true}},
		"visit-bare.txt":    {bare, Options{Width: 100}},
		"visit-partial.txt": {visit.Make(partial, visitOptions()), Options{}},
		"visit.md":          {samplePlan(), Options{Format: Markdown}},
		"visit.csv":         {samplePlan(), Options{Format: CSV}},
		"visit.json":        {samplePlan(), Options{Format: JSON}},
	} {
		t.Run(name, func(t *testing.T) { golden(t, name, renderVisit(t, c.plan, c.o)) })
	}
}

func hostilePlan() *visit.Plan {
	s := hostileSurvey()
	o := visitOptions()
	for i := range s.Devices {
		d := &s.Devices[i]
		v := string(d.Name)
		o.Contacts[string(d.Site)] = v
		d.Findings[0].Advice.PhoneSteps = i % 3
		o.Catalogue.Parts = append(o.Catalogue.Parts, device.CataloguePart{Model: v, Supply: v, Number: v, Name: v})
		d.Supplies = append(d.Supplies, device.Supply{Index: 90, Name: d.Name, Kind: d.Name, Level: device.NoLevel(device.LevelUnknown)})
		o.Forecasts = append(o.Forecasts, forecast.Device{Key: d.Key, Items: []forecast.Item{{Index: 90, Name: v, Type: v, RunOut: likely(5)}, {Name: v, Type: v, RunOut: likely(1)}}})
	}
	return visit.Make(s, o)
}

func TestVisitIsSafeAndFits(t *testing.T) {
	for _, v := range []*visit.Plan{samplePlan(), hostilePlan()} {
		for _, w := range widths {
			for _, o := range []Options{{Width: w}, {Width: w, Color: true}, {Width: w, Plain: true, Color: true}} {
				checkText(t, string(renderVisit(t, v, o)), o)
			}
		}
	}
}

func TestVisitColorOnlyRepeats(t *testing.T) {
	for _, w := range widths {
		got := withoutColor(string(renderVisit(t, samplePlan(), Options{Width: w, Color: true})))
		if want := string(renderVisit(t, samplePlan(), Options{Width: w})); got != want {
			t.Errorf("width %d: colour changes the words", w)
		}
	}
}

func TestVisitCSVKeepsItsShape(t *testing.T) {
	v := hostilePlan()
	want := 1 + len(v.ByPhone) + len(v.Watch) + len(v.LookAt)
	for _, s := range v.Visit {
		for _, d := range s.Devices {
			want += len(d.Tasks)
		}
	}
	all := records(t, renderVisit(t, v, Options{Format: CSV}))
	if len(all) != want {
		t.Errorf("%d records, want %d", len(all), want)
	}
	checkCells(t, all, VisitColumns())
}

// The quantities of the rows are those of the list of parts.
func TestVisitCSVHasTheParts(t *testing.T) {
	v := samplePlan()
	want := 0
	for _, p := range v.Parts {
		want += p.Quantity
	}
	all := records(t, renderVisit(t, v, Options{Format: CSV}))
	at := -1
	for i, name := range all[0] {
		if name == "quantity" {
			at = i
		}
	}
	got := 0
	for _, r := range all[1:] {
		if r[at] == "1" {
			got++
		}
	}
	if got != want || want < 3 {
		t.Errorf("%d parts in CSV, %d on the list", got, want)
	}
}

func TestVisitMarkdownKeepsItsShape(t *testing.T) {
	v := hostilePlan()
	checkMarkdown(t, string(renderVisit(t, v, Options{Format: Markdown})), len(v.Parts), len(partColumns))
}

func TestVisitFollowsSchema(t *testing.T) {
	schema := compiled(t, visit.Schema)
	for name, v := range map[string]*visit.Plan{
		"sample": samplePlan(), "without forecasts": visit.Make(visited(), visitOptions()), "nothing": visit.Make(&device.Survey{Started: seen}, visitOptions()),
	} {
		if err := validate(t, schema, renderVisit(t, v, Options{Format: JSON})); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	good := renderVisit(t, samplePlan(), Options{Format: JSON})
	noticesDrift(t, schema, good, func(doc map[string]any) map[string]any { return doc["parts"].([]any)[0].(map[string]any) }, map[string]func(doc, part map[string]any){
		"unknown field":      func(doc, _ map[string]any) { doc["extra"] = 1 },
		"null list":          func(doc, _ map[string]any) { doc["parts"] = nil },
		"no reason":          func(_, part map[string]any) { part["because"] = []any{} },
		"certainty and more": func(_, part map[string]any) { part["probability"] = 1.5 },
		"unknown impact":     func(doc, _ map[string]any) { doc["by_phone"].([]any)[0].(map[string]any)["impact"] = "critical" },
		"task without a key": func(doc, _ map[string]any) { delete(doc["by_phone"].([]any)[0].(map[string]any), "key") },
	})
}

// What the advice says in several sentences is said once for all tasks.
func TestCautionsAreSaidOnce(t *testing.T) {
	out := string(renderVisit(t, samplePlan(), Options{Width: 200}))
	for _, c := range []string{"Toner is fine dust", "The fuser burns skin", makerFirst} {
		if n := strings.Count(out, c); n != 1 {
			t.Errorf("%q is there %d times", c, n)
		}
	}
	for caution, want := range map[device.Text]int{"": 0, "One.": 1, "One. Two: a, b. Three.": 3} {
		got := sentences(caution)
		if len(got) != want || strings.Join(got, " ") != string(caution) {
			t.Errorf("%q is parted into %q", caution, got)
		}
	}
	if letter(0) != "A" || letter(25) != "Z" || letter(26) != "AA" || letter(52) != "BA" {
		t.Errorf("letters %s %s %s %s", letter(0), letter(25), letter(26), letter(52))
	}
}

func TestVisitFormats(t *testing.T) {
	var b bytes.Buffer
	if err := WriteVisit(&b, samplePlan(), Options{Format: "html"}); err == nil || b.Len() > 0 {
		t.Errorf("html: %v, %d bytes", err, b.Len())
	}
	for _, f := range DocumentFormats() {
		if len(renderVisit(t, samplePlan(), Options{Format: f})) == 0 {
			t.Errorf("%s: nothing", f)
		}
	}
}
