package mib

import (
	"context"
	"testing"
)

// BenchmarkRead plans and decodes a complete device that answers at once.
func BenchmarkRead(b *testing.B) {
	rec := recordingFile(b, "testdata/full.snmprec")
	values := 0
	b.ReportAllocs()
	for b.Loop() {
		f, err := Read(context.Background(), rec)
		if err != nil {
			b.Fatal(err)
		}
		values = len(f.Raw)
	}
	b.ReportMetric(float64(values), "values")
}
