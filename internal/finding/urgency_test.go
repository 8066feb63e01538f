package finding

import (
	"math/rand/v2"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"printround/internal/device"
)

// Bands of urgency: stopped 80-100, silent 60-79, impaired 40-59, due 10-39,
// clear 0-9; findings combine as 1 - Π(1 - wᵢ), scaled into the band.
func TestUrgency(t *testing.T) {
	f := func(impact device.Impact, weight float64) device.Finding {
		return device.Finding{Impact: impact, Weight: weight}
	}
	for _, c := range []struct {
		name      string
		findings  []device.Finding
		sole      bool
		attention device.Attention
		urgency   int
	}{
		{"nothing", nil, false, device.Clear, 0},
		{"a note", []device.Finding{f(isNote, 0)}, false, device.Clear, 0},
		{"one stop of 0.6", []device.Finding{f(isStopped, 0.6)}, false, device.Stopped, 92},                                    // 80 + 20 x 0.6
		{"two of them", []device.Finding{f(isStopped, 0.6), f(isStopped, 0.6)}, false, device.Stopped, 97},                     // 80 + 20 x 0.84
		{"a stop and something due", []device.Finding{f(isStopped, 0.6), f(isDue, 0.5)}, false, device.Stopped, 96},            // 80 + 20 x 0.8
		{"silent", []device.Finding{f(device.ImpactSilent, 0.5)}, false, device.Silent, 70},                                    // 60 + 19 x 0.5 = 69.5
		{"impaired", []device.Finding{f(isImpaired, 0.4)}, false, device.Impaired, 48},                                         // 40 + 19 x 0.4 = 47.6
		{"due at the horizon", []device.Finding{f(isDue, 0.05)}, false, device.Due, 11},                                        // 10 + 29 x 0.05 = 11.45
		{"due now", []device.Finding{f(isDue, 0.5)}, false, device.Due, 25},                                                    // 10 + 29 x 0.5 = 24.5
		{"the only one", []device.Finding{f(isImpaired, 0.4)}, true, device.Impaired, 53},                                      // + 5
		{"the only one, within its band", []device.Finding{f(isImpaired, 0.9), f(isImpaired, 0.9)}, true, device.Impaired, 59}, // not 64
		{"the only one, clear", nil, true, device.Clear, 5},
		{"a stale one counts nothing", []device.Finding{{Impact: isStopped, Weight: 0.6, Stale: true}}, false, device.Clear, 0},
		{"all there is", []device.Finding{f(isStopped, 1)}, true, device.Stopped, 100},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, u := urgency(&device.Device{Findings: c.findings, Sole: c.sole})
			if a != c.attention || u != c.urgency {
				t.Errorf("got %s %d, want %s %d", a, u, c.attention, c.urgency)
			}
		})
	}
}

func TestWeights(t *testing.T) {
	o := Defaults()
	for _, c := range []struct {
		name    string
		weights map[string]float64
		code    string
		impact  device.Impact
		near    float64
		want    float64
	}{
		{"by impact", nil, "input-tray-missing", isStopped, 0, 0.6},
		{"by code", nil, "derived-media-mismatch", isImpaired, 0, 0.25},
		{"due at its end", nil, "toner-low", isDue, 1, 0.5},
		{"due at the horizon", nil, "toner-low", isDue, 0, 0.05},
		{"due half way", nil, "toner-low", isDue, 0.5, 0.275}, // 0.05 + 0.45 x 0.5
		{"a note has none", nil, "media-low", isNote, 1, 0},
		{"the site's by impact", map[string]float64{"stopped": 0.9}, "media-jam", isStopped, 0, 0.9},
		{"the site's by code before its impact", map[string]float64{"stopped": 0.9, "media-jam": 0.3}, "media-jam", isStopped, 0, 0.3},
		{"the site's by impact before ours by code", map[string]float64{"stopped": 0.9}, "cover-open", isStopped, 0, 0.9},
		{"out of range", map[string]float64{"stopped": 7}, "media-jam", isStopped, 0, 1},
		{"below the horizon's weight", map[string]float64{"toner-low": 0.01}, "toner-low", isDue, 0.5, 0.01},
	} {
		o.Weights = c.weights
		if got := o.weight(c.code, c.impact, c.near); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestNearerIsMoreUrgent(t *testing.T) {
	last := -1
	for p := int64(10); p >= 0; p-- {
		d := answering(part("opc", "Drum", p))
		o := Defaults()
		o.LongLifeLow = 10
		Judge(d, o)
		if d.Urgency <= last && p < 10 {
			t.Errorf("a drum at %d %% has urgency %d, at %d %% %d", p, d.Urgency, p+1, last)
		}
		last = d.Urgency
	}
}

func TestWhyNamesRuleAndWeight(t *testing.T) {
	d := answering(toner("black", 5))
	Judge(d, Defaults())
	const want = "due: 5% is at or below the threshold for consumable parts of 10%; weight 0.275 at nearness 0.50"
	if got := d.Findings[0].Why; got != want {
		t.Errorf("why %q, want %q", got, want)
	}
}

func TestRank(t *testing.T) {
	ds := []device.Device{
		{Key: "queue", Role: device.RoleServerQueue, Urgency: 99, Attention: device.Stopped},
		{Key: "b", Urgency: 48, Attention: device.Impaired},
		{Key: "a", Urgency: 48, Attention: device.Impaired},
		{Key: "d", Urgency: 92, Attention: device.Stopped},
		{Key: "c", Urgency: 48, Attention: device.Impaired},
	}
	order := func() string {
		var keys []string
		for _, d := range ds {
			keys = append(keys, d.Key)
		}
		return strings.Join(keys, " ")
	}
	Rank(ds)
	if got := order(); got != "d a b c queue" {
		t.Errorf("order %s", got)
	}
	pages := map[string]float64{"b": 900, "c": 20}
	RankBy(ds, func(d *device.Device) (float64, bool) { p, ok := pages[d.Key]; return p, ok })
	if got := order(); got != "d b c a queue" {
		t.Errorf("by pages a day: order %s", got)
	}
}

func TestCompare(t *testing.T) {
	judged := func(key string, addr string, aliases []string, opts ...option) device.Device {
		d := answering(opts...)
		d.Key, d.Aliases, d.Name = key, aliases, device.Text("Printer "+key)
		d.Addresses = []netip.Addr{netip.MustParseAddr(addr)}
		Judge(d, Defaults())
		return *d
	}
	jam, low := reasons("media-jam-error"), toner("black", 4)
	before := &device.Survey{Finished: time.Date(2026, 3, 2, 18, 0, 0, 0, time.UTC), Devices: []device.Device{
		judged("serial:A", "10.0.0.1", []string{"serial:A", "addr:10.0.0.1"}, jam, low),
		judged("mac:B", "10.0.0.2", []string{"mac:B", "addr:10.0.0.2"}),
		judged("serial:G", "10.0.0.9", []string{"serial:G", "addr:10.0.0.9"}),
		judged("addr:10.0.0.7", "10.0.0.7", []string{"addr:10.0.0.7"}, jam),
	}}
	now := &device.Survey{Devices: []device.Device{
		// Swapped addresses, one renamed by a stronger alias.
		judged("serial:A", "10.0.0.2", []string{"serial:A", "addr:10.0.0.2"}, low, reasons("cover-open-warning")),
		judged("uuid:B", "10.0.0.1", []string{"uuid:B", "mac:B", "addr:10.0.0.1"}, paper(20, a4)),
		judged("serial:N", "10.0.0.5", []string{"serial:N", "addr:10.0.0.5"}, jam),
	}}
	silent := device.Device{Key: "addr:10.0.0.7", Addresses: []netip.Addr{netip.MustParseAddr("10.0.0.7")}}
	Judge(&silent, Defaults())
	now.Devices = append(now.Devices, silent)
	c := Compare(before, now)
	lines := func(list []device.Change) string {
		var out []string
		for _, x := range list {
			out = append(out, strings.Join(strings.Fields(x.Key+" "+x.Code+" "+x.What), " "))
		}
		return strings.Join(out, "\n")
	}
	for _, x := range []struct {
		what string
		got  []device.Change
		want string
	}{
		{"new", c.New, "addr:10.0.0.7 derived-no-answer no answer\nserial:A cover-open cover open"},
		{"cleared", c.Cleared, "serial:A media-jam paper jam"},
		{"moved", c.Moved, "serial:A 10.0.0.2, was 10.0.0.1\nuuid:B 10.0.0.1, was 10.0.0.2"},
		{"arrived", c.Arrived, "serial:N new here: paper jam"},
		{"gone", c.Gone, "serial:G not seen any more"},
	} {
		if got := lines(x.got); got != x.want {
			t.Errorf("%s:\n%s\nwant:\n%s", x.what, got, x.want)
		}
	}
	if !c.Since.Equal(before.Finished) {
		t.Errorf("since %v", c.Since)
	}
	now.Partial = true
	if c := Compare(before, now); len(c.Gone) != 0 {
		t.Errorf("a partial survey calls %v gone", c.Gone)
	}
	if c := Compare(before, before); len(c.New)+len(c.Cleared)+len(c.Moved)+len(c.Arrived)+len(c.Gone) != 0 {
		t.Errorf("a survey against itself: %+v", c)
	}
}

// ---- whatever a device may say

// arbitrary makes a device of the bytes in r, from labels that occur and from
// nonsense.
func arbitrary(r *rand.Rand) *device.Device {
	c := known()
	var codes, keywords, kinds, groups, bitNames []string
	for k := range c.alerts {
		codes = append(codes, k)
	}
	for k := range c.terms {
		keywords = append(keywords, k)
	}
	for k := range c.kinds {
		kinds = append(kinds, k)
	}
	for b := range c.bits {
		bitNames = append(bitNames, b)
	}
	groups = []string{"", "input", "output", "cover", "marker", "markerSupplies", "mediaPath", "finDevice", "finSupply", "generalPrinter", "scanner", "nonsense"}
	for _, l := range [][]string{codes, keywords, kinds, bitNames} {
		slices.Sort(l)
	}
	pick := func(l []string) string { return l[r.IntN(len(l))] }
	maybe := func(l ...string) device.Text { return device.Text(pick(append(l, "", "nonsense"))) }
	levels := func() device.Level {
		return device.LevelFrom(r.Int64N(130)-5, r.Int64N(120)-5, "percent", device.Remaining)
	}
	d := &device.Device{Key: "k", Technology: maybe("inkjetAqueous", "electrophotographicLED", "thermalTransfer"), Sole: r.IntN(2) == 0}
	d.Reached.SNMP.OK, d.Reached.IPP.OK, d.Reached.SNMP.Tried = r.IntN(4) > 0, r.IntN(2) == 0, true
	d.State.Device, d.State.Printer = maybe("running", "warning", "down", "testing", "unknown"), maybe("idle", "printing", "other", "warmup")
	d.State.PrinterState = maybe("idle", "processing", "stopped")
	for range r.IntN(4) {
		d.State.Reasons = append(d.State.Reasons, pick(keywords)+pick([]string{"", "-error", "-warning", "-report", "-odd"}))
		d.State.ErrorBits = append(d.State.ErrorBits, pick(bitNames))
		age := r.Int64N(100000)
		d.Alerts = append(d.Alerts, device.Alert{
			Source: device.Source(pick([]string{"snmp", "ipp"})), Code: pick(append(codes, "", "9999", "nonsense", "media-jam-error")),
			Severity: pick([]string{"", "critical", "warning", "warningBinaryChangeEvent", "other", "7"}),
			Training: pick([]string{"", "untrained", "noInterventionRequired", "management"}),
			Group:    pick(groups), GroupIndex: r.IntN(6) - 2, Description: maybe("Genuine part", "Ü {name} = 5", "replace"), AgeS: &age,
		})
	}
	for i := range r.IntN(5) {
		low := float64(r.IntN(130) - 10)
		s := device.Supply{Index: i, Kind: device.Text(pick(kinds)), Name: maybe("{noun} é", "Feed Roller Kit"), Colorant: maybe("black", "none"),
			Role: device.SupplyRole(maybe("consumed", "receptacle")), Level: levels(), LowAt: &low}
		d.Supplies = append(d.Supplies, s)
		d.Finishers = append(d.Finishers, device.Finisher{Index: i, Kind: maybe("stitcher", "puncher"), Status: device.StatusFrom(r.Int64N(130)), Supplies: []device.Supply{s}})
		d.Trays = append(d.Trays, device.Tray{Index: i, Level: levels(), Kind: maybe("continuousRoll", "sheetFeedManual"), Status: device.StatusFrom(r.Int64N(130)), Media: device.Media{Name: maybe(a4, letter)}})
		d.Outputs = append(d.Outputs, device.Output{Index: i, Level: levels(), Status: device.StatusFrom(r.Int64N(130))})
		d.Covers = append(d.Covers, device.Cover{Index: i, Status: maybe("coverOpen", "coverClosed", "interlockOpen")})
		d.Paths = append(d.Paths, device.Path{Index: i, Status: device.StatusFrom(r.Int64N(130))})
		age := r.Int64N(1e6)
		d.Queue.Jobs = append(d.Queue.Jobs, device.Job{ID: i, State: maybe("pending", "processing", "processing-stopped"), AgeS: &age})
	}
	d.Defaults = device.Defaults{Media: maybe(a4, letter, "plain"), Orientation: maybe("landscape", "portrait")}
	return d
}

func FuzzJudge(f *testing.F) {
	for seed := range uint64(64) {
		f.Add(seed, seed*7919)
	}
	f.Fuzz(func(t *testing.T, a, b uint64) {
		d := arbitrary(rand.New(rand.NewPCG(a, b)))
		o := Defaults()
		o.ExpectedMedia, o.ExpectedLanguages = []string{a4}, []string{"langPS"}
		Judge(d, o)
		checkSound(t, d)
		// The order of the sources changes nothing.
		again := arbitrary(rand.New(rand.NewPCG(a, b)))
		slices.Reverse(again.State.Reasons)
		slices.Reverse(again.State.ErrorBits)
		slices.Reverse(again.Alerts)
		Judge(again, o)
		if d.Attention != again.Attention || d.Urgency != again.Urgency || len(d.Findings) != len(again.Findings) {
			t.Errorf("the order of the reasons changes %s %d (%d findings) to %s %d (%d)", d.Attention, d.Urgency, len(d.Findings), again.Attention, again.Urgency, len(again.Findings))
		}
		for i := range d.Findings {
			if i < len(again.Findings) && (d.Findings[i].Code != again.Findings[i].Code || d.Findings[i].Summary != again.Findings[i].Summary) {
				t.Errorf("finding %d: %s %q, in the other order %s %q", i, d.Findings[i].Code, d.Findings[i].Summary, again.Findings[i].Code, again.Findings[i].Summary)
			}
		}
		before := d.Urgency
		Judge(d, o)
		if d.Urgency != before {
			t.Errorf("judged twice: %d, then %d", before, d.Urgency)
		}
	})
}

func checkSound(t *testing.T, d *device.Device) {
	t.Helper()
	for _, b := range bands {
		if b.attention == d.Attention && (d.Urgency < b.low || d.Urgency > b.high) {
			t.Errorf("%s with urgency %d", d.Attention, d.Urgency)
		}
	}
	if saysStopped(&d.State) && (d.Reached.SNMP.OK || d.Reached.IPP.OK) && d.Attention != device.Stopped {
		t.Errorf("the device says that it is stopped, judged %s: %+v", d.Attention, d.Findings)
	}
	worst := device.ImpactNote
	for i, f := range d.Findings {
		if !f.Stale && f.Impact.Rank() < worst.Rank() {
			worst = f.Impact
		}
		switch {
		case f.Code == "" || f.Summary == "" || f.Why == "" || len(f.Evidence) == 0 || f.Advice.Meaning == "" || len(f.Advice.Steps) == 0:
			t.Errorf("incomplete: %+v", f)
		case f.Weight < 0 || f.Weight > 1 || f.Stale && f.Weight != 0:
			t.Errorf("%s: weight %v, stale %v", f.Code, f.Weight, f.Stale)
		case i > 0 && worstFirst(d.Findings[i-1], f) > 0:
			t.Errorf("%s is out of order", f.Code)
		case !f.Stale && f.Impact != isNote && !slices.Contains(d.State.Conditions, f.Code):
			t.Errorf("%s holds and is not among the conditions", f.Code)
		case f.Stale && f.Impact != isNote:
			t.Errorf("%s is stale and %s", f.Code, f.Impact)
		}
		if known().registry[f.Code] == "" && known().terms[f.Code] == nil && !strings.HasPrefix(f.Summary, "reports ") {
			t.Errorf("%s is no condition", f.Code)
		}
		if f.Impact == isStopped && (known().term(f.Code).subject.Path == "scan" || known().term(f.Code).subject.Path == "fax") {
			t.Errorf("%s stops the device", f.Code)
		}
	}
}
