package visit

import (
	"encoding/json"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/finding"
	"printround/internal/forecast"
)

var now = time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)

// printer returns a device with findings.
func printer(name, location string, findings ...device.Finding) device.Device {
	return device.Device{
		Key: "serial:" + name, Name: device.Text(name), Location: device.Text(location), Site: "North quay", Role: device.RolePrinter,
		MakeModel: "Okvarna L420dn", Findings: findings, Attention: device.Due, Urgency: 20,
	}
}

// about returns a finding; by is how many of its two steps are for the phone.
func about(code string, impact device.Impact, index int, part string, by int) device.Finding {
	return device.Finding{
		Code: code, Impact: impact, Summary: code + " here", Subunit: device.Subunit{Group: supplyGroup, Index: index},
		Advice: device.Advice{Steps: []string{"Do one", "Do two"}, PhoneSteps: by, Part: device.Text(part), Who: device.Trained, Minutes: 7},
	}
}

func with(f device.Finding, change func(*device.Finding)) device.Finding {
	change(&f)
	return f
}

func options() Options {
	return Options{HorizonDays: 14, BringProbability: DefaultBring, Now: now, Foresee: finding.Foreseen}
}

func plan(o Options, devices ...device.Device) *Plan {
	return Make(&device.Survey{Started: now, Finished: now, Devices: devices}, o)
}

// TestWhereAFindingGoes: one finding, its group, and the part on the list.
func TestWhereAFindingGoes(t *testing.T) {
	who := func(w device.Who) func(*device.Finding) { return func(f *device.Finding) { f.Advice.Who = w } }
	tests := []struct {
		name    string
		finding device.Finding
		group   string
		bring   string // class of part on the list
		ifNot   string
	}{
		{"all by phone", about("media-jam", device.ImpactStopped, 0, "", 2), "phone", "", "visit"},
		{"in part by phone", about("media-jam", device.ImpactStopped, 0, "feed roller kit if it comes back", 1), "phone", "", "visit, bring feed roller kit"},
		{"nothing by phone", about("opc-life-over", device.ImpactStopped, 1, "drum unit", 0), "visit", "drum unit", ""},
		{"out, and people change it", about("toner-empty", device.ImpactStopped, 1, "toner cartridge", 2), "phone", "toner cartridge", "visit, bring toner cartridge"},
		{"low: somebody has to bring it", about("toner-low", device.ImpactDue, 1, "toner cartridge", 2), "visit", "toner cartridge", ""},
		{"the office has paper", about("media-empty", device.ImpactStopped, 1, "paper", 2), "phone", "", "visit"},
		{"field service comes, whatever is said by phone", with(about("fuser-over-temp", device.ImpactStopped, 0, "fuser unit", 1), who(device.FieldService)), "visit", "fuser unit", ""},
		{"a setting, from the desk", with(about("derived-language-missing", device.ImpactImpaired, 0, "language option", 1), who(device.Management)), "phone", "", ""},
		{"a note", about("media-low", device.ImpactNote, 1, "toner cartridge", 0), "watch", "", ""},
		{"contradicted", with(about("toner-low", device.ImpactDue, 1, "toner cartridge", 0), func(f *device.Finding) { f.Stale = true }), "watch", "", ""},
		{"nobody", with(about("subunit-power-saver", device.ImpactNote, 0, "", 0), who(device.Nobody)), "", "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v := plan(options(), printer("A", "Floor 1", tt.finding))
			at := find(v, "serial:A", tt.finding.Code)
			if tt.group == "" {
				if len(at) != 0 {
					t.Fatalf("in the plan: %v", at)
				}
				return
			}
			if len(at) != 1 || at[0].group != tt.group {
				t.Fatalf("found %v, want once in %s", at, tt.group)
			}
			if got := string(at[0].task.IfNot); got != tt.ifNot {
				t.Errorf("if not: %q, want %q", got, tt.ifNot)
			}
			var bring string
			for _, p := range v.Parts {
				bring += p.Part
			}
			if bring != tt.bring {
				t.Errorf("parts %q, want %q", bring, tt.bring)
			}
			stops := tt.group == "visit" || tt.bring != ""
			if (len(v.Visit) == 1) != stops {
				t.Errorf("%d stops", len(v.Visit))
			}
		})
	}
}

func TestPhoneStepsAndWhatIsLeft(t *testing.T) {
	v := plan(options(), printer("A", "Floor 1", about("marker-supply-missing", device.ImpactStopped, 1, "toner cartridge", 1)))
	c := v.ByPhone[0]
	if !slices.Equal(c.Steps, []string{"Do one"}) || !slices.Equal(c.Later, []string{"Do two"}) || c.Step != "Do one" {
		t.Errorf("steps %q, later %q", c.Steps, c.Later)
	}
	v = plan(options(), printer("A", "Floor 1", with(about("toner-empty", device.ImpactStopped, 1, "toner cartridge", 2), nothing)))
	if want := "Ask whether a toner cartridge is in stock there; if so:"; string(v.ByPhone[0].Step) != want {
		t.Errorf("first say %q, want %q", v.ByPhone[0].Step, want)
	}
	if d := v.Visit[0].Devices[0]; len(d.Tasks) != 0 || len(d.Deliver) != 1 || v.Minutes != deliverMinutes {
		t.Errorf("stop %+v, %d minutes", d, v.Minutes)
	}
	if v.IfNotMinutes != 7 || v.PhoneMinutes != 7 {
		t.Errorf("%d minutes by phone, %d if not", v.PhoneMinutes, v.IfNotMinutes)
	}
}

func nothing(*device.Finding) {}

// TestOneCureForSeveral: what one part or one turn of work cures is one task.
func TestOneCureForSeveral(t *testing.T) {
	tests := []struct {
		name     string
		findings []device.Finding
		tasks    int
		parts    int
	}{
		{"low and empty of one supply", []device.Finding{
			about("toner-empty", device.ImpactStopped, 1, "toner cartridge", 0), about("toner-low", device.ImpactDue, 1, "toner cartridge", 0)}, 1, 1},
		{"one that names no supply", []device.Finding{
			about("toner-low", device.ImpactDue, 1, "black toner cartridge", 0), about("marker-toner-low", device.ImpactDue, 0, "black toner cartridge", 0)}, 1, 1},
		{"two supplies", []device.Finding{
			about("toner-low", device.ImpactDue, 1, "toner cartridge", 0), about("toner-low", device.ImpactDue, 2, "toner cartridge", 0)}, 2, 2},
		{"two covers", []device.Finding{
			about("cover-open", device.ImpactStopped, 1, "", 2), about("cover-open", device.ImpactStopped, 2, "", 2)}, 1, 0},
		{"a fault and its supply", []device.Finding{
			about("media-jam", device.ImpactStopped, 1, "", 2), about("toner-low", device.ImpactDue, 1, "toner cartridge", 0)}, 2, 1},
		{"stale beside one that holds", []device.Finding{
			about("toner-low", device.ImpactDue, 1, "toner cartridge", 0),
			with(about("toner-low", device.ImpactDue, 1, "toner cartridge", 0), func(f *device.Finding) { f.Stale = true })}, 2, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v := plan(options(), printer("A", "Floor 1", tt.findings...))
			tasks, also := 0, 0
			each(v, func(task *Task) { tasks, also = tasks+1, also+len(task.Also) })
			parts := 0
			for _, p := range v.Parts {
				parts += p.Quantity
			}
			if tasks != tt.tasks || tasks+also != len(tt.findings) || parts != tt.parts {
				t.Errorf("%d tasks that cure %d more, %d parts; want %d tasks, %d parts", tasks, also, parts, tt.tasks, tt.parts)
			}
		})
	}
}

func TestPartsAddUp(t *testing.T) {
	low := func(color string) device.Finding {
		return about("toner-low", device.ImpactDue, 1, color+" toner cartridge", 0)
	}
	supplied := func(d device.Device, color device.Text) device.Device {
		d.Supplies = []device.Supply{{Index: 1, Kind: "tonerCartridge", Colorant: color, Name: "toner", Role: device.Consumed, Level: device.KnownLevel(2, 100, device.Remaining)}}
		return d
	}
	other := supplied(printer("D", "Floor 1", low("black")), "black")
	other.MakeModel = "Okvarna L421"
	unknown := supplied(printer("E", "Floor 1", low("black")), "black")
	unknown.MakeModel = ""
	unknown2 := unknown
	unknown2.Key, unknown2.Name = "serial:F", "F"
	devices := []device.Device{
		supplied(printer("A", "Floor 1", low("black")), "black"), supplied(printer("B", "Floor 2", low("black")), "black"),
		supplied(printer("C", "Floor 1", low("cyan")), "cyan"), other, unknown, unknown2,
	}
	type line struct {
		Part          string
		Number, Model device.Text
		Color         device.Text
		Quantity      int
	}
	lines := func(v *Plan) (out []line) {
		for _, p := range v.Parts {
			out = append(out, line{p.Part, p.Number, p.Model, p.Color, p.Quantity})
		}
		return out
	}
	want := []line{
		{"toner cartridge", "", "", "black", 1}, {"toner cartridge", "", "", "black", 1}, // nobody knows the model
		{"toner cartridge", "", "Okvarna L420dn", "black", 2}, {"toner cartridge", "", "Okvarna L420dn", "cyan", 1},
		{"toner cartridge", "", "Okvarna L421", "black", 1},
	}
	if diff := cmp.Diff(want, lines(plan(options(), devices...))); diff != "" {
		t.Errorf("without a catalogue (-want +got):\n%s", diff)
	}
	o := options()
	o.Catalogue.Parts = []device.CataloguePart{
		{Model: "Okvarna L42*", Supply: "toner", Colorant: "black", Number: "OT-42"},
		{Model: "Okvarna L420dn", Supply: "toner cartridge", Colorant: "cyan", Number: "OT-42C"},
	}
	want = []line{
		{"toner cartridge", "", "", "black", 1}, {"toner cartridge", "", "", "black", 1},
		{"toner cartridge", "OT-42C", "Okvarna L420dn", "cyan", 1},
		{"toner cartridge", "OT-42", "Okvarna L420dn, Okvarna L421", "black", 3},
	}
	v := plan(o, devices...)
	if diff := cmp.Diff(want, lines(v)); diff != "" {
		t.Errorf("with a catalogue (-want +got):\n%s", diff)
	}
	if got := v.Parts[3].Because; len(got) != 3 || got[0] != "A: toner-low here" {
		t.Errorf("because %q", got)
	}
}

// A queue that a server shares has no stop; what its printer says as well is
// said once.
func TestServerQueue(t *testing.T) {
	stuck := about("derived-queue-stalled", device.ImpactImpaired, 0, "", 1)
	queue := printer("A @ server", "Floor 1", stuck)
	queue.Key, queue.Role = "uuid:queue", device.RoleServerQueue
	v := plan(options(), printer("A", "Floor 1", stuck), queue)
	if len(v.ByPhone) != 1 || v.ByPhone[0].Key != "serial:A" || v.Devices != 1 {
		t.Errorf("with its printer: %d calls of %d devices", len(v.ByPhone), v.Devices)
	}
	v = plan(options(), printer("A", "Floor 1"), queue)
	if len(v.ByPhone) != 1 || v.ByPhone[0].Key != "uuid:queue" || len(v.Visit) != 0 {
		t.Errorf("when the printer knows nothing: %+v", v.ByPhone)
	}
	elsewhere := printer("A", "Floor 1", stuck)
	elsewhere.Site = "Mill depot"
	if v = plan(options(), elsewhere, queue); len(v.ByPhone) != 2 {
		t.Errorf("a printer of the same name at another site: %d calls", len(v.ByPhone))
	}
}

func TestUnknownLevelsAreLookedAt(t *testing.T) {
	d := printer("A", "Floor 1", about("toner-low", device.ImpactDue, 1, "toner cartridge", 0))
	for i, r := range []device.LevelReason{device.LevelUnknown, device.LevelSomeLeft, device.LevelNotReported, device.LevelContradictory, device.LevelUnlimited} {
		d.Supplies = append(d.Supplies, device.Supply{Index: i + 1, Kind: "toner", Role: device.Consumed, Level: device.NoLevel(r)})
	}
	d.Supplies = append(d.Supplies, device.Supply{Index: 9, Kind: "opc", Level: device.KnownLevel(0, 100, device.Remaining)})
	away := printer("B", "Floor 2")
	away.Supplies = d.Supplies[:1]
	v := plan(options(), away, d)
	if len(v.LookAt) != 2 || v.LookAt[0].Key != "serial:A" || !v.LookAt[0].OnTheWay || v.LookAt[1].OnTheWay {
		t.Fatalf("look at %+v; want A, on the way, before B", v.LookAt)
	}
	var indices []int
	for _, s := range v.LookAt[0].Supplies {
		indices = append(indices, s.Index)
	}
	// 1 has a task, 5 has no limit, 9 is known.
	if !slices.Equal(indices, []int{2, 3, 4}) {
		t.Errorf("supplies %v, want 2, 3, 4", indices)
	}
	if len(v.Parts) != 1 {
		t.Errorf("parts %+v; want the one that the device itself calls low", v.Parts)
	}
}

// over returns a distribution of 100 moments, of which n come before the visit
// after next and half of these before the next one.
func over(n int) *forecast.Distribution {
	d := &forecast.Distribution{}
	for i := range 100 {
		switch {
		case i < n/2:
			d.At = append(d.At, now.AddDate(0, 0, 7))
		case i < n:
			d.At = append(d.At, now.AddDate(0, 0, 21))
		default:
			d.At = append(d.At, time.Time{})
		}
	}
	return d
}

func TestForecasts(t *testing.T) {
	laser := func(findings ...device.Finding) device.Device {
		d := printer("A", "Floor 1", findings...)
		d.Technology = "electrophotographicLaser"
		d.Supplies = []device.Supply{
			{Index: 1, Name: "Black", Kind: "tonerCartridge", Colorant: "black", Role: device.Consumed, Level: device.KnownLevel(40, 100, device.Remaining)},
			{Index: 2, Name: "Waste", Kind: "wasteToner", Role: device.Receptacle, Level: device.KnownLevel(40, 100, device.SpaceLeft)},
			{Index: 3, Name: "Fuser", Kind: "fuser", Role: device.Consumed, Level: device.KnownLevel(40, 100, device.Remaining)},
		}
		return d
	}
	low := about("toner-low", device.ImpactDue, 1, "black toner cartridge", 0)
	out := about("toner-empty", device.ImpactStopped, 1, "black toner cartridge", 0)
	worn := with(about("input-pick-roller-life-warn", device.ImpactDue, 0, "feed roller kit", 0), func(f *device.Finding) { f.Subunit.Group = "input" })
	item := func(kind forecast.Kind, index int, what, color string, n int) forecast.Item {
		i := forecast.Item{Kind: kind, Index: index, Name: what, Type: what, Colorant: color, Reason: "not enough nights"}
		if n >= 0 {
			i.RunOut, i.Reason = over(n), ""
		}
		return i
	}
	tests := []struct {
		name        string
		device      device.Device
		item        forecast.Item
		code, group string
		part        string
		chance      float64 // -1: none
	}{
		{"likely", laser(), item(forecast.Supply, 1, "Black", "black", 60), runOut, "visit", "toner cartridge", 0.6},
		{"at the threshold", laser(), item(forecast.Supply, 1, "Black", "black", 20), runOut, "visit", "toner cartridge", 0.2},
		{"below the threshold", laser(), item(forecast.Supply, 1, "Black", "black", 19), runOut, "watch", "", 0.19},
		{"hardly", laser(), item(forecast.Supply, 1, "Black", "black", 4), runOut, "", "", -1},
		{"not enough nights", laser(), item(forecast.Supply, 1, "Black", "black", -1), runOut, "", "", -1},
		{"a receptacle", laser(), item(forecast.Supply, 2, "Waste", "", 50), runOut, "visit", "waste toner box", 0.5},
		{"a part with a long life", laser(), item(forecast.Supply, 3, "Fuser", "", 50), serviceDue, "visit", "fuser unit", 0.5},
		{"a supply that is not there any more", laser(), item(forecast.Supply, 7, "Cyan", "cyan", 90), runOut, "", "", -1},
		{"a life in pages", laser(), item(forecast.Service, 0, "feed roller kit", "", 50), serviceDue, "visit", "feed roller kit", 0.5},
		{"low, and soon", laser(low), item(forecast.Supply, 1, "Black", "black", 50), "toner-low", "visit", "toner cartridge", 0.5},
		{"low, but it lasts", laser(low), item(forecast.Supply, 1, "Black", "black", 10), "toner-low", "watch", "", 0.1},
		{"low, and nobody knows", laser(low), item(forecast.Supply, 1, "Black", "black", -1), "toner-low", "visit", "toner cartridge", -1},
		{"out does not wait for a forecast", laser(out), item(forecast.Supply, 1, "Black", "black", 0), "toner-empty", "visit", "toner cartridge", 0},
		{"worn, by its pages too", laser(worn), item(forecast.Service, 0, "feed roller kit", "", 70), "input-pick-roller-life-warn", "visit", "feed roller kit", 0.7},
		{"worn, though its pages last", laser(worn), item(forecast.Service, 0, "feed roller kit", "", 7), "input-pick-roller-life-warn", "watch", "", 0.07},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			o := options()
			o.Forecasts = []forecast.Device{{Key: "mac:00", Items: []forecast.Item{tt.item}}}
			d := tt.device
			d.Aliases = []string{"serial:A", "mac:00"} // the history may know it by another alias
			v := plan(o, d)
			if v.Forecast != 1 {
				t.Errorf("%d devices with a forecast", v.Forecast)
			}
			tasks := 0
			each(v, func(*Task) { tasks++ })
			if tt.group == "" {
				if tasks != 0 {
					t.Fatalf("%d tasks, want none", tasks)
				}
				return
			}
			at := find(v, "serial:A", tt.code)
			if len(at) != 1 || at[0].group != tt.group || tasks != 1 {
				t.Fatalf("found %v of %d tasks, want once in %s", at, tasks, tt.group)
			}
			p := at[0].task.Probability
			if (p == nil) != (tt.chance < 0) || p != nil && *p != tt.chance {
				t.Errorf("chance %v, want %v", p, tt.chance)
			}
			if p != nil && *at[0].task.ByNext > *p {
				t.Errorf("sooner %v is likelier than later %v", *at[0].task.ByNext, *p)
			}
			if got := len(v.Parts); got != map[bool]int{true: 1, false: 0}[tt.part != ""] {
				t.Fatalf("%d parts", got)
			}
			if tt.part == "" {
				return
			}
			x := v.Parts[0]
			if x.Part != tt.part || (x.Probability == nil) != (p == nil) || p != nil && *x.Probability != *p {
				t.Errorf("part %+v, want %s", x, tt.part)
			}
		})
	}
}

func TestThresholdOfTheSite(t *testing.T) {
	d := printer("A", "Floor 1")
	f := forecast.Device{Key: d.Key, Items: []forecast.Item{{Kind: forecast.Service, Type: "feed roller kit", RunOut: over(40)}}}
	for bring, parts := range map[float64]int{0.3: 1, 0.4: 1, 0.5: 0, 1: 0, 0: 1} {
		o := options()
		o.BringProbability, o.Forecasts = bring, []forecast.Device{f}
		if got := len(plan(o, d).Parts); got != parts {
			t.Errorf("from %v: %d parts, want %d", bring, got, parts)
		}
	}
	// Two horizons of 3 days end before the first of the moments.
	o := options()
	o.HorizonDays, o.Forecasts = 3, []forecast.Device{f}
	if v := plan(o, d); len(v.Parts)+len(v.Watch) != 0 {
		t.Errorf("visits every 3 days: parts %+v, watch %+v", v.Parts, v.Watch)
	}
}

// TestOrder: the plan depends on the survey alone, and places are in the order
// in which a person reads them.
func TestOrder(t *testing.T) {
	low := about("toner-low", device.ImpactDue, 1, "toner cartridge", 0)
	jam := about("media-jam", device.ImpactStopped, 0, "", 2)
	var devices []device.Device
	for _, p := range []struct {
		name, site, location string
		urgency              int
		finding              device.Finding
	}{
		{"A", "North quay", "Floor 10", 20, low}, {"B", "North quay", "Floor 2", 12, low}, {"C", "North quay", "Floor 2", 30, low},
		{"D", "Harbour", "", 12, low}, {"E", "Harbour", "Quay", 12, low}, {"F", "Harbour", "Quay", 12, low},
		{"G", "North quay", "Floor 2", 85, jam}, {"H", "Harbour", "Quay", 80, jam}, {"I", "North quay", "Floor 1", 82, jam},
	} {
		d := printer(p.name, p.location, p.finding)
		d.Site, d.Urgency = device.Text(p.site), p.urgency
		devices = append(devices, d)
	}
	var first []byte
	for i := range 20 {
		shuffled := slices.Clone(devices)
		r := rand.New(rand.NewPCG(uint64(i), 1))
		r.Shuffle(len(shuffled), func(a, b int) { shuffled[a], shuffled[b] = shuffled[b], shuffled[a] })
		v := plan(options(), shuffled...)
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = b
			var stops, calls []string
			for _, s := range v.Visit {
				names := ""
				for _, d := range s.Devices {
					names += d.Device
				}
				stops = append(stops, string(s.Site)+"/"+string(s.Location)+"/"+names)
			}
			for _, c := range v.ByPhone {
				calls = append(calls, c.Device)
			}
			if got, want := strings.Join(stops, " "), "Harbour/Quay/EF Harbour//D North quay/Floor 2/CB North quay/Floor 10/A"; got != want {
				t.Errorf("stops %s, want %s", got, want)
			}
			if got := strings.Join(calls, ""); got != "GIH" {
				t.Errorf("calls %s, want G, I, H", got)
			}
			continue
		}
		if diff := cmp.Diff(string(first), string(b)); diff != "" {
			t.Errorf("shuffled another way (-first +now):\n%s", diff)
		}
	}
}

func TestNatural(t *testing.T) {
	sorted := []string{"", "2", "10", "floor", "Floor 1", "floor 01", "floor 1a", "floor 2", "Floor 10", "floor x"}
	for i, a := range sorted {
		for k, b := range sorted {
			if got := natural(a, b); (got < 0) != (i < k) || (got == 0) != (i == k) {
				t.Errorf("natural(%q, %q) = %d", a, b, got)
			}
		}
	}
}

func TestContact(t *testing.T) {
	o := options()
	o.Contacts = map[string]string{"North quay": "help desk"}
	a, b := printer("A", "Floor 1", about("media-jam", device.ImpactStopped, 0, "", 2)), printer("B", "Floor 1", about("media-jam", device.ImpactStopped, 0, "", 2))
	b.Contact = "front desk"
	v := plan(o, a, b)
	if v.ByPhone[0].Call != "help desk" || v.ByPhone[1].Call != "front desk" {
		t.Errorf("calls %q and %q", v.ByPhone[0].Call, v.ByPhone[1].Call)
	}
}

func TestEmptySurvey(t *testing.T) {
	v := plan(options())
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	for _, list := range []string{"by_phone", "visit", "watch", "parts", "look_at"} {
		if !strings.Contains(string(b), `"`+list+`":[]`) {
			t.Errorf("%s is no empty list in %s", list, b)
		}
	}
}

func TestChanceWords(t *testing.T) {
	for p, want := range map[float64]string{0: "0%", 0.001: "less than 1%", 0.2: "20%", 0.994: "99%", 0.999: "more than 99%", 1: "more than 99%"} {
		if got := chanceWords(p); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
}
