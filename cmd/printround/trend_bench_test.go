package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"testing"
	"time"

	"printround/internal/lab"
	"printround/internal/report"
)

// BenchmarkTrend shows one device, and all of them, of 1,000 devices over 365
// nights. The aim is 100 ms for the one. Making the history takes minutes.
func BenchmarkTrend(b *testing.B) {
	h, err := lab.SimulateNights(lab.NightsOptions{Seed: 1, Nights: 365, Devices: 1000})
	if err != nil {
		b.Fatal(err)
	}
	path := filepath.Join(b.TempDir(), "history.db")
	if _, err := writeNights(context.Background(), path, h); err != nil {
		b.Fatal(err)
	}
	for name, args := range map[string][]string{"one": {h.Devices[500].Key}, "all": nil} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				a := &app{now: func() time.Time { return time.Date(2027, 1, 5, 9, 0, 0, 0, time.UTC) }}
				t := &trend{app: a, flags: &historyFlags{history: path}, show: &showFlags{}}
				v, err := t.outlook(context.Background(), args)
				if err != nil {
					b.Fatal(err)
				}
				if err := report.WriteTrend(io.Discard, v, report.Options{}); err != nil {
					b.Fatal(err)
				}
				if fmt.Sprint(v.AsOf) == "" {
					b.Fatal("no night")
				}
			}
		})
	}
}
