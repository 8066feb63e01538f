package mib

import (
	"context"
	"slices"
	"testing"

	"printround/internal/oid"
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

// replay gives the answers of an earlier reading once more.
type replay struct {
	from    *Recording
	answers []oid.Answer
	next    int
}

func (r *replay) Next(ctx context.Context, q oid.Request) (oid.Answer, error) {
	if r.next == len(r.answers) {
		a, err := r.from.Next(ctx, q)
		if err != nil {
			return a, err
		}
		a.Names, a.Columns = slices.Clone(a.Names), slices.Clone(a.Columns)
		for i, c := range a.Columns {
			a.Columns[i] = slices.Clone(c)
		}
		r.answers = append(r.answers, a)
	}
	r.next++
	return r.answers[r.next-1], nil
}

// BenchmarkReadRows plans and decodes a complete device whose answers are there
// already: what reading costs beside the exchange.
func BenchmarkReadRows(b *testing.B) {
	r := &replay{from: recordingFile(b, "testdata/full.snmprec")}
	b.ReportAllocs()
	for b.Loop() {
		r.next = 0
		if f, err := ReadRows(context.Background(), r); err != nil || f.Values < 350 {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(r.next), "exchanges")
}
