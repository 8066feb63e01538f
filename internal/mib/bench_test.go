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

// BenchmarkPlan makes the largest plan of a complete device: once its rows are
// known, its values are to be asked for.
func BenchmarkPlan(b *testing.B) {
	rec := recordingFile(b, "testdata/full.snmprec")
	e := newEngine()
	q, w := e.plan()
	a, err := rec.Next(context.Background(), q)
	if err != nil || !e.take(q, w, a) {
		b.Fatal("nothing answered", err)
	}
	b.ReportAllocs()
	for b.Loop() {
		q, _ = e.plan()
	}
	b.ReportMetric(float64(len(q.Names)), "names")
}
