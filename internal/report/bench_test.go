package report

import (
	"fmt"
	"io"
	"testing"
)

// BenchmarkWrite renders a survey of 10,000 full devices in each format.
func BenchmarkWrite(b *testing.B) {
	s := sampleSurvey()
	s.Devices = nil
	for i := range 10000 {
		d := fullDevice()
		d.Key = fmt.Sprintf("serial:mf-9:%06d", i)
		d.Addresses = addrs(fmt.Sprintf("10.%d.%d.%d", 20+i/65536, i/256%256, i%256))
		s.Devices = append(s.Devices, d)
	}
	for _, f := range []Format{Table, CSV, JSON, Markdown} {
		b.Run(fmt.Sprint(f), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := Write(io.Discard, s, Options{Format: f, Now: seen}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
