package main

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"printround/internal/device"
	"printround/internal/forecast"
	"printround/internal/history"
)

// Foreseeing a few devices at a time gives what foreseeing all together gives.
func TestForeseeInParts(t *testing.T) {
	ctx := context.Background()
	a, shown := testApp(t)
	path := filepath.Join(t.TempDir(), "history.db")
	if status := a.run(ctx, []string{"lab", "--nights", "30", "--out", path}); status != exitDone {
		_, stderr := shown()
		t.Fatalf("status %d\n%s", status, stderr)
	}
	s, err := history.Open(path, history.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	known, err := s.Devices(ctx)
	if err != nil {
		t.Fatal(err)
	}
	models := map[string]string{}
	members := map[string]int{}
	for _, k := range known {
		models[k.Key] = string(k.MakeModel)
		members[string(k.MakeModel)]++
	}
	var all []forecast.Series
	err = s.AllReadings(ctx, time.Time{}, time.Time{}, func(key string, nights []device.Night) error {
		all = append(all, forecast.Series{Key: key, MakeModel: models[key], Nights: nights})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	most := 0
	for _, n := range members {
		most = max(most, n)
	}
	if most <= forecast.Company {
		t.Fatalf("no model has more than %d devices: nothing is shown", most)
	}
	want, got := map[string]forecast.Device{}, map[string]forecast.Device{}
	for _, d := range forecast.Fleet(all, forecast.Options{}) {
		want[d.Key] = d
	}
	parts, err := foresee(ctx, s, time.Time{}, forecast.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range parts {
		got[d.Key] = d
	}
	if len(parts) != len(got) {
		t.Errorf("%d forecasts of %d devices", len(parts), len(got))
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
