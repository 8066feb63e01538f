package history

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
)

func TestANightComesBack(t *testing.T) {
	s, _ := create(t)
	d := printer(1)
	d.Attention = device.Due
	d.Findings = []device.Finding{finding("toner-low", device.ImpactDue, "markerSupplies", 1)}
	d.Supplies = append(d.Supplies,
		device.Supply{Index: 2, Name: "Drum", Kind: "opc", Role: device.Consumed, Unit: "percent", Level: device.KnownLevel(30, 100, device.Remaining), Source: device.SourceIPP},
		device.Supply{Index: 3, Name: "Waste", Kind: "wasteToner", Role: device.Receptacle, Unit: "impressions", Capacity: ref(int64(-2)), Level: device.NoLevel(device.LevelSomeLeft), Source: device.SourceSNMP},
		device.Supply{Index: 4, Name: "Odd", Level: device.KnownLevel(700, 600, device.Remaining), Source: device.SourceSNMP},
		device.Supply{Index: 5, Name: "Ink", Capacity: ref(int64(40)), Level: device.KnownLevel(1, 3, device.Remaining), Source: device.SourceSNMP},
	)
	record(t, s, survey(night(0), d))
	want := []device.Night{{
		At: night(0), Attention: device.Due, LifeCount: ref(int64(1001)), LifeUnit: "impressions", LifeSource: device.SourceSNMP, UptimeS: ref(int64(86400)),
		Address: "10.1.0.1", RoundTrips: 7, FindingKeys: []string{"toner-low markerSupplies 1"},
		Supplies: []device.SupplyReading{
			{Index: 1, Name: "Toner, black", Kind: "tonerCartridge", Role: "consumed", Colorant: "black", Percent: ref(75.0), Value: ref(int64(4500)), Capacity: ref(int64(6000)), Unit: "impressions", Source: device.SourceSNMP},
			{Index: 2, Name: "Drum", Kind: "opc", Role: "consumed", Percent: ref(30.0), Value: ref(int64(30)), Unit: "percent", Source: device.SourceIPP},
			{Index: 3, Name: "Waste", Kind: "wasteToner", Role: "receptacle", Capacity: ref(int64(-2)), Unit: "impressions", Reason: "some-left", Source: device.SourceSNMP},
			{Index: 4, Name: "Odd", Value: ref(int64(700)), Reason: "contradictory", Source: device.SourceSNMP},
			{Index: 5, Name: "Ink", Percent: ref(33.3), Value: ref(int64(1)), Capacity: ref(int64(40)), Source: device.SourceSNMP},
		},
	}}
	for _, key := range []string{d.Key, d.Aliases[1]} {
		got, err := s.Readings(context.Background(), key, time.Time{}, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Error(key, diff)
		}
	}
}

func devices(t *testing.T, s *Store) map[string]Known {
	t.Helper()
	list, err := s.Devices(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]Known{}
	for _, k := range list {
		out[k.Key] = k
	}
	return out
}

func nights(t *testing.T, s *Store, key string) []device.Night {
	t.Helper()
	got, err := s.Readings(context.Background(), key, time.Time{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// The same device on nights when it shows itself in other ways.
func TestADeviceKeepsItsName(t *testing.T) {
	whole := printer(1)
	uuid, serial := whole.Aliases[0], whole.Aliases[1]
	seen := func(key string, aliases ...string) device.Device {
		d := printer(1)
		d.Key, d.Aliases = key, aliases
		return d
	}
	for _, c := range []struct {
		name   string
		nights []device.Device
		want   string // the key of all of them
	}{
		{"both protocols, then one, then the other", []device.Device{whole, seen(serial, serial), seen(uuid, uuid), whole}, uuid},
		{"serial number first, UUID later", []device.Device{seen(serial, serial), seen(uuid, uuid, serial), seen(uuid, uuid)}, serial},
		{"a new address", []device.Device{whole, func() device.Device {
			d := whole
			d.Addresses, d.Aliases = printer(9).Addresses, []string{uuid, serial, "addr:10.1.0.9"}
			return d
		}()}, uuid},
		{"a new name", []device.Device{whole, func() device.Device { d := whole; d.Name = "Renamed"; return d }()}, uuid},
		{"the key is an address although it shows more", []device.Device{seen("addr:10.1.0.1", "addr:10.1.0.1", serial), seen(uuid, uuid, serial)}, serial},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _ := create(t)
			for i, d := range c.nights {
				if r := record(t, s, survey(night(i), d)); len(r.Problems) > 0 {
					t.Errorf("night %d: %v", i, r.Problems)
				}
			}
			known := devices(t, s)
			if len(known) != 1 || known[c.want].Key == "" {
				t.Fatalf("known: %v, want %s alone", known, c.want)
			}
			if got := len(nights(t, s, c.want)); got != len(c.nights) {
				t.Errorf("%d nights, want %d", got, len(c.nights))
			}
		})
	}
}

// Two devices that a third look claims to be one stay two, and somebody is
// told.
func TestConflictsAreReportedAndNotMerged(t *testing.T) {
	s, _ := create(t)
	a, b := printer(1), printer(2)
	record(t, s, survey(night(0), a, b))
	both := printer(1)
	both.Aliases = []string{a.Key, b.Aliases[1]}
	r := record(t, s, survey(night(1), both, silent(2)))
	if len(r.Problems) != 1 || r.Problems[0].Stage != "identity" {
		t.Errorf("problems: %v", r.Problems)
	}
	known := devices(t, s)
	if len(known) != 2 || len(known[a.Key].Aliases) != 2 || known[b.Key].Misses != 1 {
		t.Errorf("known: %+v", known)
	}
	if len(nights(t, s, b.Aliases[1])) != 1 {
		t.Error("the serial number moved to the other device")
	}
	// The same device twice in one survey is kept once.
	r = record(t, s, survey(night(2), printer(1), printer(1)))
	if len(r.Problems) != 1 || len(nights(t, s, a.Key)) != 3 {
		t.Errorf("twice in one survey: %v", r.Problems)
	}
}

func TestAnAddressAloneIsSuperseded(t *testing.T) {
	s, _ := create(t)
	weak := printer(1)
	weak.Key, weak.Aliases = "addr:10.1.0.1", []string{"addr:10.1.0.1"}
	record(t, s, survey(night(0), weak))
	record(t, s, survey(night(1), printer(1)))
	known := devices(t, s)
	if len(known) != 2 || !known[weak.Key].Superseded || known[printer(1).Key].Superseded {
		t.Errorf("known: %+v", known)
	}
	record(t, s, survey(night(2), weak))
	if devices(t, s)[weak.Key].Superseded {
		t.Error("it answered again and is still superseded")
	}
}

// A miss is no reading, least of all one of zero.
func TestAMissIsNoReading(t *testing.T) {
	s, _ := create(t)
	record(t, s, survey(night(0), printer(1)))
	record(t, s, survey(night(1), silent(1)))
	record(t, s, survey(night(2), silent(1)))
	key := printer(1).Key
	if got := nights(t, s, key); len(got) != 1 || !got[0].At.Equal(night(0)) {
		t.Errorf("nights: %+v", got)
	}
	if k := devices(t, s)[key]; k.Misses != 2 || !k.LastSeen.Equal(night(0)) {
		t.Errorf("known: %+v", k)
	}
	want := []Attempt{{night(0), true}, {night(1), false}, {night(2), false}, {night(3), true}}
	record(t, s, survey(night(3), printer(1)))
	got, err := s.Attempts(context.Background(), key, time.Time{})
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Error(err, diff)
	}
	if k := devices(t, s)[key]; k.Misses != 0 {
		t.Errorf("it answered and has %d misses", k.Misses)
	}
	// A run that could not ask everybody misses nobody.
	if _, err := s.Record(context.Background(), survey(night(4), silent(1)), RunInfo{NoMisses: true}); err != nil {
		t.Fatal(err)
	}
	if k := devices(t, s)[key]; k.Misses != 0 {
		t.Errorf("a run cut short counts as a miss")
	}
}

func TestFindingsAreIntervals(t *testing.T) {
	with := func(findings ...device.Finding) device.Device {
		d := printer(1)
		d.Findings = findings
		return d
	}
	overIPP := func(d device.Device) device.Device {
		d.Reached.SNMP = device.SNMPReach{Tried: true}
		return d
	}
	jam, low := finding("media-jam", device.ImpactStopped, "mediaPath", 1), finding("toner-low", device.ImpactDue, "markerSupplies", 1)
	note := low
	note.Impact = device.ImpactNote
	partial := with()
	partial.Reached.SNMP.Partial = true
	notJudged := with()
	notJudged.NotJudged = []string{"media-jam"}
	type piece struct {
		code                     string
		impact                   device.Impact
		first, last, cleared, at int
	}
	for _, c := range []struct {
		name   string
		nights []device.Device
		want   []piece // cleared -1: it holds
	}{
		{"comes, stays, goes", []device.Device{with(), with(jam), with(jam), with()}, []piece{{"media-jam", device.ImpactStopped, 1, 2, 3, 0}}},
		{"comes again", []device.Device{with(jam), with(), with(jam)}, []piece{{"media-jam", device.ImpactStopped, 0, 0, 1, 0}, {"media-jam", device.ImpactStopped, 2, 2, -1, 0}}},
		{"no answer tells nothing", []device.Device{with(jam), silent(1), with(jam)}, []piece{
			{"media-jam", device.ImpactStopped, 0, 2, -1, 0}, {"derived-no-answer", device.ImpactSilent, 1, 1, 2, 0}}},
		{"the other protocol tells nothing of it", []device.Device{with(jam), overIPP(with()), with(jam)}, []piece{{"media-jam", device.ImpactStopped, 0, 2, -1, 0}}},
		{"neither does a reading cut short", []device.Device{with(jam), partial, with(jam)}, []piece{{"media-jam", device.ImpactStopped, 0, 2, -1, 0}}},
		{"nor one that could not be judged", []device.Device{with(jam), notJudged, with(jam)}, []piece{{"media-jam", device.ImpactStopped, 0, 2, -1, 0}}},
		{"a note becomes due: first seen is carried on", []device.Device{with(note), with(low), with(low)}, []piece{
			{"toner-low", device.ImpactNote, 0, 0, 1, 0}, {"toner-low", device.ImpactDue, 0, 2, -1, 0}}},
		{"the same on another subunit is another", []device.Device{with(jam), with(finding("media-jam", device.ImpactStopped, "mediaPath", 2))}, []piece{
			{"media-jam", device.ImpactStopped, 0, 0, 1, 0}, {"media-jam", device.ImpactStopped, 1, 1, -1, 0}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _ := create(t)
			for i, d := range c.nights {
				record(t, s, survey(night(i), d))
			}
			got, err := s.Findings(context.Background(), printer(1).Key)
			if err != nil {
				t.Fatal(err)
			}
			var want []Interval
			for _, p := range c.want {
				i := Interval{Code: p.code, Impact: p.impact, FirstSeen: night(p.first), LastSeen: night(p.last)}
				if p.cleared >= 0 {
					i.Cleared = night(p.cleared)
				}
				want = append(want, i)
			}
			for i := range got {
				got[i] = Interval{Code: got[i].Code, Impact: got[i].Impact, FirstSeen: got[i].FirstSeen, LastSeen: got[i].LastSeen, Cleared: got[i].Cleared}
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestAlertsAreIntervals(t *testing.T) {
	s, _ := create(t)
	alert := device.Alert{Source: device.SourceSNMP, Code: "jam", Severity: "critical", Group: "mediaPath", GroupIndex: 1, Description: "Jam"}
	for i, alerts := range [][]device.Alert{{alert}, {alert, alert}, nil} {
		d := printer(1)
		d.Alerts = alerts
		record(t, s, survey(night(i), d))
	}
	got, err := s.Alerts(context.Background(), printer(1).Key)
	want := []Interval{{Code: "jam", Group: "mediaPath", Index: 1, Name: "Jam", Severity: "critical", FirstSeen: night(0), LastSeen: night(1), Cleared: night(2), FromSource: "snmp"}}
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Error(err, diff)
	}
}

// Names and owners of jobs are in no column: every text of the file is looked
// at.
func TestJobsAreNotKept(t *testing.T) {
	s, _ := create(t)
	d := full(1, 100, 100)
	d.Queue.Jobs = []device.Job{{ID: 7, Name: "secret-job-name", Owner: "secret-job-owner"}}
	record(t, s, survey(night(0), d))
	var schema int
	rows, err := s.db.Query(`SELECT m.name, p.name FROM sqlite_schema m, pragma_table_info(m.name) p WHERE m.type = 'table'`)
	if err != nil {
		t.Fatal(err)
	}
	var columns [][2]string
	for rows.Next() {
		var c [2]string
		if err := rows.Scan(&c[0], &c[1]); err != nil {
			t.Fatal(err)
		}
		columns = append(columns, c)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	for _, c := range columns {
		schema++
		var n int
		if err := s.db.QueryRow("SELECT count(*) FROM " + c[0] + " WHERE CAST(" + c[1] + " AS TEXT) LIKE '%secret-job%'").Scan(&n); err != nil || n > 0 {
			t.Errorf("%v: %d rows, %v", c, n, err)
		}
	}
	if schema < 50 {
		t.Errorf("only %d columns were looked at", schema)
	}
}

func TestAnnotate(t *testing.T) {
	s, _ := create(t)
	jam := finding("media-jam", device.ImpactStopped, "mediaPath", 1)
	d := printer(1)
	d.Findings = []device.Finding{jam}
	record(t, s, survey(night(0), d, printer(2), printer(3), printer(4)))

	d.Counters.Life.Value = ref(int64(1051))
	d.Key, d.Aliases = d.Aliases[1], []string{d.Aliases[1]} // only SNMP answered, so the survey knows it by its serial
	d.Findings = append([]device.Finding{jam}, finding("cover-open", device.ImpactStopped, "cover", 1))
	reset, other := printer(3), printer(4)
	reset.Counters.Life.Value = ref(int64(5))
	other.Counters.Life.Source = device.SourceIPP
	v := survey(night(1), d, silent(2), reset, other, printer(5))
	if err := s.Annotate(context.Background(), v); err != nil {
		t.Fatal(err)
	}
	got := &v.Devices[0]
	if got.Key != printer(1).Key || len(got.Aliases) != 2 {
		t.Errorf("key %s, aliases %v", got.Key, got.Aliases)
	}
	if got.PagesSinceLast == nil || *got.PagesSinceLast != 50 || got.LastSeen != nil {
		t.Errorf("pages %v, last seen %v", got.PagesSinceLast, got.LastSeen)
	}
	if f := got.Findings; !f[0].FirstSeen.Equal(night(0)) || !f[1].FirstSeen.Equal(night(1)) {
		t.Errorf("first seen %v and %v", f[0].FirstSeen, f[1].FirstSeen)
	}
	if l := v.Devices[1].LastSeen; l == nil || !l.Equal(night(0)) {
		t.Errorf("the silent one was last seen %v", l)
	}
	for _, i := range []int{1, 2, 3, 4} {
		if p := v.Devices[i].PagesSinceLast; p != nil {
			t.Errorf("%s: %d pages, want unknown", v.Devices[i].Name, *p)
		}
	}
}

// A clock that is ahead for a few runs does not decide what is old.
func TestSettled(t *testing.T) {
	ctx := context.Background()
	s, _ := create(t)
	if at, err := s.Settled(ctx); err != nil || !at.IsZero() {
		t.Errorf("without a run: %s, %v", at, err)
	}
	record := func(at int) {
		t.Helper()
		if _, err := s.Record(ctx, office(3, at), RunInfo{}); err != nil {
			t.Fatal(err)
		}
	}
	for n := range 10 {
		record(n)
	}
	for ahead := range agreeing + 1 {
		want := night(10 - agreeing + ahead)
		if ahead == agreeing {
			want = night(4000) // a week of runs agrees
		}
		if at, err := s.Settled(ctx); err != nil || !at.Equal(want.Add(-time.Minute)) { // when its survey began
			t.Errorf("%d runs ahead: %s (%v), want %s", ahead, at, err, want)
		}
		record(4000 + ahead)
	}
}
