package history

import (
	"context"
	"fmt"
	"testing"
	"time"

	"printround/internal/device"
)

// office is one night of so many full devices.
func office(devices, n int) *device.Survey {
	v := survey(night(n))
	for i := range devices {
		d := full(i, int64(10000+n*120+i), int64(30000-n*70))
		d.ObservedAt = v.Finished
		v.Devices = append(v.Devices, d)
	}
	return v
}

// One night of a thousand devices with 60 readings each, after others.
func BenchmarkRecordNight(b *testing.B) {
	s, _ := create(b)
	record(b, s, office(1000, 0))
	n := 1
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		v := office(1000, n)
		n++
		b.StartTimer()
		record(b, s, v)
	}
}

// A year of a thousand devices: one device's nights, and all of them.
func BenchmarkReadYear(b *testing.B) {
	const devices, nights = 1000, 365
	s, path := create(b)
	for n := range nights {
		record(b, s, office(devices, n))
	}
	ctx := context.Background()
	b.Run("one device, opened each time", func(b *testing.B) {
		b.ReportAllocs()
		for i := 0; b.Loop(); i++ {
			r, err := Open(path, Options{ReadOnly: true})
			if err != nil {
				b.Fatal(err)
			}
			got, err := r.Readings(ctx, fmt.Sprintf("serial:okvarna-l-210:OK%05d", i%devices), time.Time{}, time.Time{})
			if err != nil || len(got) != nights {
				b.Fatal(len(got), err)
			}
			if err := r.Close(); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("all devices", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			got := 0
			err := s.AllReadings(ctx, time.Time{}, time.Time{}, func(_ string, nights []device.Night) error {
				got += len(nights)
				return nil
			})
			if err != nil || got != devices*nights {
				b.Fatal(got, err)
			}
		}
	})
	b.Run("quick check", func(b *testing.B) {
		for b.Loop() {
			if err := s.quickCheck(ctx); err != nil {
				b.Fatal(err)
			}
		}
	})
	var pages, size int64
	if err := s.db.QueryRow("PRAGMA page_count").Scan(&pages); err != nil {
		b.Fatal(err)
	}
	if err := s.db.QueryRow("PRAGMA page_size").Scan(&size); err != nil {
		b.Fatal(err)
	}
	b.Logf("%d MB", pages*size>>20)
}
