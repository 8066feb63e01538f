package forecast_test

import (
	"fmt"
	"testing"

	"printround/internal/forecast"
	"printround/internal/lab"
)

// estate returns the nights of many devices: each simulated one several times.
func estate(b *testing.B, devices, nights int) []forecast.Series {
	b.Helper()
	h, err := lab.SimulateNights(lab.NightsOptions{Seed: 1, Nights: nights, Devices: 100})
	if err != nil {
		b.Fatal(err)
	}
	var out []forecast.Series
	for i := 0; len(out) < devices; i++ {
		d := &h.Devices[i%len(h.Devices)]
		out = append(out, forecast.Series{Key: fmt.Sprintf("%s %d", d.Key, i), MakeModel: d.MakeModel, Nights: d.Nights})
	}
	return out
}

// The aim is less than two seconds.
func BenchmarkFleet(b *testing.B) {
	list := estate(b, 1000, 365)
	for b.Loop() {
		forecast.Fleet(list, forecast.Options{})
	}
}
