package history

import (
	"context"
	"net/netip"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
)

func changesSince(t *testing.T, s *Store, run int) *device.Changes {
	t.Helper()
	runs, err := s.Runs(context.Background(), night(-1000), night(1000))
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.Changes(context.Background(), runs[run])
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// lines is all of a comparison, one word for each list.
func lines(c *device.Changes) []string {
	var out []string
	for _, l := range []struct {
		word string
		list []device.Change
	}{{"new", c.New}, {"cleared", c.Cleared}, {"moved", c.Moved}, {"arrived", c.Arrived}, {"silent", c.Silent}, {"replaced", c.Replaced}, {"gone", c.Gone}} {
		for _, x := range l.list {
			out = append(out, l.word+" "+x.Device+": "+x.What)
		}
	}
	return out
}

func TestChanges(t *testing.T) {
	type change func(*device.Device)
	with := func(changes ...change) device.Device {
		d := printer(1)
		for _, f := range changes {
			f(&d)
		}
		return d
	}
	has := func(code string, impact device.Impact) change {
		return func(d *device.Device) { d.Findings = append(d.Findings, finding(code, impact, "", 0)) }
	}
	level := func(v int64) change {
		return func(d *device.Device) { d.Supplies[0].Level = device.KnownLevel(v, 6000, device.Remaining) }
	}
	unknown := func(d *device.Device) { d.Supplies[0].Level = device.NoLevel(device.LevelSomeLeft) }
	at := func(list ...string) change {
		return func(d *device.Device) {
			d.Addresses = nil
			for _, a := range list {
				d.Addresses = append(d.Addresses, netip.MustParseAddr(a))
			}
		}
	}
	miss := func() device.Device {
		d := silent(1)
		d.Findings[0].Impact = device.ImpactNote
		return d
	}
	for _, c := range []struct {
		name   string
		nights []device.Device
		since  int
		want   []string
	}{
		{"nothing", []device.Device{with(has("cover-open", device.ImpactStopped)), with(has("cover-open", device.ImpactStopped))}, 0, nil},
		{"new and cleared", []device.Device{with(has("cover-open", device.ImpactStopped)), with(has("media-jam", device.ImpactStopped))}, 0,
			[]string{"new Printer 1: media-jam", "cleared Printer 1: cover-open"}},
		{"notes are none", []device.Device{with(), with(has("media-low", device.ImpactNote))}, 0, nil},
		{"a note becomes due", []device.Device{with(has("toner-low", device.ImpactNote)), with(has("toner-low", device.ImpactDue))}, 0, []string{"new Printer 1: toner-low"}},
		{"and a note again", []device.Device{with(has("toner-low", device.ImpactDue)), with(has("toner-low", device.ImpactNote))}, 0, []string{"cleared Printer 1: toner-low"}},
		{"worse is not new", []device.Device{with(has("toner-low", device.ImpactDue)), with(has("toner-low", device.ImpactImpaired))}, 0, nil},
		{"gone and back since", []device.Device{with(has("media-jam", device.ImpactStopped)), with(), with(has("media-jam", device.ImpactStopped))}, 0, nil},
		{"gone and back last night", []device.Device{with(has("media-jam", device.ImpactStopped)), with(), with(has("media-jam", device.ImpactStopped))}, 1,
			[]string{"new Printer 1: media-jam"}},
		{"one miss", []device.Device{with(has("media-jam", device.ImpactStopped)), miss()}, 0, nil},
		{"falls silent", []device.Device{with(), miss(), silent(1)}, 1, []string{"silent Printer 1: no answer"}},
		{"answers again", []device.Device{with(), miss(), silent(1), with()}, 2, []string{"cleared Printer 1: no answer"}},
		{"silent in between tells nothing", []device.Device{with(has("media-jam", device.ImpactStopped)), silent(1), with(has("media-jam", device.ImpactStopped))}, 0, nil},
		{"replaced", []device.Device{with(level(120)), with(level(6000))}, 0, []string{"replaced Printer 1: Toner, black replaced or refilled: 2% to 100%"}},
		{"replaced, with a night in between that knew no level", []device.Device{with(level(120)), with(unknown), with(level(5990))}, 0,
			[]string{"replaced Printer 1: Toner, black replaced or refilled: 2% to 99.8%"}},
		{"replaced and used since", []device.Device{with(level(120)), with(level(6000)), with(level(100))}, 0,
			[]string{"replaced Printer 1: Toner, black replaced or refilled: 2% to 100%"}},
		{"a sensor that wavers", []device.Device{with(level(3000)), with(level(3500))}, 0, nil},
		{"unknown is not empty", []device.Device{with(unknown), with(level(6000))}, 0, nil},
		{"moved", []device.Device{with(), with(at("10.9.9.9"))}, 0, []string{"moved Printer 1: 10.9.9.9, was 10.1.0.1"}},
		{"moved, silent in between", []device.Device{with(), silent(1), with(at("10.9.9.9"))}, 1,
			[]string{"cleared Printer 1: no answer", "moved Printer 1: 10.9.9.9, was 10.1.0.1"}},
		{"a second interface shows", []device.Device{with(), with(at("10.1.0.1", "10.2.0.1"))}, 0, nil},
		{"and hides again", []device.Device{with(at("10.1.0.1", "10.2.0.1")), with()}, 0, nil},
		{"the second interface moved", []device.Device{with(at("10.1.0.1", "10.2.0.1")), with(at("10.3.0.1", "10.1.0.1"))}, 0,
			[]string{"moved Printer 1: 10.3.0.1, 10.1.0.1, was 10.1.0.1, 10.2.0.1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _ := create(t)
			for i, d := range c.nights {
				record(t, s, survey(night(i), d))
			}
			if diff := cmp.Diff(c.want, lines(changesSince(t, s, c.since))); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestArrivals(t *testing.T) {
	s, _ := create(t)
	record(t, s, survey(night(0), printer(1), silent(4)))
	found := printer(2)
	found.Findings = []device.Finding{finding("toner-low", device.ImpactDue, "markerSupplies", 1), finding("media-jam", device.ImpactStopped, "mediaPath", 1)}
	record(t, s, survey(night(1), printer(1), found, printer(3), printer(4)))
	want := []string{"cleared Printer 4: no answer", "arrived Printer 2: new here: media-jam", "arrived Printer 3: new here", "arrived Printer 4: new here"}
	if diff := cmp.Diff(want, lines(changesSince(t, s, 0))); diff != "" {
		t.Error(diff)
	}
}

func TestPagesPrinted(t *testing.T) {
	counts := func(n int, life int64, unit device.Text) device.Device {
		d := printer(n)
		d.Counters.Life.Value, d.Counters.Life.Unit = &life, unit
		return d
	}
	s, _ := create(t)
	record(t, s, survey(night(0), counts(1, 100, "impressions"), counts(2, 50, "sheets"), counts(3, 900, "impressions"), counts(4, 10, "meters"), counts(6, 5, "sheets")))
	record(t, s, survey(night(1), counts(1, 130, "impressions"), silent(2), counts(3, 4, "impressions"), counts(4, 30, "meters"), counts(5, 7, "sheets"), silent(6)))
	record(t, s, survey(night(2), counts(1, 131, "impressions"), counts(2, 60, "sheets"), counts(3, 9, "impressions"), counts(4, 31, "meters"), counts(5, 8, "sheets"), silent(6)))
	// Number 3 was reset in the meantime, number 4 counts metres, number 5 is new, number 6 is silent.
	if diff := cmp.Diff(&device.PagesPrinted{Total: 31 + 10, Devices: 2, Unknown: 2}, changesSince(t, s, 0).Pages); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(&device.PagesPrinted{Total: 1 + 10 + 5 + 1, Devices: 4, Unknown: 1}, changesSince(t, s, 1).Pages); diff != "" {
		t.Error(diff)
	}
}

// A clock that was wrong for one night disorders nothing but the dates.
func TestAClockThatWasWrong(t *testing.T) {
	s, _ := create(t)
	jam := printer(1)
	jam.Findings = []device.Finding{finding("media-jam", device.ImpactStopped, "mediaPath", 1)}
	record(t, s, survey(night(0), printer(1)))
	record(t, s, survey(night(900), jam))
	record(t, s, survey(night(2), printer(1)))
	if diff := cmp.Diff([]string{"cleared Printer 1: media-jam"}, lines(changesSince(t, s, 1))); diff != "" {
		t.Error(diff)
	}
	got := nights(t, s, printer(1).Key)
	if len(got) != 3 || !slices.IsSortedFunc(got, func(a, b device.Night) int { return a.At.Compare(b.At) }) || len(got[2].FindingKeys) != 1 {
		t.Errorf("%+v", got)
	}
}
