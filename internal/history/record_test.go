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
